"""Which of the site's radios are client cells of their own, and which of those hear each other.

Client cells are radios that serve clients and that no radio link of the site uses, since the two
ends of a link must share their channel; those that choose their channel themselves are not planned
for.
"""

from __future__ import annotations

from itertools import compress
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.contention.must_defer import spectrum_shared
from meshlint.workings.contention.range_index import RangeIndex, range_index
from meshlint.workings.spectrum.channel import spans
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.radio_use import may_serve_clients, serves_clients
from meshlint.workings.unknown import Missing, gather

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.physics.channels import Channel
    from meshlint.site.model import Link, Pointer, Radio
    from meshlint.workings.site_workings import Workings


class _Cells(Struct, frozen=True):
    """The client cells of a band, and which of them may hear which."""

    radios: tuple[Radio, ...]
    pointers: frozenset[Pointer]
    range_index: RangeIndex


def _cells(w: Workings, band: float) -> _Cells:
    return w.once(_cells_of_band, band, band)


def _cells_of_band(w: Workings, band: float) -> _Cells:
    radios = w.once(_client_cells).get(band, ())
    return _Cells(radios, frozenset(radio.pointer for radio in radios), range_index(w, radios))


def _client_cells(w: Workings) -> Mapping[float | None, tuple[Radio, ...]]:
    """Return the radios with a channel set that serve clients and end no radio link, by band."""
    in_links = {radio.pointer for link in _radio_links(w) for radio in _ends(w, link)}
    by_band: dict[float | None, list[Radio]] = {}
    for unit in w.site.units.values():
        for radio in unit.radios.values():
            if (
                radio.channel != "auto"
                and may_serve_clients(radio)
                and radio.pointer not in in_links
            ):
                by_band.setdefault(radio.band, []).append(radio)
    return {band: tuple(radios) for band, radios in by_band.items()}


def _radio_links(w: Workings) -> Iterable[Link]:
    return (link for link in (w.site.backhaul or {}).values() if link.over == "radio")


def _ends(w: Workings, link: Link) -> tuple[Radio, ...]:
    """Return the radios that a link uses, or may: where the file leaves it open, all of them."""
    try:
        return radios_of(w, link)
    except Missing:
        return tuple(
            radio
            for unit in (link.from_unit, link.to_unit)
            for radio in w.site.units[unit].radios.values()
            if radio.carries is None or "backhaul" in radio.carries
        )


def backhaul_in_hearing(w: Workings, cell: Radio) -> tuple[Channel, ...]:
    """Return the channels of the radio links that a client cell hears, wherever its own may be.

    Where a channel leaves its span open, every span that it can mean. Radios that choose by
    themselves are left out: nothing can be held clear of them.
    """
    near = w.once(_link_radios, cell.band, cell.band or 0.0).near(cell)
    ends = w.once(_ends_of_links)
    heard = (end for end in near if end.pointer in ends and within_carrier_sense(w, cell, end))
    return tuple(channel for end in heard for channel in spans(end))


def _link_radios(w: Workings, band: float) -> RangeIndex:
    """Return the client cells of a band and the radios of its links, sorted by where they are."""
    links = (radio for radio in w.once(_ends_of_links).values() if radio.band == band)
    return range_index(w, (*w.once(_client_cells).get(band, ()), *links))


def _ends_of_links(w: Workings) -> Mapping[Pointer, Radio]:
    """Return the radios on stated channels that radio links use, or may use."""
    return {
        radio.pointer: radio
        for link in _radio_links(w)
        for radio in _ends(w, link)
        if isinstance(radio.channel, int)
    }


def group_of(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    """Return the client cells joined to this one by hearing, itself among them, in file order."""
    found = w.once(_joined, radio.pointer, radio)
    if len(found) > 1:
        w.keep(_joined, (cell.pointer for cell in found), found)
    return found


def _joined(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    if not is_client_cell(w, radio):
        return (radio,)
    cells = _cells(w, radio.band or 0.0)
    inside = {radio.pointer}
    open_ends = [radio]
    while open_ends:
        here = open_ends.pop()
        for other in cells.range_index.near(here):
            if other.pointer not in inside and within_carrier_sense(w, here, other):
                inside.add(other.pointer)
                open_ends.append(other)
    return tuple(cell for cell in cells.radios if cell.pointer in inside)


def is_client_cell(w: Workings, radio: Radio) -> bool:
    """Return whether a radio is a client cell of the site."""
    return radio.band is not None and radio.pointer in _cells(w, radio.band).pointers


def cells_near(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    """Return the other client cells of its band near enough to a cell that they may hear it."""
    return _cells(w, radio.band or 0.0).range_index.near(radio)


def hearing(w: Workings, radio: Radio, cells: Iterable[Radio]) -> tuple[Radio, ...]:
    """Return those of some client cells, other than this one, that hear it."""
    wanted = {cell.pointer for cell in cells}
    near = _cells(w, radio.band or 0.0).range_index.near(radio)
    return tuple(o for o in near if o.pointer in wanted and within_carrier_sense(w, radio, o))


def sharing(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    """Return the other client cells that share this one's spectrum and hear it."""
    return w.once(_sharing, radio.pointer, radio)


def _sharing(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    if radio.band is None:
        return ()
    near = _cells(w, radio.band).range_index.near(radio)
    found = [
        other
        for other in near
        if spectrum_shared(w, radio, other) and within_carrier_sense(w, radio, other)
    ]
    return tuple(compress(found, gather((radio, *found), lambda x: serves_clients(w, x))[1:]))

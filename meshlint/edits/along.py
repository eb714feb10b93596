"""What has to go with a change: readings that it makes old, waivers that it makes needless."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.edits.rewriting import Drop, Edit
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from meshlint.site.model import Link, Reading, Site
    from meshlint.site.source import Pointer
    from meshlint.workings.site_workings import Workings

_POWER: Final = ("power_dbm", "radiated_dbm", "band")
_REWIRED: Final = ("from", "to", "over", "from_radio", "to_radio", "radios")


def old_readings(w: Workings, edits: Iterable[Edit]) -> tuple[int, ...]:
    """Return the positions of readings that tell of something as it was before the edits.

    A level depends on the radio's power and band, a throughput on both radios of its link as well
    and on where it leads. Where the file leaves a link's radio open, any at its ends counts.
    """
    places = [edit.pointer for edit in edits]
    return tuple(
        position
        for position, reading in enumerate(w.site.readings or ())
        if any(_is_old(w, reading, place) for place in places)
    )


def old_measures(w: Workings, edits: Iterable[Edit]) -> tuple[str, ...]:
    """Return the links whose own measured throughput tells of them as they were before the edits.

    One that the edits take out themselves is left to them.
    """
    edits = tuple(edits)
    taken = {edit.pointer for edit in edits if isinstance(edit, Drop)}
    measured = (x.in_file for x in (w.site.backhaul or {}).values() if x.measured_mbps is not None)
    return tuple(
        link
        for link in dict.fromkeys(measured)
        if any(_is_of_old_link(w, link, edit.pointer) for edit in edits)
        and taken.isdisjoint({("backhaul", link), ("backhaul", link, "measured_mbps")})
    )


def _is_old(w: Workings, reading: Reading, place: Pointer) -> bool:
    if reading.link is not None:
        return _is_of_old_link(w, reading.link, place)
    if reading.unit is None or place[:3] != ("units", reading.unit, "radios"):
        return False
    radio = w.site.units[reading.unit].radios.get(str(place[3])) if len(place) > 4 else None  # noqa: PLR2004
    return radio is not None and radio.band == reading.band and place[-1] in _POWER


def _is_of_old_link(w: Workings, name: str, place: Pointer) -> bool:
    """Return whether a place says where a link leads, or how a radio of it is set."""
    if len(place) > 2 and place[:2] == ("backhaul", name) and place[2] in _REWIRED:  # noqa: PLR2004
        return True
    links = (x for x in (w.site.backhaul or {}).values() if x.in_file == name)
    return any(_uses(w, link, place) for link in links)


def _uses(w: Workings, link: Link, place: Pointer) -> bool:
    """Return whether a place is a setting of a radio that a link uses."""
    if link.over != "radio" or place[0] != "units" or len(place) < 5 or place[2] != "radios":  # noqa: PLR2004
        return False
    unit = str(place[1])
    if unit not in (link.from_unit, link.to_unit):
        return False
    try:
        return radio_of(w, link, unit).name == place[3]
    except Missing:
        return True


def without(key: str, positions: Collection[int], site: Site) -> tuple[Edit, ...]:
    """Return the edits that take entries out of a list, the key itself with the last of them."""
    if positions and len(positions) == len(getattr(site, key)):
        return (Drop((key,)),)
    return tuple(Drop((key, at)) for at in sorted(positions, reverse=True))

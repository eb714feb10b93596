"""Client cells on the channel of the site's own backhaul, where no radio link uses their radio.

A cell takes turns with every radio link in hearing whose channel overlaps its own, so that backhaul
waits for clients of units that it has nothing to do with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.channels import overlap_mhz
from meshlint.workings.contention.client_cells import group_of, hearing, is_client_cell
from meshlint.workings.contention.must_defer import must_defer
from meshlint.workings.contention.reuse_plan import channels_open_to
from meshlint.workings.fact import Kind, fact
from meshlint.workings.spectrum.channel import span
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import backhaul, lower_end
from meshlint.workings.unknown import Input, Missing, known_of_any

if TYPE_CHECKING:
    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings

HEARING = "who hears whom by carrier sense, or by declared radio links where levels lack"


def _links_on_air(w: Workings, radio: Radio) -> tuple[Link, ...]:
    return w.once(_found, radio.pointer, radio)


def _found(w: Workings, radio: Radio) -> tuple[Link, ...]:
    """Return the links in use that a cell shares air with, other than those of its own unit.

    Two radios in one case are another rule's.
    """
    if not is_client_cell(w, radio):
        return ()
    found: list[Link] = []
    lacking: list[Input] = []
    for link in backhaul(w).values():
        ends = (link.from_unit, link.to_unit)
        if link.over != "radio" or radio.unit in ends or lower_end(w, link) is None:
            continue
        try:
            if known_of_any(radios_of(w, link), lambda end: must_defer(w, radio, end)):
                found.append(link)
        except Missing as missing:
            lacking += missing.inputs
    if lacking and not found:
        raise Missing(*dict.fromkeys(lacking))
    return tuple(found)


@fact(
    "radio.backhaul_on_its_air",
    Kind.TEXTS,
    "radio links of other units that take turns with its clients",
    source=HEARING,
)
def backhaul_on_its_air(w: Workings, radio: Radio) -> tuple[str, ...]:
    return tuple(link.name for link in _links_on_air(w, radio))


@fact(
    "radio.units_that_wait",
    Kind.TEXTS,
    "the lower ends of those links: units whose backhaul waits for its clients",
    source=HEARING,
)
def units_that_wait(w: Workings, radio: Radio) -> tuple[str, ...]:
    lower = (lower_end(w, link) for link in _links_on_air(w, radio))
    return tuple(dict.fromkeys(unit for unit in lower if unit is not None))


@fact(
    "radio.channel_off_backhaul",
    Kind.TEXT,
    "a lawful, radar-free channel clear of the site's backhaul in hearing, the one that other own "
    "cells use least; nothing if there is none",
    source="the regulatory table; who hears whom by carrier sense",
)
def channel_off_backhaul(w: Workings, radio: Radio) -> str:
    return _least_used(w, radio, with_radar=False)


@fact(
    "radio.dfs_channel_off_backhaul",
    Kind.TEXT,
    "the same among DFS channels, where no radar-free one is left; nothing if there is none",
    source="the regulatory table; who hears whom by carrier sense",
)
def dfs_channel_off_backhaul(w: Workings, radio: Radio) -> str:
    return "" if _least_used(w, radio, with_radar=False) else _least_used(w, radio, with_radar=True)


def _least_used(w: Workings, radio: Radio, *, with_radar: bool) -> str:
    now = span(radio)
    others = [span(cell) for cell in hearing(w, radio, group_of(w, radio))]
    free = [
        channel for channel in channels_open_to(w, radio, with_radar=with_radar) if channel != now
    ]
    best = min(
        free,
        key=lambda channel: sum(overlap_mhz(channel, other) for other in others),
        default=None,
    )
    return f"channel {best.number} at {best.width_mhz} MHz" if best else ""

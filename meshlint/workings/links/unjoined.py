"""Units without a way to the primary: who shares that lot, and which link is to blame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import clients_at
from meshlint.workings.topology.link_radios import cannot_come_up
from meshlint.workings.topology.tree import (
    GRAPH,
    Tree,
    backhaul,
    live_links,
    parts,
    tree,
    tree_over,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Link, Unit
    from meshlint.workings.site_workings import Workings


def islands(w: Workings) -> Mapping[str, tuple[str, ...]]:
    """Return for each unit all that links join to it, whether or not the primary is among them."""
    members: dict[str, list[str]] = {}
    first_of = parts(w.site.units, w.once(live_links).values())
    for name, first in first_of.items():
        members.setdefault(first, []).append(name)
    whole = {first: tuple(names) for first, names in members.items()}
    return {name: whole[first] for name, first in first_of.items()}


def hoped_for(w: Workings) -> Tree:
    """Return the ways that there would be if every link of the file came up."""
    return tree_over(w, backhaul(w))


@fact("unit.clients_cut_off", Kind.COUNT, "devices on the units of its island", source=GRAPH)
def clients_cut_off(w: Workings, unit: Unit) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in w.once(islands)[unit.name])


@fact("unit.cut_off_with", Kind.TEXTS, "units that share this one's lost way", source=GRAPH)
def cut_off_with(w: Workings, unit: Unit) -> tuple[str, ...]:
    return w.once(islands)[unit.name]


@fact("unit.island", Kind.TEXT, "the first unit of the island that it stands on", source=GRAPH)
def island(w: Workings, unit: Unit) -> str:
    return w.once(islands)[unit.name][0]


@fact(
    "unit.dead_links",
    Kind.TEXTS,
    "links that would lead from here to the primary, and whose ends cannot meet",
    source=GRAPH,
)
def dead_links(w: Workings, unit: Unit) -> tuple[str, ...]:
    return tuple(x.name for x in w.once(hoped_for).way(unit.name) if cannot_come_up(w, x))


@fact(
    "link.cut_off_units",
    Kind.TEXTS,
    "units without a way to the primary, whose way would lead over it if its ends met",
    source=GRAPH,
)
def cut_off_units(w: Workings, link: Link) -> tuple[str, ...]:
    return _cut_off(w, link)


def _cut_off(w: Workings, link: Link) -> tuple[str, ...]:
    if not cannot_come_up(w, link):
        return ()
    hoped = w.once(hoped_for)
    ends = (link.from_unit, link.to_unit)
    hung = {end: hoped.uplink[end] for end in ends if end in hoped.uplink}
    lower = next((end for end, uplink in hung.items() if uplink.is_leg_of(link)), None)
    joined = w.once(tree).order
    return tuple(name for name in hoped.below(lower) if name not in joined) if lower else ()


@fact("link.cut_off_clients", Kind.COUNT, "devices on those units", source=GRAPH)
def cut_off_clients(w: Workings, link: Link) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in _cut_off(w, link))

"""Whom a finding may follow from: subjects beside one, by the names that reports know them by.

Cards name these facts under `follows_from`; none of them is a number about the site.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, cast

from meshlint.workings.alternatives.parent import best_parent
from meshlint.workings.capacity.hidden_nodes import announcing, is_slow
from meshlint.workings.contention.cell_pairs import pairs
from meshlint.workings.contention.domains import domain_around, radio_contender
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import units_of
from meshlint.workings.links.cable_routes import cable_way
from meshlint.workings.links.goodput import measured_link
from meshlint.workings.links.last_hop import on_air, on_air_at_all
from meshlint.workings.links.unjoined import hoped_for
from meshlint.workings.spectrum.radar_duty import by_radar
from meshlint.workings.spectrum.radar_proximity import reached_radios
from meshlint.workings.topology.link_radios import cannot_come_up, radios_of
from meshlint.workings.topology.tree import (
    backhaul,
    joined_legs,
    links_of,
    lower_end,
    tree,
    units_behind,
)
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import ClientGroup, Link, Network, Pointer, Radio, Site, Unit
    from meshlint.workings.contention.domains import ContentionDomain
    from meshlint.workings.propagation.calibration import Group
    from meshlint.workings.propagation.cells import Pair
    from meshlint.workings.site_workings import Subject, Workings

NAMES = "names of reports: `units/desk`, `backhaul/hall to desk`, `airs/desk/mid`"


def _key(pointer: Pointer) -> str:
    return "/".join(map(str, pointer))


def _units(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(f"units/{name}" for name in names)


def _way_units(w: Workings, unit: str) -> tuple[str, ...]:
    names = [unit]
    for link in links_of(w, unit):
        names.append(link.far_end(names[-1]))
    return _units(names)


@fact("unit.way_links", Kind.TEXTS, "the links of its way to the primary", source=NAMES)
def way_links(w: Workings, unit: Unit) -> tuple[str, ...]:
    way = links_of(w, unit.name)
    return tuple(_key(leg.pointer) for link in way for leg in joined_legs(w, link))


@fact("unit.uplink", Kind.TEXT, "the first link of its way to the primary", source=NAMES)
def uplink(w: Workings, unit: Unit) -> str:
    link = w.once(tree).uplink.get(unit.name)
    return _key(link.pointer) if link else ""


@fact(
    "unit.links_that_fail_it", Kind.TEXTS, "links that would join it if they came up", source=NAMES
)
def links_that_fail_it(w: Workings, unit: Unit) -> tuple[str, ...]:
    way = w.once(hoped_for).way(unit.name)
    return tuple(_key(link.pointer) for link in way if cannot_come_up(w, link))


@fact("unit.others", Kind.TEXTS, "every other unit", source=NAMES)
def others(w: Workings, unit: Unit) -> tuple[str, ...]:
    return _units(name for name in w.site.units if name != unit.name)


@fact(
    "unit.radio_hops_with_cables",
    Kind.COUNT,
    "radio links left of its way if every known cable route that relieves one were used",
    source="the cable routes of the site file",
)
def radio_hops_with_cables(w: Workings, unit: Unit) -> float:
    left = 0
    for link in links_of(w, unit.name):
        if link.over != "radio":
            continue
        cable = cable_way(w, link)
        if cable is None:
            left += 1
        elif cable.wired:
            return left
    return left


@fact(
    "unit.radio_hops_through_best_parent",
    Kind.COUNT,
    "radio links of its way if its best parent were its parent by radio",
    source="the way of that parent, and one link more",
)
def radio_hops_through_best_parent(w: Workings, unit: Unit) -> float:
    way = links_of(w, best_parent(w, unit).name)
    return 1 + sum(link.over == "radio" for link in way)


@fact("site.radios_on_radar", Kind.TEXTS, "radios that share spectrum with radar", source=NAMES)
def radios_on_radar(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(_key(radio.pointer) for radio in w.once(by_radar))


@fact(
    "site.radios_on_a_known_radar",
    Kind.TEXTS,
    "radios inside whose channel the nearest known radar sends that does so",
    source=NAMES,
)
def radios_on_a_known_radar(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(_key(radio.pointer) for radio in w.once(reached_radios))


@fact("radio.links", Kind.TEXTS, "the backhaul links that use it", source=NAMES)
def radio_links(w: Workings, radio: Radio) -> tuple[str, ...]:
    found = []
    for link in backhaul(w).values():
        if link.over == "radio" and radio.unit in (link.from_unit, link.to_unit):
            with suppress(Missing):
                if any(end.pointer == radio.pointer for end in radios_of(w, link)):
                    found.append(_key(link.pointer))
    return tuple(found)


@fact("link.units_that_need_it", Kind.TEXTS, "units whose way leads over it", source=NAMES)
def units_that_need_it(w: Workings, link: Link) -> tuple[str, ...]:
    return _units(units_behind(w, link))


@fact("link.air", Kind.TEXT, "the air on which it takes turns", source=NAMES)
def link_air(w: Workings, link: Link) -> str:
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a radio link"))
    need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return domain_around(w, f"link/{link.name}").key


@fact("pair.radios", Kind.TEXTS, "the two radios of its cells", source=NAMES)
def pair_radios(_: Workings, pair: Pair) -> tuple[str, ...]:
    return _key(pair.first_radio.pointer), _key(pair.second_radio.pointer)


@fact("group.pairs", Kind.TEXTS, "its cell with each neighbour's, on its band", source=NAMES)
def group_pairs(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    mine = {part.radio.pointer for part in on_air(w, group)}
    return tuple(
        pair.key
        for pair in w.once(pairs)[0]
        if mine & {pair.first_radio.pointer, pair.second_radio.pointer}
    )


@fact("group.way", Kind.TEXTS, "its units and the units from there to the primary", source=NAMES)
def group_way(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    return tuple(dict.fromkeys(x for unit in units_of(w, group) for x in _way_units(w, unit)))


@fact("group.air", Kind.TEXT, "the air of the radio that serves it, or most of it", source=NAMES)
def group_air(w: Workings, group: ClientGroup) -> str:
    most = max(on_air_at_all(w, group), key=lambda part: part.devices.part)
    return domain_around(w, radio_contender(w, most.radio).key).key


@fact(
    "air.chained_units", Kind.TEXTS, "units of whose way two links take turns on it", source=NAMES
)
def chained_units(w: Workings, air: ContentionDomain) -> tuple[str, ...]:
    mine = {contender.link.in_file for contender in air.contenders if contender.link is not None}
    ways = w.once(tree)
    return _units(
        name for name in ways.order if sum(link.in_file in mine for link in ways.way(name)) > 1
    )


@fact("network.slow_airs", Kind.TEXTS, "airs of radios that announce it slowly", source=NAMES)
def slow_airs(w: Workings, network: Network) -> tuple[str, ...]:
    slow = [radio for radio in announcing(w, network) if is_slow(radio)]
    return tuple(
        dict.fromkeys(domain_around(w, radio_contender(w, radio).key).key for radio in slow)
    )


@fact(
    "reading.link", Kind.TEXT, "the link that was measured, nothing where a level was", source=NAMES
)
def reading_link(w: Workings, group: Group) -> str:
    return _key(measured_link(w, group.link).pointer) if group.link else ""


def rests_on(w: Workings, subject: Subject) -> frozenset[str]:
    """Return what a subject's numbers rest on, by the names of reports, itself among them.

    That are the radios and links that it sends over: a unit's whole way, a group's radio as well.
    What cannot be told is left out.
    """
    item = subject.item
    pointers: set[Pointer] = {subject.pointer}
    with suppress(Missing):
        if subject.scope == "unit":
            pointers |= _way_pointers(w, cast("Unit", item).name)
        elif subject.scope == "group":
            for unit in units_of(w, cast("ClientGroup", item)):
                pointers |= _way_pointers(w, unit)
            pointers |= {part.radio.pointer for part in on_air(w, cast("ClientGroup", item))}
        elif subject.scope == "link":
            pointers |= _link_pointers(w, cast("Link", item))
        elif subject.scope == "air":
            pointers |= {radio.pointer for radio in cast("ContentionDomain", item).radios}
        elif subject.scope == "pair":
            pointers |= {subject.anchors[end] for end in ("first_radio", "second_radio")}
    return frozenset({subject.key, *map(_key, pointers)})


def _way_pointers(w: Workings, unit: str) -> set[Pointer]:
    found = {radio.pointer for radio in w.site.units[unit].radios.values()}
    for link in links_of(w, unit):
        for leg in joined_legs(w, link):
            found |= _link_pointers(w, leg)
    return found


def _link_pointers(w: Workings, link: Link) -> set[Pointer]:
    found = {link.pointer}
    if link.over == "radio":
        with suppress(Missing):
            found |= {radio.pointer for radio in radios_of(w, link)}
    return found

"""Which units the devices of a group are on: as stated, or those that serve the area they are in.

A group that is wired to a unit or near one is on it. A group in an area is shared out: each place
of the area joins the unit whose signal is strongest there, and counts for its part of the area.
Where the levels are not known, places join the nearest unit of the area's storey that can serve
the group. Shares of devices are fractions; nothing rounds them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.coverage_map import coverage_of_area
from meshlint.workings.propagation.drawn_lines import inside as within_outline
from meshlint.workings.topology.radio_use import announces, fitting_radios
from meshlint.workings.topology.tree import GRAPH, stated_clients, tree, units_behind
from meshlint.workings.unknown import Input, Missing, gather, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.model import ClientGroup, Link, Radio, Unit
    from meshlint.site.places import Area, Metres
    from meshlint.workings.site_workings import Workings

SHARED_OUT: Final = (
    "as stated; devices in an area join the unit that is strongest where they are, or the nearest "
    "where levels are not known"
)

_PLACES: Final = 2000
"""Places at most of an area that is shared out by distance."""


class Devices(Struct, frozen=True):
    """The devices of a group that are on one unit: which part of the group (0 to 1)."""

    group: ClientGroup
    unit: str
    part: float = 1.0

    @property
    def count(self) -> float:
        """Return how many devices these are."""
        return self.group.count * self.part


def devices_of(w: Workings, group: ClientGroup) -> tuple[Devices, ...]:
    """Return the devices of a group by the units that they are on, in the order of the file."""
    stated = group.wired_to or group.near
    if stated is not None:
        return (Devices(group, stated),)
    return tuple(Devices(group, unit, part) for unit, part in in_area(w, group).items())


def groups_about(w: Workings, units: Iterable[str]) -> tuple[ClientGroup, ...]:
    """Return the groups that may have devices on some units, in the order of the file.

    All but those that the file states to be on another unit.
    """
    at = w.once(_by_stated_unit)
    found = [*at.get(None, ()), *(entry for unit in units for entry in at.get(unit, ()))]
    return tuple(group for _, group in sorted(found, key=lambda entry: entry[0]))


def _by_stated_unit(w: Workings) -> Mapping[str | None, list[tuple[int, ClientGroup]]]:
    found: dict[str | None, list[tuple[int, ClientGroup]]] = {}
    for position, group in enumerate(stated_clients(w.site)):
        found.setdefault(group.wired_to or group.near, []).append((position, group))
    return found


def units_of(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    """Return the units that a group's devices are on."""
    return tuple(devices.unit for devices in devices_of(w, group))


def serving_radios(w: Workings, group: ClientGroup) -> tuple[Radio, ...]:
    """Return the radios of the site that devices of a group in an area could be on."""
    network = (w.site.networks or {}).get(group.network or "")
    return tuple(
        radio
        for unit in w.site.units.values()
        for radio in fitting_radios(w.site, group, unit)
        if network is None or announces(network, radio)
    )


def area_of(w: Workings, group: ClientGroup) -> Area:
    """Return the area that a group is used in; raises `Missing` where none is stated."""
    areas = w.site.areas or {}
    if group.area is None or group.area not in areas:
        raise Missing(Input((*group.pointer, "near"), "the unit that serves the group"))
    return areas[group.area]


def in_area(
    w: Workings, group: ClientGroup, gone: frozenset[str] = frozenset()
) -> Mapping[str, float]:
    """Return which part of a group in an area each unit has, those with none left out.

    By the strongest signal of any radio that could serve it, without those of units that are gone.
    """
    return w.once(_in_area, (group.name, gone), group, gone)


def _in_area(w: Workings, group: ClientGroup, gone: frozenset[str]) -> Mapping[str, float]:
    area = area_of(w, group)
    radios = [radio for radio in serving_radios(w, group) if radio.unit not in gone]
    if not radios:
        raise Missing(Input((*group.pointer, "near"), "the unit that serves the group"))
    if len({radio.unit for radio in radios}) == 1:
        return {radios[0].unit: 1.0}
    cover, inside = coverage_of_area(w, area)
    drawn = [radio for radio in radios if radio.pointer in cover.radios]
    if drawn and inside.any() and not any(radio.pointer in cover.lacking for radio in drawn):
        from meshlint.workings.links.area_shares import strongest_units

        found = strongest_units(cover, inside, drawn)
    else:
        units = tuple(dict.fromkeys(radio.unit for radio in radios))
        found = w.once_a_building(_by_distance, (area.name, units), area, units)
    return {name: found[name] for name in w.site.units if found.get(name)}


def _by_distance(w: Workings, area: Area, units: tuple[str, ...]) -> Mapping[str, float]:
    """Return which part of an area lies nearest to each of some units on its level."""
    for name in units:
        need(w.site.units[name].at, ("units", name, "at"), "where the unit stands")
    near = {
        name: (at.x_m, at.y_m)
        for name in units
        if (at := w.site.units[name].at) is not None and at.level in (None, area.level)
    }
    if not near:
        wanted = f"a unit on the level of {area.name}, or the unit that serves the group"
        raise Missing(Input(("areas", area.name, "level"), wanted))
    counts = dict.fromkeys(near, 0)
    places = list(_places(area.outline_m))
    for place in places:
        counts[min(near, key=lambda name: math.dist(near[name], place))] += 1
    return {name: count / len(places) for name, count in counts.items()}


def _places(outline_m: tuple[Metres, ...]) -> list[Metres]:
    """Return the middles of square fields inside an outline; its middle where none is."""
    xs, ys = [x for x, _ in outline_m], [y for _, y in outline_m]
    wide_m, high_m = max(xs) - min(xs), max(ys) - min(ys)
    step_m = max(math.sqrt(wide_m * high_m / _PLACES), max(wide_m, high_m) / _PLACES, 1e-6)
    columns, rows = max(1, round(wide_m / step_m)), max(1, round(high_m / step_m))
    found = [
        (min(xs) + (column + 0.5) * wide_m / columns, min(ys) + (row + 0.5) * high_m / rows)
        for row in range(rows)
        for column in range(columns)
    ]
    within = [place for place in found if within_outline(place, outline_m)]
    return within or [(math.fsum(xs) / len(xs), math.fsum(ys) / len(ys))]


def clients_at(w: Workings) -> Mapping[str, float]:
    """Return how many devices are on each unit."""
    at = dict.fromkeys(w.site.units, 0.0)
    found = gather(stated_clients(w.site), lambda group: devices_of(w, group))
    for devices in (devices for parts in found for devices in parts):
        at[devices.unit] += devices.count
    return at


@fact("unit.clients", Kind.COUNT, "devices that are on this unit", source=SHARED_OUT)
def unit_clients(w: Workings, unit: Unit) -> float:
    return w.once(clients_at)[unit.name]


@fact("unit.clients_behind", Kind.COUNT, "devices on this unit and on units behind", source=GRAPH)
def unit_clients_behind(w: Workings, unit: Unit) -> float:
    at = w.once(clients_at)
    return math.fsum(at[name] for name in w.once(tree).below(unit.name) or (unit.name,))


@fact("link.clients_behind", Kind.COUNT, "devices on the units behind it", source=GRAPH)
def link_clients_behind(w: Workings, link: Link) -> float:
    at = w.once(clients_at)
    return math.fsum(at[name] for name in units_behind(w, link))


@fact(
    "radio.clients",
    Kind.COUNT,
    "devices at the unit that use this band, or may since they name none",
    source=STATED,
)
def radio_clients(w: Workings, radio: Radio) -> float:
    return math.fsum(
        devices.count
        for group in stated_clients(w.site)
        if not group.wired_to and group.band in (None, radio.band)
        for devices in devices_of(w, group)
        if devices.unit == radio.unit
    )

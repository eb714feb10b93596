"""What is left for people when units are gone, on the units that take their devices over.

Whoever loses a unit moves to another that covers the place, and competes there with those who are
on it already: for its air and for that of its way to the primary. The internet line and the routing
of the primary are what they were before. What the file does not say of others counts as nothing, so
that what is told is known. Units that the same loss sends another way are left where they were.
"""

from __future__ import annotations

import math
from itertools import groupby
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.fairness import max_min
from meshlint.workings.alternatives.roaming import alone, covering
from meshlint.workings.capacity.flows import (
    NO_ROOM,
    asks_for_something,
    flows_over,
    way_to_primary,
)
from meshlint.workings.contention.airtime import known_foreign_share, names_share, turns_of
from meshlint.workings.contention.domain_load import Load, domain_load
from meshlint.workings.contention.domains import conflict_graph, contenders, radio_contender
from meshlint.workings.links.attachment import Devices, devices_of
from meshlint.workings.links.demand import active
from meshlint.workings.links.last_hop import at_level, frames_each_way, on_air, placed
from meshlint.workings.topology.tree import stated_clients
from meshlint.workings.unknown import Unknown, answer, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.model import ClientGroup
    from meshlint.workings.capacity.flows import Asked
    from meshlint.workings.contention.domain_load import Turns
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

ENOUGH: Final = 0.5
"""The part of what they ask for with which people go on working: common practice."""

_SLACK: Final = 1 + 1e-9


class _Demand(Struct, frozen=True):
    """Flows of groups by name, and what all of them ask of each resource."""

    flows: Mapping[str, tuple[Asked, ...]]
    asked: Mapping[str, float]


TAKEN_OVER: Final = (
    "max-min fair shares on the units that cover them, with who is there already (Jun and "
    "Sichitiu 2003)"
)


def known_short(w: Workings, gone: frozenset[str], but: str = "") -> float:
    """Return how many devices are known to get too little once some units are gone.

    Less than half of what they ask for, one way or the other, and not so before: devices that
    another unit takes over, and those that were on it already. Devices of the unit `but` compete
    with them and are not counted. Nothing where the file does not tell.
    """
    found = answer(w.once, _short_after, (gone, but), gone, but)
    return 0.0 if isinstance(found, Unknown) else found


def _short_after(w: Workings, gone: frozenset[str], but: str) -> float:
    before = w.once(_today)
    moved = _moved(w, gone)
    flows = {name: flows for name, (flows, _) in moved.items()}
    asked = dict(before.asked)
    for name in moved:
        for resource, share in _asked_by(before.flows.get(name, ())).items():
            asked[resource] -= share
    touched = _asked_by(x for several in flows.values() for x in several)
    for resource, share in touched.items():
        asked[resource] = asked.get(resource, 0.0) + share
    turns: dict[str, Turns] = {}
    for _, parts in moved.values():
        for part in parts:
            key = radio_contender(w, part.radio).key
            turns[key] = (*turns.get(key, ()), *_turns(part))
    rooms = {name: _room(w, name, gone, turns) for name in touched}
    if all(asked[name] <= room * _SLACK for name, room in rooms.items()):
        return 0.0
    after = {**before.flows, **flows}
    served = _served(w, after, gone, turns)
    short = 0.0
    for name, was in w.once(_served_today).items():
        group = (w.site.clients or {})[name]
        stayed = name not in moved
        few = math.fsum(part for part, got in served.get(name, ()) if got < ENOUGH)
        few_before = math.fsum(part for part, got in was if got < ENOUGH)
        left_out = 0.0 if stayed else _left_out(w, group, gone, but)
        short += max(0.0, group.count * (few - few_before) - left_out)
    return short


def _left_out(w: Workings, group: ClientGroup, gone: frozenset[str], but: str) -> float:
    """Return how many devices of a group are told elsewhere: uncovered, or of a unit left out."""
    return math.fsum(
        one.count if one.unit == but else alone(w, one, gone)
        for one in devices_of(w, group)
        if one.unit in gone
    )


def _today(w: Workings) -> _Demand:
    """Return what all groups ask for of whom that is known."""
    flows = {}
    for group in stated_clients(w.site):
        found = answer(_flows_today, w, group) if asks_for_something(group) else ()
        if not isinstance(found, Unknown) and found:
            flows[group.name] = found
    return _Demand(flows, _asked_by(x for several in flows.values() for x in several))


def _flows_today(w: Workings, group: ClientGroup) -> tuple[Asked, ...]:
    if group.wired_to is not None:
        return flows_over(w, group, [(x, None) for x in devices_of(w, group)], way_to_primary)
    return flows_over(w, group, [(x.devices, x) for x in on_air(w, group)], way_to_primary)


def _asked_by(flows: Iterable[Asked]) -> dict[str, float]:
    found: dict[str, float] = {}
    for one in flows:
        mbps = one.flow.count * one.flow.wanted_mbps
        for name, share in one.flow.uses.items():
            found[name] = found.get(name, 0.0) + mbps * share
    return found


def _moved(
    w: Workings, gone: frozenset[str]
) -> dict[str, tuple[tuple[Asked, ...], tuple[OnAir, ...]]]:
    """Return the groups that had devices on units that are gone: their flows, and where they are.

    Raises `Missing` where that is not known of one.
    """
    found = {}
    for name in w.once(_today).flows:
        group = (w.site.clients or {})[name]
        if not any(part.unit in gone for part in devices_of(w, group)):
            continue
        parts = _taken_over(w, group, gone)
        flows = flows_over(w, group, [(x.devices, x) for x in parts], way_to_primary)
        found[name] = flows, parts
    return found


def _taken_over(w: Workings, group: ClientGroup, gone: frozenset[str]) -> tuple[OnAir, ...]:
    """Return the devices of a group on the units that are left; none where nobody covers them."""
    if group.wired_to is not None:
        return ()
    if group.near is None:
        found = placed(w, group, gone)
        return need(found, ("areas", group.area or ""), "levels where its devices are")
    levels = covering(w, group, group.near, gone)
    ways = [at_level(w, Devices(group, r.unit), r, level) for r, level in levels]
    able = [way for way in ways if way.hop() is not None]
    return (max(able, key=_goodput_mbps),) if able else ()


def _goodput_mbps(part: OnAir) -> float:
    hop = part.hop()
    return 0.0 if hop is None else hop.goodput_mbps


def _turns(part: OnAir) -> Turns:
    """Return the turns of devices that send: one sender for each that is active."""
    up = part.hop(frames_each_way(part.devices.group)[1])
    return () if up is None else ((active(part.devices) * part.served_part, up.exchange),)


def _room(w: Workings, name: str, gone: frozenset[str], turns: Mapping[str, Turns]) -> float:
    """Return how much there is of a resource once units are gone, and others have more devices."""
    kind, _, key = name.partition("/")
    if kind != "air":
        return 0.0 if kind == NO_ROOM else 1.0
    known = w.once(contenders)
    near = w.once(conflict_graph).near[key]
    loads = [
        w.once(_known_load, other, other) for other in near if gone.isdisjoint(known[other].units)
    ]
    more = [Load(turns=turns[other]) for other in near if other in turns]
    return domain_load([*loads, *more]).room


def _known_load(w: Workings, key: str) -> Load:
    """Return what is known of what a contender takes of its air before traffic."""
    contender = w.once(contenders)[key]
    names, turns = answer(names_share, w, contender), answer(turns_of, w, contender)
    return Load(
        0.0,
        0.0 if isinstance(names, Unknown) else names,
        known_foreign_share(w, contender),
        () if isinstance(turns, Unknown) else turns,
    )


_Served = list[tuple[float, float]]
"""Parts of a group, and how much of what it asks for each gets in the worse direction."""


def _served_today(w: Workings) -> Mapping[str, _Served]:
    return _served(w, w.once(_today).flows, frozenset(), {})


def _served(
    w: Workings,
    flows: Mapping[str, tuple[Asked, ...]],
    gone: frozenset[str],
    turns: Mapping[str, Turns],
) -> dict[str, _Served]:
    """Return what all get of what they ask for, max-min fair, once some units are gone."""
    off = {key for key, one in w.once(contenders).items() if not gone.isdisjoint(one.units)}
    silent = {f"air/{key}" for key in off}
    asked = [one for several in flows.values() for one in several]
    each = [
        one.flow._replace(uses={x: y for x, y in one.flow.uses.items() if x not in silent})
        for one in asked
    ]
    names = dict.fromkeys(name for flow in each for name in flow.uses)
    rooms = {name: _room(w, name, gone, turns) for name in names}
    shares = max_min(each, rooms)
    found: dict[str, _Served] = {}
    pairs = zip(asked, each, shares, strict=True)
    # The two directions of one part follow each other.
    for name, several in groupby(pairs, key=lambda entry: entry[0].group.name):
        told = list(several)
        for (one, flow, share), (_, other, back) in zip(told[::2], told[1::2], strict=True):
            got = min(
                1.0 if not want.wanted_mbps else has.rate_mbps / want.wanted_mbps
                for want, has in ((flow, share), (other, back))
            )
            found.setdefault(name, []).append((one.part, got))
    return found

"""Flows of client groups: what they ask for, and what a Mb/s of theirs takes of each resource.

A resource is an air, a wire one way, a line, or the routing of the primary. Its room is the share
of it that there is for traffic: of an air what beacons, other people's networks and contention
leave.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct, field

from meshlint.physics.fairness import Flow
from meshlint.workings.contention.airtime import standing
from meshlint.workings.contention.domains import (
    conflict_graph,
    contenders,
    domain_of,
    radio_contender,
    widest_domain,
)
from meshlint.workings.links.attachment import Devices, devices_of
from meshlint.workings.links.demand import active, line_down_mbps, line_up_mbps, wanted_mbps
from meshlint.workings.links.goodput import LEAST_MBPS, framed_mbps, goodput_mbps, legs_of_way
from meshlint.workings.links.last_hop import devices_on, frames_each_way, on_air
from meshlint.workings.unknown import Unknown, answer, need

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meshlint.physics.traffic import Frames
    from meshlint.site.model import ClientGroup, Link, Radio
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

Direction = Literal["down", "up"]


class Uses(Struct, frozen=True):
    """For each resource on the way of devices the share of it that one Mb/s takes.

    `sure` are those that they use, `open_` those of which nobody can tell whether they do. What
    carries nothing is a resource of its own, of which there is no room at all.
    """

    sure: dict[str, float] = field(default_factory=dict)
    open_: dict[str, float] = field(default_factory=dict)

    def add(self, name: str, carried_mbps: float) -> None:
        """Count another use of a resource that is used for certain."""
        if carried_mbps < LEAST_MBPS:
            self.sure[f"{NO_ROOM}/{name}"] = 1.0
        else:
            self.sure[name] = self.sure.get(name, 0.0) + 1 / carried_mbps

    def add_airs(self, w: Workings, contender: str, carried_mbps: float) -> None:
        """Count the airs that a contender sends in."""
        graph = w.once(conflict_graph)
        for key in graph.near[contender]:
            self.add(f"air/{key}", carried_mbps)
        for key in graph.unsure.get(contender, ()):
            name = f"air/{key}"
            self.open_[name] = self.open_.get(name, 0.0) + 1 / carried_mbps

    def add_last_hop(self, w: Workings, devices: Devices, last: OnAir, frames: Frames) -> None:
        """Count the airs that devices send in, or the signal that they do not have."""
        hop = last.hop(frames)
        if hop is None:
            self.add(f"signal/{devices.unit}", 0.0)
        else:
            self.add_airs(w, radio_contender(w, last.radio).key, hop.goodput_mbps)


class Asked(Struct, frozen=True):
    """A flow to be given a share: whose it is, which way, and which part of the group.

    `open_` is what it may use beyond what it surely does.
    """

    group: ClientGroup
    way: Direction
    part: float
    flow: Flow
    open_: Mapping[str, float] = {}


def uses_of(
    w: Workings, devices: Devices, way: Direction, last: OnAir | None, frames: Frames
) -> Uses:
    """Return what one Mb/s of devices takes on its way to the internet, the last hop first."""
    found = way_to_primary(w, devices, way, last, frames)
    found.add(f"line/{way}", line_down_mbps(w) if way == "down" else line_up_mbps(w))
    found.add(f"routing/{way}", routing_mbps(w))
    return found


def way_to_primary(
    w: Workings, devices: Devices, way: Direction, last: OnAir | None, frames: Frames
) -> Uses:
    """Return what one Mb/s of devices takes on its way to the primary."""
    found = Uses()
    if last is not None:
        found.add_last_hop(w, devices, last, frames)
    for link in legs_of_way(w, devices.unit):
        carried_mbps = goodput_mbps(w, link)
        if link.over == "radio" and carried_mbps:
            found.add_airs(w, f"link/{link.name}", framed_mbps(w, link, frames))
        else:
            found.add(wire(link, way), carried_mbps)
    return found


NO_ROOM: Final = "nothing"
"""The kind of resource that has no room, before the name that it would have with some."""


def routing_mbps(w: Workings) -> float:
    """Return what the primary can route; infinite where it does not route."""
    primary = w.site.units[w.site.primary]
    if not primary.may_route:
        return float("inf")
    pointer = (*primary.pointer, "routing_mbps")
    return need(primary.routing_mbps, pointer, "what the primary can route")


def wire(link: Link, way: Direction) -> str:
    """Return the resource that a link is which is no radio link.

    Powerline and coax are one medium for both ways, a cable is one for each.
    """
    return f"{way}/{link.name}" if link.over == "cable" else f"both/{link.in_file}"


def asks_for_something(group: ClientGroup) -> bool:
    """Return whether any device of a group is active."""
    return bool(group.count) and group.active_share != 0


def flows_of(w: Workings, group: ClientGroup) -> tuple[Asked, ...]:
    """Return a group's flows: one each way for each of its radios, one more without signal."""
    if group.wired_to is not None:
        return flows_over(w, group, [(devices, None) for devices in devices_of(w, group)])
    return flows_over(w, group, [(part.devices, part) for part in on_air(w, group)])


def flows_over(
    w: Workings,
    group: ClientGroup,
    parts: Iterable[tuple[Devices, OnAir | None]],
    uses_of: Callable[..., Uses] = uses_of,
) -> tuple[Asked, ...]:
    """Return the flows of devices of a group over last hops, None for those on a cable.

    Down and up in turn.
    """
    wanted = wanted_mbps(group)
    ways: tuple[Direction, Direction] = ("down", "up")
    found = []
    for devices, last in parts:
        served = 1.0 if last is None else last.served_part
        if served > 0:
            for way, mbps, frames in zip(ways, wanted, frames_each_way(group), strict=True):
                uses = uses_of(w, devices, way, last, frames)
                weight = 1.0 if way == "up" or last is None else _evenness(w, last, frames)
                found.append(_asked(devices, way, served, mbps, uses, weight))
        if served < 1 - _ROUNDING:
            uses = Uses({f"{NO_ROOM}/signal/{devices.unit}": 1.0})
            for way, mbps in zip(ways, wanted, strict=True):
                found.append(_asked(devices, way, 1 - served, mbps, uses))
    return tuple(found)


_ROUNDING: Final = 1e-9


def _evenness(w: Workings, last: OnAir, frames: Frames) -> float:
    """Return how much faster than its radio's mean devices get their rate; 1 in equal turns.

    A radio with airtime fairness gives each device the same time, and so each a part of the air in
    proportion to what it holds. That is for what the radio sends: devices take turns as ever.
    """
    hop = last.hop(frames)
    if last.radio.airtime_fairness is not True or hop is None:
        return 1.0
    mean_mbps = w.once(_mean_mbps, last.radio.pointer, last.radio)
    return 1.0 if mean_mbps is None else hop.goodput_mbps / mean_mbps


def _mean_mbps(w: Workings, radio: Radio) -> float | None:
    """Return the harmonic mean of what a radio's active devices hold; None where it has none."""
    held = [
        (active(part.devices) * part.served_part, hop.goodput_mbps)
        for part in devices_on(w, radio)
        if active(part.devices)
        and (hop := part.hop(frames_each_way(part.devices.group)[0])) is not None
    ]
    if not held:
        return None
    return math.fsum(n for n, _ in held) / math.fsum(n / mbps for n, mbps in held)


def _asked(
    devices: Devices,
    way: Direction,
    served: float,
    wanted_mbps: float,
    uses: Uses,
    weight: float = 1.0,
) -> Asked:
    flow = Flow(active(devices) * served, wanted_mbps, uses.sure, weight)
    return Asked(devices.group, way, devices.part * served, flow, uses.open_)


def room_of(w: Workings, name: str) -> float:
    """Return how much there is of a resource: of an air, the time that is left for traffic."""
    kind, _, key = name.partition("/")
    if kind == NO_ROOM:
        return 0.0
    if kind != "air":
        return 1.0
    return standing(w, domain_of(w, w.once(contenders)[key])).room


def least_room(w: Workings, name: str) -> float:
    """Return how much there is of a resource at least, all that may share an air being on it."""
    kind, _, key = name.partition("/")
    if kind != "air":
        return room_of(w, name)
    found = answer(standing, w, widest_domain(w, w.once(contenders)[key]))
    return 0.0 if isinstance(found, Unknown) else found.room

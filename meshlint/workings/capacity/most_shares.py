"""What a group gets at most, where what it shares with others is not all known.

A group that alone asks for more than something on its way can carry gets less than it asks for,
whatever the rest of the site is like. What is known of its way bounds what it gets from above; a
line, a link or a load that the file leaves open can only take more away.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.capacity.fair_shares import FAIR, fair_shares, of_group
from meshlint.workings.capacity.flows import (
    NO_ROOM,
    Direction,
    Uses,
    flows_over,
    room_of,
    routing_mbps,
    wire,
)
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import devices_of
from meshlint.workings.links.demand import line_down_mbps, line_up_mbps
from meshlint.workings.links.goodput import LEAST_MBPS, framed_mbps, goodput_mbps, legs_of_way
from meshlint.workings.links.last_hop import on_air
from meshlint.workings.unknown import Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.physics.traffic import Frames
    from meshlint.site.model import ClientGroup
    from meshlint.workings.capacity.flows import Asked
    from meshlint.workings.links.attachment import Devices
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

_WAYS: tuple[Direction, Direction] = ("down", "up")
MOST = f"{FAIR}; where not all is known, what the group alone could get of what is"


class Most(Struct, frozen=True):
    """What devices of a group get at most on average, and which part (0 to 1) of what they ask."""

    mbps: float
    served: float


def most(w: Workings, group: ClientGroup) -> Mapping[Direction, Most]:
    """Return what a group gets at most each way, by what is known of its way."""
    return w.once(_most, group.name, group)


def _most(w: Workings, group: ClientGroup) -> Mapping[Direction, Most]:
    parts: list[tuple[Devices, OnAir | None]]
    if group.wired_to is not None:
        parts = [(devices, None) for devices in devices_of(w, group)]
    else:
        parts = [(part.devices, part) for part in on_air(w, group)]
    found: dict[Direction, Most] = {}
    asked = flows_over(w, group, parts, _known_uses)
    for way in _WAYS:
        flows = [one for one in asked if one.way == way]
        whole = math.fsum(one.part for one in flows)
        each = [(one.part / whole, _served(w, one), one.flow.wanted_mbps) for one in flows if whole]
        found[way] = Most(
            math.fsum(part * served * wanted for part, served, wanted in each),
            math.fsum(part * served for part, served, _ in each),
        )
    return found


def _known_uses(
    w: Workings, devices: Devices, way: Direction, last: OnAir | None, frames: Frames
) -> Uses:
    """Return what one Mb/s of devices takes of what is known of their way."""
    found = Uses()
    if last is not None:
        found.add_last_hop(w, devices, last, frames)
    for link in legs_of_way(w, devices.unit):
        carried = answer(goodput_mbps, w, link)
        framed = answer(framed_mbps, w, link, frames)
        if isinstance(carried, Unknown) or isinstance(framed, Unknown):
            continue
        if link.over == "radio" and carried >= LEAST_MBPS:
            found.add_airs(w, f"link/{link.name}", framed)
        else:
            found.add(wire(link, way), carried)
    rates = {
        f"line/{way}": answer(line_down_mbps if way == "down" else line_up_mbps, w),
        f"routing/{way}": answer(routing_mbps, w),
    }
    for name, rate in rates.items():
        if not isinstance(rate, Unknown):
            found.add(name, rate)
    return found


def _served(w: Workings, one: Asked) -> float:
    """Return the part of what devices ask for that they get with the whole way to themselves."""
    load = one.flow.count * one.flow.wanted_mbps
    served = 1.0
    for name, share in one.flow.uses.items() if load else ():
        room = 0.0 if name.startswith(NO_ROOM) else answer(room_of, w, name)
        # Of an air that is not all known there is at most all of its time.
        at_most = 1.0 if isinstance(room, Unknown) else room
        if share * load > at_most:
            served = min(served, at_most / (share * load))
    return served


@fact(
    "group.most_served_percent",
    Kind.NUMBER,
    "how much of what it asks for it gets at most, in the worse direction, on average",
    source=MOST,
    unit="%",
)
def most_served_percent(w: Workings, group: ClientGroup) -> float:
    return 100 * min(most(w, group)[way].served for way in _WAYS)


def _at_most_mbps(w: Workings, group: ClientGroup, way: Direction) -> float:
    """Return what its devices get on average; where that is not known, what they get at most."""
    parts = answer(of_group, w, group, way)
    if isinstance(parts, Unknown):
        return most(w, group)[way].mbps
    whole = math.fsum(part.part for part in parts)
    return math.fsum(part.share.rate_mbps * part.part for part in parts) / whole


@fact(
    "group.most_down_mbps",
    Kind.NUMBER,
    "what its devices get when all ask at once, on average; at most that where not all is known",
    source=MOST,
    unit="Mb/s",
    digits=2,
)
def most_down_mbps(w: Workings, group: ClientGroup) -> float:
    return _at_most_mbps(w, group, "down")


@fact(
    "group.most_up_mbps",
    Kind.NUMBER,
    "what its devices can send when all do at once, likewise",
    source=MOST,
    unit="Mb/s",
    digits=2,
)
def most_up_mbps(w: Workings, group: ClientGroup) -> float:
    return _at_most_mbps(w, group, "up")


@fact(
    "group.rate_left_open",
    Kind.TEXTS,
    "what is missing to tell what it gets of what it shares with others",
    source=FAIR,
)
def rate_left_open(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    lacking = w.once(fair_shares).lacking.get(group.name, ())
    return tuple(dict.fromkeys(x.wanted or x.key for x in lacking))

"""What each client group gets when all ask at once, and what stops it.

Max-min fair per client, down and up as flows of their own, none above what it asks for. Every
collision domain has the time that beacons, other people's networks and contention leave; wires are
full duplex, the internet lines and the primary's routing count each way by itself.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from meshlint.physics.fairness import Flow, max_min
from meshlint.workings.contention.airtime import standing
from meshlint.workings.contention.domains import (
    conflict_graph,
    contenders,
    domain_around,
    domain_of,
    radio_contender,
)
from meshlint.workings.fact import STATED, Kind, fact, phrase
from meshlint.workings.links.attachment import Devices, devices_of, units_of
from meshlint.workings.links.demand import (
    ASKED,
    active,
    asked_mbps,
    line_down_mbps,
    line_up_mbps,
    wanted_mbps,
)
from meshlint.workings.links.goodput import LEAST_MBPS, framed_mbps, goodput_mbps, legs_of_way
from meshlint.workings.links.last_hop import frames_each_way, on_air
from meshlint.workings.topology.radio_use import fitting_radios
from meshlint.workings.topology.tree import stated_clients
from meshlint.workings.unknown import Input, Unknown, answer, gather, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meshlint.physics.fairness import Share
    from meshlint.physics.traffic import Frames
    from meshlint.site.model import ClientGroup
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

FAIR = (
    "max-min fair shares of all clients, every collision domain within its time (Jun and Sichitiu "
    "2003)"
)

Direction = Literal["down", "up"]


class Delivered(Struct, frozen=True):
    """What each of some devices of a group asks for and gets, one way; `part` of the group."""

    wanted_mbps: float
    share: Share
    held_by: str
    held_at: str
    part: float = 1.0


class _Asked(Struct, frozen=True):
    """A flow to be given a share: whose it is, which way, and which part of the group."""

    group: ClientGroup
    way: Direction
    part: float
    flow: Flow


def _uses(
    w: Workings, devices: Devices, way: Direction, last: OnAir | None, frames: Frames
) -> dict[str, float]:
    """Return for each resource on the way of devices the share of it that one Mb/s takes.

    What carries nothing is a resource of its own, of which there is no room at all.
    """
    found: dict[str, float] = {}

    def add(name: str, carried_mbps: float) -> None:
        if carried_mbps < LEAST_MBPS:
            found[f"{NO_ROOM}/{name}"] = 1.0
        else:
            found[name] = found.get(name, 0.0) + 1 / carried_mbps

    around = w.once(conflict_graph).around
    if last is not None:
        hop = last.hop(frames)
        if hop is None:
            add(f"signal/{devices.unit}", 0.0)
        else:
            for key in around(radio_contender(w, last.radio).key):
                add(f"air/{key}", hop.goodput_mbps)
    for link in legs_of_way(w, devices.unit):
        carried_mbps = goodput_mbps(w, link)
        if link.over == "radio" and carried_mbps:
            carried_mbps = framed_mbps(w, link, frames)
            for key in around(f"link/{link.name}"):
                add(f"air/{key}", carried_mbps)
        else:
            # Powerline and coax are one medium for both ways, a cable is one for each.
            name = f"{way}/{link.name}" if link.over == "cable" else f"both/{link.in_file}"
            add(name, carried_mbps)
    add(f"line/{way}", line_down_mbps(w) if way == "down" else line_up_mbps(w))
    add(f"routing/{way}", _routing_mbps(w))
    return found


NO_ROOM: Final = "nothing"
"""The kind of resource that has no room, before the name that it would have with some."""


def _routing_mbps(w: Workings) -> float:
    primary = w.site.units[w.site.primary]
    if not primary.may_route:
        return float("inf")
    pointer = (*primary.pointer, "routing_mbps")
    return need(primary.routing_mbps, pointer, "what the primary can route")


class FairShares(Struct, frozen=True):
    """What groups get each way, part by part, and what is missing for those that are open."""

    delivered: Mapping[tuple[str, Direction], tuple[Delivered, ...]]
    lacking: Mapping[str, tuple[Input, ...]]


def fair_shares(w: Workings) -> FairShares:
    """Return what every group gets; open for groups that share something with an unknown.

    An unknown is a group of which way or wants are not known, or a resource of which the room is
    not. It leaves alone who shares nothing with it but lines and routing with room for everybody.
    """
    groups = [group for group in stated_clients(w.site) if _asks(group)]
    answers = {group.name: answer(_flows, w, group) for group in groups}
    asked = [x for found in answers.values() if not isinstance(found, Unknown) for x in found]
    names = dict.fromkeys(name for one in asked for name in one.flow.uses)
    rooms = {name: answer(_room, w, name) for name in names}
    lacking = {name: x.inputs for name, x in answers.items() if isinstance(x, Unknown)}
    lacks = [*lacking.values(), *(x.inputs for x in rooms.values() if isinstance(x, Unknown))]
    if lacks:
        unknown = [group for group in groups if group.name in lacking]
        open_ = {name for name, found in rooms.items() if isinstance(found, Unknown)}
        for name in _touched(w, asked, unknown, open_):
            lacking.setdefault(name, tuple(dict.fromkeys(x for inputs in lacks for x in inputs)))
        asked = [one for one in asked if one.group.name not in lacking]
    return FairShares(_delivered(w, asked, rooms), lacking)


def _touched(
    w: Workings, asked: list[_Asked], unknown: list[ClientGroup], open_: set[str]
) -> set[str]:
    """Return the groups whose shares hang on those of unknown groups or on unknown rooms."""
    roomy = _roomy(w, asked, unknown)
    for group in unknown:
        reach = answer(_reach, w, group)
        if isinstance(reach, Unknown):
            return {one.group.name for one in asked}
        open_ |= reach
    found: set[str] = set()
    grown = True
    while grown:
        new = {
            one.group.name
            for one in asked
            if one.group.name not in found and (open_ - roomy) & one.flow.uses.keys()
        }
        found |= new
        open_ |= {x for one in asked if one.group.name in new for x in one.flow.uses}
        grown = bool(new)
    return found


def _roomy(w: Workings, asked: list[_Asked], unknown: list[ClientGroup]) -> set[str]:
    """Return the lines and routing with room for all that everybody asks for."""
    wants = answer(gather, unknown, lambda group: asked_mbps(Devices(group, "")))
    if isinstance(wants, Unknown):
        return set()
    found = set()
    for at, way in enumerate(("down", "up")):
        known_mbps = math.fsum(
            one.flow.count * one.flow.wanted_mbps for one in asked if one.way == way
        )
        mbps = known_mbps + math.fsum(want[at] for want in wants)
        carried = {
            f"line/{way}": answer(line_down_mbps if way == "down" else line_up_mbps, w),
            f"routing/{way}": answer(_routing_mbps, w),
        }
        found |= {x for x, y in carried.items() if not isinstance(y, Unknown) and mbps <= y}
    return found


def _reach(w: Workings, group: ClientGroup) -> set[str]:
    """Return every resource that a group may use, though not all of its way is known."""
    near = w.once(conflict_graph).near
    found = {f"{kind}/{way}" for kind in ("line", "routing") for way in ("down", "up")}
    for unit in units_of(w, group):
        for link in legs_of_way(w, unit):
            found |= {f"air/{key}" for key in near.get(f"link/{link.name}", ())}
            found |= {f"{kind}/{link.name}" for kind in ("down", "up", "both")}
        if group.wired_to is None:
            for radio in fitting_radios(w.site, group, w.site.units[unit]):
                found |= {f"air/{key}" for key in near[radio_contender(w, radio).key]}
    return found


def _delivered(
    w: Workings, asked: list[_Asked], rooms: Mapping[str, float | Unknown]
) -> Mapping[tuple[str, Direction], tuple[Delivered, ...]]:
    known = {name: room for name, room in rooms.items() if not isinstance(room, Unknown)}
    shares = max_min([one.flow for one in asked], known)
    found: dict[tuple[str, Direction], tuple[Delivered, ...]] = {}
    for one, share in zip(asked, shares, strict=True):
        stopped = _said(w, share.bottleneck), _subject(w, share.bottleneck)
        delivered = Delivered(one.flow.wanted_mbps, share, *stopped, one.part)
        key = (one.group.name, one.way)
        found[key] = (*found.get(key, ()), delivered)
    return found


def _asks(group: ClientGroup) -> bool:
    return bool(group.count) and group.active_share != 0


def _flows(w: Workings, group: ClientGroup) -> tuple[_Asked, ...]:
    """Return a group's flows: one each way for each of its radios, one more without signal."""
    wanted = wanted_mbps(group)
    ways: tuple[Direction, Direction] = ("down", "up")
    parts: list[tuple[Devices, OnAir | None]] = [(part.devices, part) for part in on_air(w, group)]
    if group.wired_to is not None:
        parts = [(devices, None) for devices in devices_of(w, group)]
    found = []
    for devices, last in parts:
        served = 1.0 if last is None else last.served_part
        for at, way in enumerate(ways):
            frames = frames_each_way(group)[at]
            if served > 0:
                uses = _uses(w, devices, way, last, frames)
                found.append(_asked(devices, way, served, wanted[at], uses))
            if served < 1 - _ROUNDING:
                uses = {f"{NO_ROOM}/signal/{devices.unit}": 1.0}
                found.append(_asked(devices, way, 1 - served, wanted[at], uses))
    return tuple(found)


_ROUNDING: Final = 1e-9


def _asked(
    devices: Devices, way: Direction, served: float, wanted_mbps: float, uses: dict[str, float]
) -> _Asked:
    flow = Flow(active(devices) * served, wanted_mbps, uses)
    return _Asked(devices.group, way, devices.part * served, flow)


def _room(w: Workings, name: str) -> float:
    """Return how much there is of a resource: of an air, the time that is left for traffic."""
    kind, _, key = name.partition("/")
    if kind == NO_ROOM:
        return 0.0
    if kind != "air":
        return 1.0
    return standing(w, domain_of(w, w.once(contenders)[key])).room


def _subject(w: Workings, name: str | None) -> str:
    """Return the key of the subject that findings about a resource have."""
    kind, _, key = (name or "").removeprefix(f"{NO_ROOM}/").partition("/")
    if kind == "air":
        return domain_around(w, key).key
    if kind == "line":
        return "site"
    if kind == "signal":
        return f"units/{key}"
    if kind == "routing":
        return f"units/{w.site.primary}"
    return f"backhaul/{key}" if key else ""


def _said(w: Workings, name: str | None) -> str:
    if name is None:
        return ""
    kind, _, key = name.removeprefix(f"{NO_ROOM}/").partition("/")
    if kind == "air":
        return f"the air of {w.once(contenders)[key].label}"
    if kind == "line":
        return f"the internet line ({key})"
    if kind == "signal":
        return f"the signal of {key} where they are"
    return f"routing at {w.site.primary}" if kind == "routing" else key


def of_group(w: Workings, group: ClientGroup, way: Direction) -> tuple[Delivered, ...]:
    """Return what a group gets one way, part by part; raises `Missing` where nobody is active."""
    shares = w.once(fair_shares)
    raise_missing(shares.lacking.get(group.name, ()))
    found = shares.delivered.get((group.name, way))
    return need(found, (*group.pointer, "count"), "devices that are active")


def _mean(parts: Iterable[Delivered], of: Callable[[Delivered], float]) -> float:
    """Return the mean over the devices of all parts."""
    parts = tuple(parts)
    whole = math.fsum(part.part for part in parts)
    return math.fsum(of(part) * part.part for part in parts) / whole


def _served(found: Delivered) -> float:
    """Return how much of what it asks for a part gets."""
    return found.share.rate_mbps / found.wanted_mbps if found.wanted_mbps else 1.0


@fact("group.name", Kind.TEXT, "the group's name", source=STATED)
def name_(_: Workings, group: ClientGroup) -> str:
    return group.name


@fact("group.unit", Kind.TEXT, "the unit that it is on, or units", source=STATED)
def unit(w: Workings, group: ClientGroup) -> str:
    return phrase(units_of(w, group))


@fact("group.clients", Kind.COUNT, "how many devices it has", source=STATED)
def clients(_: Workings, group: ClientGroup) -> float:
    return group.count


@fact("group.asks", Kind.TRUTH, "whether any of it is active and asks for a rate", source=ASKED)
def asks(_: Workings, group: ClientGroup) -> bool:
    return _asks(group) and any(wanted_mbps(group))


@fact(
    "group.delivered_down_mbps",
    Kind.NUMBER,
    "what its devices get when all ask at once, on average",
    source=FAIR,
    unit="Mb/s",
    digits=2,
)
def delivered_down_mbps(w: Workings, group: ClientGroup) -> float:
    return _mean(of_group(w, group, "down"), lambda found: found.share.rate_mbps)


@fact(
    "group.delivered_up_mbps",
    Kind.NUMBER,
    "what its devices can send when all do at once, on average",
    source=FAIR,
    unit="Mb/s",
    digits=2,
)
def delivered_up_mbps(w: Workings, group: ClientGroup) -> float:
    return _mean(of_group(w, group, "up"), lambda found: found.share.rate_mbps)


@fact(
    "group.served_percent",
    Kind.NUMBER,
    "how much of what it asks for it gets, in the worse direction, on average",
    source=FAIR,
    unit="%",
)
def served_percent(w: Workings, group: ClientGroup) -> float:
    ways: tuple[Direction, Direction] = ("down", "up")
    return 100 * min(_mean(of_group(w, group, way), _served) for way in ways)


def _worse(w: Workings, group: ClientGroup) -> Delivered:
    """Return the part of a group that gets least of what it asks for, in the worse direction."""
    ways: tuple[Direction, Direction] = ("down", "up")
    worse = min((of_group(w, group, way) for way in ways), key=lambda x: _mean(x, _served))
    return min(worse, key=_served)


@fact("group.held_by", Kind.TEXT, "what stops it there, in the worse direction", source=FAIR)
def held_by(w: Workings, group: ClientGroup) -> str:
    return _worse(w, group).held_by


@fact("group.held_at", Kind.TEXT, "the subject that stops it, as reports name it", source=FAIR)
def held_at(w: Workings, group: ClientGroup) -> str:
    return _worse(w, group).held_at

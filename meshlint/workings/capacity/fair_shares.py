"""What each client group gets when all ask at once, and what stops it.

Max-min fair per client, down and up as flows of their own, none above what it asks for. Every
collision domain has the time that beacons, other people's networks and contention leave; wires are
full duplex, the internet lines and the primary's routing count each way by itself.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.fairness import max_min
from meshlint.workings.capacity.flows import (
    NO_ROOM,
    Asked,
    Direction,
    asks_for_something,
    flows_of,
    least_room,
    room_of,
    routing_mbps,
    wire,
)
from meshlint.workings.contention.domains import (
    conflict_graph,
    contenders,
    domain_around,
    radio_contender,
)
from meshlint.workings.fact import STATED, Kind, fact, phrase
from meshlint.workings.links.attachment import Devices, units_of
from meshlint.workings.links.demand import (
    ASKED,
    asked_mbps,
    line_down_mbps,
    line_up_mbps,
    wanted_mbps,
)
from meshlint.workings.links.goodput import LEAST_MBPS, framed_mbps, goodput_mbps, legs_of_way
from meshlint.workings.links.last_hop import frames_each_way, on_air
from meshlint.workings.topology.radio_use import fitting_radios
from meshlint.workings.topology.tree import stated_clients
from meshlint.workings.unknown import Input, Unknown, answer, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from meshlint.physics.fairness import Share
    from meshlint.physics.traffic import Frames
    from meshlint.site.model import ClientGroup, Radio
    from meshlint.workings.site_workings import Workings

FAIR = (
    "max-min fair shares of all clients, every collision domain within its time (Jun and Sichitiu "
    "2003)"
)


class Delivered(Struct, frozen=True):
    """What each of some devices of a group asks for and gets, one way; `part` of the group."""

    wanted_mbps: float
    share: Share
    held_by: str
    held_at: str
    part: float = 1.0


class FairShares(Struct, frozen=True):
    """What groups get each way, part by part, and what is missing for those that are open."""

    delivered: Mapping[tuple[str, Direction], tuple[Delivered, ...]]
    lacking: Mapping[str, tuple[Input, ...]]


def fair_shares(w: Workings) -> FairShares:
    """Return what every group gets; open for groups that share something with an unknown.

    An unknown is a group of which way or wants are not known, or a resource of which it is open
    how much there is or who uses it. It leaves alone all who share nothing with it but what has
    room for everybody.
    """
    groups = [group for group in stated_clients(w.site) if asks_for_something(group)]
    answers = {group.name: answer(flows_of, w, group) for group in groups}
    asked = [x for found in answers.values() if not isinstance(found, Unknown) for x in found]
    names = dict.fromkeys(name for one in asked for name in (*one.flow.uses, *one.open_))
    rooms = {name: answer(room_of, w, name) for name in names}
    lacking = {name: x.inputs for name, x in answers.items() if isinstance(x, Unknown)}
    lacks = [*lacking.values(), *(x.inputs for x in rooms.values() if isinstance(x, Unknown))]
    if lacks:
        unknown = [group for group in groups if group.name in lacking]
        open_ = {name for name, found in rooms.items() if isinstance(found, Unknown)}
        open_.update(name for one in asked for name in one.open_)
        for name in _touched(w, asked, unknown, open_):
            lacking.setdefault(name, tuple(dict.fromkeys(x for inputs in lacks for x in inputs)))
        asked = [one for one in asked if one.group.name not in lacking]
    return FairShares(_delivered(w, asked, rooms), lacking)


def _touched(
    w: Workings, asked: list[Asked], unknown: list[ClientGroup], open_: set[str]
) -> set[str]:
    """Return the groups whose shares hang on those of unknown groups or on open resources."""
    reaches = [answer(_reach, w, group) for group in unknown]
    known = [reach for reach in reaches if not isinstance(reach, Unknown)]
    if len(known) < len(reaches):
        return {one.group.name for one in asked}
    open_ = open_.union(*known)
    names = open_.union(*(one.flow.uses for one in asked))
    most = dict.fromkeys(names, 0.0)
    for one in asked:
        mbps = one.flow.count * one.flow.wanted_mbps
        for name, share in (*one.flow.uses.items(), *one.open_.items()):
            most[name] += mbps * share
    for reach in known:
        for name, share in reach.items():
            most[name] += share
    roomy = {name for name, share in most.items() if share <= least_room(w, name)}
    found: set[str] = set()
    grown = True
    while grown:
        new = {
            one.group.name
            for one in asked
            if one.group.name not in found
            and (open_ - roomy) & (one.flow.uses.keys() | one.open_.keys())
        }
        found |= new
        open_ |= {x for one in asked if one.group.name in new for x in one.flow.uses}
        grown = bool(new)
    return found


def _reach(w: Workings, group: ClientGroup) -> dict[str, float]:
    """Return the most that a group may ask of each resource, though not all of its way is known.

    Infinite where that is open. A group on several units may be whole on any of them.
    """
    found: dict[str, float] = {}

    def add(name: str, mbps: float, carried_mbps: float | Unknown) -> None:
        carried = 0.0 if isinstance(carried_mbps, Unknown) else carried_mbps
        share = mbps / carried if carried >= LEAST_MBPS else math.inf
        found[name] = found.get(name, 0.0) + share

    around = w.once(conflict_graph).may_be_around
    asked = answer(asked_mbps, Devices(group, ""))
    lines = line_down_mbps, line_up_mbps
    ways: tuple[Direction, Direction] = ("down", "up")
    for at, way in enumerate(ways):
        mbps = math.inf if isinstance(asked, Unknown) else asked[at]
        frames = frames_each_way(group)[at]
        add(f"line/{way}", mbps, answer(lines[at], w))
        add(f"routing/{way}", mbps, answer(routing_mbps, w))
        for link in (x for unit in units_of(w, group) for x in legs_of_way(w, unit)):
            if link.over == "radio":
                for key in around(f"link/{link.name}"):
                    add(f"air/{key}", mbps, answer(framed_mbps, w, link, frames))
            else:
                add(wire(link, way), mbps, answer(goodput_mbps, w, link))
        for radio, carried_mbps in _last_hops(w, group, frames):
            for key in around(radio_contender(w, radio).key):
                add(f"air/{key}", mbps, carried_mbps)
    return found


def _last_hops(
    w: Workings, group: ClientGroup, frames: Frames
) -> Iterator[tuple[Radio, float | Unknown]]:
    """Yield each radio that devices of a group may be on, and what they get there."""
    parts = answer(on_air, w, group)
    if isinstance(parts, Unknown):
        for unit in units_of(w, group):
            for radio in fitting_radios(w.site, group, w.site.units[unit]):
                yield radio, parts
        return
    for part in parts:
        hop = answer(part.hop, frames)
        if hop is not None:
            yield part.radio, hop if isinstance(hop, Unknown) else hop.goodput_mbps


def _delivered(
    w: Workings, asked: list[Asked], rooms: Mapping[str, float | Unknown]
) -> Mapping[tuple[str, Direction], tuple[Delivered, ...]]:
    known = {name: room for name, room in rooms.items() if not isinstance(room, Unknown)}
    flows = [one.flow for one in asked]
    if len(known) < len(rooms):
        # What is open has room for all who are left here, so that it stops none of them.
        flows = [x._replace(uses={r: x.uses[r] for r in x.uses if r in known}) for x in flows]
    shares = max_min(flows, known)
    found: dict[tuple[str, Direction], tuple[Delivered, ...]] = {}
    for one, share in zip(asked, shares, strict=True):
        stopped = _said(w, share.bottleneck), _subject(w, share.bottleneck)
        delivered = Delivered(one.flow.wanted_mbps, share, *stopped, one.part)
        key = (one.group.name, one.way)
        found[key] = (*found.get(key, ()), delivered)
    return found


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
    return asks_for_something(group) and any(wanted_mbps(group))


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

"""What each client group gets when all ask at once, and what stops it.

Max-min fair per client, down and up as flows of their own, none above what it asks for. Every
collision domain has the time that beacons, other people's networks and contention leave; wires are
full duplex, the internet lines and the primary's routing count each way by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from meshlint.physics.fairness import Flow, max_min
from meshlint.workings.contention.airtime import standing
from meshlint.workings.contention.domains import (
    ContentionDomain,
    conflict_graph,
    contenders,
    domain_around,
    radio_contender,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import ASKED, active, line_down_mbps, line_up_mbps, wanted_mbps
from meshlint.workings.links.goodput import LEAST_MBPS, goodput_mbps, group_hop, group_radio
from meshlint.workings.topology.tree import links_of, stated_clients, unit_of
from meshlint.workings.unknown import gather, need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.physics.fairness import Share
    from meshlint.site.model import ClientGroup
    from meshlint.workings.site_workings import Workings

FAIR = (
    "max-min fair shares of all clients, every collision domain within its time (Jun and Sichitiu "
    "2003)"
)

Direction = Literal["down", "up"]


class Delivered(Struct, frozen=True):
    """What each client of a group asks for and gets, one way."""

    wanted_mbps: float
    share: Share
    held_by: str
    held_at: str


def uses(w: Workings, group: ClientGroup, way: Direction) -> dict[str, float]:
    """Return for each resource on a group's way the share of it that one Mb/s takes.

    What carries nothing is a resource of its own, of which there is no room at all.
    """
    found: dict[str, float] = {}

    def add(name: str, carried_mbps: float) -> None:
        if carried_mbps < LEAST_MBPS:
            found[f"{NO_ROOM}/{name}"] = 1.0
        else:
            found[name] = found.get(name, 0.0) + 1 / carried_mbps

    around = w.once(conflict_graph)
    if group.wired_to is None:
        mine = radio_contender(w, group_radio(w, group)).key
        for key in around[mine]:
            add(f"air/{key}", group_hop(w, group).goodput_mbps)
    for link in links_of(w, unit_of(w, group)):
        carried_mbps = goodput_mbps(w, link)
        if link.over == "radio" and carried_mbps:
            for key in around[f"link/{link.name}"]:
                add(f"air/{key}", carried_mbps)
        else:
            # Powerline and coax are one medium for both ways, a cable is one for each.
            name = f"{way}/{link.name}" if link.over == "cable" else f"both/{link.name}"
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


def fair_shares(w: Workings) -> Mapping[tuple[str, Direction], Delivered]:
    """Return what every group gets each way; raises `Missing` with all that lacks."""
    ways: tuple[Direction, Direction] = ("down", "up")
    groups = [group for group in stated_clients(w.site) if active(group)]
    asked = [(group, at, way) for group in groups for at, way in enumerate(ways)]
    flows = {
        (group.name, way): flow
        for (group, _, way), flow in zip(asked, gather(asked, lambda x: _flow(w, *x)), strict=True)
    }
    names = dict.fromkeys(name for flow in flows.values() for name in flow.uses)
    rooms = {name: _room(w, name) for name in names}
    shares = max_min(list(flows.values()), rooms)
    return {
        key: Delivered(
            flow.wanted_mbps, share, _said(w, share.bottleneck), _subject(w, share.bottleneck)
        )
        for (key, flow), share in zip(flows.items(), shares, strict=True)
    }


def _flow(w: Workings, group: ClientGroup, at: int, way: Direction) -> Flow:
    return Flow(active(group), wanted_mbps(group)[at], uses(w, group, way))


def _room(w: Workings, name: str) -> float:
    """Return how much there is of a resource: of an air, the time that is left for traffic."""
    kind, _, key = name.partition("/")
    if kind == NO_ROOM:
        return 0.0
    if kind != "air":
        return 1.0
    known = w.once(contenders)
    air = ContentionDomain(known[key], tuple(known[other] for other in w.once(conflict_graph)[key]))
    return standing(w, air).room


def _subject(w: Workings, name: str | None) -> str:
    """Return the key of the subject that findings about a resource have."""
    kind, _, key = (name or "").removeprefix(f"{NO_ROOM}/").partition("/")
    if kind == "air":
        return domain_around(w, key).key
    if kind == "line":
        return "site"
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
    return f"routing at {w.site.primary}" if kind == "routing" else key


def of_group(w: Workings, group: ClientGroup, way: Direction) -> Delivered:
    """Return what a group gets one way; a group without active devices asks for nothing."""
    found = w.once(fair_shares).get((group.name, way))
    return need(found, (*group.pointer, "count"), "devices that are active")


@fact("group.name", Kind.TEXT, "the group's name", source=STATED)
def name_(_: Workings, group: ClientGroup) -> str:
    return group.name


@fact("group.unit", Kind.TEXT, "the unit that it hangs on", source=STATED)
def unit(w: Workings, group: ClientGroup) -> str:
    return unit_of(w, group)


@fact("group.clients", Kind.COUNT, "how many devices it has", source=STATED)
def clients(_: Workings, group: ClientGroup) -> float:
    return group.count


@fact("group.asks", Kind.TRUTH, "whether any of it is active and asks for a rate", source=ASKED)
def asks(_: Workings, group: ClientGroup) -> bool:
    return bool(active(group)) and any(wanted_mbps(group))


@fact(
    "group.wanted_down_mbps",
    Kind.NUMBER,
    "what one of its devices asks for",
    source=STATED,
    unit="Mb/s",
    digits=2,
)
def wanted_down_mbps(_: Workings, group: ClientGroup) -> float:
    return wanted_mbps(group)[0]


@fact(
    "group.wanted_up_mbps",
    Kind.NUMBER,
    "what one of its devices sends",
    source=STATED,
    unit="Mb/s",
    digits=2,
)
def wanted_up_mbps(_: Workings, group: ClientGroup) -> float:
    return wanted_mbps(group)[1]


@fact(
    "group.delivered_down_mbps",
    Kind.NUMBER,
    "what one of its devices gets when all ask at once",
    source=FAIR,
    unit="Mb/s",
    digits=2,
)
def delivered_down_mbps(w: Workings, group: ClientGroup) -> float:
    return of_group(w, group, "down").share.rate_mbps


@fact(
    "group.delivered_up_mbps",
    Kind.NUMBER,
    "what one of its devices can send when all do at once",
    source=FAIR,
    unit="Mb/s",
    digits=2,
)
def delivered_up_mbps(w: Workings, group: ClientGroup) -> float:
    return of_group(w, group, "up").share.rate_mbps


@fact(
    "group.served_percent",
    Kind.NUMBER,
    "how much of what it asks for it gets, in the worse direction",
    source=FAIR,
    unit="%",
)
def served_percent(w: Workings, group: ClientGroup) -> float:
    found = [of_group(w, group, way) for way in ("down", "up")]
    return 100 * min(d.share.rate_mbps / d.wanted_mbps if d.wanted_mbps else 1.0 for d in found)


def _worse(w: Workings, group: ClientGroup) -> Delivered:
    """Return what a group gets in the direction in which it gets less of what it asks for."""
    found = [of_group(w, group, way) for way in ("down", "up")]
    return min(found, key=lambda d: d.share.rate_mbps / d.wanted_mbps if d.wanted_mbps else 1.0)


@fact("group.held_by", Kind.TEXT, "what stops it there, in the worse direction", source=FAIR)
def held_by(w: Workings, group: ClientGroup) -> str:
    return _worse(w, group).held_by


@fact("group.held_at", Kind.TEXT, "the subject that stops it, as reports name it", source=FAIR)
def held_at(w: Workings, group: ClientGroup) -> str:
    return _worse(w, group).held_at

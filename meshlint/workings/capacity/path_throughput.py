"""What each unit and each client can get out of the mesh, and what stops it there.

The path of a unit is worked out for one flow that has the site to itself: its radio hops take turns
where they share air (ceiling: only those that can never send at once; floor: whole collision
domains, carefully), in the time that other people's networks are known to leave; and wires, the
primary's routing and the internet line cap it. The shares of clients are worked out for all of them
together: max-min fair, none above what it asks for, every collision domain within its time (the
bottleneck-collision-domain method).
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.capacity import most_in_turn, path_mbps, turn_us
from meshlint.workings.contention.airtime import known_foreign_share
from meshlint.workings.contention.domains import HEARING, conflict, link_contender
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.demand import line_down_mbps
from meshlint.workings.links.goodput import (
    TIMING,
    carried_mbps,
    goodput_mbps,
    latency_ms,
    leg_hop,
    legs_of_way,
    radio_hop,
    with_legs,
)
from meshlint.workings.topology.tree import GRAPH, links_of
from meshlint.workings.unknown import Input, Missing, Unknown, answer, gather, need

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meshlint.physics.capacity import Hop
    from meshlint.site.model import Link, Unit
    from meshlint.workings.contention.domains import Contender
    from meshlint.workings.site_workings import Workings

PATH = (
    "link.goodput_mbps of each hop; hops that can never send at once take turns, contention by "
    "Bianchi 2000"
)
DOMAIN = (
    "link.goodput_mbps of each hop; whole collision domains take turns (Jun and Sichitiu 2003), "
    "contention by Bianchi 2000"
)

CAREFUL = (
    f"{DOMAIN}; 70 % of it where hops take turns, 75 % of a hop alone that was not measured: below "
    "every chain that we simulated with ns-3 3.44"
)

NOTHING_STOPS: Final = float("inf")


class PathThroughput(Struct, frozen=True):
    """What one flow gets on the way from a unit to the primary; infinite where there is no hop."""

    floor_mbps: float
    ceiling_mbps: float
    slowest_mbps: float
    held_by: str


def throughput_of(w: Workings, unit: str) -> PathThroughput:
    """Return what the way of a unit carries; raises `Missing` where it has none."""
    return w.once(_throughput_of, unit, unit)


def _throughput_of(w: Workings, unit: str) -> PathThroughput:
    return throughput_over(w, links_of(w, unit))


def carrying_throughput(w: Workings, unit: str) -> PathThroughput:
    """Return the way of a unit where it carries something, so that there can be a share of it."""
    for link in links_of(w, unit):
        carried_mbps(w, link)
    found = throughput_of(w, unit)
    need(found.ceiling_mbps or None, ("neighbours",), "loads that leave it some time")
    return found


def throughput_over(
    w: Workings, links: Sequence[Link], made: Mapping[str, Contender] = MappingProxyType({})
) -> PathThroughput:
    """Return what one flow gets over links one after the other.

    `made` holds the contenders of links, by name, that are not in the file but a possibility.
    """
    if not links:
        return PathThroughput(NOTHING_STOPS, NOTHING_STOPS, NOTHING_STOPS, "")
    radio = [leg for leg in with_legs(w, links) if leg.over == "radio"]
    taken = _taken(w, radio, made)
    alone = {x.name: goodput_mbps(w, x) * (1 - taken.get(x.in_file, 0.0)) for x in links}
    # Powerline and coax of one building are one air as well, but of which lines share it nothing
    # is known: each counts by itself.
    wired = [link for link in links if link.over != "radio"]
    floor_mbps = ceiling_mbps = NOTHING_STOPS
    held_by = ""
    if radio:
        pairs = clashes(w, radio, made)
        floor_mbps, ceiling_mbps = path_mbps(
            [radio_hop(w, x) for x in radio], pairs, [taken[x.in_file] for x in radio]
        )
        held_by = " and ".join(dict.fromkeys(link.in_file for link in radio))
    if wired:
        slowest = min(wired, key=lambda link: alone[link.name])
        if alone[slowest.name] < ceiling_mbps:
            held_by = slowest.name
        floor_mbps = min(floor_mbps, alone[slowest.name])
        ceiling_mbps = min(ceiling_mbps, alone[slowest.name])
    return PathThroughput(floor_mbps, ceiling_mbps, min(alone.values()), held_by)


def _taken(w: Workings, radio: Sequence[Link], made: Mapping[str, Contender]) -> dict[str, float]:
    """Return the share (0 to 1) of each radio link's time that others' networks surely take.

    Those whose load a scan tells. A link of several legs sends more over those that are left alone.
    """
    legs: dict[str, list[Link]] = {}
    for leg in radio:
        legs.setdefault(leg.in_file, []).append(leg)
    found = {}
    for name, several in legs.items():
        shares = [
            known_foreign_share(w, made.get(leg.name) or link_contender(w, leg)) for leg in several
        ]
        hops = answer(gather, several, lambda leg: leg_hop(w, leg).goodput_mbps)
        weights = [1.0] * len(several) if len(several) == 1 or isinstance(hops, Unknown) else hops
        lost = math.fsum(share * weight for share, weight in zip(shares, weights, strict=True))
        found[name] = lost / math.fsum(weights)
    return found


def clashes(
    w: Workings, links: Sequence[Link], made: Mapping[str, Contender] = MappingProxyType({})
) -> set[tuple[int, int]]:
    """Return the pairs (i, j), i < j, of radio links that cannot be on the air at once."""
    if len(links) < 2:
        return set()
    chain = [made.get(link.name) or link_contender(w, link) for link in links]
    return {
        (i, j)
        for i, one in enumerate(chain)
        for j, other in enumerate(chain[i + 1 :], i + 1)
        if conflict(w, one, other)
    }


def sharing(w: Workings, links: Sequence[Link], at: int) -> list[Hop]:
    """Return the hops of radio links that wait for the one at a position, itself among them."""
    pairs = clashes(w, links)
    near = [j for j in range(len(links)) if j == at or (min(at, j), max(at, j)) in pairs]
    return [radio_hop(w, links[j]) for j in near]


@fact(
    "unit.backhaul_mbps",
    Kind.NUMBER,
    "the most that it gets from the primary when nobody else uses the mesh, in the time that "
    "networks of others leave as far as the file tells",
    source=PATH,
    unit="Mb/s",
)
def backhaul_mbps(w: Workings, unit: Unit) -> float:
    return _finite(w, unit, throughput_of(w, unit.name).ceiling_mbps)


@fact(
    "unit.backhaul_floor_mbps",
    Kind.NUMBER,
    "the same where no air is used twice at once, less what TCP and a source without restraint "
    "cost: a careful estimate, no guarantee",
    source=CAREFUL,
    unit="Mb/s",
)
def backhaul_floor_mbps(w: Workings, unit: Unit) -> float:
    return _finite(w, unit, throughput_of(w, unit.name).floor_mbps)


def _finite(w: Workings, unit: Unit, found_mbps: float) -> float:
    """Return a path's goodput; the primary has no way to itself."""
    if unit.name == w.site.primary:
        raise Missing(Input(("primary",), "a unit joined to the primary"))
    return found_mbps


@fact(
    "unit.internet_mbps",
    Kind.NUMBER,
    "best-case goodput from the internet: way, primary's routing and line",
    source=PATH,
    unit="Mb/s",
)
def internet_mbps(w: Workings, unit: Unit) -> float:
    return min(mbps for mbps, _ in _caps(w, unit))


@fact("unit.internet_held_by", Kind.TEXT, "what holds that goodput where it is", source=PATH)
def internet_held_by(w: Workings, unit: Unit) -> str:
    return min(_caps(w, unit), key=lambda cap: cap[0])[1]


def _caps(w: Workings, unit: Unit) -> tuple[tuple[float, str], ...]:
    way = throughput_of(w, unit.name)
    primary = w.site.units[w.site.primary]
    caps = [(way.ceiling_mbps, way.held_by), (line_down_mbps(w), "the internet line")]
    if primary.may_route:
        pointer = (*primary.pointer, "routing_mbps")
        routing_mbps = need(primary.routing_mbps, pointer, "what the primary can route")
        caps.append((routing_mbps, f"routing at {primary.name}"))
    return tuple(caps)


@fact(
    "unit.left_of_one_hop_percent",
    Kind.NUMBER,
    "what the way leaves of the slowest of its links alone",
    source=PATH,
    unit="%",
)
def left_of_one_hop_percent(w: Workings, unit: Unit) -> float:
    _finite(w, unit, 0)
    way = carrying_throughput(w, unit.name)
    return 100 * way.ceiling_mbps / way.slowest_mbps


@fact(
    "unit.goodput_by_hop",
    Kind.TEXTS,
    "best-case goodput at each unit of the way, nearest the primary first",
    source=PATH,
)
def goodput_by_hop(w: Workings, unit: Unit) -> tuple[str, ...]:
    here = unit.name
    told = []
    for link in links_of(w, unit.name):
        told.append(f"{throughput_of(w, here).ceiling_mbps:.0f} Mb/s at {here}")
        here = link.far_end(here)
    return tuple(reversed(told))


@fact(
    "unit.lost_at_last_hop_percent",
    Kind.NUMBER,
    "what its own uplink takes away of what its parent gets",
    source=PATH,
    unit="%",
)
def lost_at_last_hop_percent(w: Workings, unit: Unit) -> float:
    _finite(w, unit, 0)
    links = links_of(w, unit.name)
    before_mbps = carrying_throughput(w, links[0].far_end(unit.name)).ceiling_mbps
    if before_mbps == NOTHING_STOPS:
        return 0.0
    return max(0.0, 100 * (1 - throughput_of(w, unit.name).ceiling_mbps / before_mbps))


@fact(
    "unit.latency_ms",
    Kind.NUMBER,
    "delay to the primary one way when nobody else sends",
    source=TIMING,
    unit="ms",
    digits=1,
)
def unit_latency_ms(w: Workings, unit: Unit) -> float:
    return sum(latency_ms(w, link) for link in links_of(w, unit.name))


@fact(
    "unit.busy_latency_ms",
    Kind.NUMBER,
    "delay to the primary one way when every hop of it always has something to send",
    source="one turn of each hop among as many busy senders as share its air; Bianchi 2000",
    unit="ms",
    digits=1,
)
def busy_latency_ms(w: Workings, unit: Unit) -> float:
    carrying_throughput(w, unit.name)
    radio = [leg for leg in legs_of_way(w, unit.name) if leg.over == "radio"]
    waits_us: dict[str, float] = {}  # a frame is tied to a leg before it waits: the slowest counts
    for at, link in enumerate(radio):
        wait_us = turn_us(len(sharing(w, radio, at)), radio_hop(w, link).exchange)
        waits_us[link.in_file] = max(wait_us, waits_us.get(link.in_file, 0.0))
    return sum(waits_us.values()) / 1000


@fact(
    "unit.fewest_turns",
    Kind.COUNT,
    "radio hops of the way that can never send at once, where it is tightest",
    source=f"{GRAPH}; {HEARING}",
)
def fewest_turns(w: Workings, unit: Unit) -> float:
    radio = [leg for leg in legs_of_way(w, unit.name) if leg.over == "radio"]
    return most_in_turn(len(radio), clashes(w, radio))

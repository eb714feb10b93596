"""Better designs seen in passing: another parent, a cable on a known route."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.alternatives.candidate_links import (
    METRIC,
    CandidateLink,
    by_radio,
    cabled,
    joined_contender,
    known_links,
    metric_of,
)
from meshlint.workings.capacity.path_throughput import (
    PATH,
    PathThroughput,
    throughput_of,
    throughput_over,
)
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.cable_routes import cable_way, links_below, route_mbps
from meshlint.workings.links.demand import behind_mbps
from meshlint.workings.topology.tree import links_of, lower_end, tree
from meshlint.workings.unknown import Input, Missing, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.model import Link, Unit
    from meshlint.workings.site_workings import Workings

BETTER = f"least {METRIC} over every unit in reach that is not behind this one"


class Parent(Struct, frozen=True):
    """A parent for a unit, what the way through it would carry, and the link; None for today's."""

    name: str
    metric: float
    way: PathThroughput
    candidate: CandidateLink | None


def over_candidates(w: Workings, candidates: Sequence[CandidateLink]) -> PathThroughput:
    """Return what the way over new links, one after the other, and on from the last would carry."""
    made = {c.link.name: joined_contender(w, c.link) for c in candidates if c.link.over == "radio"}
    links = [candidate.link for candidate in candidates]
    return throughput_over(w, (*links, *links_of(w, candidates[-1].parent)), made)


def path_metric(w: Workings, unit: str) -> float:
    """Return the sum of the airtime metric over the way of a unit."""
    return math.fsum(metric_of(w, link) for link in links_of(w, unit))


def best_parent(w: Workings, unit: Unit) -> Parent:
    """Return the parent of the least metric to the primary: today's where no other is better.

    Raises `Missing` where today's is the best of those that can be told but others cannot be.
    """
    return w.once(_best_parent, unit.name, unit)


def _best_parent(w: Workings, unit: Unit) -> Parent:
    ways = w.once(tree)
    today = need(ways.parent(unit.name), ("backhaul",), f"a link that joins {unit.name}")
    below = set(ways.below(unit.name))
    missing: list[Input] = []
    best = Parent(today, path_metric(w, unit.name), throughput_of(w, unit.name), None)
    reached = by_radio(w, unit)
    able = set(ways.order) - below - {today}
    missing.extend(i for name, inputs in reached.unsure.items() if name in able for i in inputs)
    for candidate in (*_declared(w, unit, missing), *reached.candidates):
        if candidate.parent not in able:
            continue
        metric = candidate.metric + path_metric(w, candidate.parent)
        if metric < best.metric:
            best = Parent(candidate.parent, metric, best.way, candidate)
    if best.candidate is None:
        raise_missing(missing)
        return best
    return Parent(best.name, best.metric, over_candidates(w, [best.candidate]), best.candidate)


def _declared(w: Workings, unit: Unit, missing: list[Input]) -> Iterator[CandidateLink]:
    try:
        yield from known_links(w, unit.name)
    except Missing as error:
        missing.extend(error.inputs)


@fact(
    "unit.best_parent",
    Kind.TEXT,
    "the unit in reach through which its way to the primary takes least air",
    source=BETTER,
)
def best_parent_name(w: Workings, unit: Unit) -> str:
    return best_parent(w, unit).name


@fact(
    "unit.best_parent_mbps",
    Kind.NUMBER,
    "the most that it would get from the primary through that unit",
    source=BETTER,
    unit="Mb/s",
)
def best_parent_mbps(w: Workings, unit: Unit) -> float:
    return best_parent(w, unit).way.ceiling_mbps


@fact(
    "unit.airtime_metric",
    Kind.NUMBER,
    "sum of the airtime metric over its way, in units of 10.24 us",
    source=METRIC,
    digits=1,
)
def airtime_metric(w: Workings, unit: Unit) -> float:
    return path_metric(w, unit.name)


@fact(
    "unit.best_airtime_metric",
    Kind.NUMBER,
    "the same through the best parent",
    source=METRIC,
    digits=1,
)
def best_airtime_metric(w: Workings, unit: Unit) -> float:
    return best_parent(w, unit).metric


@fact(
    "link.with_cable_mbps",
    Kind.NUMBER,
    "the most that the unit behind it would get from the primary over the known cable route, "
    "which may lead to another parent",
    source=f"Ethernet framing at the rate of route and ports; {PATH}",
    unit="Mb/s",
)
def with_cable_mbps(w: Workings, link: Link) -> float:
    return _with_cable_mbps(w, link)


def _with_cable_mbps(w: Workings, link: Link) -> float:
    need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    rate_mbps = route_mbps(w, link)
    way = need(cable_way(w, link), ("cable_routes",), "a cable route that could take its place")
    cable = cabled(w, (way.near, way.far), rate_mbps)
    links = (*links_below(w, way, link), cable, *links_of(w, way.far))
    return throughput_over(w, links).ceiling_mbps


@fact(
    "link.cable_would_slow",
    Kind.TRUTH,
    "whether a cable on the known route would surely give the unit behind it less than it gets as "
    "it is, and less than clients there ask for, where the file states that",
    source=f"Ethernet framing at the rate of route and ports; {PATH}",
)
def cable_would_slow(w: Workings, link: Link) -> bool:
    try:
        cable_mbps = _with_cable_mbps(w, link)
        slower = cable_mbps < _path_mbps(w, link)
    except Missing:
        return False
    try:
        return slower and max(behind_mbps(w, link)) > cable_mbps
    except Missing:
        return slower


@fact(
    "link.path_mbps",
    Kind.NUMBER,
    "the most that the unit behind it gets from the primary as it is",
    source=PATH,
    unit="Mb/s",
)
def path_of_lower_end_mbps(w: Workings, link: Link) -> float:
    return _path_mbps(w, link)


def _path_mbps(w: Workings, link: Link) -> float:
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return throughput_of(w, lower).ceiling_mbps

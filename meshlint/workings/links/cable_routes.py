"""The cable that could relieve a radio link: which route of `cable_routes`, and what it carries.

A route relieves a link if it leads from the unit below the link, or one cabled to it, to a unit
that cables join to the primary, or to the unit above the link or one cabled to that. So a way to
a switch counts as much as one between the link's own ends, and the parent may be another than
today's.
"""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.cabling import fastest_mbps, is_fibre
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.ports import has_no_port_for, joined_mbps
from meshlint.workings.topology.tree import backhaul, lower_end, parts, tree, units_behind
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.site.model import CableRoute, Link, Pointer, Unit
    from meshlint.workings.site_workings import Workings

ROUTE = "IEEE 802.3 clauses 40, 55, 126; TIA TSB-155"


class CableWay(Struct, frozen=True):
    """A cable route that could relieve a radio link: from a unit below it to one above."""

    route: CableRoute
    position: int
    """Its place in the file's list."""
    near: str
    """The end that is, or is cabled to, the unit below the link."""
    far: str
    """The end that is nearer to the primary."""
    wired: bool
    """Whether cables alone lead on from there to the primary."""

    @property
    def pointer(self) -> Pointer:
        """Return where the route stands in the file."""
        return ("cable_routes", self.position)


def cable_way(w: Workings, link: Link) -> CableWay | None:
    """Return the route that relieves a link most, or `None` where none does.

    A laid one before a possible one, then one from which cables alone lead on, then one between
    the link's own ends. A cable longer than any rate of its category allows is no route.
    """
    need(w.site.cable_routes, ("cable_routes",), "where a cable could run")
    return w.once(_cable_way, link.name, link)


def _cable_way(w: Workings, link: Link) -> CableWay | None:
    ends = {link.from_unit, link.to_unit}
    return min(
        _ways(w, link),
        key=lambda way: (
            way.route.state != "laid",
            not way.wired,
            {way.near, way.far} != ends,
            way.position,
        ),
        default=None,
    )


def _ways(w: Workings, link: Link) -> Iterator[CableWay]:
    joined = w.once(_cabled_together)
    lower = lower_end(w, link) or link.from_unit
    behind = units_behind(w, link)
    below, above = joined[lower], joined[link.far_end(lower)]
    wired = joined[w.site.primary]
    for position, route in w.once(_routes_at).get(below, ()):
        for near, far in (route.between, route.between[::-1]):
            if joined[near] == below and joined[far] in (above, wired) and far not in behind:
                yield CableWay(route, position, near, far, joined[far] == wired)


def _cabled_together(w: Workings) -> Mapping[str, str]:
    """Return for each unit the first of those that cables join it to, itself among them."""
    return parts(w.site.units, (x for x in backhaul(w).values() if x.over == "cable"))


def _routes_at(w: Workings) -> Mapping[str, tuple[tuple[int, CableRoute], ...]]:
    """Return the routes that lead out of each set of units cabled together, by its first unit."""
    joined = w.once(_cabled_together)
    found: dict[str, list[tuple[int, CableRoute]]] = {}
    for position, route in enumerate(w.site.cable_routes or ()):
        one, other = (joined[unit] for unit in route.between)
        if one != other and not _too_long(route):
            found.setdefault(one, []).append((position, route))
            found.setdefault(other, []).append((position, route))
    return {name: tuple(routes) for name, routes in found.items()}


def _too_long(route: CableRoute) -> bool:
    if route.category is None or route.length_m is None:
        return False
    return fastest_mbps(route.category, route.length_m) == 0


def links_below(w: Workings, way: CableWay, link: Link) -> tuple[Link, ...]:
    """Return the cables between the route's near end and the unit below the link."""
    lower = lower_end(w, link)
    ways = w.once(tree)
    if lower is None or way.near not in ways.below(lower):
        return ()
    uplink = ways.uplink.get(lower)
    return tuple(takewhile(lambda other: other is not uplink, ways.way(way.near)))


def route_words_of(way: CableWay) -> str:
    """Return a route's length and category in words."""
    route = way.route
    length = f"{route.length_m:g} m " if route.length_m is not None else ""
    kind = f"of category {route.category.upper()}" if route.category else ""
    return f"{length}{kind}".strip() or "of unstated length"


def route_mbps(w: Workings, link: Link) -> float:
    """Return the fastest Ethernet to count on over the cable route that relieves a link.

    That is the least of the cable and of a port at each end that takes it. Raises `Missing` where
    the file leaves one of them open, or an end has no such port.
    """
    way = _needed(w, link)
    return joined_mbps(_ends(w, way), _medium(way), _cable_mbps(way))


def _needed(w: Workings, link: Link) -> CableWay:
    wanted = "a cable route that could take the link's place"
    return need(cable_way(w, link), ("cable_routes",), wanted)


def _ends(w: Workings, way: CableWay) -> tuple[Unit, ...]:
    return tuple(w.site.units[name] for name in way.route.between)


def _medium(way: CableWay) -> str:
    if way.route.medium is not None:
        return way.route.medium
    wanted = "whether the cable is copper or fibre"
    category = need(way.route.category, (*way.pointer, "medium"), wanted)
    return "fibre" if is_fibre(category) else "copper"


def _cable_mbps(way: CableWay) -> float:
    category = need(way.route.category, (*way.pointer, "category"), "the cable's category")
    length_m = need(way.route.length_m, (*way.pointer, "length_m"), "the cable's length")
    rate_mbps = fastest_mbps(category, length_m)
    return need(rate_mbps, (*way.pointer, "category"), "a category with a published rate")


@fact(
    "link.route_state",
    Kind.TEXT,
    "whether the cable route that could take its place is laid, possible, or there is none (none)",
    source=STATED,
)
def route_state(w: Workings, link: Link) -> str:
    way = cable_way(w, link)
    return way.route.state if way else "none"


@fact(
    "link.route_near_end",
    Kind.TEXT,
    "the end of that route below the link: its lower unit, or one cabled to it",
    source=STATED,
)
def route_near_end(w: Workings, link: Link) -> str:
    return _needed(w, link).near


@fact(
    "link.route_far_end",
    Kind.TEXT,
    "the other end of that route: its upper unit, or one that cables join to it or to the primary",
    source=STATED,
)
def route_far_end(w: Workings, link: Link) -> str:
    return _needed(w, link).far


@fact("link.route_words", Kind.TEXT, "that route's length and category in words", source=STATED)
def route_words(w: Workings, link: Link) -> str:
    way = cable_way(w, link)
    return route_words_of(way) if way else ""


@fact(
    "link.route_rate_mbps",
    Kind.NUMBER,
    "the fastest Ethernet that the route's category and length allow and that both its ends have "
    "a port for that takes the cable",
    source=ROUTE,
    unit="Mb/s",
)
def route_rate_mbps(w: Workings, link: Link) -> float:
    return route_mbps(w, link)


@fact(
    "link.route_cable_mbps",
    Kind.NUMBER,
    "the fastest Ethernet that the route's category and length allow, whatever the ports",
    source=ROUTE,
    unit="Mb/s",
)
def route_cable_mbps(w: Workings, link: Link) -> float:
    return _cable_mbps(_needed(w, link))


@fact(
    "link.route_lacks_port_at",
    Kind.TEXTS,
    "ends of the route whose stated ports all refuse its cable",
    source=STATED,
)
def route_lacks_port_at(w: Workings, link: Link) -> tuple[str, ...]:
    way = _needed(w, link)
    medium = _medium(way)
    return tuple(unit.name for unit in _ends(w, way) if has_no_port_for(unit, medium))


@fact(
    "link.route_ports_unstated_at",
    Kind.TEXTS,
    "ends of the route of whose ports the file does not tell",
    source=STATED,
)
def route_ports_unstated_at(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(unit.name for unit in _ends(w, _needed(w, link)) if unit.ports is None)


@fact(
    "link.cabled_beside",
    Kind.TRUTH,
    "whether cables of the file join its two units already, straight or through others",
    source=STATED,
)
def cabled_beside(w: Workings, link: Link) -> bool:
    joined = w.once(_cabled_together)
    return joined[link.from_unit] == joined[link.to_unit]

"""Layer 2: loops of bridging links, how many bridges stand in a row, who routes and who serves.

Every unit bridges between its links, but for an injector, through which a cable merely passes.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.topology.tree import GRAPH, live_links, one_leg_each, parts, tree
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Link, Pointer, Site, Unit
    from meshlint.workings.site_workings import Workings

BRIDGING = "graph search over the links that can come up; IEEE 802.1Q for what a loop does"


def _bridged(w: Workings) -> Mapping[str, Link]:
    """Return the links that can come up, by name; the legs of one are a single way of frames."""
    return {link.name: link for link in one_leg_each(w.once(live_links).values())}


def looping(w: Workings) -> tuple[Link, ...]:
    """Return every link that lies on a loop: those that could go without parting any two units.

    They are what is left when each link that alone holds two parts together is struck out: a link
    from which a depth-first search finds no way back above it (Tarjan 1974). A radio link whose
    ends cannot meet passes no frame on, and is no edge.
    """
    links = w.once(_bridged)
    around: dict[str, list[Link]] = {name: [] for name in w.site.units}
    for link in links.values():
        around[link.from_unit].append(link)
        around[link.to_unit].append(link)
    seen: dict[str, int] = {}
    lowest: dict[str, int] = {}
    alone: set[str] = set()
    for first, leaving in around.items():
        if first in seen:
            continue
        seen[first] = lowest[first] = len(seen)
        stack = [(first, "", iter(leaving))]
        while stack:
            unit, via, rest = stack[-1]
            onward = next(rest, None)
            if onward is None:
                stack.pop()
                if stack:
                    above = stack[-1][0]
                    lowest[above] = min(lowest[above], lowest[unit])
                    if lowest[unit] > seen[above]:
                        alone.add(via)
            elif onward.name != via:
                beyond = onward.far_end(unit)
                if beyond in seen:
                    lowest[unit] = min(lowest[unit], seen[beyond])
                else:
                    seen[beyond] = lowest[beyond] = len(seen)
                    stack.append((beyond, onward.name, iter(around[beyond])))
    return tuple(link for link in links.values() if link.name not in alone)


def _on_loops(w: Workings) -> tuple[Unit, ...]:
    names = {end for link in w.once(looping) for end in (link.from_unit, link.to_unit)}
    return tuple(u for u in w.site.units.values() if u.name in names and u.kind != "injector")


def unguarded(w: Workings) -> tuple[Unit, ...]:
    """Return the units on loops without loop protection, or say where that is not stated."""
    on_loops = _on_loops(w)
    bare = tuple(unit for unit in on_loops if unit.loop_protection == "none")
    unsure = [unit for unit in on_loops if unit.loop_protection is None]
    if unsure and not bare:
        wanted = "what keeps a second path from becoming a loop"
        raise Missing(*(Input((*u.pointer, "loop_protection"), wanted) for u in unsure))
    return bare


def loop_through(w: Workings, unit: str) -> tuple[Link, ...]:
    """Return a shortest loop through a unit, as its links in order from there."""
    links = w.once(looping)
    around: dict[str, list[Link]] = {}
    for link in links:
        around.setdefault(link.from_unit, []).append(link)
        around.setdefault(link.to_unit, []).append(link)
    found: list[tuple[Link, ...]] = []
    for first in around.get(unit, ()):
        start = first.far_end(unit)
        ways: dict[str, tuple[Link, ...]] = {start: (first,)}
        queue = deque([start])
        while queue and unit not in ways:
            here = queue.popleft()
            for link in around[here]:
                beyond = link.far_end(here)
                if link is not first and beyond not in ways:
                    ways[beyond] = (*ways[here], link)
                    queue.append(beyond)
        if unit in ways:
            found.append(ways[unit])
    return min(found, key=len, default=())


def first_unguarded(w: Workings) -> Pointer | None:
    """Return where the first unit stands that leaves a loop unguarded."""
    return next((unit.pointer for unit in w.once(unguarded)), None)


def second_router(w: Workings) -> Pointer | None:
    """Return where the second unit stands that routes, or else hands out addresses."""
    names = rivals.compute(w, w.site)
    others = [name for name in names if name != w.site.primary] if isinstance(names, tuple) else []
    return ("units", others[0]) if others else None


def end_of_longest_way(w: Workings) -> Pointer | None:
    """Return where the far end of the longest way between two ends stands."""
    names = w.once(_longest)
    far = [name for name in names[:1] + names[-1:] if name != w.site.primary]
    return ("units", far[0]) if far else None


@fact("site.loops", Kind.COUNT, "links beyond those that a tree would need", source=BRIDGING)
def loops(w: Workings, site: Site) -> float:
    """Return the number of independent loops: links less units plus parts that hang together."""
    links = w.once(_bridged)
    apart = set(parts(site.units, links.values()).values())
    return len(links) - len(site.units) + len(apart)


@fact(
    "site.unguarded",
    Kind.TEXTS,
    "units on a loop that are said to have no loop protection",
    source=BRIDGING,
)
def unguarded_units(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(unit.name for unit in w.once(unguarded))


@fact("site.unguarded_loop", Kind.TEXT, "the shortest loop without protection", source=BRIDGING)
def unguarded_loop(w: Workings, _: Site) -> str:
    bare = w.once(unguarded)
    if not bare:
        return ""
    names = [bare[0].name]
    for link in loop_through(w, bare[0].name):
        names.append(link.far_end(names[-1]))
    return " to ".join(names)


def _longest(w: Workings) -> tuple[str, ...]:
    """Return the units of the longest way between any two, in the active tree."""
    ways = w.once(tree)
    units = w.site.units
    arms_of: dict[str, list[tuple[int, tuple[str, ...]]]] = {}
    best: tuple[int, tuple[str, ...]] = (0, ())
    for unit in reversed(ways.order):
        own = int(units[unit].kind != "injector")
        arms = sorted(arms_of.get(unit, ()), key=lambda arm: -arm[0])[:2]
        deepest = (own + arms[0][0], (unit, *arms[0][1])) if arms else (own, (unit,))
        arms_of.setdefault(ways.parent(unit) or "", []).append(deepest)
        length = own + sum(arm[0] for arm in arms)
        if length > best[0]:
            left = arms[0][1][::-1] if arms else ()
            right = arms[1][1] if len(arms) > 1 else ()
            best = (length, (*left, unit, *right))
    return best[1]


@fact("site.most_bridges", Kind.COUNT, "bridges on the longest way between two ends", source=GRAPH)
def most_bridges(w: Workings, site: Site) -> float:
    return sum(site.units[unit].kind != "injector" for unit in w.once(_longest))


@fact("site.longest_way", Kind.TEXT, "the longest way between two ends", source=GRAPH)
def longest_way(w: Workings, _: Site) -> str:
    return " to ".join(w.once(_longest))


# --- who routes and who hands out addresses -------------------------------------------------------


def _claims(w: Workings, key: str, wanted: str) -> tuple[str, ...]:
    """Return the joined units that say `true` under a key.

    Where one says so, the others are taken to be planned without, as a design names what it means
    to have. Where none does, nobody has thought of it, and the answer is open.
    """
    joined = [w.site.units[name] for name in w.once(tree).order]
    claims = tuple(unit.name for unit in joined if getattr(unit, key))
    unsure = [unit for unit in joined if getattr(unit, key) is None and unit.may_route]
    if len(unsure) > 1 and not claims:
        raise Missing(*(Input((*unit.pointer, key), wanted) for unit in unsure))
    return claims


def _in_order(names: Mapping[str, object], chosen: set[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name in chosen)


@fact("site.routers", Kind.TEXTS, "joined units that route between two networks", source=STATED)
def routers(w: Workings, site: Site) -> tuple[str, ...]:
    return _in_order(site.units, set(_claims(w, "routes", "whether it routes")))


@fact(
    "site.rival_servers",
    Kind.TEXTS,
    "units that hand out addresses in one and the same network",
    source="RFC 2131: a client takes either offer",
)
def rival_servers(w: Workings, site: Site) -> tuple[str, ...]:
    """Return them, unless `networks` give each of them VLANs that no other serves."""
    servers = set(_claims(w, "hands_out_addresses", "whether it hands out addresses"))
    if len(servers) < 2:
        return ()
    by_vlan: dict[int | None, set[str]] = {}
    for network in (site.networks or {}).values():
        if network.addresses is not None and network.addresses.server is not None:
            by_vlan.setdefault(network.vlan, set()).add(network.addresses.server)
    placed = set().union(*by_vlan.values()) if by_vlan else set()
    if None not in by_vlan and servers <= placed and all(len(s) == 1 for s in by_vlan.values()):
        return ()
    return _in_order(site.units, servers)


@fact("site.rivals", Kind.TEXTS, "units that route, or else rival servers", source=STATED)
def rivals(w: Workings, site: Site) -> tuple[str, ...]:
    routing = routers.compute(w, site)
    if isinstance(routing, tuple) and len(routing) > 1:
        return routing
    serving = rival_servers.compute(w, site)
    return serving if isinstance(serving, tuple) else ()

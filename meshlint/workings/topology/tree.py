"""Who is joined to whom: the way from each unit to the primary, and what stands behind each link.

The active tree is the set of shortest ways from the primary, where "short" counts spare links
first, then radio hops, then all hops, then the order of the file. It is worked out here and not
by a graph library because every site needs it and importing one costs more than the whole check;
the tests hold it against one.
"""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.topology.link_radios import cannot_come_up
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.model import ClientGroup, InternetLine, Link, Site, Unit
    from meshlint.workings.site_workings import Workings

MOST_HOPS = 31  # dot11MeshTTL: a mesh frame lives no longer; IEEE 802.11 Annex C (memory)

GRAPH = "graph search over the links of the file (Dijkstra 1959)"


class Tree(Struct, frozen=True):
    """The active ways to the primary."""

    uplink: Mapping[str, Link]
    """The first link of each joined unit's way to the primary; the primary has none."""
    above: Mapping[str, str]
    """The next unit of each on its way to the primary, at the far end of its uplink."""
    order: tuple[str, ...]
    """Joined units, nearest first, so that a parent always stands before its children."""
    rank: Mapping[str, int]
    """The position of each joined unit in that order."""
    next_below: Mapping[str, tuple[str, ...]]
    """The units that hang on each unit itself, where any do."""

    def parent(self, unit: str) -> str | None:
        """Return the next unit towards the primary, or `None` for the primary itself."""
        return self.above.get(unit)

    def way(self, unit: str) -> tuple[Link, ...]:
        """Return the links from a joined unit to the primary, its own uplink first."""
        links = []
        here = unit
        while (link := self.uplink.get(here)) is not None:
            links.append(link)
            here = link.far_end(here)
        return tuple(links)

    def below(self, unit: str) -> tuple[str, ...]:
        """Return the unit and every unit whose way leads through it."""
        if unit not in self.rank:
            return ()
        found = [unit]
        for here in found:  # grows on the way
            found += self.next_below.get(here, ())
        return tuple(sorted(found, key=self.rank.__getitem__))


def tree(w: Workings) -> Tree:
    """Return the active tree; a file that does not state its backhaul has none.

    A link whose ends cannot meet is no way.
    """
    return tree_over(w, w.once(live_links))


def tree_over(w: Workings, links: Mapping[str, Link]) -> Tree:
    """Return the shortest ways to the primary over some links."""
    around: dict[str, list[Link]] = {name: [] for name in w.site.units}
    for link in links.values():
        around[link.from_unit].append(link)
        around[link.to_unit].append(link)
    uplink: dict[str, Link] = {}
    order: list[str] = []
    rank = {link.name: position for position, link in enumerate(links.values())}
    done: set[str] = set()
    queue: list[tuple[int, int, int, tuple[int, ...], str, str]] = [
        (0, 0, 0, (), w.site.primary, "")
    ]
    while queue:
        spare, radio, hops, taken, unit, via = heapq.heappop(queue)
        if unit in done:
            continue
        done.add(unit)
        order.append(unit)
        if via:
            uplink[unit] = links[via]
        for link in around[unit]:
            beyond = link.far_end(unit)
            if beyond not in done:
                cost = (
                    spare + (link.role == "spare"),
                    radio + (link.over == "radio"),
                    hops + 1,
                    (*taken, rank[link.name]),
                )
                heapq.heappush(queue, (*cost, beyond, link.name))
    above = {unit: link.far_end(unit) for unit, link in uplink.items()}
    next_below: dict[str, list[str]] = {}
    for unit, parent_of_it in above.items():
        next_below.setdefault(parent_of_it, []).append(unit)
    return Tree(
        uplink,
        above,
        tuple(order),
        {unit: position for position, unit in enumerate(order)},
        {unit: tuple(hanging) for unit, hanging in next_below.items()},
    )


def backhaul(w: Workings) -> Mapping[str, Link]:
    """Return the stated links; a site of one unit needs none."""
    if w.site.backhaul is None and len(w.site.units) == 1:
        return {}
    return need(w.site.backhaul, ("backhaul",), "the links between the units")


def live_links(w: Workings) -> Mapping[str, Link]:
    """Return the links that can come up, as far as the file tells."""
    return {name: link for name, link in backhaul(w).items() if not cannot_come_up(w, link)}


def parts(units: Iterable[str], links: Iterable[Link]) -> dict[str, str]:
    """Return for each unit the first of those that links join it to, itself among them.

    Merging sets by their heads (Galler and Fischer 1964), the head always the earliest unit.
    """
    head = {name: name for name in units}
    rank = {name: position for position, name in enumerate(head)}

    def top(name: str) -> str:
        while head[name] != name:
            head[name] = name = head[head[name]]
        return name

    for link in links:
        first, second = sorted((top(link.from_unit), top(link.to_unit)), key=rank.__getitem__)
        head[second] = first
    return {name: top(name) for name in head}


def stated_clients(site: Site) -> tuple[ClientGroup, ...]:
    """Return the client groups, or say that the file does not tell of clients."""
    return tuple(need(site.clients, ("clients",), "who uses the site").values())


def lower_end(w: Workings, link: Link) -> str | None:
    """Return the end farther from the primary, or `None` if the link is not on the active tree.

    All legs of a link that can come up are on it with the first.
    """
    ways = w.once(tree)
    for end in (link.from_unit, link.to_unit):
        uplink = ways.uplink.get(end)
        if uplink is link:
            return end
        if uplink is not None and uplink.is_leg_of(link) and link.name in w.once(live_links):
            return end
    return None


def joined_legs(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return the legs of a link that can come up, a link of one radio being its own only leg."""
    if link.whole is None:
        return (link,)
    return w.once(_legs_of_links).get(link.whole, (link,))


def _legs_of_links(w: Workings) -> Mapping[str, tuple[Link, ...]]:
    found: dict[str, tuple[Link, ...]] = {}
    for link in w.once(live_links).values():
        if link.whole is not None:
            found[link.whole] = (*found.get(link.whole, ()), link)
    return found


def one_leg_each(links: Iterable[Link]) -> tuple[Link, ...]:
    """Return some links with the first leg alone of each that has several."""
    found: dict[str, Link] = {}
    for link in links:
        found.setdefault(link.in_file, link)
    return tuple(found.values())


def links_of(w: Workings, unit: str) -> tuple[Link, ...]:
    """Return the links from a unit to the primary, its own first."""
    return w.once(_links_of, unit, unit)


def _links_of(w: Workings, unit: str) -> tuple[Link, ...]:
    ways = w.once(tree)
    if unit not in ways.rank:
        raise Missing(Input(("backhaul",), f"a link that joins {unit}"))
    links = ways.way(unit)
    if sum(link.over == "radio" for link in links) > MOST_HOPS:
        wanted = f"a way of {unit} to the primary of {MOST_HOPS} radio hops at most"
        raise Missing(Input(("backhaul",), wanted))
    return links


def units_behind(w: Workings, link: Link) -> tuple[str, ...]:
    """Return the units that lose the primary when the link goes, as the tree stands."""
    lower = lower_end(w, link)
    return () if lower is None else w.once(tree).below(lower)


@fact("site.units", Kind.COUNT, "how many units the site has", source=STATED)
def site_units(w: Workings, _: Site) -> float:
    return len(w.site.units)


@fact("unit.is_primary", Kind.TRUTH, "whether this is the primary unit", source=STATED)
def is_primary(w: Workings, unit: Unit) -> bool:
    return unit.name == w.site.primary


@fact("unit.name", Kind.TEXT, "the unit's name", source=STATED)
def unit_name(_: Workings, unit: Unit) -> str:
    return unit.name


@fact("unit.joined", Kind.TRUTH, "whether any way leads to the primary", source=GRAPH)
def joined(w: Workings, unit: Unit) -> bool:
    return unit.name in w.once(tree).rank


@fact("unit.hops", Kind.COUNT, "backhaul links on the way to the primary", source=GRAPH)
def hops(w: Workings, unit: Unit) -> float:
    return len(_way(w, unit))


@fact("unit.radio_hops", Kind.COUNT, "radio links on the way to the primary", source=GRAPH)
def radio_hops(w: Workings, unit: Unit) -> float:
    return sum(link.over == "radio" for link in _way(w, unit))


@fact("unit.parent", Kind.TEXT, "the next unit towards the primary", source=GRAPH)
def parent(w: Workings, unit: Unit) -> str:
    _way(w, unit)
    return w.once(tree).parent(unit.name) or ""


@fact("unit.path", Kind.TEXT, "the units on the way to the primary, in order", source=GRAPH)
def path(w: Workings, unit: Unit) -> str:
    names = [unit.name]
    for link in _way(w, unit):
        names.append(link.far_end(names[-1]))
    return " to ".join(names)


@fact("unit.first_radio_link", Kind.TEXT, "the radio link nearest the primary", source=GRAPH)
def first_radio_link(w: Workings, unit: Unit) -> str:
    radio = [link.name for link in _way(w, unit) if link.over == "radio"]
    return radio[-1] if radio else ""


@fact("unit.units_behind", Kind.TEXTS, "the units whose way leads through this one", source=GRAPH)
def unit_units_behind(w: Workings, unit: Unit) -> tuple[str, ...]:
    return tuple(name for name in w.once(tree).below(unit.name) if name != unit.name)


@fact(
    "unit.lines_met",
    Kind.TEXTS,
    "internet lines that enter here, or at a unit that is joined to this one",
    source=GRAPH,
)
def lines_met(w: Workings, unit: Unit) -> tuple[str, ...]:
    met = []
    for line in _lines(w.site).values():
        enters = need(line.enters_at, (*line.pointer, "enters_at"), "where the line enters")
        if enters == unit.name or enters in w.once(tree).rank:
            met.append(line.name)
    return tuple(met)


@fact(
    "unit.line_claims",
    Kind.TEXTS,
    "units at which an internet line enters and that route it",
    source=STATED,
)
def line_claims(w: Workings, _: Unit) -> tuple[str, ...]:
    """Return the units known to route a line.

    A unit of which `routes` is not stated leaves the answer open where it could be the second.
    """
    entered = {line.enters_at for line in _lines(w.site).values()}
    at_line = [unit for unit in w.site.units.values() if unit.name in entered]
    claims = tuple(unit.name for unit in at_line if unit.routes)
    unsure = [unit for unit in at_line if unit.routes is None]
    if unsure and len(claims) < 2 <= len(claims) + len(unsure):
        raise Missing(
            *(Input((*u.pointer, "routes"), "whether it routes its line") for u in unsure)
        )
    return claims


@fact("link.medium", Kind.TEXT, "cable, coax, powerline or radio", source=STATED)
def medium(_: Workings, link: Link) -> str:
    return link.over


@fact("link.from_unit", Kind.TEXT, "the end that the file names first", source=STATED)
def from_unit(_: Workings, link: Link) -> str:
    return link.from_unit


@fact("link.to_unit", Kind.TEXT, "the end that the file names second", source=STATED)
def to_unit(_: Workings, link: Link) -> str:
    return link.to_unit


@fact("link.carries_traffic", Kind.TRUTH, "whether a unit's way leads over it", source=GRAPH)
def carries_traffic(w: Workings, link: Link) -> bool:
    return lower_end(w, link) is not None


@fact("link.who_is_behind", Kind.TEXTS, "units that reach the primary over it", source=GRAPH)
def who_is_behind(w: Workings, link: Link) -> tuple[str, ...]:
    return units_behind(w, link)


@fact("link.units_behind", Kind.COUNT, "how many units reach the primary over it", source=GRAPH)
def link_units_behind(w: Workings, link: Link) -> float:
    return len(units_behind(w, link))


def _way(w: Workings, unit: Unit) -> tuple[Link, ...]:
    ways = w.once(tree)
    if unit.name not in ways.rank:
        raise Missing(Input(("backhaul",), f"a link that joins {unit.name}"))
    return ways.way(unit.name)


def _lines(site: Site) -> Mapping[str, InternetLine]:
    return need(site.internet_lines, ("internet_lines",), "the internet lines")

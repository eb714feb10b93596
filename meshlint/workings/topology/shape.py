"""The shape that the links of a site make: one unit, a star, a chain or a tree.

Switches and injectors are passed over, so that units on one switch beside the primary make a star.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import Kind, fact
from meshlint.workings.topology.tree import GRAPH, backhaul, tree

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Site
    from meshlint.workings.site_workings import Workings


def parents(w: Workings) -> Mapping[str, str]:
    """Return for each joined access unit but the primary the access unit that it hangs on."""
    ways = w.once(tree)
    found = {}
    for name in ways.order:
        if name == w.site.primary or w.site.units[name].kind != "access":
            continue
        above = ways.parent(name)
        while above not in (None, w.site.primary) and w.site.units[above].kind != "access":
            above = ways.parent(above)
        found[name] = above or w.site.primary
    return found


def depths(w: Workings) -> Mapping[str, int]:
    """Return how many access units up each one hangs below the primary."""
    above = w.once(parents)
    found: dict[str, int] = {}
    for name in w.once(tree).order:
        if name in above:
            found[name] = found.get(above[name], 0) + 1
    return found


@fact(
    "site.shape",
    Kind.TEXT,
    "the shape that the links in use make, switches passed over",
    source=GRAPH,
)
def shape(w: Workings, _: Site) -> str:
    above = w.once(parents)
    primary = w.site.primary
    if not above:
        return f"{primary} by itself"
    deep = max(w.once(depths).values())
    media = {link.over for name in above for link in w.once(tree).way(name) if link.over != "cable"}
    over = f"over {' and '.join(sorted(media))}" if media else "over cable"
    if len(media) == 1 and any(link.over == "cable" for link in backhaul(w).values()):
        over = f"over cable and {media.pop()}"
    if deep == 1:
        return f"a star of {len(above)} around {primary} {over}"
    below = [list(above.values()).count(name) for name in (primary, *above)]
    if max(below) == 1:
        return f"a chain of {deep} hops from {primary} {over}"
    return f"a tree of {len(above)} below {primary}, {deep} hops deep, {over}"


@fact(
    "site.deepest",
    Kind.COUNT,
    "units between the farthest unit and the internet, itself counted, the primary not",
    source=GRAPH,
)
def deepest(w: Workings, _: Site) -> float:
    return max(w.once(depths).values(), default=0)

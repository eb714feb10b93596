"""How much of the internet line reaches each unit: nobody should pay for speed that a mesh loses.

A mesh slower than the line is a fact of many sound sites and no fault by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.capacity.path_throughput import PATH, throughput_of
from meshlint.workings.fact import Kind, fact, phrase
from meshlint.workings.links.demand import line_down_mbps
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import links_of, tree
from meshlint.workings.unknown import Unknown, answer, need

if TYPE_CHECKING:
    from meshlint.site.model import Site, Unit
    from meshlint.workings.site_workings import Workings


def line_shares(w: Workings) -> tuple[str, ...]:
    """Return what of the line reaches the units that serve clients behind radio backhaul.

    In two sentences at most: who gets the whole line, and who less. Units of which that is not
    known are left out. Nothing where no line states its rate.
    """
    found = answer(_told, w)
    return () if isinstance(found, Unknown) else found


def _told(w: Workings) -> tuple[str, ...]:
    line_mbps = line_down_mbps(w)
    whole: list[str] = []
    less: list[tuple[float, str]] = []
    for name in w.once(tree).order:
        unit = w.site.units[name]
        way = answer(throughput_of, w, name) if _is_behind_radio(w, unit) else None
        if way is None or isinstance(way, Unknown):
            continue
        if way.ceiling_mbps < line_mbps:
            less.append((way.ceiling_mbps, name))
        else:
            whole.append(name)
    told = []
    if whole and line_mbps > 0:
        named = phrase(tuple(whole))
        line = f"all {line_mbps:.0f} Mb/s of your internet line"
        told.append(f"When nobody else uses the mesh, {line} still reach {named}.")
    if less:
        each = phrase(tuple(f"{mbps:.0f} to {name}" for mbps, name in sorted(less)))
        line = f"the {line_mbps:.0f} Mb/s of your internet line"
        told.append(f"Of {line} the mesh brings at most {each}.")
    return tuple(told)


def _is_behind_radio(w: Workings, unit: Unit) -> bool:
    """Return whether a unit may serve clients and the line reaches it over a radio link."""
    serves = any(may_serve_clients(radio) for radio in unit.radios.values())
    return serves and any(link.over == "radio" for link in links_of(w, unit.name))


@fact(
    "unit.line_share_percent",
    Kind.NUMBER,
    "how much of the internet lines the way to it passes when nobody else uses the mesh",
    source=PATH,
    unit="%",
)
def line_share_percent(w: Workings, unit: Unit) -> float:
    rate = line_down_mbps(w) or None
    line_mbps = need(rate, ("internet_lines",), "what the internet lines bring")
    return min(100.0, 100 * throughput_of(w, unit.name).ceiling_mbps / line_mbps)


@fact(
    "site.line_shares",
    Kind.TEXTS,
    "what of the internet line reaches the units behind radio backhaul that serve clients",
    source=PATH,
)
def site_line_shares(w: Workings, _: Site) -> tuple[str, ...]:
    return _told(w)

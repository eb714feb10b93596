"""What clients ask for, and how much of it crosses each link and the internet line.

Rates in the file are for one device while active. A group of which no share active at once is
stated is counted whole: the most that it can ask for. All of it is taken to go to the internet.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.topology.tree import stated_clients, tree, unit_of, units_behind
from meshlint.workings.unknown import Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.model import ClientGroup, InternetLine, Link, Site, Unit
    from meshlint.workings.site_workings import Workings

ASKED = "sum over client groups: count, share active at once, rate of one device"


def active(group: ClientGroup) -> float:
    """Return how many of a group's devices are active at the busiest time."""
    return group.count * (1.0 if group.active_share is None else group.active_share)


def wanted_mbps(group: ClientGroup) -> tuple[float, float]:
    """Return what one active device asks for, down and up."""
    return (
        need(group.down_mbps, (*group.pointer, "down_mbps"), "what one device needs"),
        need(group.up_mbps, (*group.pointer, "up_mbps"), "what one device sends"),
    )


def asked_mbps(group: ClientGroup) -> tuple[float, float]:
    """Return what a whole group asks for, down and up."""
    if active(group) == 0:
        return 0.0, 0.0
    down_mbps, up_mbps = wanted_mbps(group)
    return active(group) * down_mbps, active(group) * up_mbps


def _by_unit(w: Workings) -> Mapping[str, tuple[ClientGroup, ...]]:
    at: dict[str, list[ClientGroup]] = {name: [] for name in w.site.units}
    for group in stated_clients(w.site):
        at[unit_of(w, group)].append(group)
    return {name: tuple(groups) for name, groups in at.items()}


def groups_at(w: Workings, unit: str) -> tuple[ClientGroup, ...]:
    """Return the client groups that hang on a unit."""
    return w.once(_by_unit)[unit]


def total_mbps(groups: Iterable[ClientGroup]) -> tuple[float, float]:
    """Return what groups ask for together, down and up."""
    asked = [asked_mbps(group) for group in groups]
    return math.fsum(down for down, _ in asked), math.fsum(up for _, up in asked)


def behind_mbps(w: Workings, link: Link) -> tuple[float, float]:
    """Return what all that hangs on a link asks for, down and up."""
    return w.once(_behind_mbps, link.name, link)


def _behind_mbps(w: Workings, link: Link) -> tuple[float, float]:
    return total_mbps(g for unit in units_behind(w, link) for g in groups_at(w, unit))


@fact(
    "link.demand_down_mbps",
    Kind.NUMBER,
    "what is asked for behind it, towards the clients",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def link_demand_down_mbps(w: Workings, link: Link) -> float:
    return behind_mbps(w, link)[0]


@fact(
    "link.demand_up_mbps",
    Kind.NUMBER,
    "what is asked for behind it, from the clients",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def link_demand_up_mbps(w: Workings, link: Link) -> float:
    return behind_mbps(w, link)[1]


@fact(
    "link.demand_mbps",
    Kind.NUMBER,
    "what is asked of it: both ways together over the air, powerline and coax, the larger way on "
    "a cable, which is full duplex",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def link_demand_mbps(w: Workings, link: Link) -> float:
    ways = behind_mbps(w, link)
    return max(ways) if link.over == "cable" else sum(ways)


@fact(
    "link.demand_is_stated",
    Kind.TRUTH,
    "whether the file says of all that hangs behind it what it asks for",
    source=STATED,
)
def link_demand_is_stated(w: Workings, link: Link) -> bool:
    try:
        behind_mbps(w, link)
    except Missing:
        return False
    return True


@fact("site.demand_down_mbps", Kind.NUMBER, "what all ask for", source=ASKED, unit="Mb/s", digits=1)
def site_demand_down_mbps(w: Workings, _: Site) -> float:
    return total_mbps(g for unit in w.site.units for g in groups_at(w, unit))[0]


@fact("site.demand_up_mbps", Kind.NUMBER, "what all send", source=ASKED, unit="Mb/s", digits=1)
def site_demand_up_mbps(w: Workings, _: Site) -> float:
    return total_mbps(g for unit in w.site.units for g in groups_at(w, unit))[1]


@fact(
    "site.line_down_mbps",
    Kind.NUMBER,
    "what the internet lines bring together",
    source=STATED,
    unit="Mb/s",
)
def site_line_down_mbps(w: Workings, _: Site) -> float:
    return line_down_mbps(w)


@fact(
    "site.line_up_mbps",
    Kind.NUMBER,
    "what the internet lines take together",
    source=STATED,
    unit="Mb/s",
)
def site_line_up_mbps(w: Workings, _: Site) -> float:
    return line_up_mbps(w)


def line_down_mbps(w: Workings) -> float:
    """Return what all internet lines bring together."""
    return sum(need(x.down_mbps, (*x.pointer, "down_mbps"), "the line's rate") for x in _lines(w))


def line_up_mbps(w: Workings) -> float:
    """Return what all internet lines take together."""
    return sum(need(x.up_mbps, (*x.pointer, "up_mbps"), "the line's rate up") for x in _lines(w))


def _lines(w: Workings) -> Iterable[InternetLine]:
    return need(w.site.internet_lines, ("internet_lines",), "the internet lines").values()


@fact(
    "unit.demand_mbps",
    Kind.NUMBER,
    "what is asked for at this unit and behind it, both ways",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def unit_demand_mbps(w: Workings, unit: Unit) -> float:
    below = w.once(tree).below(unit.name) or (unit.name,)
    return sum(total_mbps(g for name in below for g in groups_at(w, name)))

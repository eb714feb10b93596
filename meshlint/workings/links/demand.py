"""What clients ask for, and how much of it crosses each link and the internet line.

Rates in the file are for one device while active. A group of which no share active at once is
stated is counted whole: the most that it can ask for. All of it is taken to go to the internet.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import devices_of, units_of
from meshlint.workings.topology.tree import stated_clients, tree, units_behind
from meshlint.workings.unknown import Missing, Unknown, answer, as_known, gather, need

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from meshlint.site.model import ClientGroup, InternetLine, Link, Site, Unit
    from meshlint.workings.links.attachment import Devices
    from meshlint.workings.site_workings import Workings

ASKED = "sum over client groups: count, share active at once, rate of one device"


def active(devices: Devices) -> float:
    """Return how many devices are active at the busiest time."""
    share = devices.group.active_share
    return devices.count * (1.0 if share is None else share)


def wanted_mbps(group: ClientGroup) -> tuple[float, float]:
    """Return what one active device asks for, down and up."""
    return (
        need(group.down_mbps, (*group.pointer, "down_mbps"), "what one device needs"),
        need(group.up_mbps, (*group.pointer, "up_mbps"), "what one device sends"),
    )


def asked_mbps(devices: Devices) -> tuple[float, float]:
    """Return what devices ask for together, down and up."""
    if active(devices) == 0:
        return 0.0, 0.0
    down_mbps, up_mbps = wanted_mbps(devices.group)
    return active(devices) * down_mbps, active(devices) * up_mbps


def _by_unit(w: Workings) -> Mapping[str, tuple[Devices, ...]]:
    at: dict[str, list[Devices]] = {name: [] for name in w.site.units}
    for found in gather(stated_clients(w.site), lambda group: devices_of(w, group)):
        for devices in found:
            at[devices.unit].append(devices)
    return {name: tuple(devices) for name, devices in at.items()}


def devices_at(w: Workings, unit: str) -> tuple[Devices, ...]:
    """Return the devices that are on a unit, group by group."""
    return w.once(_by_unit)[unit]


def devices_behind(w: Workings, link: Link) -> tuple[Devices, ...]:
    """Return all devices that reach the primary over a link, as the tree stands."""
    return tuple(x for unit in units_behind(w, link) for x in devices_at(w, unit))


def total_mbps(devices: Iterable[Devices]) -> tuple[float, float]:
    """Return what devices ask for together, down and up."""
    asked = [asked_mbps(one) for one in devices]
    return math.fsum(down for down, _ in asked), math.fsum(up for _, up in asked)


def behind_mbps(w: Workings, link: Link) -> tuple[float, float]:
    """Return what all that hangs on a link asks for, down and up."""
    return w.once(_behind_mbps, link.name, link)


def _behind_mbps(w: Workings, link: Link) -> tuple[float, float]:
    return total_mbps(devices_behind(w, link))


def least_mbps(w: Workings, units: Collection[str]) -> tuple[float, float]:
    """Return what devices on some units are known to ask for, down and up.

    What is not known can only add to it.
    """
    groups = w.site.clients or {}
    found, _ = as_known(groups.values(), lambda group: devices_of(w, group))
    here = [one for several in found for one in several if one.unit in units]
    return (
        math.fsum(active(one) * (one.group.down_mbps or 0.0) for one in here),
        math.fsum(active(one) * (one.group.up_mbps or 0.0) for one in here),
    )


def unsaid(w: Workings, units: Collection[str]) -> tuple[str, ...]:
    """Return the groups on some units, or on units unknown, that do not say what they ask for."""
    return tuple(
        group.name
        for group in (w.site.clients or {}).values()
        if group.count and None in (group.down_mbps, group.up_mbps) and _may_be(w, group, units)
    )


def _may_be(w: Workings, group: ClientGroup, units: Collection[str]) -> bool:
    found = answer(units_of, w, group)
    return isinstance(found, Unknown) or any(unit in units for unit in found)


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


@fact(
    "link.least_demand_mbps",
    Kind.NUMBER,
    "what is asked of it at least: link.demand_mbps of those who say what they ask for",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def link_least_demand_mbps(w: Workings, link: Link) -> float:
    ways = least_mbps(w, units_behind(w, link))
    return max(ways) if link.over == "cable" else sum(ways)


@fact("link.demand_unsaid", Kind.TEXTS, "groups that do not say what they ask of it", source=STATED)
def link_demand_unsaid(w: Workings, link: Link) -> tuple[str, ...]:
    return unsaid(w, units_behind(w, link))


@fact(
    "site.least_demand_down_mbps",
    Kind.NUMBER,
    "what those ask for who say so",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def site_least_demand_down_mbps(w: Workings, _: Site) -> float:
    return least_mbps(w, w.site.units)[0]


@fact(
    "site.least_demand_up_mbps",
    Kind.NUMBER,
    "what those send who say so",
    source=ASKED,
    unit="Mb/s",
    digits=1,
)
def site_least_demand_up_mbps(w: Workings, _: Site) -> float:
    return least_mbps(w, w.site.units)[1]


@fact("site.demand_unsaid", Kind.TEXTS, "groups that do not say what they ask for", source=STATED)
def site_demand_unsaid(w: Workings, _: Site) -> tuple[str, ...]:
    return unsaid(w, w.site.units)


@fact("site.demand_down_mbps", Kind.NUMBER, "what all ask for", source=ASKED, unit="Mb/s", digits=1)
def site_demand_down_mbps(w: Workings, _: Site) -> float:
    return total_mbps(x for unit in w.site.units for x in devices_at(w, unit))[0]


@fact("site.demand_up_mbps", Kind.NUMBER, "what all send", source=ASKED, unit="Mb/s", digits=1)
def site_demand_up_mbps(w: Workings, _: Site) -> float:
    return total_mbps(x for unit in w.site.units for x in devices_at(w, unit))[1]


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
    return sum(total_mbps(x for name in below for x in devices_at(w, name)))


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

"""What was measured on site against what is computed for the same place.

Levels of one unit on one band belong together, and so do the throughputs of one link. A level is
computed for a device of 0 dBi at the place of the reading. One place differs from the model by its
published spread; the mean of n places differs by that over the square root of n, which is what a
difference is held against. A throughput is held against what the rate that holds in nine places of
ten carries; only readings that were not taken in busy hours are.

The offset is the least-squares constant that brings all level readings closest to the computed
ones (their mean difference), with its standard error. It is applied to computed levels only where
the site says `fit_to_readings: true`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.physics.capacity import ETHERNET_EFFICIENCY
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.budget import link_budget
from meshlint.workings.links.goodput import cable_rate_mbps, carrying_legs, leg_hop, measured_link
from meshlint.workings.propagation.calibration import Group, _compare
from meshlint.workings.topology.tree import joined_legs
from meshlint.workings.unknown import Input, Missing, gather, need

if TYPE_CHECKING:
    from meshlint.site.model import Link
    from meshlint.workings.site_workings import Workings

COMPARED = "mean over the readings; levels by the site's path loss model"
SPREAD = "published spread of the model over the square root of the number of readings"


def _is_level(group: Group) -> None:
    if not group.unit:
        raise Missing(Input((*group.pointer, "level_dbm"), "a level, since it is a throughput"))


def _is_throughput(w: Workings, group: Group) -> Link:
    if not group.link:
        wanted = "a throughput, since it is a level"
        raise Missing(Input((*group.pointer, "throughput_mbps"), wanted))
    return measured_link(w, group.link)


@fact("reading.kind", Kind.TEXT, "level or throughput", source=STATED)
def kind(_: Workings, group: Group) -> str:
    return "level" if group.unit else "throughput"


@fact("reading.what", Kind.TEXT, "what was measured: a unit on a band, or a link", source=STATED)
def what(_: Workings, group: Group) -> str:
    return group.label


@fact("reading.count", Kind.COUNT, "how many readings there are of it", source=STATED)
def count(_: Workings, group: Group) -> float:
    return len(group.readings)


@fact("reading.measured_dbm", Kind.NUMBER, "mean level measured", source=STATED, unit="dBm")
def measured_dbm(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.measured_dbm for one in compared) / len(compared)


@fact(
    "reading.computed_dbm",
    Kind.NUMBER,
    "mean level computed for the same places, without any offset",
    source=COMPARED,
    unit="dBm",
)
def computed_dbm(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.computed_dbm for one in compared) / len(compared)


@fact(
    "reading.difference_db",
    Kind.NUMBER,
    "measured less computed level",
    source=COMPARED,
    unit="dB",
    digits=1,
)
def difference_db(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.off_db for one in compared) / len(compared)


@fact(
    "reading.off_db",
    Kind.NUMBER,
    "the difference of the levels, either way",
    source=COMPARED,
    unit="dB",
    digits=1,
)
def off_db(w: Workings, group: Group) -> float:
    return _off_db(w, group)


def _off_db(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return abs(math.fsum(one.off_db for one in compared)) / len(compared)


@fact(
    "reading.standard_error_db",
    Kind.NUMBER,
    "how far the mean may stray from the model by place alone",
    source=SPREAD,
    unit="dB",
    digits=1,
)
def standard_error_db(w: Workings, group: Group) -> float:
    return _error_db(w, group)


def _error_db(w: Workings, group: Group) -> float:
    _is_level(group)
    spreads = []
    for one in _compare(w, group):
        wanted = "a place under a roof: free space publishes no spread to judge by"
        spreads.append(need(one.sigma_db, (*group.pointer, "at"), wanted))
    return math.sqrt(math.fsum(sigma**2 for sigma in spreads)) / len(spreads)


@fact(
    "reading.off_errors",
    Kind.NUMBER,
    "the difference in multiples of that",
    source=SPREAD,
    digits=1,
)
def off_errors(w: Workings, group: Group) -> float:
    return _off_db(w, group) / _error_db(w, group)


@fact(
    "reading.measured_mbps",
    Kind.NUMBER,
    "mean throughput measured out of busy hours",
    source=STATED,
    unit="Mb/s",
)
def measured_mbps(w: Workings, group: Group) -> float:
    return _measured_mbps(w, group)


def _measured_mbps(w: Workings, group: Group) -> float:
    _is_throughput(w, group)
    return math.fsum(r.throughput_mbps or 0.0 for r in group.readings) / len(group.readings)


@fact(
    "reading.computed_mbps",
    Kind.NUMBER,
    "what the link should carry: the rate of nine places of ten, or the cable's",
    source="link budget and MAC efficiency (timing of IEEE 802.11-2020 10.23), Ethernet framing",
    unit="Mb/s",
)
def computed_mbps(w: Workings, group: Group) -> float:
    return _computed_mbps(w, group)


def _computed_mbps(w: Workings, group: Group) -> float:
    link = _is_throughput(w, group)
    if link.over == "cable":
        return cable_rate_mbps(w, link) * ETHERNET_EFFICIENCY
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a medium whose throughput can be computed"))
    budgets = gather(joined_legs(w, link), lambda leg: link_budget(w, leg))
    if not any(found.held for found in budgets):
        return 0.0
    return math.fsum(leg_hop(w, leg).goodput_mbps for leg in carrying_legs(w, link))


@fact(
    "reading.short_percent",
    Kind.NUMBER,
    "how far the measured throughput falls short of the computed one; 0 where it does not",
    source="measured against computed",
    unit="%",
)
def short_percent(w: Workings, group: Group) -> float:
    computed, measured = _computed_mbps(w, group), _measured_mbps(w, group)
    return max(0.0, 100 * (1 - measured / computed)) if computed else 0.0

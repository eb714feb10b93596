"""Backhaul over wires that were laid for something else: mains, aerial leads, telephone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from meshlint.site.model import Link
    from meshlint.workings.site_workings import Workings

TYPICAL_MBPS = {
    "powerline": (20.0, 150.0),
    "phone-line": (100.0, 700.0),
    "coax": (400.0, 1500.0),
}
"""What such links commonly carry, least and most, in Mb/s: practice of installers, from memory.

The spread is the point: no figure for one place can be told without a test there.
"""


@fact(
    "link.over_shared_wire",
    Kind.TRUTH,
    "whether it runs over wires shared with others",
    source=STATED,
)
def over_shared_wire(_: Workings, link: Link) -> bool:
    return link.over in TYPICAL_MBPS


@fact(
    "link.throughput_measured",
    Kind.TRUTH,
    "whether its throughput was measured, on the link or among the readings",
    source=STATED,
)
def throughput_measured(w: Workings, link: Link) -> bool:
    return link.measured_mbps is not None or any(
        reading.link == link.name and reading.throughput_mbps is not None
        for reading in w.site.readings or ()
    )


@fact(
    "link.typical_least_mbps",
    Kind.NUMBER,
    "the least that links of this kind commonly carry; 0 for other kinds",
    source="practice of installers, from memory",
    unit="Mb/s",
)
def typical_least_mbps(_: Workings, link: Link) -> float:
    return TYPICAL_MBPS.get(link.over, (0.0, 0.0))[0]


@fact(
    "link.typical_most_mbps",
    Kind.NUMBER,
    "the most that links of this kind commonly carry; 0 for other kinds",
    source="practice of installers, from memory",
    unit="Mb/s",
)
def typical_most_mbps(_: Workings, link: Link) -> float:
    return TYPICAL_MBPS.get(link.over, (0.0, 0.0))[1]


@fact(
    "link.nominal_mbps",
    Kind.NUMBER,
    "the rate printed on the box; 0 if not stated",
    source=STATED,
    unit="Mb/s",
)
def nominal_mbps(_: Workings, link: Link) -> float:
    return link.nominal_mbps or 0.0

"""Two radios of one band in one case: how far apart their channels are, and what that costs."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from meshlint.physics.capacity import contention
from meshlint.physics.channels import overlap_mhz
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.goodput import FASTEST, best_hop, used_radios
from meshlint.workings.spectrum.channel import span
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Radio, Unit
    from meshlint.workings.site_workings import Workings


def co_located_radios(unit: Unit) -> Iterator[tuple[float, float, Radio, Radio]]:
    """Return each two radios of one band: the gap between their spans, the overlap, and the two."""
    for one, other in combinations(used_radios(unit), 2):
        if one.band is not None and one.band == other.band:
            ours, theirs = span(one), span(other)
            gap = max(ours.low_mhz, theirs.low_mhz) - min(ours.high_mhz, theirs.high_mhz)
            yield max(0.0, gap), overlap_mhz(ours, theirs), one, other


def closest(unit: Unit) -> tuple[float, float, Radio, Radio]:
    """Return the two radios of one band that are closest; raises `Missing` where there are none."""
    found = min(co_located_radios(unit), key=lambda entry: (entry[0], -entry[1]), default=None)
    return need(found, (*unit.pointer, "radios"), "two radios on one band")


@fact(
    "unit.has_twins",
    Kind.TRUTH,
    "whether two radios in its case use one band",
    source=STATED,
)
def has_twins(_: Workings, unit: Unit) -> bool:
    radios = used_radios(unit)
    if len(radios) < 2:
        return False
    bands = [need(radio.band, (*radio.pointer, "band"), "the radio's band") for radio in radios]
    return len(set(bands)) < len(bands)


@fact(
    "unit.twin_gap_mhz",
    Kind.NUMBER,
    "the smallest gap between the channels of two of its radios on one band",
    source="spans by IEEE 802.11 channel numbering",
    unit="MHz",
)
def twin_gap_mhz(_: Workings, unit: Unit) -> float:
    return closest(unit)[0]


@fact(
    "unit.twin_overlap_mhz",
    Kind.NUMBER,
    "how much spectrum two of its radios share",
    source="spans by IEEE 802.11 channel numbering",
    unit="MHz",
)
def twin_overlap_mhz(_: Workings, unit: Unit) -> float:
    return closest(unit)[1]


@fact("unit.twins", Kind.TEXTS, "the two radios that are closest", source=STATED)
def twin_names(_: Workings, unit: Unit) -> tuple[str, ...]:
    one, other = closest(unit)[2:]
    return (one.name, other.name)


@fact(
    "unit.twins_apart_mbps",
    Kind.NUMBER,
    "what these two carry together at their best on channels far apart",
    source=FASTEST,
    unit="Mb/s",
)
def twins_apart_mbps(_: Workings, unit: Unit) -> float:
    one, other = closest(unit)[2:]
    return best_hop(one).goodput_mbps + best_hop(other).goodput_mbps


@fact(
    "unit.twins_in_turn_mbps",
    Kind.NUMBER,
    "what they carry together when they take turns",
    source=f"{FASTEST}, half of the time each, two contenders by Bianchi 2000",
    unit="Mb/s",
)
def twins_in_turn_mbps(_: Workings, unit: Unit) -> float:
    one, other = closest(unit)[2:]
    hops = best_hop(one), best_hop(other)
    left = min(contention(2, hop.exchange) for hop in hops)
    return left * sum(hop.goodput_mbps for hop in hops) / 2

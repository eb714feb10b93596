"""What radar duty costs: which spectrum is shared, and for how long a radar silences it.

The regulatory database says where radar duty holds; it carries no times. In particular it does not
know the ten-minute check of the weather radar band, which stands here.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.sources import Citation
from meshlint.physics.channels import Span, overlap_mhz

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.law.regulatory import Country, Region
    from meshlint.physics.channels import SpanLike

# The band of the ground-based weather radars. ETSI EN 301 893 V2.1.1 and V2.2.1, Table D.1, note
# (second-hand: notes that cite the table, and the same figure in three unrelated drivers).
WEATHER_BAND = Span(5600, 5650)


class RadarTimes(Struct, frozen=True):
    """The times in seconds that go with radar duty in one regime.

    `check_s`: silence and listening before a channel is used. `weather_check_s`: the same where
    any part of the channel lies in `WEATHER_BAND`. `move_s`: from hearing a radar to having left.
    `non_occupancy_s`: how long the channel stays forbidden afterwards.
    """

    check_s: int
    weather_check_s: int
    move_s: int
    non_occupancy_s: int
    check_source: Citation
    weather_check_source: Citation
    move_source: Citation
    non_occupancy_source: Citation


_ETSI_TABLE = Citation("ETSI EN 301 893 V2.2.1", "Table D.1", "second-hand")
_ETSI = RadarTimes(
    check_s=60,
    weather_check_s=600,
    move_s=10,
    non_occupancy_s=1800,
    check_source=_ETSI_TABLE,
    weather_check_source=Citation("ETSI EN 301 893 V2.2.1", "Table D.1, note", "second-hand"),
    move_source=_ETSI_TABLE,
    non_occupancy_source=_ETSI_TABLE,
)
_FCC = RadarTimes(
    check_s=60,
    weather_check_s=60,
    move_s=10,
    non_occupancy_s=1800,
    check_source=Citation("47 CFR 15.407", "(h)(2)(ii)", "second-hand"),
    weather_check_source=Citation("47 CFR 15.407", "(h)(2)(ii)", "second-hand"),
    move_source=Citation("47 CFR 15.407", "(h)(2)(iii)", "second-hand"),
    non_occupancy_source=Citation("47 CFR 15.407", "(h)(2)(iv)", "second-hand"),
)
# What the two regimes above have in common, and what the Linux kernel uses for every country:
# IEEE80211_DFS_MIN_CAC_TIME_MS 60 000 and IEEE80211_DFS_MIN_NOP_TIME_MS 30 minutes.
_KERNEL = Citation("Linux include/net/cfg80211.h", "minimum radar times", "seen")
_COMMON = RadarTimes(
    check_s=60,
    weather_check_s=60,
    move_s=10,
    non_occupancy_s=1800,
    check_source=_KERNEL,
    weather_check_source=_KERNEL,
    move_source=Citation("ITU-R M.1652-1", "Annex 1", "memory"),
    non_occupancy_source=_KERNEL,
)
_TIMES: Mapping[Region, RadarTimes] = {
    "ETSI": _ETSI,
    "FCC": _FCC,
    "JP": _COMMON,
    "unset": _COMMON,
}


@cache
def radar_spans(law: Country) -> tuple[Span, ...]:
    """Return the spans with radar duty in MHz, joined where they meet, in rising order.

    The upper edge of a span may be the database's stretched one (5730 for 5725 MHz).
    """
    joined: list[Span] = []
    for rule in sorted(law.rules, key=lambda r: r.low_mhz):
        if "radar" not in rule.flags:
            continue
        if joined and rule.low_mhz <= joined[-1].high_mhz:
            joined[-1] = Span(joined[-1].low_mhz, max(joined[-1].high_mhz, rule.high_mhz))
        else:
            joined.append(Span(rule.low_mhz, rule.high_mhz))
    return tuple(joined)


def radar_shared_mhz(law: Country, channel: SpanLike) -> float:
    """Return how many MHz of an occupied span have radar duty: the exact overlap."""
    return sum((overlap_mhz(channel, span) for span in radar_spans(law)), 0.0)


@cache
def unflagged_spans(law: Country) -> tuple[Span, ...]:
    """Return spans that hold weather radar spectrum and for which the table asks no radar duty.

    Weather radars have 5600-5650 MHz the world over, on an equal footing with maritime radar (Radio
    Regulations 5.452, from memory), and Resolution 229 of the ITU asks for radar detection there
    (from memory). A rule that covers any of it without the flag is a gap of the table, as a whole,
    and no proof that nobody need listen.
    """
    return tuple(
        Span(rule.low_mhz, rule.high_mhz)
        for rule in law.rules
        if "radar" not in rule.flags and overlap_mhz(rule, WEATHER_BAND) > 0
    )


def radar_unflagged_mhz(law: Country, channel: SpanLike) -> float:
    """Return how many MHz of an occupied span lie where the table may lack the radar duty."""
    return sum((overlap_mhz(channel, span) for span in unflagged_spans(law)), 0.0)


def radar_times(law: Country) -> RadarTimes:
    """Return the times of the country's regime, each with its source."""
    return _TIMES[law.dfs_region]


def availability_check_s(law: Country, channel: SpanLike) -> int | None:
    """Return how long a unit must listen before it uses a channel; None without radar duty.

    600 s in the ETSI region where any part of the channel lies in 5600-5650 MHz (touching an edge
    is no part), else 60 s, unless the database states a longer check.
    """
    if radar_shared_mhz(law, channel) == 0:
        return None
    times = radar_times(law)
    in_weather_band = overlap_mhz(channel, WEATHER_BAND) > 0
    stated = (
        rule.check_s
        for rule in law.rules
        if "radar" in rule.flags and overlap_mhz(channel, Span(rule.low_mhz, rule.high_mhz)) > 0
    )
    return max(times.weather_check_s if in_weather_band else times.check_s, *stated)


def move_time_s(law: Country) -> int:
    """Return how many seconds a network has to leave a channel on which it heard a radar."""
    return radar_times(law).move_s


def non_occupancy_s(law: Country) -> int:
    """Return how many seconds a channel stays forbidden after a radar was heard on it."""
    return radar_times(law).non_occupancy_s

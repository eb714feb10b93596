"""Radar duty: spans, shared MHz and times.

Sources: ETSI EN 301 893 V2.1.1/V2.2.1 Table D.1 (public notes that cite it); 47 CFR 15.407(h)(2);
spans from the wireless regulatory database, release 2026.09.03.
"""

from __future__ import annotations

import pytest

from meshlint.law.radar_duty import (
    availability_check_s,
    move_time_s,
    non_occupancy_s,
    radar_shared_mhz,
    radar_spans,
    radar_times,
    radar_unflagged_mhz,
    unflagged_spans,
)
from meshlint.law.regulatory import Country, countries, country, permission
from meshlint.physics.channels import CENTRES, Span, all_channels, channels


def law(code: str) -> Country:
    found = country(code)
    assert found is not None
    return found


def test_spans_that_meet_are_one() -> None:
    assert radar_spans(law("DE")) == (Span(5250, 5350), Span(5470, 5725))
    assert radar_spans(law("AU")) == (Span(5250, 5350), Span(5470, 5600), Span(5650, 5730))


@pytest.mark.parametrize(
    ("code", "number", "width", "shared_mhz"),
    [
        ("DE", 36, 80, 0),
        ("DE", 36, 160, 80),
        ("DE", 44, 160, 80),
        ("US", 36, 160, 80),
        ("DE", 52, 20, 20),
        ("DE", 132, 80, 75),
        ("DE", 144, 20, 15),
        ("DE", 149, 20, 0),
        ("US", 149, 160, 0),
        ("CN", 149, 80, 0),
    ],
)
def test_shared_spectrum_is_the_exact_overlap(
    code: str, number: int, width: int, shared_mhz: float
) -> None:
    """Channel 36 at 160 MHz is half radar-shared although channel 36 is not."""
    assert radar_shared_mhz(law(code), channels(5, number, width)[0]) == shared_mhz


def test_weather_radar_spectrum_without_a_flag_is_a_gap_of_the_table() -> None:
    """Counted from the database: countries with a rule over 5600-5650 MHz that has no flag."""
    lacking = {code for code, one in countries().items() if unflagged_spans(one)}
    assert lacking == {"CU", "GT", "PA"}
    assert unflagged_spans(law("PA")) == (Span(5470, 5725),)
    assert radar_unflagged_mhz(law("PA"), channels(5, 116, 80)[0]) == 80
    assert radar_unflagged_mhz(law("PA"), channels(5, 52, 80)[0]) == 0
    assert radar_shared_mhz(law("ZA"), channels(5, 116, 80)[0]) == 80  # flagged since 2026.09.03
    assert radar_unflagged_mhz(law("DE"), channels(5, 116, 80)[0]) == 0


def test_pieces_with_duty_and_shared_spectrum_agree_everywhere() -> None:
    for country_law in countries().values():
        for width in CENTRES[5.0]:
            for channel in all_channels(5, width):
                verdict = permission(country_law, channel, outdoors=False)
                if verdict.max_eirp_dbm is not None:
                    shared = radar_shared_mhz(country_law, channel)
                    assert bool(verdict.radar_pieces) == (shared > 0)


# The channels that overlap 5600-5650 MHz; 116, 132, 134 and 138 only touch an edge of it.
WEATHER = {20: {120, 124, 128}, 40: {118, 126}, 80: {122}, 160: {114}}


@pytest.mark.parametrize("width", [20, 40, 80, 160])
def test_the_ten_minute_check_is_for_the_weather_band_in_the_etsi_region(width: int) -> None:
    for channel in all_channels(5, width):
        if radar_shared_mhz(law("DE"), channel) > 0:
            expected = 600 if channel.centre_number in WEATHER[width] else 60
            assert availability_check_s(law("DE"), channel) == expected
            assert availability_check_s(law("US"), channel) == 60
        elif channel.high_mhz < 5725:
            assert availability_check_s(law("DE"), channel) is None


def test_times_of_both_regimes() -> None:
    """Move 10 s and non-occupancy 30 min in Table D.1 and in 15.407(h)(2)(iii) and (iv)."""
    for code in ("DE", "US", "JP", "IN"):
        assert (move_time_s(law(code)), non_occupancy_s(law(code))) == (10, 1800)
    assert "Table D.1" in str(radar_times(law("DE")).weather_check_source)
    assert "(h)(2)(iv)" in str(radar_times(law("US")).non_occupancy_source)

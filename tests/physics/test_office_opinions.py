"""Three independent office models side by side.

3GPP TR 38.901, Table 7.4.1-1, indoor hotspot office, written out here and checked against the
vectors of the unit test of ns-3 (5.0 GHz, heights 1.5 m apart, tolerance 0.05 dB there).
"""

from __future__ import annotations

import math

import pytest

from meshlint.physics.propagation import indoor_model, path_loss_db, site_general_model

HOTSPOT_SPREAD_DB = 8.03  # no line of sight, same table
HOTSPOT_SEEN_SPREAD_DB = 3.0


def hotspot_seen_db(length_m: float, frequency_mhz: float) -> float:
    return 32.4 + 17.3 * math.log10(length_m) + 20 * math.log10(frequency_mhz / 1000)


def hotspot_hidden_db(length_m: float, frequency_mhz: float) -> float:
    hidden_db = 17.3 + 38.3 * math.log10(length_m) + 24.9 * math.log10(frequency_mhz / 1000)
    return max(hotspot_seen_db(length_m, frequency_mhz), hidden_db)


@pytest.mark.parametrize(
    ("ground_m", "seen_db", "hidden_db"),
    [
        (1, 50.8072, 50.8072),
        (10, 63.7630, 73.1894),
        (50, 75.7750, 99.7824),
        (100, 80.9802, 111.3062),
    ],
)
def test_the_yardstick_meets_its_published_vectors(
    ground_m: float, seen_db: float, hidden_db: float
) -> None:
    length_m = math.hypot(ground_m, 1.5)
    assert hotspot_seen_db(length_m, 5000) == pytest.approx(seen_db, abs=0.05)
    assert hotspot_hidden_db(length_m, 5000) == pytest.approx(hidden_db, abs=0.05)


@pytest.mark.parametrize("length_m", [5, 10, 15, 20, 30, 50])
def test_the_office_coefficient_agrees_within_the_published_spread(length_m: float) -> None:
    found_db = path_loss_db(indoor_model("office", 5), 5210, length_m)
    assert abs(found_db - hotspot_hidden_db(length_m, 5210)) < HOTSPOT_SPREAD_DB


@pytest.mark.parametrize("length_m", [5, 10, 20, 27])
def test_the_site_general_rows_agree_within_both_published_spreads(length_m: float) -> None:
    """Root of the squared spreads of the two models; the widest gap is 8.2 dB, hidden at 27 m."""
    hidden = site_general_model("office", "no line of sight")
    seen = site_general_model("office", "line of sight")
    hidden_gap_db = path_loss_db(hidden, 5210, length_m) - hotspot_hidden_db(length_m, 5210)
    seen_gap_db = path_loss_db(seen, 5210, length_m) - hotspot_seen_db(length_m, 5210)
    assert abs(hidden_gap_db) < math.hypot(HOTSPOT_SPREAD_DB, hidden.sigma_db)
    assert abs(seen_gap_db) < math.hypot(HOTSPOT_SEEN_SPREAD_DB, seen.sigma_db)

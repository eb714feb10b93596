"""Distances from antennas, against worked examples that were published."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.exposure import power_density_w_m2, separation_m, total_dbm

# Compliance statements in the public files of the FCC, worked by the equation on page 18 of OET
# Bulletin 65 (97-01): watts into the antenna in dBm, gain in dBi, metres, mW/cm^2 as printed.
WORKED = [
    (16.00, 0.0, 0.20, 0.007920),
    (20.37, 2.0, 0.20, 0.034334),
    (7.74, 3.63, 0.20, 0.0027),
    (26.09, 3.0, 0.20, 0.16),
]


@pytest.mark.parametrize(("power_dbm", "gain_dbi", "distance_m", "mw_cm2"), WORKED)
def test_power_density_is_that_of_the_published_examples(
    power_dbm: float, gain_dbi: float, distance_m: float, mw_cm2: float
) -> None:
    found = power_density_w_m2(power_dbm + gain_dbi, distance_m) / 10
    digits = len(str(mw_cm2).split(".")[1])
    assert found == pytest.approx(mw_cm2, abs=0.6 * 10**-digits)


def test_the_distance_is_that_of_a_published_example() -> None:
    # One of them goes on: 5.94 mW, gain 2.31, limit 1 mW/cm^2, "estimated safe separation 1.04 cm".
    assert separation_m(7.74 + 3.63) == pytest.approx(0.0104, abs=0.00005)


@pytest.mark.parametrize(("radiated_dbm", "centimetres"), [(23, 4), (30, 9), (36, 18)])
def test_common_units_keep_the_limit_within_twenty_centimetres(
    radiated_dbm: float, centimetres: float
) -> None:
    # r = sqrt(EIRP / (4 pi 10 W/m^2)) by hand.
    assert 100 * separation_m(radiated_dbm) == pytest.approx(centimetres, abs=0.6)


@given(st.floats(-20, 80))
def test_at_the_distance_the_density_is_the_limit(radiated_dbm: float) -> None:
    assert power_density_w_m2(radiated_dbm, separation_m(radiated_dbm)) == pytest.approx(10)


@given(st.lists(st.floats(-30, 40), min_size=1, max_size=5))
def test_powers_add_in_milliwatts(levels: list[float]) -> None:
    assert total_dbm(levels) >= max(levels) - 1e-9
    assert total_dbm(levels) <= max(levels) + 10 * math.log10(len(levels)) + 1e-9


def test_no_radio_radiates_nothing() -> None:
    assert total_dbm([]) == -math.inf
    assert total_dbm([20, 20]) == pytest.approx(23.01, abs=0.01)

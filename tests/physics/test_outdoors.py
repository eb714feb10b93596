"""Open-air paths against ITU-R's practical formulae and plain laws."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.outdoors import (
    CLEAR_SHARE,
    break_point_m,
    fresnel_radius_m,
    obstacle_loss_db,
    open_air_loss_db,
    wavelength_m,
)
from meshlint.physics.propagation import free_space_loss_db

frequencies = st.floats(2400, 7125)
lengths = st.floats(1, 2000)


@pytest.mark.parametrize(
    ("near_km", "far_km", "frequency_mhz"), [(0.05, 0.05, 5500), (0.1, 0.9, 2437), (3, 1, 5785)]
)
def test_the_practical_form_of_the_fresnel_radius(
    near_km: float, far_km: float, frequency_mhz: float
) -> None:
    """ITU-R P.526-8 eq. (3): 550 sqrt(d1 d2 / ((d1 + d2) f)), km and MHz, 550 for 547.5."""
    practical_m = 550 * math.sqrt(near_km * far_km / ((near_km + far_km) * frequency_mhz))
    found_m = fresnel_radius_m(near_km * 1000, far_km * 1000, frequency_mhz)
    assert found_m == pytest.approx(practical_m, rel=0.005)


@given(st.floats(0.5, 500), st.floats(0.5, 500), frequencies)
def test_the_detour_by_the_edge_of_the_zone_is_half_a_wavelength(
    near_m: float, far_m: float, frequency_mhz: float
) -> None:
    """ITU-R P.526-8 eq. (1), the definition, to second order in radius over distance."""
    radius_m = fresnel_radius_m(near_m, far_m, frequency_mhz)
    detour_m = math.hypot(near_m, radius_m) + math.hypot(far_m, radius_m) - near_m - far_m
    assert detour_m == pytest.approx(wavelength_m(frequency_mhz) / 2, rel=0.07)


@given(st.floats(1, 500), st.floats(1, 500), frequencies)
def test_the_zone_is_widest_in_the_middle(
    near_m: float, far_m: float, frequency_mhz: float
) -> None:
    middle_m = (near_m + far_m) / 2
    widest_m = fresnel_radius_m(middle_m, middle_m, frequency_mhz)
    assert fresnel_radius_m(near_m, far_m, frequency_mhz) <= widest_m * (1 + 1e-12)


def test_an_edge_on_the_line_costs_six_decibels() -> None:
    """Half the wave front is blocked, so half the field is left: 6.02 dB in theory.

    The approximation of ITU-R P.526 gives 6.03 dB.
    """
    assert obstacle_loss_db(0, 40, 60, 5500) == pytest.approx(20 * math.log10(2), abs=0.05)


def test_six_tenths_of_the_zone_is_clear_enough() -> None:
    radius_m = fresnel_radius_m(40, 60, 5500)
    assert obstacle_loss_db(CLEAR_SHARE * radius_m, 40, 60, 5500) == 0
    assert obstacle_loss_db(0.5 * radius_m, 40, 60, 5500) > 0


@pytest.mark.parametrize("above_radii", [2.0, 4.0])
def test_a_high_edge_follows_the_asymptote(above_radii: float) -> None:
    """Far into the shadow the field falls as 1 / (sqrt(2) pi v), J = 13 + 20 log10 v."""
    radius_m = fresnel_radius_m(40, 60, 5500)
    v = math.sqrt(2) * above_radii
    expected_db = 20 * math.log10(math.sqrt(2) * math.pi * v)
    found_db = obstacle_loss_db(-above_radii * radius_m, 40, 60, 5500)
    assert found_db == pytest.approx(expected_db, abs=0.3)


@given(st.floats(-20, 20), st.floats(-20, 20), frequencies)
def test_a_higher_obstacle_never_loses_less(
    one_m: float, other_m: float, frequency_mhz: float
) -> None:
    low_m, high_m = sorted((one_m, other_m))
    loss_db = obstacle_loss_db(high_m, 40, 60, frequency_mhz)
    assert obstacle_loss_db(low_m, 40, 60, frequency_mhz) >= loss_db


def test_the_break_point() -> None:
    """4 h1 h2 / lambda: 4 x 3 m x 2 m x 5 GHz / c = 400.3 m."""
    assert break_point_m(3, 2, 5000) == pytest.approx(24 / 0.0599585, rel=1e-5)


@given(lengths, frequencies, st.floats(0.5, 10), st.floats(0.5, 10))
def test_ground_never_helps(
    length_m: float, frequency_mhz: float, one_m: float, other_m: float
) -> None:
    open_db = free_space_loss_db(length_m, frequency_mhz)
    found_db = open_air_loss_db(length_m, frequency_mhz, (one_m, other_m))
    assert found_db >= open_db
    assert open_air_loss_db(length_m, frequency_mhz) == open_db
    if length_m <= break_point_m(one_m, other_m, frequency_mhz):
        assert found_db == open_db


@given(frequencies, st.floats(0.5, 10), st.floats(0.5, 10))
def test_far_beyond_the_break_point_frequency_no_longer_matters(
    frequency_mhz: float, one_m: float, other_m: float
) -> None:
    """The flat-earth loss 40 log10 d - 20 log10(h1 h2), with the break point's own constant.

    The break point at 4 h1 h2 / lambda (not 4 pi h1 h2 / lambda) puts it 20 log10 pi = 9.94 dB up.
    """
    length_m = 1e5
    flat_db = 40 * math.log10(length_m) - 20 * math.log10(one_m * other_m)
    found_db = open_air_loss_db(length_m, frequency_mhz, (one_m, other_m))
    assert found_db - flat_db == pytest.approx(20 * math.log10(math.pi), abs=1e-6)


def test_impossible_paths_are_refused() -> None:
    with pytest.raises(ValueError, match="distances to the ends"):
        fresnel_radius_m(0, 0, 5000)
    with pytest.raises(ValueError, match="heights"):
        break_point_m(0, 2, 5000)
    with pytest.raises(ValueError, match="frequency"):
        wavelength_m(0)
    with pytest.raises(ValueError, match="between the ends"):
        obstacle_loss_db(1, 0, 50, 5000)

"""Noise, carrier sense and fading against computed constants and plain laws."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.noise import (
    carrier_sense_dbm,
    fade_margin_db,
    noise_floor_dbm,
    share_of_places,
    snr_db,
    sum_dbm,
    thermal_noise_dbm,
)

levels = st.lists(st.floats(-120, 20), min_size=1, max_size=12)


@pytest.mark.parametrize(
    ("width_mhz", "noise_dbm", "with_receiver_dbm"),
    # kTB from -174 dBm/Hz, and with the 7 dB noise figure that ns-3 assumes.
    [
        (20, -100.99, -93.99),
        (40, -97.98, -90.98),
        (80, -94.97, -87.97),
        (160, -91.96, -84.96),
        (320, -88.95, -81.95),
    ],
)
def test_thermal_noise(width_mhz: float, noise_dbm: float, with_receiver_dbm: float) -> None:
    """-174 dBm/Hz is kT at 290 K rounded by 0.025 dB."""
    assert thermal_noise_dbm(width_mhz) == pytest.approx(noise_dbm + 0.025, abs=0.006)
    assert noise_floor_dbm(width_mhz, 7) == pytest.approx(with_receiver_dbm + 0.025, abs=0.006)


def test_signal_to_noise_is_level_over_noise() -> None:
    assert snr_db(-67, 20, 7) == pytest.approx(26.97, abs=0.01)


def test_carrier_sense_by_width() -> None:
    """IEEE 802.11-2020 17.3.10.6: -82 dBm at 20 MHz; -79 and -76 at 40 and 80."""
    assert [carrier_sense_dbm(width) for width in (20, 40, 80)] == [-82, -79, -76]


def test_adding_powers() -> None:
    assert sum_dbm([]) == -math.inf
    assert sum_dbm([-60, -60]) == pytest.approx(-56.99, abs=0.01)
    assert sum_dbm([-60, -63, -66]) == pytest.approx(-57.57, abs=0.01)


@given(levels)
def test_a_sum_is_at_least_its_loudest_part(parts: list[float]) -> None:
    total = sum_dbm(parts)
    assert max(parts) - 1e-9 <= total <= max(parts) + 10 * math.log10(len(parts)) + 1e-9


@pytest.mark.parametrize(
    ("share", "quantile"),
    # Quantiles of the normal law as printed in any table.
    [(0.5, 0.0), (0.8, 0.84162), (0.9, 1.28155), (0.95, 1.64485), (0.99, 2.32635)],
)
def test_the_margin_for_a_share_of_places(share: float, quantile: float) -> None:
    assert fade_margin_db(8, share) == pytest.approx(8 * quantile, abs=1e-4)


@given(st.floats(0.5, 20), st.floats(0.01, 0.99))
def test_share_and_margin_are_inverse(sigma_db: float, share: float) -> None:
    margin_db = fade_margin_db(sigma_db, share)
    assert share_of_places(margin_db, sigma_db) == pytest.approx(share)


@given(st.floats(0.5, 20), st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_more_places_need_more_margin(sigma_db: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert fade_margin_db(sigma_db, low) <= fade_margin_db(sigma_db, high)


def test_without_spread_no_margin_is_needed() -> None:
    assert fade_margin_db(0, 0.99) == 0


def test_impossible_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="share lies between"):
        fade_margin_db(8, 1)
    with pytest.raises(ValueError, match="spread"):
        fade_margin_db(-1, 0.9)
    with pytest.raises(ValueError, match="width"):
        thermal_noise_dbm(0)


@given(st.floats(1e-9, 1 - 1e-9), st.floats(0.1, 20))
def test_margins_and_shares_are_those_of_the_standard_librarys_normal_law(share, sigma_db):
    law = NormalDist(sigma=sigma_db)
    margin_db = fade_margin_db(sigma_db, share)
    assert margin_db == pytest.approx(law.inv_cdf(share), abs=1e-6 * sigma_db)
    assert share_of_places(margin_db, sigma_db) == pytest.approx(law.cdf(margin_db), abs=1e-12)

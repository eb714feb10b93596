"""Readings beside computed levels, the offset fitted to them, and its use."""

from __future__ import annotations

import math
import statistics
from datetime import date

import numpy as np
import pytest

from builders import site, stands_at, with_radios
from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

# ITU-R P.1238, house, 5210 MHz: 46.337 + 28 log10 d, spread 8 dB (from memory).
LOSS_10_DB = 20 * math.log10(5210) - 28 + 28


def measured(*levels_dbm: float, fit: str = "", radius_m: float = 10.0) -> str:
    """Return two units 10 m apart, and levels measured on a circle around the first."""
    places = [(radius_m * math.cos(i), radius_m * math.sin(i)) for i in range(len(levels_dbm))]
    listed = "\n".join(
        f"  - {{unit: one, band: 5, at: {{x_m: {x:.6f}, y_m: {y:.6f}}}, level_dbm: {dbm}}}"
        for (x, y), dbm in zip(places, levels_dbm, strict=True)
    )
    radio = with_radios(
        mid="band: 5, channel: 36, width_mhz: 80, radiated_dbm: 20, antenna_gain_dbi: 0, "
        "generation: 802.11ax, streams: 2"
    )
    units = {"one": f"{stands_at(0, 0, 1)}, {radio}", "two": f"{stands_at(10, 0, 1)}, {radio}"}
    readings = f"readings:\n{listed or '  []'}\n"
    return site(units, None, readings, surroundings="home", fit_to_readings=fit)


KEY = "readings/one/5"


def test_a_reading_is_held_against_the_level_computed_for_its_place(worked):
    w = worked(measured(-60.0))
    assert w("reading.computed_dbm", KEY) == pytest.approx(20 - LOSS_10_DB)
    assert w("reading.difference_db", KEY) == pytest.approx(-60 - (20 - LOSS_10_DB))
    assert w("reading.standard_error_db", KEY) == 8.0


def test_the_mean_of_several_may_stray_less(worked):
    w = worked(measured(-60.0, -62.0, -64.0, -66.0))
    assert w("reading.count", KEY) == 4
    assert w("reading.standard_error_db", KEY) == pytest.approx(8 / math.sqrt(4))
    assert w("reading.measured_dbm", KEY) == -63.0


def test_the_offset_is_the_least_squares_constant_with_its_standard_error(worked):
    found = (-60.0, -57.5, -66.0, -61.0, -63.5)
    w = worked(measured(*found))
    off = np.array(found) - (20 - LOSS_10_DB)
    # Reference: numpy's least squares on a column of ones, and the statistics module.
    (fitted,), (residual,), *_ = np.linalg.lstsq(np.ones((5, 1)), off, rcond=None)
    assert w("site.readings_offset_db", "site") == pytest.approx(fitted)
    assert w("site.readings_offset_error_db", "site") == pytest.approx(math.sqrt(residual / 4 / 5))
    assert w("site.readings_offset_error_db", "site") == pytest.approx(
        statistics.stdev(off) / math.sqrt(5)
    )


def test_two_readings_are_too_few_for_an_offset(worked):
    w = worked(measured(-60.0, -61.0))
    assert isinstance(w("site.readings_offset_db", "site"), Unknown)
    assert w.wants("site.readings_offset_db", "site") == ["readings"]


def spread(*off_db: float, farthest_m: float = 40.0) -> tuple[str, np.ndarray, np.ndarray]:
    """Return a site measured at growing distances, their logarithms and the differences."""
    far = np.linspace(math.log10(5), math.log10(farthest_m), len(off_db))
    computed = 20 - (20 * math.log10(5210) - 28 + 28 * far)
    listed = "\n".join(
        f"  - {{unit: one, band: 5, at: {{x_m: {10**at!r}, y_m: 0}}, level_dbm: {dbm!r}}}"
        for at, dbm in zip(far.tolist(), (computed + off_db).tolist(), strict=True)
    )
    return measured().replace("  []", listed), far, np.array(off_db)


NOISE_DB = (3.1, -4.2, 0.4, 5.0, -2.2, -6.1, 1.7, 2.4, -0.9, 0.8, -3.3, 4.0)


def test_a_slope_is_the_line_of_least_squares_with_its_standard_error(worked):
    text, far, off = spread(*NOISE_DB)
    w = worked(text)
    # Reference: numpy's polyfit, whose covariance is scaled by what is left over n - 2.
    (fitted, _), covariance = np.polyfit(far, off, 1, cov=True)
    assert w("site.readings_slope_db", "site") == pytest.approx(fitted, abs=1e-5)
    assert w("site.readings_slope_error_db", "site") == pytest.approx(
        math.sqrt(covariance[0, 0]), abs=1e-5
    )
    assert w("site.readings_offset_db", "site") == pytest.approx(off.mean(), abs=1e-5)


def test_a_site_that_falls_off_faster_shows_by_how_much(worked):
    text, far, _ = spread(*([0.0] * 10))
    off = -7.0 * (far - far.mean())
    w = worked(spread(*off.tolist())[0])
    assert w("site.readings_slope_db", "site") == pytest.approx(-7, abs=1e-4)
    assert w("site.readings_slope_error_db", "site") == pytest.approx(0, abs=1e-4)
    assert worked(text)("site.readings_slope_db", "site") == pytest.approx(0, abs=1e-4)


def test_a_slope_asks_for_ten_readings_near_and_far(worked):
    few = worked(spread(*NOISE_DB[:9])[0])
    assert few.wants("site.readings_slope_db", "site") == ["readings"]
    alike = worked(spread(*NOISE_DB, farthest_m=19.9)[0])
    assert alike.wants("site.readings_slope_db", "site") == ["readings"]
    assert not worked(spread(*NOISE_DB, farthest_m=20.1)[0]).wants("site.readings_slope_db", "site")


def test_a_slope_moves_nothing_even_where_the_site_fits_to_readings(worked):
    text = spread(*NOISE_DB)[0]
    fitted = worked(text.replace("surroundings: home", "surroundings: home, fit_to_readings: true"))
    shift = fitted("site.readings_offset_applied_db", "site")
    pair = "pairs/one+two/5"
    assert fitted("pair.handover_dbm", pair) == pytest.approx(
        worked(text)("pair.handover_dbm", pair) + shift
    )


LINK = "backhaul: {two to one: {from: two, to: one, over: radio, from_radio: mid, to_radio: mid}}"


def test_the_offset_moves_computed_levels_only_where_the_site_says_so(worked):
    def level(fit: str) -> float:
        text = measured(-65.0, -65.0, -65.0, fit=fit) + LINK
        return worked(text)("link.level_dbm", "backhaul/two to one")

    computed = 20 - LOSS_10_DB
    shift = -65.0 - computed
    plain = level("")
    assert level("false") == plain
    assert level("true") == pytest.approx(plain + shift)


def test_cells_shrink_with_an_applied_offset(worked):
    plain = worked(measured(-65.0, -65.0, -65.0))
    fitted = worked(measured(-65.0, -65.0, -65.0, fit="true"))
    pair = "pairs/one+two/5"
    # 28 dB a decade: the radius follows the shift.
    shift = -65.0 - (20 - LOSS_10_DB)
    assert fitted("pair.first_radius_m", pair) == pytest.approx(
        plain("pair.first_radius_m", pair) * 10 ** (shift / 28)
    )
    assert fitted("site.readings_offset_applied_db", "site") == pytest.approx(shift)
    assert plain("site.readings_offset_applied_db", "site") == 0.0


def test_an_offset_that_is_asked_for_and_cannot_be_fitted_leaves_levels_unknown(worked):
    w = worked(measured(-65.0, fit="true"))
    assert w.wants("pair.overlap_percent", "pairs/one+two/5") == ["readings"]


def test_outdoors_no_spread_is_published_and_none_is_made_up(worked):
    text = measured(-60.0).replace("surroundings: home", "surroundings: outdoors")
    assert isinstance(worked(text)("reading.off_errors", KEY), Unknown)


def test_the_age_of_the_newest_reading_counts_to_the_day_of_the_check():
    text = measured(-60.0).replace("level_dbm: -60.0}", "level_dbm: -60.0, taken: 2026-11-01}")
    w = Workings(load_site(text.encode(), "a", Catalogues())[0], date(2026, 11, 25))
    (about,) = subjects(w, "site")[0]
    assert w.value(FACTS["site.reading_age_days"], about) == 24


def heard(apart_m: float, fit: str, off_db: float) -> str:
    """Return two client cells so far apart, and readings at `one` that are off the model so far."""
    level = 20 - LOSS_10_DB + off_db
    text = measured(level, level, level, fit=fit).replace(
        "{x_m: 10, y_m: 0", f"{{x_m: {apart_m}, y_m: 0"
    )
    text = text.replace("streams: 2}", "streams: 2, carries: [clients]}")
    return text + (
        "backhaul: {up: {from: two, to: one, over: cable}}\n"
        "networks: {staff: {neighbour_reports: true, transition_advice: true}}\n"
        "clients:\n  calls: {count: 1, near: one, network: staff, band: 5, use: voice,"
        " roams: true}\n"
    )


# At 80 MHz a radio holds its air for one of its own channel from -82 + 6 dBm on, and one of 20 dBm
# arrives with that at 10 ** ((20 - 46.34 + 76) / 28) = 59.3 m; 15 dB more reach 203.7 m, 15 less
# 17.3 m. At 20 MHz, -82 dBm, the bound that spares work stands at 97.3 m.
@pytest.mark.parametrize(
    ("apart_m", "off_db", "by_plan", "by_readings"),
    [
        (100, 15, False, True),
        (200, 15, False, True),
        (207, 15, False, False),
        (40, -15, True, False),
    ],
)
def test_who_hears_whom_goes_by_the_power_that_readings_show(
    worked, apart_m, off_db, by_plan, by_readings
):
    for fit, hear in (("", by_plan), ("true", by_readings)):
        w = worked(heard(apart_m, fit, off_db))
        assert len(w.subjects("air")) == (1 if hear else 2)
        assert w("pair.hear_each_other", "pairs/one+two/5") is hear
        assert w("radio.shares_air_with", "units/one/radios/mid") == (("two",) if hear else ())


@pytest.mark.parametrize("off_db", [-6.5, 4.0])
def test_where_a_call_is_handed_over_levels_are_those_that_readings_show(worked, off_db):
    def second_dbm(fit: str) -> float:
        return worked(heard(40, fit, off_db))("group.second_level_dbm", "clients/calls")

    assert second_dbm("true") == pytest.approx(second_dbm("") + off_db)

"""Cells on a drawn level: against circles, against each other, and against counting by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders import site, stands_at, with_radios
from meshlint.physics.circles import share_of_smaller, spacing_for_share_m
from meshlint.run import shipped_rules
from meshlint.workings.unknown import Unknown

HALL = "outline_m: [[-40, -20], [40, -20], [40, 20], [-40, 20]]"
WIDE = "outline_m: [[-100, -100], [100, -100], [100, 100], [-100, 100]]"


def two(
    apart_m: float,
    *,
    level: str = WIDE,
    surroundings: str = "home",
    first_dbm: float = 20,
    second_dbm: float = 20,
    more: str = "",
) -> str:
    """Return two cells so far apart on one level, the middle between them at 0, 0."""
    units = {
        name: f"{stands_at(x_m, 0, 1)}, {with_radios(mid=f'band: 5, radiated_dbm: {dbm}')}"
        for name, x_m, dbm in (("one", -apart_m / 2, first_dbm), ("two", apart_m / 2, second_dbm))
    }
    return site(units, None, f"levels: {{ground: {{{level}}}}}\n{more}", surroundings=surroundings)


# P.1238 house at 5210 MHz: 20 dBm radiated reach 10^((87 - 46.337) / 28) = 28.32 m to -67 dBm.
RADIUS_M = 10 ** ((87 - (20 * math.log10(5210) - 28)) / 28)
PAIR = "pairs/one+two/5"


@pytest.mark.parametrize("apart_m", [8.0, 20.0, 42.1, 50.0])
def test_on_a_wide_level_without_walls_the_overlap_is_that_of_circles(worked, apart_m):
    # Reference: the closed form of Weisstein, "Circle-Circle Intersection". The grid has 1 m here.
    on_plan = worked(two(apart_m))
    share = 100 * share_of_smaller(RADIUS_M, RADIUS_M, apart_m)
    assert on_plan("pair.overlap_percent", PAIR) == pytest.approx(share, abs=0.7)
    assert on_plan("pair.model", PAIR).startswith("areas inside the outline at 1 m")


def test_without_an_outline_cells_are_circles_and_say_so(worked):
    w = worked(two(spacing_for_share_m(RADIUS_M, RADIUS_M, 0.15), level="base_m: 0"))
    assert w("pair.overlap_percent", PAIR) == pytest.approx(15.0, abs=0.01)
    assert w("pair.model", PAIR).startswith("circles; ITU-R P.1238")
    assert w("radio.cell_m2", "units/one/radios/mid") == pytest.approx(math.pi * RADIUS_M**2)
    assert w.wants("radio.alone_m2", "units/one/radios/mid") == ["levels/ground/outline_m"]


@pytest.mark.parametrize(("level", "off_db"), [(HALL, 0.3), ("base_m: 0", 1e-9)])
@pytest.mark.parametrize(("first_dbm", "second_dbm"), [(20, 20), (23, 17)])
def test_the_hand_over_level_is_that_where_neither_is_louder(
    worked, level, off_db, first_dbm, second_dbm
):
    # By hand: at distances in the ratio 10^(difference / 28) the two are equally loud.
    ratio = 10 ** ((first_dbm - second_dbm) / 28)
    near_m = 30 * ratio / (1 + ratio)
    loss_db = 20 * math.log10(5210) - 28 + 28 * math.log10(near_m)
    w = worked(two(30, level=level, first_dbm=first_dbm, second_dbm=second_dbm))
    assert w("pair.handover_dbm", PAIR) == pytest.approx(first_dbm - loss_db, abs=off_db)


def test_a_wall_between_takes_overlap_and_hand_over_level(worked):
    wall = ", walls: [{path_m: [[0, -100], [0, 100]], loss_db: 12}]"
    bare, walled = (
        worked(two(20, level=WIDE + walls, surroundings="office"))
        for walls in (", walls: []", wall)
    )
    assert walled("pair.overlap_percent", PAIR) < bare("pair.overlap_percent", PAIR)
    # The best place is at the wall, 10 m from both: one side in sight, the other 12 dB below the
    # 66.785 dB of IEEE 802.11-14/0980. Without the wall both are in sight there (P.1238-11 office).
    assert walled("pair.handover_dbm", PAIR) == pytest.approx(20 - 66.785 - 12, abs=0.8)
    in_sight_db = 34.62 + 14.6 + 20.3 * math.log10(5.21)
    assert bare("pair.handover_dbm", PAIR) == pytest.approx(20 - in_sight_db, abs=0.4)
    assert "802.11-14/0980" in walled("pair.model", PAIR)


def test_with_walls_but_no_outline_circles_reach_as_far_as_the_cell_does_that_way(worked):
    # Enterprise at 5210 MHz: 87 dB of distance end at 37.8 m; behind 12 dB, at 17.2 m.
    wall = "base_m: 0, walls: [{path_m: [[0, -100], [0, 100]], loss_db: 12}]"
    w = worked(two(20, level=wall, surroundings="office"))
    behind_m = 10 * 10 ** ((87 - 12 - 66.785) / 35)
    assert w("pair.first_radius_m", PAIR) == pytest.approx(behind_m, abs=0.02)


powers = st.floats(8, 24)


# The fixture is a class without state of its own.
@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.floats(4, 40), powers, powers, st.floats(0, 20))
def test_a_wall_never_widens_a_cell(worked, apart_m, first_dbm, second_dbm, loss_db):
    small = "outline_m: [[-30, -10], [30, -10], [30, 10], [-30, 10]]"
    wall = f"{small}, walls: [{{path_m: [[3, -8], [3, 8]], loss_db: {loss_db}}}]"
    kind = {"first_dbm": first_dbm, "second_dbm": second_dbm}
    bare, walled = (worked(two(apart_m, level=x, **kind)) for x in (small + ", walls: []", wall))
    for unit in ("one", "two"):
        key = f"units/{unit}/radios/mid"
        assert walled("radio.cell_m2", key) <= bare("radio.cell_m2", key)
        assert walled("radio.best_server_m2", key) <= walled("radio.cell_m2", key)
        assert walled("radio.alone_m2", key) <= walled("radio.best_server_m2", key)


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.floats(4, 50), powers, powers, st.floats(0, 30), st.booleans())
def test_cells_share_area_just_where_a_place_to_change_over_is_in_both(
    worked, apart_m, first_dbm, second_dbm, loss_db, outlined
):
    """So the level of overlap-enough, at its default, asks nothing that the area does not."""
    outline = ", outline_m: [[-30, -10], [30, -10], [30, 10], [-30, 10]]" if outlined else ""
    level = f"base_m: 0{outline}, walls: [{{path_m: [[3, -8], [3, 8]], loss_db: {loss_db}}}]"
    w = worked(two(apart_m, level=level, first_dbm=first_dbm, second_dbm=second_dbm))
    overlap, handover = w("pair.overlap_percent", PAIR), w("pair.handover_dbm", PAIR)
    if overlap > 1e-6:
        assert handover >= -67 - 1e-6
    else:
        assert handover <= -67 + 1e-6


def test_under_four_decibels_to_spare_are_fifteen_percent_of_area_in_the_open():
    # Two equal circles that share 15 % stand 1.4865 radii apart (Weisstein), so the middle is at
    # 0.743 of a radius: 28 dB a decade in a house.
    apart = spacing_for_share_m(1, 1, 0.15)
    assert apart == pytest.approx(1.4865, abs=1e-4)
    assert 28 * math.log10(2 / apart) == pytest.approx(3.6, abs=0.02)


def test_with_no_share_of_area_asked_for_the_level_alone_decides(check_text):
    def fired(apart_m: float, db: float) -> bool:
        shipped = shipped_rules()
        limits = {**shipped.limits, "overlap-enough": {"low": 0.0, "db": db}}
        text = two(apart_m, level="base_m: 0", more="clients: {t: {count: 2, roams: true}}")
        result = check_text(text, shipped.with_cards(shipped.cards, limits))
        return "overlap-enough" in {finding.rule for finding in result.findings}

    # Neither is louder in the middle, which is at -67 dBm where the two stand two radii apart, at
    # -63.4 dBm where they stand 1.486 radii apart.
    assert not fired(2 * RADIUS_M - 0.1, 0)
    assert fired(2 * RADIUS_M + 0.1, 0)
    assert not fired(2 * RADIUS_M + 0.1, 3)
    assert not fired(1.485 * RADIUS_M, -3.6)
    assert fired(1.489 * RADIUS_M, -3.6)


def test_what_both_cover_and_what_one_covers_alone_add_up(worked):
    w = worked(two(30))
    cell, alone = (w(f"radio.{n}", "units/one/radios/mid") for n in ("cell_m2", "alone_m2"))
    shared = w("pair.overlap_percent", PAIR) / 100 * cell
    assert alone + shared == pytest.approx(cell)
    served = sum(w("radio.best_server_m2", f"units/{u}/radios/mid") for u in ("one", "two"))
    assert served == pytest.approx(2 * cell - shared, rel=0.03)  # the middle line counts twice


def test_a_unit_that_others_cover_is_redundant_and_named(worked):
    w = worked(two(6, second_dbm=5))
    assert w("unit.redundant", "units/two") is True
    assert w("unit.redundant", "units/one") is False
    assert w("site.redundant_units", "site") == ("two",)
    assert w("pair.redundant_unit", PAIR) == "two"


def test_a_unit_on_a_band_of_its_own_is_not_redundant(worked):
    text = two(6, second_dbm=5).replace(
        "radios: {mid: {band: 5, radiated_dbm: 5}}",
        "radios: {mid: {band: 5, radiated_dbm: 5}, low: {band: 2.4, radiated_dbm: 5}}",
    )
    assert worked(text)("unit.redundant", "units/two") is False


def test_whether_a_unit_is_redundant_is_open_while_a_power_that_matters_is(worked):
    text = two(6, second_dbm=5).replace("radiated_dbm: 20", "channel: 36")
    assert worked(text).wants("unit.redundant", "units/two") == ["units/one/radios/mid/power_dbm"]


def test_what_leaks_out_is_counted_within_ten_metres_and_walls_hold_it(worked):
    # A hall of 40 x 40 m, the unit 5 m from the middle of the east wall.
    hall = "outline_m: [[-20, -20], [20, -20], [20, 20], [-20, 20]]"
    ring_m2 = 60 * 60 - 40 * 40
    open_hall = worked(two(30, level=hall, first_dbm=-30, second_dbm=40))
    assert open_hall("radio.outside_m2", "units/two/radios/mid") == pytest.approx(ring_m2)
    walled = hall + (
        ", walls: [{path_m: [[-20, -20], [20, -20], [20, 20], [-20, 20], [-20, -20]], loss_db: 90}]"
    )
    shut = worked(two(30, level=walled, second_dbm=20))
    assert shut("radio.outside_m2", "units/two/radios/mid") == 0


def test_a_cell_goes_through_the_floor_as_the_slab_allows(worked):
    outline = "outline_m: [[0, 0], [20, 0], [20, 20], [0, 20]], walls: []"

    def levels(slab: str) -> str:
        return f"base_m: 0, {outline}}}, upper: {{base_m: 3, {outline}, floor: {{loss_db: {slab}}}"

    def covered(slab: str) -> float:
        text = two(4, level=levels(slab)).replace("{x_m", "{level: ground, x_m")
        return worked(text)("radio.cell_elsewhere_m2", "units/two/radios/mid")

    assert covered("0") == pytest.approx(400)
    assert covered("200") == 0
    assert covered("0") >= covered("20") >= covered("30") >= covered("40")


def test_a_gap_is_told_with_its_area_and_its_middle(worked):
    wall = (
        "outline_m: [[-10, -5], [10, -5], [10, 5], [-10, 5]], "
        "walls: [{path_m: [[4, -5], [4, 5]], loss_db: 60}]"
    )
    area = "areas: {hall: {level: ground, outline_m: [[-10, -5], [10, -5], [10, 5], [-10, 5]]}}"
    w = worked(two(6, level=wall, more=area))
    assert w("area.uncovered_m2", "areas/hall") == pytest.approx(60)
    assert w("area.uncovered_percent", "areas/hall") == pytest.approx(30)
    assert w("area.uncovered_where", "areas/hall") == "60 m2 around x 6.8 m, y -0.2 m"
    assert w("area.nearest_unit", "areas/hall") == "two"


def test_a_model_that_ends_draws_no_cell_beyond_its_end(worked):
    # ITU-R P.1238-11, corridor, no line of sight, is published to 94 m.
    long_hall = "outline_m: [[-120, -3], [120, -3], [120, 3], [-120, 3]]"
    w = worked(two(200, level=long_hall, surroundings="corridor", first_dbm=50, second_dbm=20))
    assert isinstance(w("radio.cell_m2", "units/one/radios/mid"), Unknown)
    assert w.wants("radio.cell_m2", "units/one/radios/mid") == ["levels"]
    assert not isinstance(w("radio.cell_m2", "units/two/radios/mid"), Unknown)


def test_a_radio_without_clients_has_no_cell(worked):
    text = two(20).replace("radiated_dbm: 20}", "radiated_dbm: 20, carries: [backhaul]}", 1)
    assert worked(text)("radio.cell_m2", "units/one/radios/mid") == 0.0

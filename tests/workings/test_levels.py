"""Losses and levels between two units of a site file."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from builders import over_radio, site, stands_at, with_radios, workings_of
from meshlint.physics.materials import MATERIALS, slab_loss_db
from meshlint.workings.links.budget import link_budget
from meshlint.workings.propagation.drawn_lines import (
    Sheet,
    WallPiece,
    crossed,
    nearest_on,
    on_line,
)
from meshlint.workings.propagation.path_loss import path_between
from meshlint.workings.propagation.received_level import received_dbm, senses_busy
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from meshlint.workings.site_workings import Workings

RADIO = (
    "band: 5, channel: {channel}, width_mhz: {width}, power_dbm: {power}, "
    "antenna_gain_dbi: {gain}, generation: 802.11ax, streams: 2, carries: [clients, backhaul]"
)


def two_units(
    *,
    levels="",
    surroundings="office",
    first="{x_m: 0, y_m: 0}",
    second="{x_m: 10, y_m: 0}",
    ours=None,
    theirs=None,
    more="",
) -> Workings:
    """Return two units, each radio as usual but for what is said of it, with a link between."""
    usual = {"channel": 36, "width": 80, "power": 20, "gain": 3}
    units = {
        name: f"at: {there}, {with_radios(mid=RADIO.format(**usual | (said or {})))}"
        for name, there, said in (("one", first, ours), ("two", second, theirs))
    }
    links = {"two to one": over_radio("two", "one")}
    return workings_of(site(units, links, f"{levels}\n{more}\n", surroundings=surroundings))


def path(w: Workings, frequency_mhz: float = 5210.0):
    return path_between(w, w.site.units["one"], w.site.units["two"], frequency_mhz)


def drawn(*walls: str, name: str = "g", base: str = "") -> str:
    return f"levels: {{{name}: {{{base}walls: [{', '.join(walls)}]}}}}"


def test_without_walls_the_loss_is_the_published_one_of_p1238():
    # ITU-R P.1238, house, N 28 at 5.2 GHz, 10 m: 20 log10 5210 + 28 - 28 = 74.34 dB.
    found = path(two_units(surroundings="home"))
    assert found.loss_db == pytest.approx(74.34, abs=0.01)
    assert found.walls == ()
    assert "P.1238" in found.model
    assert found.sigma_db == 8.0


def test_an_office_takes_the_newer_row_inside_its_range_and_the_older_form_beyond():
    # ITU-R P.1238-11 Table 2, office without line of sight, 4 to 30 m, at 10 m and 5.25 GHz:
    # 71.27 dB, spread 5.04 dB. Beyond it N 31: 20 log10 5250 + 31 log10 40 - 28 = 96.07 dB.
    near = path(two_units(), 5250.0)
    assert (near.loss_db, near.sigma_db) == (pytest.approx(71.27, abs=0.01), 5.04)
    assert "P.1238-11" in near.model
    far = path(two_units(second="{x_m: 40, y_m: 0}"), 5250.0)
    assert (far.loss_db, far.sigma_db) == (pytest.approx(96.07, abs=0.01), 12.0)
    assert "P.1238-11" not in far.model


def test_with_walls_drawn_the_distance_term_and_the_slab_are_added():
    # IEEE 802.11-14/0980 enterprise at 10 m and 5.21 GHz: 66.78 dB; P.2040-3 ripple-free slab of
    # 200 mm concrete at 5.25 GHz: 25.59 dB by the published coefficients.
    w = two_units(
        levels=drawn("{path_m: [[5, -5], [5, 5]], material: concrete, thickness_mm: 200}")
    )
    found = path(w, 5250.0)
    assert found.distance_db == pytest.approx(66.78 + 20 * math.log10(5250 / 5210), abs=0.01)
    assert found.walls_db == pytest.approx(25.59, abs=0.01)
    assert [crossing.words for crossing in found.walls] == ["200 mm concrete wall"]
    assert found.walls[0].at_m == pytest.approx((5.0, 0.0))
    assert "802.11-14/0980" in found.model
    assert "P.2040" in found.model


def test_walls_inside_and_walls_drawn_are_never_both_counted():
    # Walls on a level of which the other end has none drawn: the model with walls inside serves.
    w = two_units(
        levels="levels: {g: {base_m: 0, walls: [{path_m: [[5, -5], [5, 5]], loss_db: 9}]}, "
        "f: {base_m: 3}}",
        first="{level: g, x_m: 0, y_m: 0}",
        second="{level: f, x_m: 10, y_m: 0}",
    )
    found = path(w)
    assert found.walls == ()
    assert "P.1238" in found.model


def test_a_measured_loss_holds_at_any_angle_and_a_material_costs_more_aslant():
    aslant = "{x_m: 10, y_m: 8}"
    measured = drawn("{path_m: [[5, -50], [5, 50]], loss_db: 9}")
    assert path(two_units(levels=measured, second=aslant)).walls_db == 9.0
    brick = drawn("{path_m: [[5, -50], [5, 50]], material: brick, thickness_mm: 100}")
    angle_deg = math.degrees(math.atan2(8, 10))
    expected = slab_loss_db(MATERIALS["brick"], 100, 5210.0, angle_deg)
    assert path(two_units(levels=brick, second=aslant)).walls_db == pytest.approx(expected)
    assert expected > slab_loss_db(MATERIALS["brick"], 100, 5210.0)


def test_a_grazed_wall_costs_no_more_than_at_eighty_degrees():
    grazing = drawn("{path_m: [[-50, 1], [50, 1]], material: brick, thickness_mm: 100}")
    w = two_units(levels=grazing, second="{x_m: 30, y_m: 1.1}")
    assert path(w).walls_db == pytest.approx(slab_loss_db(MATERIALS["brick"], 100, 5210.0, 80.0))


def test_a_wall_of_which_nothing_is_known_costs_what_the_scenario_publishes():
    # IEEE 802.11-14/0980: 7 dB a wall in the enterprise scenario, 5 dB in the residential one.
    bare = drawn("{path_m: [[5, -5], [5, 5]]}")
    assert path(two_units(levels=bare)).walls_db == 7.0
    assert path(two_units(levels=bare, surroundings="home")).walls_db == 5.0


@pytest.mark.parametrize(
    ("wall", "wanted"),
    [
        ("{path_m: [[5, -5], [5, 5]], material: brick}", "thickness_mm"),
        ("{path_m: [[5, -5], [5, 5]], material: floorboard, thickness_mm: 20}", "loss_db"),
    ],
)
def test_a_wall_that_cannot_be_worked_out_is_missing_and_named(wall, wanted):
    with pytest.raises(Missing) as missing:
        path(two_units(levels=drawn(wall)))
    assert missing.value.inputs[0].pointer == ("levels", "g", "walls", 0, wanted)


@pytest.mark.parametrize("end", ["first", "second"])
def test_a_unit_without_a_place_makes_the_path_missing(end):
    name = {"first": "one", "second": "two"}[end]
    placed = {"one": stands_at(0), "two": stands_at(3)}
    w = workings_of(site({**placed, name: ""}, surroundings="office"))
    with pytest.raises(Missing) as missing:
        path(w)
    assert missing.value.inputs[0].pointer == ("units", name, "at")


def test_surroundings_that_nobody_stated_are_missing():
    w = workings_of(site({"one": stands_at(0), "two": stands_at(1, 1)}))
    with pytest.raises(Missing) as missing:
        path(w)
    assert missing.value.inputs[0].pointer == ("site", "surroundings")


def test_distance_is_three_dimensional_and_a_metre_at_least():
    levels = "levels: {g: {base_m: 0}, f: {base_m: 4, surroundings: home}}"
    w = two_units(
        levels=levels,
        surroundings="home",
        first="{level: g, x_m: 0, y_m: 0, height_m: 2}",
        second="{level: f, x_m: 3, y_m: 0, height_m: 2}",
    )
    assert path(w).distance_m == pytest.approx(5.0)
    assert path(two_units(second="{x_m: 0.2, y_m: 0}")).distance_m == 1.0


def test_floors_cost_what_p1238_publishes_where_no_walls_are_drawn():
    # ITU-R P.1238 Table 3, office, 5.2 GHz: 16 dB for one floor.
    levels = "levels: {g: {base_m: 0}, f: {base_m: 3.5}}"
    ends = {"first": "{level: g, x_m: 0, y_m: 0}", "second": "{level: f, x_m: 10, y_m: 0}"}
    found = path(two_units(levels=levels, **ends))
    assert (found.floors, found.floors_db) == (1, 16.0)


def test_floors_are_named_slabs_or_the_floor_term_where_walls_are_drawn():
    # IEEE 802.11-14/0980 residential: 18.3 dB for one floor, 33.5 dB for two.
    def levels(slab):
        return (
            f"levels: {{g: {{base_m: 0, walls: []}}, f: {{base_m: 3, walls: []{slab}}}, "
            "s: {base_m: 6, walls: []}}"
        )

    ends = {"first": "{level: g, x_m: 0, y_m: 0}", "surroundings": "home"}
    one = path(two_units(levels=levels(""), second="{level: f, x_m: 2, y_m: 0}", **ends))
    assert one.floors_db == pytest.approx(18.3)
    two = path(two_units(levels=levels(""), second="{level: s, x_m: 2, y_m: 0}", **ends))
    assert (two.floors, two.floors_db) == (2, pytest.approx(33.52, abs=0.01))
    slab = path(
        two_units(
            levels=levels(", floor: {loss_db: 17}"), second="{level: f, x_m: 2, y_m: 0}", **ends
        )
    )
    assert [c.words for c in slab.through_floors] == ["floor of f of 17 dB"]
    assert slab.floors_db == 17.0


def test_an_office_floor_that_nobody_names_is_missing_where_walls_are_drawn():
    levels = "levels: {g: {base_m: 0, walls: []}, f: {base_m: 3, walls: []}}"
    w = two_units(
        levels=levels, first="{level: g, x_m: 0, y_m: 0}", second="{level: f, x_m: 2, y_m: 0}"
    )
    with pytest.raises(Missing) as missing:
        path(w)
    assert missing.value.inputs[0].pointer == ("levels", "f", "floor")


def test_a_path_out_of_the_building_meets_the_walls_of_the_level_that_it_leaves():
    levels = (
        "levels: {g: {base_m: 0, walls: [{path_m: [[5, -9], [5, 9]], loss_db: 8}], "
        "outline_m: [[-9, -9], [5, -9], [5, 9], [-9, 9]]}, y: {base_m: 0, surroundings: outdoors}}"
    )
    w = two_units(
        levels=levels, first="{level: g, x_m: 0, y_m: 0}", second="{level: y, x_m: 10, y_m: 0}"
    )
    found = path(w)
    assert (found.walls_db, found.floors) == (8.0, 0)
    # 5 m under the roof are no more than free space, and beyond the shell it is open air.
    assert found.distance_db == pytest.approx(66.78, abs=0.01)


def test_outdoors_is_free_space_and_what_is_drawn_in_between():
    # ITU-R P.525: 66.78 dB at 10 m and 5210 MHz.
    levels = (
        "levels: {g: {base_m: 0, walls: [{path_m: [[5, -9], [5, 9]], loss_db: 8}]}, "
        "y: {base_m: 0, surroundings: outdoors}}"
    )
    w = two_units(
        levels=levels, first="{level: y, x_m: 0, y_m: 0}", second="{level: y, x_m: 10, y_m: 0}"
    )
    found = path(w)
    assert found.distance_db == pytest.approx(66.78, abs=0.01)
    assert found.walls_db == 8.0
    assert found.sigma_db is None


def test_an_obstacle_counts_once_however_many_edges_are_met():
    levels = (
        "levels: {g: {walls: [], obstacles: [{outline_m: [[3, -1], [6, -1], [6, 1], [3, 1]], "
        "loss_db: 4}]}}"
    )
    assert path(two_units(levels=levels)).walls_db == 4.0


metres = st.floats(-40, 40).map(lambda m: round(m * 4) / 4)  # many meet corners exactly
places = st.tuples(metres, metres)


@given(places, places, places, places)
def test_swapping_the_ends_crosses_the_same_walls(a, b, start, end):
    piece = WallPiece(start, end, Sheet((), "wall", 1.0))
    assert (crossed(a, b, piece) is None) == (crossed(b, a, piece) is None)


@given(places, places, places, places, places)
def test_no_ray_slips_through_a_corner_or_counts_it_twice(a, b, start, corner, end):
    # The two pieces of a bent wall are crossed as often, odd or even, as the triangle's third side.
    sheet = Sheet((), "wall", 1.0)
    sides = [
        WallPiece(start, corner, sheet),
        WallPiece(corner, end, sheet),
        WallPiece(end, start, sheet),
    ]
    inside_ends = sum(_within(place, (start, corner, end)) for place in (a, b))
    if None not in (_strict(a, sides), _strict(b, sides)) and a != b:
        met = sum(crossed(a, b, side) is not None for side in sides)
        assert met % 2 == inside_ends % 2


def _on(start, end, place):
    nearest = on_line(start, end, nearest_on(start, end, place))
    return math.dist(nearest, place) < 0.06


def _area(p, q, r):
    return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])


def _strict(place, sides):
    """Return the place unless it stands on the line of a side, where 'inside' has no meaning."""
    return None if any(_area(s.start, s.end, place) == 0 for s in sides) else place


def _within(place, corners):
    p, q, r = corners
    turns = [_area(p, q, place) > 0, _area(q, r, place) > 0, _area(r, p, place) > 0]
    return all(turns) or not any(turns)


walls = st.lists(
    st.tuples(
        places, places, st.sampled_from(["loss_db: 3", "material: brick, thickness_mm: 100"])
    ),
    max_size=6,
)


@given(places, places, walls, st.tuples(places, places))
def test_a_wall_never_helps(a, b, some, another):
    def text(listed):
        return drawn(*(f"{{path_m: [{list(p)}, {list(q)}], {how}}}" for p, q, how in listed))

    ends = {
        "first": f"{{x_m: {a[0]}, y_m: {a[1]}}}",
        "second": f"{{x_m: {b[0]}, y_m: {b[1]}}}",
    }
    # A unit fixed to an outer wall is put inside it, and one wall more can make it an inner one.
    drawn_walls = [*((p, q) for p, q, _ in some), another]
    assume(not any(_on(p, q, place) for p, q in drawn_walls for place in (a, b)))
    without = path(two_units(levels=text(some), **ends)).loss_db
    with_one_more = path(two_units(levels=text([*some, (*another, "loss_db: 3")]), **ends)).loss_db
    assert with_one_more >= without - 1e-9


@given(places, places, walls, st.floats(0, 25), st.floats(0, 25), st.floats(0, 9), st.floats(0, 9))
def test_swapping_the_ends_changes_nothing_but_power_and_gain(a, b, some, p1, p2, g1, g2):
    listed = drawn(*(f"{{path_m: [{list(p)}, {list(q)}], {how}}}" for p, q, how in some))
    w = two_units(
        levels=listed,
        first=f"{{x_m: {a[0]}, y_m: {a[1]}}}",
        second=f"{{x_m: {b[0]}, y_m: {b[1]}}}",
        ours={"power": p1, "gain": g1},
        theirs={"power": p2, "gain": g2},
    )
    one, two = w.site.units["one"], w.site.units["two"]
    there = received_dbm(w, one.radios["mid"], two.radios["mid"])
    back = received_dbm(w, two.radios["mid"], one.radios["mid"])
    assert there - p1 == pytest.approx(back - p2, abs=1e-9)
    assert path_between(w, one, two, 5210.0).loss_db == path_between(w, two, one, 5210.0).loss_db


def _both(w):
    return w, *_radios(w)


def _radios(w):
    return w.site.units["one"].radios["mid"], w.site.units["two"].radios["mid"]


def test_hearing_ends_where_the_level_falls_below_carrier_sense():
    # 23 dBm EIRP + 3 dBi - loss = -76 dBm (80 MHz) at a loss of 102 dB; office, N 31, 5210 MHz:
    # 10 ** ((102 - 46.336) / 31) = 62.4 m. Each end of that, a metre away.
    assert senses_busy(*_both(two_units(second="{x_m: 61.4, y_m: 0}")))
    assert not senses_busy(*_both(two_units(second="{x_m: 63.4, y_m: 0}")))


def test_spectrum_apart_is_not_heard_and_needs_no_place():
    w = two_units(theirs={"channel": 149})
    assert not senses_busy(*_both(w))


def test_either_end_that_hears_is_enough():
    w = two_units(second="{x_m: 80, y_m: 0}", theirs={"power": 5})
    assert not senses_busy(*_both(w))
    w = two_units(second="{x_m: 80, y_m: 0}", theirs={"power": 5}, ours={"power": 30})
    assert senses_busy(*_both(w))


def test_a_signal_off_the_primary_is_noticed_ten_db_later():
    # IEEE 802.11-2020 21.3.18.5: -72 dBm for 20 MHz off the primary, -82 dBm on it.
    # Both 20 MHz narrow end (48) hears the wide one at -76; the wide one the narrow one at -72.
    narrow = {"channel": 48, "width": 20, "power": 30}
    wide = {"channel": 36, "width": 80, "power": -10}
    w = two_units(ours=wide, theirs=narrow, second="{x_m: 95, y_m: 0}")
    level = received_dbm(w, _radios(w)[1], _radios(w)[0])
    assert -76 < level < -71
    assert senses_busy(*_both(w)) == (level >= -72)


def test_a_link_budget_picks_the_rate_that_holds_in_nine_places_of_ten():
    # Level: 14 + 3 + 3 - 74.34 = -54.34 dBm. Spread 8 dB: 1.2816 * 8 = 10.25 dB of margin, so
    # -64.6 dBm must do: 802.11ax Table 27-51 at 80 MHz asks -68 for MCS 3, -64 for MCS 4; but the
    # 40 MHz table asks -67 for MCS 4 and the 20 MHz one -66 for MCS 5.
    quiet = {"power": 14}
    found = link_budget(*_link(two_units(surroundings="home", ours=quiet, theirs=quiet)))
    assert found.level_dbm == pytest.approx(-54.34, abs=0.01)
    assert found.fade_margin_db == pytest.approx(10.25, abs=0.01)
    assert found.held is not None
    # HE, 80 MHz, 2 streams, 0.8 us: MCS 3 288.2 Mb/s (faster than 40 MHz MCS 4, 206.5).
    assert found.rate_mbps == pytest.approx(288.2, abs=0.05)
    assert found.held.mode.mcs == 3
    # At the median: MCS 7 needs -58 at 80 MHz, MCS 8 -53: 720.6 Mb/s.
    assert found.median_rate_mbps == pytest.approx(720.6, abs=0.05)
    assert found.margin_db == pytest.approx(-54.34 + 82, abs=0.01)


def _link(w):
    return w, w.site.backhaul["two to one"]


def test_the_farthest_distance_is_where_the_slowest_rate_just_holds():
    found = link_budget(*_link(two_units()))
    moved = link_budget(*_link(two_units(second=f"{{x_m: {found.farthest_m() - 0.01}, y_m: 0}}")))
    assert moved.rate_mbps > 0
    moved = link_budget(*_link(two_units(second=f"{{x_m: {found.farthest_m() + 0.01}, y_m: 0}}")))
    assert moved.rate_mbps == 0
    assert found.farthest_m(3) < found.farthest_m()


def test_the_slower_direction_decides():
    found = link_budget(*_link(two_units(ours={"power": 8})))
    assert found.level_dbm == pytest.approx(-57.19, abs=0.01)
    assert found.rate_mbps < link_budget(*_link(two_units())).rate_mbps


def test_an_unstated_gain_makes_the_level_missing():
    radio = with_radios(mid="band: 5, channel: 36, width_mhz: 80, power_dbm: 20")
    units = {"one": f"{stands_at(0)}, {radio}", "two": f"{stands_at(5)}, {radio}"}
    w = workings_of(site(units, surroundings="office"))
    with pytest.raises(Missing) as missing:
        senses_busy(*_both(w))
    assert missing.value.inputs[0].pointer[-1] == "antenna_gain_dbi"

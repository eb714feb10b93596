"""What antennas lose beside their beam, against published tables of the same parabola."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from meshlint.physics.antennas import MOST_LOST_DB, Beam, off_axis_loss_db

angles = st.floats(-180, 180)
heights = st.floats(-90, 90)
widths = st.floats(1, 359)
tall = st.floats(1, 179)
ways = st.tuples(*[st.floats(-200, 200)] * 3).filter(lambda way: math.hypot(*way) > 0.1)
beams = st.builds(Beam, widths, tall, st.floats(0, 360), st.floats(-90, 90))


# ns-3, src/antenna/test/test-parabolic-antenna.cc (read): (phi, beam width, orientation, gain).
# Those held to its own 10 or 20 dB at most are left out: the parabola goes on to 30 here.
@pytest.mark.parametrize(
    ("phi_deg", "width_deg", "points_deg", "gain_db"),
    [
        (0, 60, 0, 0),
        (30, 60, 0, -3),
        (-30, 60, 0, -3),
        (60, 60, 60, 0),
        (90, 60, 60, -3),
        (30, 60, 60, -3),
        (-150, 80, -150, 0),
        (-110, 80, -150, -3),
        (-190, 80, -150, -3),
        # "with a 60 deg beamwidth, gain is -20dB at +-77.460 degrees from boresight"
        (77.460, 60, 0, -20),
        # "with a 60 deg beamwidth, gain is -10dB at +-54.772 degrees from boresight"
        (60 - 54.772, 60, 60, -10),
        (-150 + 73.030, 80, -150, -10),
    ],
)
def test_one_plane_agrees_with_the_published_test_of_a_simulator(
    phi_deg, width_deg, points_deg, gain_db
):
    # Their angles run the other way round from east: a compass bearing is 90 less theirs.
    beam = Beam(width_deg, 180, (90 - points_deg) % 360, 0)
    way = (math.cos(math.radians(phi_deg)), math.sin(math.radians(phi_deg)), 0.0)
    assert beam.lost_db(way) == pytest.approx(-gain_db, abs=0.001)


def test_the_element_of_the_table_itself():
    # 3GPP TR 38.901 Table 7.3-1: both widths 65 degrees, SLA_V = A_max = 30 dB.
    element = Beam(65, 65, 0, 0)
    assert off_axis_loss_db(32.5, 0, element) == pytest.approx(3)
    assert off_axis_loss_db(0, 32.5, element) == pytest.approx(3)
    assert off_axis_loss_db(65, 0, element) == pytest.approx(12)
    assert off_axis_loss_db(65, 65, element) == pytest.approx(24)
    assert off_axis_loss_db(180, 0, element) == 30
    assert off_axis_loss_db(100, 65, element) == 30


@given(widths, tall)
def test_half_the_power_is_left_at_half_the_width_either_way(width_deg, height_deg):
    beam = Beam(width_deg, height_deg, 0, 0)
    for side in (-1, 1):
        assert off_axis_loss_db(side * width_deg / 2, 0, beam) == pytest.approx(3)
        assert off_axis_loss_db(0, side * height_deg / 2, beam) == pytest.approx(3)


@given(angles, heights, beams)
def test_left_and_right_above_and_below_are_alike_and_nothing_is_lost_past_thirty(
    across_deg, above_deg, beam
):
    lost_db = off_axis_loss_db(across_deg, above_deg, beam)
    assert off_axis_loss_db(-across_deg, above_deg, beam) == lost_db
    assert off_axis_loss_db(across_deg, -above_deg, beam) == lost_db
    assert 0 <= lost_db <= MOST_LOST_DB
    assert off_axis_loss_db(across_deg * 0.9, above_deg * 0.9, beam) <= lost_db


@given(beams)
def test_nothing_is_lost_where_it_points(beam):
    bearing, tilt = math.radians(beam.bearing_deg), math.radians(beam.tilt_deg)
    way = (
        20 * math.sin(bearing) * math.cos(tilt),
        20 * math.cos(bearing) * math.cos(tilt),
        20 * math.sin(tilt),
    )
    assert beam.lost_db(way) == pytest.approx(0, abs=1e-9)


def _not_above_it(beam, way):
    """Leave out what lies along the antenna's own upright, where across means nothing."""
    assume(abs(beam.off_axis_deg(way)[1]) < 89.9)


@given(beams, ways, st.floats(0.5, 50))
def test_how_far_a_place_is_does_not_matter(beam, way, times):
    _not_above_it(beam, way)
    farther = tuple(times * part for part in way)
    assert beam.lost_db(farther) == pytest.approx(beam.lost_db(way), abs=1e-4)


@given(beams, ways, st.floats(0, 360))
def test_turning_antenna_and_place_alike_changes_nothing(beam, way, turn_deg):
    _not_above_it(beam, way)
    turn = math.radians(turn_deg)
    east, north, up = way
    turned = (
        east * math.cos(turn) + north * math.sin(turn),
        north * math.cos(turn) - east * math.sin(turn),
        up,
    )
    after = Beam(beam.width_deg, beam.height_deg, beam.bearing_deg + turn_deg, beam.tilt_deg)
    assert after.lost_db(turned) == pytest.approx(beam.lost_db(way), abs=1e-3)


@given(beams)
def test_the_axes_stand_upright_on_each_other(beam):
    axes = beam.axes
    for one in range(3):
        for other in range(3):
            product = sum(a * b for a, b in zip(axes[one], axes[other], strict=True))
            assert product == pytest.approx(1 if one == other else 0, abs=1e-12)


@given(beams, ways)
def test_the_angles_off_the_axis_make_up_the_angle_between_axis_and_place(beam, way):
    # cos(angle) = cos(across) cos(above): a spherical triangle with a right angle.
    across, above = (math.radians(deg) for deg in beam.off_axis_deg(way))
    cosine = sum(a * b for a, b in zip(beam.axes[0], way, strict=True)) / math.hypot(*way)
    assert math.cos(across) * math.cos(above) == pytest.approx(cosine, abs=1e-9)


def test_a_ceiling_antenna_that_looks_down_loses_alike_all_round():
    down = Beam(65, 65, 0, -90)
    lost = [
        down.lost_db((math.sin(math.radians(deg)), math.cos(math.radians(deg)), -1.0))
        for deg in (0, 90, 180, 270)
    ]
    # 45 degrees off the axis in any of the four directions: 12 (45/65)^2.
    assert lost == pytest.approx([12 * (45 / 65) ** 2] * 4)


def test_all_round_is_all_round():
    assert Beam(360, 180, 77, 0).lost_db((3, -4, 5)) == 0
    # A rod: alike all round, narrow up and down. 10 degrees up of 20: half the beam, so 3 dB.
    rod = Beam(360, 20, 0, 0)
    up = math.tan(math.radians(10))
    assert rod.lost_db((0, -1, up)) == pytest.approx(3)
    assert rod.lost_db((1, 0, -up)) == pytest.approx(3)

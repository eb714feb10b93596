"""Antennas that point somewhere: what links, cells and readings make of it, how to turn them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import over_radio, site, stands_at, with_radios, workings_of
from meshlint.physics.antennas import Beam
from meshlint.site.places import Position
from meshlint.workings.propagation.coverage_map import coverage_of
from meshlint.workings.propagation.geometry import client_location, location_of
from meshlint.workings.propagation.grid_losses import off_boresight_db
from meshlint.workings.propagation.raster import grid

RADIO = (
    "band: 5, channel: 36, width_mhz: 80, power_dbm: 20, antenna_gain_dbi: 12, "
    "generation: 802.11ax, streams: 2"
)
KEY = "backhaul/l"


def beam(width=60, height=30, bearing=90, tilt=0) -> str:
    return (
        f", beam_width_deg: {width}, beam_height_deg: {height}, beam_bearing_deg: {bearing}, "
        f"beam_tilt_deg: {tilt}"
    )


def facing(ours="", theirs="", there="", levels="", rest="") -> str:
    """Return two units 100 m apart in the open, each antenna with what is said of its beam."""
    units = {
        "one": f"{stands_at(0, 0, 4)}, {with_radios(r=RADIO + ours)}",
        "two": f"{there or stands_at(100, 0, 4)}, {with_radios(r=RADIO + theirs)}",
    }
    links = {"l": over_radio("two", "one", "r")}
    return site(units, links, f"{levels}\n{rest}", surroundings="outdoors")


def test_a_link_loses_at_both_ends_what_stands_beside_each_beam(worked):
    plain = worked(facing())("link.level_at_to_dbm", KEY)
    # 30 degrees off a beam of 60 is half power, 3 dB; 60 degrees off is 12 dB.
    off = worked(facing(beam(bearing=60), beam(bearing=210)))
    assert off("link.beam_loss_at_to_db", KEY) == pytest.approx(3)
    assert off("link.beam_loss_at_from_db", KEY) == pytest.approx(12)
    for way in ("link.level_at_to_dbm", "link.level_at_from_dbm"):
        assert off(way, KEY) == pytest.approx(plain - 15)
    faced = worked(facing(beam(), beam(bearing=270)))
    assert faced("link.level_at_to_dbm", KEY) == pytest.approx(plain)


def test_the_worse_aimed_end_is_told_with_how_to_turn_it(worked):
    w = worked(facing(beam(bearing=60), beam(bearing=210)))
    assert w("link.worse_aimed", KEY) == "two"
    assert w("link.aimed_past", KEY) == "one"
    assert w("link.aimed_off_deg", KEY) == pytest.approx(60)
    assert w("link.beam_there", KEY) == "60 by 30 degrees"
    assert w("link.aim_again", KEY) == (
        "two, turn the antenna 60 degrees clockwise, seen from above"
    )


def test_the_rate_that_aiming_would_give_is_that_of_the_aimed_link(worked):
    low = [
        x.replace("power_dbm: 20", "power_dbm: 10")
        for x in (facing(beam(bearing=60), beam(bearing=210)), facing(beam(), beam(bearing=270)))
    ]
    off, faced = map(worked, low)
    assert off("link.rate_if_faced_mbps", KEY) == faced("link.rate_mbps", KEY)
    assert faced("link.rate_if_faced_mbps", KEY) == faced("link.rate_mbps", KEY)
    assert 0 < off("link.rate_mbps", KEY) < faced("link.rate_mbps", KEY)


def test_over_the_top_of_north_the_shorter_turn_is_told(worked):
    # two stands 10 degrees east of north; the antenna points 20 degrees west of it.
    east, north = 100 * math.sin(math.radians(10)), 100 * math.cos(math.radians(10))
    there = stands_at(east, north, 4)
    w = worked(facing(beam(width=20, bearing=340), beam(bearing=190), there))
    assert w("link.aim_again", KEY) == (
        "one, turn the antenna 30 degrees clockwise, seen from above"
    )


@given(
    st.floats(0, 360),
    st.floats(-80, 80),
    st.tuples(st.floats(-90, 90), st.floats(-90, 90), st.floats(0, 40)).filter(
        lambda at: math.hypot(at[0], at[1]) > 5
    ),
)
@settings(max_examples=60, deadline=None)
def test_turned_as_it_says_the_antenna_faces_the_other_end(bearing_deg, tilt_deg, at):
    from meshlint.workings.links.antenna_alignment import End

    end = End("a", "b", Beam(10, 10, bearing_deg, tilt_deg), at)
    for step in end.turn.removeprefix("a, ").split(" and "):
        words = step.split()
        if words[0] == "turn":
            bearing_deg += float(words[3]) * (1 if "clockwise," in words else -1)
        if words[0] == "tilt":
            tilt_deg += float(words[2]) * (1 if words[4] == "up" else -1)
    faced = Beam(10, 10, bearing_deg, tilt_deg)
    # Whole degrees are told: half a one may be left either way.
    assert faced.lost_db(at) <= 12 * 2 * (0.51 / 10) ** 2


def test_a_rod_is_not_turned_but_tilted(worked):
    rod = ", beam_width_deg: 360, beam_height_deg: 10, beam_tilt_deg: 0"
    w = worked(facing(rod, there=stands_at(100, 0, 24)))
    # 20 m up over 100 m: 11.3 degrees, more than one whole height of the beam.
    assert w("link.aimed_off_deg", KEY) == pytest.approx(math.degrees(math.atan2(20, 100)))
    assert w("link.beam_loss_at_to_db", KEY) == pytest.approx(12 * 1.131**2, abs=0.01)
    assert w("link.aim_again", KEY) == "one, tilt it 11 degrees up"


def test_what_is_left_unsaid_of_a_beam_is_named(worked):
    key = "units/one/radios/r"
    w = worked(facing(", beam_width_deg: 60"))
    assert w.wants("link.level_at_to_dbm", KEY) == [
        f"{key}/beam_height_deg",
        f"{key}/beam_bearing_deg",
        f"{key}/beam_tilt_deg",
    ]
    assert w("link.has_beam", KEY) is True
    # What sends all round needs no bearing, unless it is tilted.
    rod = worked(facing(", beam_width_deg: 360, beam_height_deg: 20"))
    assert rod.wants("link.level_at_to_dbm", KEY) == [f"{key}/beam_tilt_deg"]
    bent = worked(facing(", beam_width_deg: 360, beam_height_deg: 20, beam_tilt_deg: 5"))
    assert bent.wants("link.level_at_to_dbm", KEY) == [f"{key}/beam_bearing_deg"]
    w = worked(facing())
    assert w("link.has_beam", KEY) is False
    assert w.wants("link.beam_loss_at_to_db", KEY) == [f"{key}/beam_width_deg"]
    assert not w.wants("link.level_at_to_dbm", KEY)


def test_a_level_that_somebody_gets_is_that_of_the_beam(worked):
    levels = "levels: {g: {surroundings: outdoors}}"
    rest = (
        "readings:\n"
        "  - {unit: one, at: {x_m: 0, y_m: 20}, band: 5, level_dbm: -60, taken: 2026-01-01}\n"
    )
    plain = worked(facing(levels=levels, rest=rest))
    # The reading stands 90 degrees off a beam of 60 that is as good as flat: 12 (90/60)^2 = 27 dB.
    aimed = worked(facing(beam(height=180), levels=levels, rest=rest))
    key = next(iter(plain.subjects("reading")))
    assert aimed("reading.computed_dbm", key) == pytest.approx(
        plain("reading.computed_dbm", key) - 27
    )


BEAMS = st.tuples(st.floats(5, 360), st.floats(5, 180), st.floats(0, 360), st.floats(-90, 90)).map(
    lambda stated: Beam(*stated)
)


@given(BEAMS)
@settings(max_examples=40, deadline=None)
def test_the_grid_and_the_single_place_agree(stated):
    text = facing(levels="levels: {g: {surroundings: outdoors}}")
    w = workings_of(text)
    unit = w.site.units["one"]
    here = location_of(w, unit)
    places = grid(w.site.levels["g"], [((-9.0, -9.0), (9.0, -9.0), (9.0, 8.0))], 1.0)
    slow = []
    for x, y in zip(places.x_m, places.y_m, strict=True):
        place = client_location(w, Position(float(x), float(y), "g"), ("x",))
        slow.append(stated.lost_db((place.x_m, place.y_m, place.height_m - here.height_m)))
    np.testing.assert_allclose(off_boresight_db(stated, here, places), slow, atol=1e-6)


CELL = "band: 5, channel: 36, width_mhz: 80, radiated_dbm: 20, carries: [clients]"


def cells(said: str, more: str = "") -> str:
    """Return two cells 15 m apart, the first with what is said of its beam."""
    units = {
        "one": f"{stands_at(0, 0, 1)}, {with_radios(r=CELL + said)}",
        "two": f"{stands_at(15, 0, 1)}, {with_radios(r=CELL)}",
    }
    return site(units, None, more, surroundings="office")


OUTLINE = "levels: {g: {outline_m: [[-40, -40], [40, -40], [40, 40], [-40, 40]]}}"


def test_a_cell_on_a_plan_takes_the_shape_of_the_beam():
    text = cells(beam(60, 180, 90, 0), OUTLINE)
    w = workings_of(text)
    cover = coverage_of(w, w.site.levels["g"])
    radio = w.site.units["one"].radios["r"]
    levels, places = cover.of(radio), cover.places
    ahead = (abs(places.y_m) < 0.3) & (places.x_m > 19) & (places.x_m < 21)
    behind = (abs(places.y_m) < 0.3) & (places.x_m < -19) & (places.x_m > -21)
    assert levels[ahead].mean() - levels[behind].mean() == pytest.approx(30, abs=0.1)
    # Straight across, 90 degrees off: 27 dB; at 30 degrees half the power.
    across = (abs(places.x_m) < 0.3) & (places.y_m > 19) & (places.y_m < 21)
    assert levels[ahead].mean() - levels[across].mean() == pytest.approx(27, abs=0.5)
    assert places.x_m[cover.cell(radio)].mean() > 8


def test_a_beam_makes_no_circle(worked):
    text = cells(beam())
    w = worked(text)
    pair = next(iter(w.subjects("pair")))
    for fact in ("pair.overlap_percent", "pair.handover_dbm", "pair.first_radius_m"):
        assert w.wants(fact, pair) == ["levels/*/outline_m"]
    assert w.wants("radio.cell_m2", "units/one/radios/r") == ["levels/*/outline_m"]
    assert "turn an antenna away" in w("pair.less_overlap", pair)


def test_no_antenna_is_taken_to_hear_past_its_back(worked):
    faced = facing(beam(), beam(bearing=270))
    away = facing(beam(bearing=270), beam(bearing=90))
    # 20 + 12 + 12 dBi less 86.8 dB of free space over 100 m; 60 dB less from back to back.
    assert worked(faced)("link.level_dbm", KEY) == pytest.approx(44 - 86.75, abs=0.1)
    assert worked(away)("link.level_dbm", KEY) == pytest.approx(44 - 86.75 - 60, abs=0.1)

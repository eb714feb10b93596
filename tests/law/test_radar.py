"""Distances, the US table of weather radars, and airports.

Distances: computed by another haversine with R = 6371.0088 km from the same published positions
(FCC/FAA table of TDWR sites, edition January 2024). Rule: FCC OET KDB 443999, 35 km and 30 MHz.
"""

from __future__ import annotations

import math

import airportsdata
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.law.radar import (
    EARTH_RADIUS_KM,
    Position,
    Radar,
    airports_within,
    conflicts,
    distance_km,
    nearest,
    nearest_airport,
    us_radars,
    within,
)
from meshlint.physics.channels import channels

POSITIONS = st.builds(Position, st.floats(-90, 90), st.floats(-180, 180))


@pytest.mark.parametrize(
    ("latitude", "longitude", "name", "km", "frequency"),
    [
        (33.434278, -112.011583, "PHOENIX, AZ", 14.11, 5610),
        (39.861667, -104.673167, "DENVER, CO", 19.49, 5615),
        (40.639928, -73.778692, "FLOYD BENNETT FIELD, NY", 10.28, 5647),
        (41.97694, -87.90815, "MCCOOK, IL", 20.40, 5615),
        (39.175728, -76.668991, "BENFIELD, MD", 10.14, 5645),
        (18.439399, -66.002133, "SAN JUAN, PR", 19.09, 5610),
    ],
)
def test_the_nearest_radar_is_the_published_one(
    latitude: float, longitude: float, name: str, km: float, frequency: float
) -> None:
    found = nearest(Position(latitude, longitude), us_radars())
    assert found is not None
    assert (found.radar.name, found.radar.frequency_mhz) == (name, frequency)
    assert found.distance_km == pytest.approx(km, abs=0.005)


def test_second_radars_and_places_without_one() -> None:
    kennedy, ohare = Position(40.639928, -73.778692), Position(41.97694, -87.90815)
    assert [n.radar.name for n in within(kennedy, 45, us_radars())][1] == "WOODBRIDGE, NJ"
    assert within(kennedy, 45, us_radars())[1].distance_km == pytest.approx(41.81, abs=0.005)
    assert within(ohare, 45, us_radars())[1].distance_km == pytest.approx(39.1, abs=0.05)
    tucson = Position(32.11707, -110.941463)
    far = nearest(tucson, us_radars())
    assert far is not None
    assert far.distance_km == pytest.approx(184.5, abs=0.05)
    assert within(tucson, 35, us_radars()) == ()
    assert nearest(tucson, ()) is None


def test_the_table_has_47_radars_on_the_published_frequencies() -> None:
    counts = {5603: 3, 5605: 8, 5608: 2, 5610: 10, 5615: 7, 5620: 3}
    counts |= {5635: 1, 5640: 3, 5645: 7, 5646: 1, 5647: 2}
    used = [r.frequency_mhz for r in us_radars()]
    assert {f: used.count(f) for f in used} == counts
    assert len(used) == 47
    pairs = {
        (a.name, b.name): distance_km(a.position, b.position)
        for i, a in enumerate(us_radars())
        for b in us_radars()[i + 1 :]
        if "AERO" not in a.name + b.name
    }
    closest = min(pairs, key=lambda p: pairs[p])
    assert closest == ("BRANDYWINE, MD", "CLINTON, MD")
    assert pairs[closest] == pytest.approx(12.4, abs=0.05)


def test_charlotte_counts_within_its_margin() -> None:
    charlotte = next(r for r in us_radars() if r.name == "CHARLOTTE, NC")
    north = Position(charlotte.position.latitude + 37 / 111.195, charlotte.position.longitude)
    assert distance_km(north, charlotte.position) == pytest.approx(37, abs=0.01)
    assert [n.radar.name for n in within(north, 35, us_radars())] == ["CHARLOTTE, NC"]


def test_the_limit_is_inclusive() -> None:
    here, there = Position(0, 0), Position(0, 1)
    radar = Radar("made up", there, 5600.0)
    exact = distance_km(here, there)
    assert exact == pytest.approx(math.radians(1) * EARTH_RADIUS_KM)
    assert within(here, exact, [radar])
    assert not within(here, math.nextafter(exact, 0), [radar])


@given(POSITIONS, POSITIONS)
def test_distance_is_the_chord_through_the_sphere(a: Position, b: Position) -> None:
    """Against the straight line between the two points in space: 2 R asin(chord / 2)."""

    def point(p: Position) -> tuple[float, float, float]:
        north, east = math.radians(p.latitude), math.radians(p.longitude)
        flat = math.cos(north)
        return flat * math.cos(east), flat * math.sin(east), math.sin(north)

    arc = 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.dist(point(a), point(b)) / 2))
    assert distance_km(a, b) == pytest.approx(arc, abs=0.5)
    assert distance_km(a, b) == pytest.approx(distance_km(b, a))


# Channels whose centre is nearer than 30 MHz to each frequency in use (computed from the rule).
@pytest.mark.parametrize(
    ("frequency", "numbers"),
    [
        (5603, {116, 120, 124}),
        (5605, {116, 120, 124}),
        (5608, {116, 120, 124}),
        (5610, {120, 124}),
        (5615, {120, 124, 128}),
        (5620, {120, 124, 128}),
        (5635, {124, 128, 132}),
        (5640, {124, 128, 132}),
        (5647, {124, 128, 132}),
    ],
)
def test_centres_nearer_than_30_mhz_conflict(frequency: float, numbers: set[int]) -> None:
    here = Position(35.0, -97.0)
    radar = Radar("made up", here, frequency)
    found = {
        n
        for n in range(100, 145, 4)
        if any(c.centre_too_close for c in conflicts(here, channels(5, n, 20)[0], 35, [radar]))
    }
    assert found == numbers


def test_wide_channels_are_caught_by_what_they_cover() -> None:
    """160 MHz around 5570 passes the test by centres and covers the whole of 5600-5650."""
    here = Position(35.0, -97.0)
    for frequency in {r.frequency_mhz for r in us_radars()}:
        radar = Radar("made up", here, frequency)
        (found,) = conflicts(here, channels(5, 100, 160)[0], 35, [radar])
        assert (found.centre_too_close, found.covers_frequency) == (False, True)
    far = Radar("made up", Position(36.0, -97.0), 5610.0)
    assert conflicts(here, channels(5, 100, 160)[0], 35, [far]) == ()
    unknown = Radar("made up", here, None)
    assert conflicts(here, channels(5, 100, 160)[0], 35, [unknown]) == ()
    assert conflicts(here, channels(5, 36, 80)[0], 35, us_radars()) == ()


@pytest.mark.parametrize("code", ["JFK", "PHX", "LHR", "SYD"])
def test_an_airport_is_found_by_its_code_where_it_stands(code: str) -> None:
    """Positions: PyPI airportsdata, looked up by code."""
    row = airportsdata.load("IATA")[code]
    found = airports_within(Position(row["lat"], row["lon"]), 5)
    assert (found[0].code, found[0].country) == (code, row["country"])
    assert found[0].distance_km == 0
    assert all(a.distance_km <= 5 for a in found)


def test_airports_come_nearest_first_and_an_ocean_has_none() -> None:
    heathrow = airports_within(Position(51.4706, -0.46194), 60)
    assert [a.distance_km for a in heathrow] == sorted(a.distance_km for a in heathrow)
    assert {"LHR", "LGW", "LTN", "LCY"} <= {a.code for a in heathrow}
    assert airports_within(Position(-48.9, -123.4), 35) == ()


def test_the_rows_read_are_those_of_the_package_itself() -> None:
    theirs = airportsdata.load("IATA")
    ours = airports_within(Position(0, 0), math.pi * EARTH_RADIUS_KM)
    assert len(ours) == len(theirs)
    for airport in ours:
        row = theirs[airport.code]
        assert (airport.name, airport.country) == (row["name"], row["country"])
        assert airport.position == (row["lat"], row["lon"])


@pytest.mark.parametrize(
    "place", [(54.4, -2.35), (-48.9, -123.4), (89.9, 0), (-89.9, 10), (0.5, 179.9), (64, -179.9)]
)
def test_the_nearest_airport_is_the_nearest_of_all(place: tuple[float, float]) -> None:
    """Against the smallest of all distances, with the strip around the place left out."""
    here = Position(*place)
    rows = airportsdata.load("IATA").values()
    least = min(distance_km(here, Position(row["lat"], row["lon"])) for row in rows)
    assert nearest_airport(here).distance_km == least

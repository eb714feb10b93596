"""Which weather radars and airports are near a place.

Only the United States publish a table of their terminal Doppler weather radars (TDWR) with
frequencies, and only there is distance a rule: FCC OET KDB 443999 wants no transmission on channels
over the radar's frequency, and centres at least 30 MHz apart, within 35 km of one. That guidance
was the interim regime; whether it is formally withdrawn since FCC 14-30 was not found. CEPT has no
distance rule (from memory): elsewhere nearness is a warning and no fault.

`data/NOTICE-radars-us.txt` says where the table is from and how well it was checked.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from meshlint.law.sources import Citation

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.physics.channels import Channel

# Mean radius R1 of the Earth (IUGG; Moritz, Geodetic Reference System 1980; from memory).
EARTH_RADIUS_KM = 6371.0088

RADAR_RULE = Citation("FCC OET KDB 443999", "interim statement", "seen")
RADAR_RULE_KM = 35.0
CENTRE_SEPARATION_MHZ = 30.0

# Two published positions of this radar differ by 2.66 km (data/NOTICE-radars-us.txt).
_MARGINS_KM = {("NC", "CHARLOTTE"): 3.0}


class Position(NamedTuple):
    """A place on the globe in degrees, north and east positive."""

    latitude: float
    longitude: float


class Radar(Struct, frozen=True):
    """A radar, its frequency where that is known, and how far its position may be wrong."""

    name: str
    position: Position
    frequency_mhz: float | None
    margin_km: float = 0.0


class NearRadar(Struct, frozen=True):
    """A radar and its distance from a place."""

    radar: Radar
    distance_km: float


class RadarConflict(Struct, frozen=True):
    """A channel against a radar within reach: both tests of frequency.

    The test by centres alone misses wide channels: 160 MHz around 5570 MHz covers the whole of
    5600-5650 and is still 30 MHz and more from every radar there.
    """

    near: NearRadar
    separation_mhz: float
    centre_too_close: bool
    covers_frequency: bool


class NearAirport(Struct, frozen=True):
    """An airport with a scheduled-service (IATA) code and its distance from a place."""

    code: str
    name: str
    country: str
    position: Position
    distance_km: float


def distance_km(a: Position, b: Position) -> float:
    """Return the great-circle distance in km by the haversine formula on a sphere.

    R = 6371.0088 km; up to 0.6 % from the ellipsoid. Source: Sinnott, "Virtues of the haversine",
    Sky and Telescope 68 (1984), from memory.
    """
    north_a, north_b = math.radians(a.latitude), math.radians(b.latitude)
    half_north = math.sin((north_b - north_a) / 2) ** 2
    half_east = math.sin(math.radians(b.longitude - a.longitude) / 2) ** 2
    h = half_north + math.cos(north_a) * math.cos(north_b) * half_east
    return 2 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(1.0, h)))


@cache
def us_radars() -> tuple[Radar, ...]:
    """Return the 47 terminal Doppler weather radars of the US table."""
    import csv

    path = Path(__file__).with_name("data") / "radars-us.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(
            Radar(
                name=f"{row['place']}, {row['state']}",
                position=Position(float(row["latitude"]), float(row["longitude"])),
                frequency_mhz=float(row["frequency_mhz"]),
                margin_km=_MARGINS_KM.get((row["state"], row["place"]), 0.0),
            )
            for row in csv.DictReader(file)
        )


def nearest(place: Position, radars: Iterable[Radar]) -> NearRadar | None:
    """Return the radar nearest to a place, None where no radar is given."""
    return min(_near(place, radars), key=lambda n: n.distance_km, default=None)


def within(place: Position, limit_km: float, radars: Iterable[Radar]) -> tuple[NearRadar, ...]:
    """Return the radars within a distance, nearest first; the limit is inclusive.

    A radar whose position is uncertain counts when it may be within the limit.
    """
    near = (n for n in _near(place, radars) if n.distance_km - n.radar.margin_km <= limit_km)
    return tuple(sorted(near, key=lambda n: (n.distance_km, n.radar.name)))


def conflicts(
    place: Position, channel: Channel, limit_km: float, radars: Iterable[Radar]
) -> tuple[RadarConflict, ...]:
    """Return the radars within a distance that a channel comes too close to in frequency.

    Either the centres are less than 30 MHz apart (KDB 443999) or the occupied span holds the
    radar's frequency. Radars of unknown frequency cannot be judged and are left out.
    """
    judged = (
        _conflict(near, channel, near.radar.frequency_mhz)
        for near in within(place, limit_km, radars)
        if near.radar.frequency_mhz is not None
    )
    return tuple(c for c in judged if c.centre_too_close or c.covers_frequency)


def nearest_airport(place: Position) -> NearAirport:
    """Return the airport with an IATA code that is nearest to a place.

    A weak hint only: most airports have no weather radar of their own, and the US ones stand 10 to
    24 km from their airport.
    """
    # A degree of latitude is the same length everywhere, so a strip around the place that is wider
    # than the distance found holds whatever could be nearer.
    for strip_degrees in (1.0, 5.0, 180.0):
        strip_km = math.radians(strip_degrees) * EARTH_RADIUS_KM
        near = airports_within(place, strip_km)
        if near:
            return near[0]
    raise AssertionError("the table of airports is empty")


def airports_within(place: Position, limit_km: float) -> tuple[NearAirport, ...]:
    """Return the airports with an IATA code within a distance, nearest first; limit inclusive."""
    strip_degrees = math.degrees(limit_km / EARTH_RADIUS_KM) + 1e-9
    near = (
        NearAirport(code, name, country, there, distance_km(place, there))
        for code, name, country, there in _airports()
        if abs(there.latitude - place.latitude) <= strip_degrees
    )
    found = (airport for airport in near if airport.distance_km <= limit_km)
    return tuple(sorted(found, key=lambda a: (a.distance_km, a.code)))


@cache
def _airports() -> tuple[tuple[str, str, str, Position], ...]:
    """Return code, name, country and position of every airport with an IATA code.

    Data: the PyPI package airportsdata (MIT). Its own loader reads all 28 000 airports and takes
    five times as long as reading the rows that have a code, which is what this does.
    """
    import csv
    from importlib.util import find_spec

    package = find_spec("airportsdata")
    if package is None or package.origin is None:
        raise ModuleNotFoundError("the package airportsdata, which meshlint needs, is missing")
    path = Path(package.origin).with_name("airports.csv")
    with path.open(encoding="utf-8", newline="") as file:
        names = next(csv.reader([file.readline()]))
        at = [names.index(name) for name in ("iata", "name", "country", "lat", "lon")]
        coded = (line for line in file if line.split(",", 2)[1] != '""')
        return tuple(
            (row[at[0]], row[at[1]], row[at[2]], Position(float(row[at[3]]), float(row[at[4]])))
            for row in csv.reader(coded)
        )


def _near(place: Position, radars: Iterable[Radar]) -> Iterable[NearRadar]:
    return (NearRadar(r, distance_km(place, r.position)) for r in radars)


def _conflict(near: NearRadar, channel: Channel, frequency_mhz: float) -> RadarConflict:
    separation = abs(channel.centre_mhz - frequency_mhz)
    return RadarConflict(
        near=near,
        separation_mhz=separation,
        centre_too_close=separation < CENTRE_SEPARATION_MHZ,
        covers_frequency=channel.low_mhz <= frequency_mhz <= channel.high_mhz,
    )

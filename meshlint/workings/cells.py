"""Cells of units and how far neighbouring cells overlap, by circles on a plan without walls.

The radius of a cell is the distance at which the model for the site's surroundings (ITU-R P.1238,
or free space outdoors) brings the unit's radiated power down to the target level. Two units are
neighbours when no third unit stands in the circle that has the line between them as its diameter
(Gabriel and Sokal 1969), so a chain of rooms gives pairs of next rooms and no others.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics import circles
from meshlint.physics.channels import overlap_mhz
from meshlint.physics.propagation import OutsideModel, indoor_model, reach_m
from meshlint.workings.facts import Input, Kind, Missing, Workings, fact, need
from meshlint.workings.neighbours import neighbours
from meshlint.workings.spectrum import span
from meshlint.workings.topology import stated_clients

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.physics.propagation import PathModel
    from meshlint.site.model import Position, Radio, Unit

TARGET_DBM = -67.0
"""Level at which a cell ends unless an area says otherwise: common practice for voice and data."""

NOMINAL_MHZ = {2.4: 2437.0, 5.0: 5210.0, 6.0: 6135.0}
"""The frequency that stands for a band where a channel is not settled: the middle of channel 6,
the middle of 36-48, and a channel in the lower part of 6 GHz. A cell's radius changes by under
six per cent over the 5 GHz band."""

CIRCLES = "circles; radius by ITU-R P.1238, share by Weisstein, Circle-Circle Intersection"


class Pair(Struct, frozen=True):
    """Two neighbouring cells on one band; `apart_m` is the distance between their units."""

    first: Unit
    second: Unit
    band: float
    first_radio: Radio
    second_radio: Radio
    apart_m: float


def pairs(w: Workings) -> tuple[tuple[Pair, ...], tuple[Input, ...]]:
    """Return the neighbouring cells, and the inputs without which some could not be told.

    A site with one unit that serves clients has no pairs, and lacks nothing.
    """
    serving = [unit for unit in w.site.units.values() if _client_radios(unit)]
    unplaced = tuple(
        Input((*unit.pointer, "at"), "where the unit stands") for unit in serving if unit.at is None
    )
    if len(serving) < 2:
        return (), ()
    placed = [(unit, unit.at) for unit in serving if unit.at is not None]
    return tuple(_neighbours(placed)), unplaced


def _client_radios(unit: Unit) -> dict[float, Radio]:
    """Return the radios that serve clients, the first of each band; unstated use counts."""
    radios: dict[float, Radio] = {}
    for radio in unit.radios.values():
        if radio.band is not None and (radio.carries is None or "clients" in radio.carries):
            radios.setdefault(radio.band, radio)
    return radios


def _neighbours(placed: list[tuple[Unit, Position]]) -> Iterator[Pair]:
    by_level: dict[str | None, list[Unit]] = {}
    for unit, at in placed:
        by_level.setdefault(at.level, []).append(unit)
    radios = {unit.name: _client_radios(unit) for unit, _ in placed}
    for units in by_level.values():
        places = [(unit.at.x_m, unit.at.y_m) for unit in units if unit.at is not None]
        for one, other in neighbours(places):
            first, second = units[one], units[other]
            ours, theirs = radios[first.name], radios[second.name]
            apart_m = math.dist(places[one], places[other])
            for band in sorted(ours.keys() & theirs.keys()):
                yield Pair(first, second, band, ours[band], theirs[band], apart_m)


def path_model(w: Workings, unit: Unit, band: float) -> PathModel:
    """Return the path loss model for where the unit stands."""
    if unit.outdoors:
        return indoor_model("outdoors", band)
    level = (w.site.levels or {}).get(unit.at.level or "") if unit.at else None
    surroundings = (level and level.surroundings) or w.site.about.surroundings
    return indoor_model(
        need(surroundings, ("site", "surroundings"), "what it is: home, office ..."), band
    )


def radiated_dbm(radio: Radio) -> float:
    """Return the power that leaves the antenna in its best direction, dBm EIRP."""
    if radio.radiated_dbm is not None:
        return radio.radiated_dbm
    power_dbm = need(radio.power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    gain_dbi = need(
        radio.antenna_gain_dbi, (*radio.pointer, "antenna_gain_dbi"), "the antenna's gain"
    )
    return power_dbm + gain_dbi


def radius_m(w: Workings, unit: Unit, radio: Radio) -> float:
    """Return how far from the unit its signal holds the target level, in metres."""
    band = need(radio.band, (*radio.pointer, "band"))
    model = path_model(w, unit, band)
    try:
        found_m = reach_m(model, NOMINAL_MHZ[band], radiated_dbm(radio) - TARGET_DBM)
    except OutsideModel as outside:
        wanted = f"walls drawn on the plan, since {outside}"
        raise Missing(Input(("levels",), wanted)) from outside
    if found_m == 0:
        wanted = f"a power that gives {TARGET_DBM:.0f} dBm at {model.nearest_m:g} m at least"
        raise Missing(Input((*radio.pointer, "power_dbm"), wanted))
    return found_m


def _radii_m(w: Workings, pair: Pair) -> tuple[float, float]:
    return (
        radius_m(w, pair.first, pair.first_radio),
        radius_m(w, pair.second, pair.second_radio),
    )


@fact("pair.first", Kind.TEXT, "the unit of the pair that the file names first", source="the plan")
def first(_: Workings, pair: Pair) -> str:
    return pair.first.name


@fact("pair.second", Kind.TEXT, "the other unit of the pair", source="the plan")
def second(_: Workings, pair: Pair) -> str:
    return pair.second.name


@fact(
    "pair.band_ghz",
    Kind.NUMBER,
    "the band of both cells",
    source="the plan",
    unit="GHz",
    digits=1,
)
def band_ghz(_: Workings, pair: Pair) -> float:
    return pair.band


@fact(
    "pair.apart_m", Kind.NUMBER, "distance between the units", source="the plan", unit="m", digits=1
)
def apart_m(_: Workings, pair: Pair) -> float:
    return pair.apart_m


@fact(
    "pair.roaming_clients",
    Kind.COUNT,
    "devices that roam and use this band at these units",
    source="the site file; a group that names no band is counted on the pair's highest",
)
def roaming_clients(w: Workings, pair: Pair) -> float:
    shared = _client_radios(pair.first).keys() & _client_radios(pair.second).keys()
    best = max((band for band in shared if band != 6), default=pair.band)
    ends = {pair.first.name, pair.second.name}
    return sum(
        group.count
        for group in stated_clients(w.site)
        if group.roams
        and not group.wired_to
        and (group.near is None or group.near in ends)
        and (group.band or best) == pair.band
    )


@fact(
    "pair.first_radius_m",
    Kind.NUMBER,
    "how far the first unit holds the target level",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def first_radius_m(w: Workings, pair: Pair) -> float:
    return _radii_m(w, pair)[0]


@fact(
    "pair.second_radius_m",
    Kind.NUMBER,
    "how far the second unit holds the target level",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def second_radius_m(w: Workings, pair: Pair) -> float:
    return _radii_m(w, pair)[1]


@fact(
    "pair.target_dbm",
    Kind.NUMBER,
    "the level at which a cell ends",
    source="common practice",
    unit="dBm",
)
def target_dbm(_: Workings, __: Pair) -> float:
    return TARGET_DBM


@fact("pair.model", Kind.TEXT, "the path loss model behind the cells", source="ITU-R P.1238, P.525")
def model(w: Workings, pair: Pair) -> str:
    return path_model(w, pair.first, pair.band).source


@fact(
    "pair.overlap_percent",
    Kind.NUMBER,
    "share of the smaller cell's area that the other cell covers too",
    source=CIRCLES,
    unit="%",
    digits=1,
)
def overlap_percent(w: Workings, pair: Pair) -> float:
    return 100 * circles.share_of_smaller(*_radii_m(w, pair), pair.apart_m)


@fact(
    "pair.shared_spectrum_mhz",
    Kind.NUMBER,
    "how much of the two channels is the same spectrum",
    source="spans by IEEE 802.11 numbering",
    unit="MHz",
)
def shared_spectrum_mhz(_: Workings, pair: Pair) -> float:
    return overlap_mhz(span(pair.first_radio), span(pair.second_radio))


@fact(
    "pair.apart_for_15_percent_m",
    Kind.NUMBER,
    "the distance at which the two cells would overlap by 15 % of the smaller",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def apart_for_15_percent_m(w: Workings, pair: Pair) -> float:
    return circles.spacing_for_share_m(*_radii_m(w, pair), 0.15)


@fact(
    "pair.apart_for_30_percent_m",
    Kind.NUMBER,
    "the distance at which the two cells would overlap by 30 % of the smaller",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def apart_for_30_percent_m(w: Workings, pair: Pair) -> float:
    return circles.spacing_for_share_m(*_radii_m(w, pair), 0.30)


FACTS = (
    first,
    second,
    band_ghz,
    apart_m,
    roaming_clients,
    first_radius_m,
    second_radius_m,
    target_dbm,
    model,
    overlap_percent,
    shared_spectrum_mhz,
    apart_for_15_percent_m,
    apart_for_30_percent_m,
)

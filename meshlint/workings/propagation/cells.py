"""Which cells are neighbours, and how far a cell reaches where no walls are drawn.

The radius of a cell is the distance at which the model for the site's surroundings (ITU-R P.1238,
or free space outdoors) brings the unit's radiated power down to the target level. Two units are
neighbours when no third unit stands in the circle that has the line between them as its diameter
(Gabriel and Sokal 1969), so a chain of rooms gives pairs of next rooms and no others.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.distance import indoor_term, open_air_term
from meshlint.physics.propagation import NEAREST_M, OutsideModel
from meshlint.workings.propagation.antenna_pattern import beam_of
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.gabriel_graph import neighbours
from meshlint.workings.propagation.storeys import is_open_air
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.model import Radio, Unit
    from meshlint.workings.site_workings import Workings

TARGET_DBM = -67.0
"""Level at which a cell ends unless an area says otherwise: common practice for voice and data."""


class Pair(Struct, frozen=True):
    """Two cells on one band; `apart_m` is the distance between their units.

    `next_to` tells whether they are neighbours on one level, which clients walk between. `named`
    tells whether the units have other cells of that band, so that radios have to be named.
    """

    first: Unit
    second: Unit
    band: float
    first_radio: Radio
    second_radio: Radio
    apart_m: float
    next_to: bool = True
    named: bool = False

    @property
    def key(self) -> str:
        """Return what reports call it."""
        radios = f"/{self.first_radio.name}+{self.second_radio.name}" if self.named else ""
        return f"pairs/{self.first.name}+{self.second.name}/{self.band:g}{radios}"

    @property
    def label(self) -> str:
        """Return what it is, in words."""
        ends = [
            f"{radio.unit} ({radio.name})" if self.named else radio.unit
            for radio in (self.first_radio, self.second_radio)
        ]
        return f"{ends[0]} and {ends[1]} at {self.band:g} GHz"


def serving(w: Workings) -> tuple[Unit, ...]:
    """Return the units with a radio that may serve clients."""
    return tuple(unit for unit in w.site.units.values() if client_radios(unit))


def neighbouring(w: Workings) -> tuple[Pair, ...]:
    """Return the neighbouring cells of every level, one pair for each band that two units share.

    Of a unit with several client radios on a band the first stands for all: people who walk from
    one unit to the next need one that lets them in.
    """
    by_level: dict[str | None, list[Unit]] = {}
    for unit in serving(w):
        if unit.at is not None:
            by_level.setdefault(unit.at.level, []).append(unit)
    return tuple(pair for units in by_level.values() for pair in _neighbours(units))


def client_radios(unit: Unit) -> tuple[Radio, ...]:
    """Return the radios of a known band that may serve clients."""
    return tuple(
        radio
        for radio in unit.radios.values()
        if radio.band is not None and may_serve_clients(radio)
    )


def first_client_radios(unit: Unit) -> dict[float, Radio]:
    """Return the first radio of each band that may serve clients."""
    radios: dict[float, Radio] = {}
    for radio in client_radios(unit):
        if radio.band is not None:
            radios.setdefault(radio.band, radio)
    return radios


def _neighbours(units: list[Unit]) -> Iterator[Pair]:
    places = [(unit.at.x_m, unit.at.y_m) for unit in units if unit.at is not None]
    for one, other in neighbours(places):
        ours, theirs = first_client_radios(units[one]), first_client_radios(units[other])
        apart_m = math.dist(places[one], places[other])
        for band in sorted(ours.keys() & theirs.keys()):
            yield pair_of(units[one], units[other], ours[band], theirs[band], apart_m, next_to=True)


def pair_of(
    first: Unit, second: Unit, ours: Radio, theirs: Radio, apart_m: float, *, next_to: bool
) -> Pair:
    """Return the pair of two cells of one band."""
    several = any(
        sum(radio.band == ours.band for radio in client_radios(unit)) > 1
        for unit in (first, second)
    )
    return Pair(first, second, ours.band or 0.0, ours, theirs, apart_m, next_to, several)


def circle_term(w: Workings, unit: Unit, band: float) -> DistanceTerm:
    """Return the distance term, with walls inside where there is a roof, round a unit."""
    frequency_mhz = NOMINAL_MHZ[band]
    level = (w.site.levels or {}).get(unit.at.level or "") if unit.at else None
    if unit.outdoors or (unit.outdoors is None and is_open_air(w, level)):
        return open_air_term(frequency_mhz)
    surroundings = (level and level.surroundings) or w.site.about.surroundings
    if surroundings == "outdoors":
        return open_air_term(frequency_mhz)
    word = need(surroundings, ("site", "surroundings"), "what it is: home, office ...")
    return indoor_term(word, band, frequency_mhz)


def refuse_beam(radio: Radio) -> None:
    """Raise `Missing` for a radio whose antenna has a beam: its cell is no circle."""
    if beam_of(radio) is not None:
        raise Missing(Input(("levels", "*", "outline_m"), "an outline, since a beam is no circle"))


def radius_m(w: Workings, unit: Unit, radio: Radio) -> float:
    """Return how far from the unit its signal holds the target level, in metres."""
    band = need(radio.band, (*radio.pointer, "band"))
    refuse_beam(radio)
    term = circle_term(w, unit, band)
    try:
        found_m = term.reach_m(effective_dbm(w, radio) - TARGET_DBM)
    except OutsideModel as outside:
        wanted = f"walls drawn on the plan, since {outside}"
        raise Missing(Input(("levels",), wanted)) from outside
    if found_m == 0:
        wanted = f"a power that gives {TARGET_DBM:.0f} dBm at {NEAREST_M:g} m at least"
        raise Missing(Input((*radio.pointer, "power_dbm"), wanted))
    return found_m

"""The levels that people get on a drawn level, unit by unit: what cells on a plan are made of.

A cell is where a unit holds the target level (-67 dBm) at a device of no antenna gain, one metre
above the floor. Cells are looked at over a grid inside the level's outline, at the frequency that
stands for the band, and through walls, floors and between levels as `levels` has it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.propagation import OutsideModel
from meshlint.workings.propagation.antenna_pattern import CLIENTS_DBI, beam_of
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.cells import TARGET_DBM, client_radios
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, Location, level_of, location_of
from meshlint.workings.propagation.path_loss import beyond_model, distance_terms
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import Pointer, Radio, Unit
    from meshlint.site.places import Area, Level, Metres
    from meshlint.workings.propagation.raster import Floats, Grid, Truths
    from meshlint.workings.site_workings import Workings


_MOST_VALUES = 64_000_000
"""Levels that all covers of a site hold together, for each radio at each place: 512 MB."""

_FEWEST = 100

_MOST_SHARED = 2_000_000
"""Losses from all units to all places of a cover that are kept for sites of the same building."""


class CoverageMap(Struct, frozen=True):
    """What every client radio gives at each place of a grid, in dBm, by the radio's pointer.

    `lacking` holds the radios of which that is not known, and the inputs that would settle it.
    """

    places: Grid
    levels_dbm: dict[Pointer, Floats]
    radios: dict[Pointer, Radio]
    lacking: dict[Pointer, tuple[Input, ...]]

    def of(self, radio: Radio) -> Floats:
        """Return the levels of one radio; raises `Missing` where they are not known."""
        if radio.pointer in self.lacking:
            raise Missing(*self.lacking[radio.pointer])
        return self.levels_dbm[radio.pointer]

    def cell(self, radio: Radio, target_dbm: float = TARGET_DBM) -> Truths:
        """Return the places where one radio holds the target."""
        return self.of(radio) >= target_dbm

    def others(self, radio: Radio) -> list[Radio]:
        """Return the radios of the same band at other units."""
        return [
            other
            for other in self.radios.values()
            if other.band == radio.band and other.unit != radio.unit
        ]

    def area_m2(self, places: Truths) -> float:
        """Return the area of some of the places."""
        return float(places.sum()) * self.places.field_m2


def outlined(w: Workings, unit: Unit) -> Level | None:
    """Return the level that a unit stands on, if it has an outline; None otherwise."""
    if unit.at is None:
        return None
    level = level_of(w, unit.at, (*unit.pointer, "at"))
    return level if level is not None and level.outline_m is not None else None


def plan_of(w: Workings, unit: Unit) -> Level:
    """Return the outlined level that a unit stands on; raises `Missing` without one."""
    at = need(unit.at, (*unit.pointer, "at"), "where the unit stands")
    level = level_of(w, at, (*unit.pointer, "at"))
    if level is None:
        raise Missing(Input(("levels",), "the outline of the level"))
    need(level.outline_m, ("levels", level.name, "outline_m"), "the outline of the level")
    return level


def coverage_of(w: Workings, level: Level) -> CoverageMap:
    """Return what all client radios give on a level with an outline."""
    outline_m = need(level.outline_m, ("levels", level.name, "outline_m"), "its outline")
    return w.once(over, level.name, level, (outline_m,))


def coverage_of_area(w: Workings, area: Area) -> tuple[CoverageMap, Truths]:
    """Return the cover of an area's level and which of its places are the area's."""
    level = (w.site.levels or {})[area.level]
    if level.outline_m is not None:
        cover = coverage_of(w, level)
        inside = cover.places.within(area.outline_m)
        if inside.any():
            return cover, inside
    cover = w.once(over, ("area", area.name), level, (area.outline_m,))
    return cover, cover.places.within(area.outline_m)


def _most_places(w: Workings) -> int:
    """Return how many places each cover may have, so that all of them fit into memory together."""
    levels = w.site.levels or {}
    outlines = sum(level.outline_m is not None for level in levels.values())
    bare = sum(levels[area.level].outline_m is None for area in (w.site.areas or {}).values())
    radios = sum(len(client_radios(unit)) for unit in w.site.units.values())
    covers = 2 * outlines + bare  # a level, a level with its surroundings, an area
    return max(_FEWEST, min(w.site.most_places, _MOST_VALUES // max(covers * radios, 1)))


def over(
    w: Workings,
    level: Level,
    outlines: Iterable[tuple[Metres, ...]],
    step_m: float | None = None,
) -> CoverageMap:
    """Return what all client radios give inside some outlines on a level."""
    from meshlint.workings.propagation import raster

    step_m = raster.STEP_M if step_m is None else step_m
    outlines = tuple(outlines)
    most_places = w.once(_most_places)
    places = w.once_a_building(
        _places, (level.name, outlines, step_m, most_places), level, outlines, step_m, most_places
    )
    cover = CoverageMap(places, {}, {}, {})
    for unit in w.site.units.values():
        radios = client_radios(unit)
        cover.radios.update({radio.pointer: radio for radio in radios})
        if radios:
            _add(w, cover, unit, radios)
    return cover


def _places(
    _: Workings,
    level: Level,
    outlines: tuple[tuple[Metres, ...], ...],
    step_m: float,
    most_places: int,
) -> Grid:
    from meshlint.workings.propagation import raster

    return raster.grid(level, outlines, step_m, most_places)


def _add(w: Workings, cover: CoverageMap, unit: Unit, radios: tuple[Radio, ...]) -> None:
    from meshlint.workings.propagation import grid_losses, raster

    bands = {radio.pointer: NOMINAL_MHZ[radio.band] for radio in radios if radio.band is not None}
    try:
        location = location_of(w, unit)
        frequencies_mhz = tuple(sorted(set(bands.values())))
        lost_db = _losses_db(w, location, unit.name, cover.places, frequencies_mhz)
    except Missing as missing:
        cover.lacking.update({radio.pointer: missing.inputs for radio in radios})
        return
    for radio in radios:
        try:
            radiated = effective_dbm(w, radio)
            loss_db = lost_db[bands[radio.pointer]]
            if not raster.all_finite(loss_db):
                _refuse_cut_cell(w, cover, location, radiated, bands[radio.pointer])
            beam = beam_of(radio)
            if beam is not None:
                loss_db = loss_db + grid_losses.off_boresight_db(beam, location, cover.places)
            cover.levels_dbm[radio.pointer] = radiated + CLIENTS_DBI - loss_db
        except Missing as missing:
            cover.lacking[radio.pointer] = missing.inputs


def _losses_db(
    w: Workings, location: Location, unit: str, places: Grid, frequencies_mhz: tuple[float, ...]
) -> dict[float, Floats]:
    from meshlint.workings.propagation.grid_losses import losses_db

    if places.x_m.size * len(w.site.units) > _MOST_SHARED:
        return losses_db(w, location, places, frequencies_mhz)
    key = unit, location.height_m, places, frequencies_mhz
    return w.once_a_building(losses_db, key, location, places, frequencies_mhz)


def _refuse_cut_cell(
    w: Workings, cover: CoverageMap, location: Location, radiated: float, frequency_mhz: float
) -> None:
    """Raise `Missing` where a cell would go on beyond the published range of its model."""
    one = Location(
        location.x_m, location.y_m, CLIENT_HEIGHT_M, cover.places.level, location.outdoors
    )
    for term in distance_terms(w, location, one, frequency_mhz):
        try:
            term.reach_m(radiated - TARGET_DBM)
        except OutsideModel as outside:
            raise beyond_model(outside) from outside

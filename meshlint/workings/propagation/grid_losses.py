"""Losses from one unit to every place of a grid, worked out together.

The same models, the same rules for what stands in the way and the same numbers as `path_loss`.
Seen from a unit, a wall can only stand before places within the angle that it fills. So the places
are sorted by angle once for each unit, and a wall looks at its own slice of them alone: work grows
with the places in the shadow of walls and not with places times walls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from meshlint.physics.antennas import (
    ALL_HEIGHTS_DEG,
    ALL_ROUND_DEG,
    AT_ONE_WIDTH_DB,
    MOST_LOST_DB,
)
from meshlint.physics.distance import NEAR_SLOPE_DB, open_air_term
from meshlint.physics.materials import wall_loss_db
from meshlint.physics.propagation import NEAREST_M, OutsideModel
from meshlint.workings.propagation.crossings import (
    roof_over,
    stays_indoors,
    stretches,
)
from meshlint.workings.propagation.drawn_lines import (
    ON_LINE_M,
    STEEPEST_DEG,
    THROUGH_M,
    edges_of,
    inside,
    side,
)
from meshlint.workings.propagation.floors import nameless_floor, published_floors_db, slabs_between
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, Location, rise_between_m
from meshlint.workings.propagation.path_loss import distance_terms, sight, unstated_wall_db
from meshlint.workings.propagation.raster import places_inside
from meshlint.workings.propagation.storeys import is_open_air

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.physics.antennas import Beam
    from meshlint.physics.distance import DistanceTerm
    from meshlint.physics.materials import Layer
    from meshlint.site.places import Metres
    from meshlint.workings.propagation.crossings import Stretch
    from meshlint.workings.propagation.drawn_lines import Sheet, Solid
    from meshlint.workings.propagation.floors import Slabs
    from meshlint.workings.propagation.raster import Floats, Grid, Indices, Truths
    from meshlint.workings.site_workings import Workings

_NODES = 65  # of a slab's loss over the angle: within 0.002 dB of the formula
_SLACK = 1e-6  # radians by which a wall's slice is widened before the exact test


def losses_db(
    w: Workings, unit: Location, places: Grid, frequencies_mhz: Iterable[float]
) -> dict[float, Floats]:
    """Return the loss from a unit to each place of the grid, by frequency.

    People hold their devices at `CLIENT_HEIGHT_M`. Places beyond the published range of the model
    get an infinite loss. Raises `Missing` where the file tells too little.
    """
    one = Location(0.0, 0.0, CLIENT_HEIGHT_M, places.level, outdoors=is_open_air(w, places.level))
    rise_m = rise_between_m(unit, one)
    view = _View(places, unit, rise_m)
    crossings = _Crossings(w, view, unit, one)
    floors = _Floors(view, slabs_between(w, unit, one), abs(rise_m))
    clear = ~(crossings.blocked | floors.crossed)
    in_open_air = unit.outdoors and one.outdoors
    found = {}
    for frequency_mhz in frequencies_mhz:
        terms = distance_terms(w, unit, one, frequency_mhz)
        if in_open_air:
            loss_db = _distance_db(terms[0], view.distance_m)
        else:
            lost = (_leaving_db(term, view.distance_m, crossings.roofed) for term in terms)
            loss_db = np.max([*lost], axis=0)
            if not terms[0].walls_inside:
                sight_db = _distance_db(sight(w, unit, one, frequency_mhz), view.distance_m)
                loss_db = np.where(clear, sight_db, np.maximum(loss_db, sight_db))
        loss_db = loss_db + crossings.losses_db(terms) + floors.losses_db(terms)
        found[frequency_mhz] = loss_db[view.back]
    return found


def off_boresight_db(beam: Beam, unit: Location, places: Grid) -> Floats:
    """Return what an antenna gives less towards each place; the rule of `Beam.lost_db`."""
    rise_m = rise_between_m(unit, Location(0.0, 0.0, CLIENT_HEIGHT_M, places.level, unit.outdoors))
    east, north = places.x_m - unit.x_m, places.y_m - unit.y_m
    ahead, right, above = (e * east + n * north + u * rise_m for e, n, u in beam.axes)
    across_deg = np.degrees(np.arctan2(right, ahead))
    above_deg = np.degrees(np.arctan2(above, np.hypot(ahead, right)))
    lost_db = np.zeros(east.shape)
    for off_deg, width_deg, whole_deg in (
        (across_deg, beam.width_deg, ALL_ROUND_DEG),
        (above_deg, beam.height_deg, ALL_HEIGHTS_DEG),
    ):
        if width_deg < whole_deg:
            lost_db += AT_ONE_WIDTH_DB * (off_deg / width_deg) ** 2
    return np.minimum(lost_db, MOST_LOST_DB)


class _View:
    """The places of a grid as one unit sees them, in the order of their angle."""

    def __init__(self, places: Grid, unit: Location, rise_m: float) -> None:
        self.unit = unit.eye_m
        east, north = places.x_m - self.unit[0], places.y_m - self.unit[1]
        angle = np.arctan2(north, east)
        order = np.argsort(angle, kind="stable")
        self.angle = angle[order]
        self.east, self.north = east[order], north[order]
        self.x_m, self.y_m = places.x_m[order], places.y_m[order]
        self.rise_m = rise_m
        self.plan_m = np.hypot(self.east, self.north)
        self.straight_m = np.hypot(self.plan_m, rise_m)
        apart_m = np.sqrt((self.x_m - unit.x_m) ** 2 + (self.y_m - unit.y_m) ** 2 + rise_m**2)
        self.distance_m = np.maximum(apart_m, NEAREST_M)
        self.back = np.empty_like(order)
        self.back[order] = np.arange(order.size)
        # Which end of the line comes first settles rays that run exactly through a corner.
        self.turned = (self.east < 0) | ((self.east == 0) & (self.north < 0))

    def slices(self, start: Metres, end: Metres) -> Iterator[slice]:
        """Return the stretches of places that a wall between two points can stand before."""
        x, y = self.unit
        if (start[0] == x and start[1] == y) or (end[0] == x and end[1] == y):
            yield slice(0, self.angle.size)
            return
        low = math.atan2(start[1] - y, start[0] - x)
        turn = math.remainder(math.atan2(end[1] - y, end[0] - x) - low, math.tau)
        if abs(abs(turn) - math.pi) < _SLACK:
            yield slice(0, self.angle.size)
            return
        low, high = min(low, low + turn) - _SLACK, max(low, low + turn) + _SLACK
        for shift in (-math.tau, 0.0, math.tau):
            first, last = np.searchsorted(self.angle, (low + shift, high + shift))
            if first < last:
                yield slice(int(first), int(last))


@dataclass(frozen=True, slots=True, eq=False)
class _Met:
    """One thing and the places that it stands before: their indices and log cosines of incidence.

    `is_wall` marks a drawn wall, which models with walls inside hold already.
    """

    sheet: Sheet
    at: Indices
    log_cosine: Floats | None
    is_wall: bool


class _Crossings:
    """What stands between a unit and each place, found once for all frequencies.

    `blocked` tells before which places anything stands, `roofed` how much of the way there is under
    a roof: the rule of `crossings.roofed_share`.
    """

    def __init__(self, w: Workings, view: _View, unit: Location, one: Location) -> None:
        size = view.angle.size
        self.size = size
        self.met: list[_Met] = []
        self.blocked = np.zeros(size, dtype=np.bool_)
        self.roofed = np.zeros(size)
        last = {
            location.level.name: _LastWall(at_start, np.zeros(size))
            for location, at_start in ((unit, True), (one, False))
            if location.level is not None and _ends_at_walls(location)
        }
        for stretch in stretches(w, unit, one):
            self._walls(view, stretch, last.get(stretch.storey.level.name))
            self._shell(w, view, stretch)
            for solid in stretch.storey.solids:
                at = np.flatnonzero(_passes(view, solid, stretch))
                self._add(solid.sheet, at, None, is_wall=False)
        if stays_indoors(unit, one) or any(_endless(location) for location in (unit, one)):
            self.roofed = np.ones(size)
        else:
            for wall in last.values():
                self.roofed += wall.share
            self.roofed = np.where(self.roofed >= 1 - 1e-9, 1.0, self.roofed)

    def _add(self, sheet: Sheet, at: Indices, log_cosine: Floats | None, *, is_wall: bool) -> None:
        if at.size:
            self.blocked[at] = True
            if not sheet.is_open:
                self.met.append(_Met(sheet, at, log_cosine, is_wall))

    def _walls(self, view: _View, stretch: Stretch, last: _LastWall | None) -> None:
        for pieces, is_wall in ((stretch.storey.pieces or (), True), (stretch.storey.shell, False)):
            for piece in pieces:
                for part in view.slices(piece.start, piece.end):
                    before, share = _crossed(
                        view, piece.start, piece.end, part, stretch, on_line=True
                    )
                    found = np.flatnonzero(before)
                    if found.size == 0:
                        continue
                    at = found + part.start
                    if last is not None and is_wall:
                        shares = share[found]
                        inside_m = shares if last.at_start else 1 - shares
                        last.share[at] = np.maximum(last.share[at], inside_m)
                    log_cosine = None
                    if piece.sheet.layer is not None:
                        log_cosine = _log_cosine(view, piece.start, piece.end, at)
                    self._add(piece.sheet, at, log_cosine, is_wall=is_wall)

    def _shell(self, w: Workings, view: _View, stretch: Stretch) -> None:
        """Add the roof that is met, and what of the way is under it."""
        storey, outline_m = stretch.storey, stretch.storey.level.outline_m
        if storey.roof is None or outline_m is None:
            return
        length = stretch.end - stretch.start
        share = np.full(self.size, length if inside(view.unit, outline_m) else 0.0)
        for edge in storey.edges:
            sign = 1.0 if side(edge.start, edge.end, view.unit) < 0 else -1.0
            for part in view.slices(edge.start, edge.end):
                before, met = _crossed(view, edge.start, edge.end, part, None)
                after = stretch.end - np.clip(met, stretch.start, stretch.end)
                share[part] += np.where(before, sign * after, 0.0)
        self.roofed += np.clip(share, 0.0, length)
        above = roof_over(w, storey)
        if stretch.roof_at is None or above is None:
            return
        x_m = view.unit[0] + stretch.roof_at * view.east
        y_m = view.unit[1] + stretch.roof_at * view.north
        here = places_inside(x_m, y_m, outline_m)
        for other in above:
            here &= ~places_inside(x_m, y_m, other)
        at = np.flatnonzero(here)
        log_cosine = None
        if storey.roof.layer is not None:
            cosine = abs(view.rise_m) / view.straight_m[at]
            log_cosine = np.log(np.clip(cosine, 1e-12, 1.0))
        self._add(storey.roof, at, log_cosine, is_wall=False)

    def losses_db(self, terms: tuple[DistanceTerm, ...]) -> Floats:
        """Return the loss of everything crossed, place by place."""
        total = np.zeros(self.size)
        tables: dict[tuple[object, ...], tuple[Floats, Floats]] = {}
        unstated_db = unstated_wall_db(terms)
        frequency_mhz = terms[0].frequency_mhz
        for met in self.met:
            if met.is_wall and terms[0].walls_inside:
                continue
            sheet = met.sheet
            if sheet.layer is None or met.log_cosine is None:
                total[met.at] += sheet.loss_db(frequency_mhz, 0.0, unstated_db)
                continue
            key = (sheet.layer.material, sheet.layer.thickness_mm)
            if key not in tables:
                tables[key] = _table(sheet, frequency_mhz)
            total[met.at] += np.interp(met.log_cosine, *tables[key])
        return total


def _table(sheet: Sheet, frequency_mhz: float) -> tuple[Floats, Floats]:
    """Return a slab's loss over the logarithm of the cosine of its incidence."""
    assert sheet.layer is not None
    sheet.loss_db(frequency_mhz, 0.0, None)  # tells what is missing where nothing is published
    return _of_layer(sheet.layer, frequency_mhz)


@lru_cache(maxsize=256)
def _of_layer(layer: Layer, frequency_mhz: float) -> tuple[Floats, Floats]:
    nodes = np.linspace(math.log(math.cos(math.radians(STEEPEST_DEG))), 0.0, _NODES)
    angles = np.degrees(np.arccos(np.minimum(np.exp(nodes), 1.0)))
    return nodes, np.array([wall_loss_db((layer,), frequency_mhz, float(a)) for a in angles])


@dataclass(frozen=True, slots=True, eq=False)
class _LastWall:
    """How far the walls of an end's level reach on the way out, for each place."""

    at_start: bool
    share: Floats


def _ends_at_walls(location: Location) -> bool:
    level = location.level
    return not location.outdoors and level is not None and level.outline_m is None


def _endless(location: Location) -> bool:
    return _ends_at_walls(location) and location.level is not None and location.level.walls is None


def _log_cosine(view: _View, start: Metres, end: Metres, at: Indices) -> Floats:
    along = (end[0] - start[0], end[1] - start[1])
    across = np.abs(view.east[at] * along[1] - view.north[at] * along[0]) / math.hypot(*along)
    return np.asarray(np.log(np.clip(across / view.straight_m[at], 1e-12, 1.0)))


def _crossed(
    view: _View,
    start_m: Metres,
    end_m: Metres,
    part: slice,
    stretch: Stretch | None,
    *,
    on_line: bool = False,
) -> tuple[Truths, Floats]:
    """Return which places of a slice a straight piece stands before, and how far along it is met.

    The rule of `drawn_lines.meets`; places on the line count where `on_line` says so. Shares of
    places that it does not stand before mean nothing.
    """
    x, y = view.unit
    east, north, turned = view.east[part], view.north[part], view.turned[part]
    sides = []
    for corner in (start_m, end_m):
        side = east * (corner[1] - y) - north * (corner[0] - x)
        sides.append(np.where(turned, -side, side) >= -THROUGH_M * view.plan_m[part])
    along = (end_m[0] - start_m[0], end_m[1] - start_m[1])
    edge = ON_LINE_M * math.hypot(*along)
    from_unit = along[0] * (y - start_m[1]) - along[1] * (x - start_m[0])
    from_place = along[0] * (view.y_m[part] - start_m[1]) - along[1] * (view.x_m[part] - start_m[0])
    least = -edge if on_line else edge
    if from_unit > edge:
        beyond = from_place < -least
    elif from_unit < -edge:
        beyond = from_place > least
    else:
        beyond = np.zeros(from_place.shape, dtype=np.bool_)
    before = (sides[0] != sides[1]) & beyond
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(before, from_unit / (from_unit - from_place), 0.0).clip(0.0, 1.0)
    if stretch is not None and (stretch.start, stretch.end) != (0.0, 1.0):
        before &= (share >= stretch.start) & (
            (share < stretch.end) | ((share == stretch.end) & (stretch.end == 1.0))
        )
    return before, share


def _passes(view: _View, solid: Solid, stretch: Stretch) -> Truths:
    passed = np.zeros(view.angle.size, dtype=np.bool_)
    for here, there in edges_of(solid.outline_m):
        for part in view.slices(here, there):
            passed[part] |= _crossed(view, here, there, part, stretch)[0]
    return passed


def _distance_db(term: DistanceTerm, distance_m: Floats) -> Floats:
    held_m = np.maximum(distance_m, term.nearest_m)
    loss_db = (
        term.at_one_metre_db
        + term.near_slope_db * np.log10(np.minimum(held_m, term.break_m))
        + term.far_slope_db * np.log10(np.maximum(held_m / term.break_m, 1.0))
    )
    if term.nearest_m > NEAREST_M:
        nearer = np.minimum(np.maximum(distance_m, NEAREST_M) / term.nearest_m, 1.0)
        loss_db = loss_db + NEAR_SLOPE_DB * np.log10(nearer)
    farther = np.inf if term.beyond is None else _distance_db(term.beyond, distance_m)
    return np.where(distance_m > term.farthest_m, farther, loss_db)


def _leaving_db(term: DistanceTerm, distance_m: Floats, roofed: Floats) -> Floats:
    """Return the loss of paths of which a share is under a roof: the rule of `leaving`."""
    whole_db = _distance_db(term, distance_m)
    if (roofed == 1.0).all():
        return whole_db
    air = open_air_term(term.frequency_mhz)
    held_m = np.maximum(roofed * distance_m, term.nearest_m)
    more_db = _distance_db(term, held_m) - _distance_db(air, held_m)
    left_db = _distance_db(air, distance_m) + np.where(roofed > 0, more_db, 0.0)
    return np.where(roofed == 1.0, whole_db, left_db)


class _Floors:
    """The floors between a unit and each place; the rule of `floors.through_floors`."""

    def __init__(self, view: _View, heights: tuple[Slabs, ...], rise_m: float) -> None:
        self.size = view.angle.size
        self.crossed = np.zeros(self.size, dtype=np.bool_)
        self.found: list[tuple[Sheet, Truths]] = []
        self.log_cosine = np.log(np.clip(rise_m / view.distance_m, 1e-12, 1.0))
        for slabs in heights:
            x_m = view.unit[0] + slabs.share * view.east
            y_m = view.unit[1] + slabs.share * view.north
            left = np.ones(self.size, dtype=np.bool_)
            for laid in slabs.layers:
                within = left
                if laid.outline_m is not None:
                    within = left & places_inside(x_m, y_m, laid.outline_m)
                here = within.copy()
                for opening in laid.openings_m:
                    here &= ~places_inside(x_m, y_m, opening)
                self.found.append((laid.sheet, here))
                self.crossed |= here
                left = left & ~within

    def losses_db(self, terms: tuple[DistanceTerm, ...]) -> Floats:
        """Return what the floors cost, place by place."""
        loss_db = np.zeros(self.size)
        count = np.zeros(self.size, dtype=np.intp)
        for sheet, here in self.found:
            if not sheet.named:
                count += here
            elif sheet.layer is None:
                loss_db[here] += sheet.loss_db(terms[0].frequency_mhz, 0.0, None)
            else:
                table = _table(sheet, terms[0].frequency_mhz)
                loss_db[here] += np.interp(self.log_cosine[here], *table)
        for floors in np.unique(count):
            at = count == floors
            try:
                loss_db[at] += published_floors_db(terms, int(floors))
            except OutsideModel as outside:
                sheets = (sheet for sheet, here in self.found if (here & at).any())
                unnamed = tuple(sheet for sheet in sheets if not sheet.named)
                raise nameless_floor(unnamed, outside) from outside
        return loss_db

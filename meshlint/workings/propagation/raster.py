"""Losses from one unit to every place of a level, worked out together.

The same models, the same rule for crossing a wall and the same numbers as `levels`, over a grid of
places. Seen from a unit, a wall can only stand before places within the angle that it fills. So the
places are sorted by angle once for each unit, and a wall looks at its own slice of them alone:
work grows with the places in the shadow of walls and not with places times walls.

Needs numpy, and is imported by nothing but the workings of sites that have an outline drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meshlint.physics.antennas import (
    ALL_HEIGHTS_DEG,
    ALL_ROUND_DEG,
    AT_ONE_WIDTH_DB,
    MOST_LOST_DB,
)
from meshlint.physics.propagation import NEAREST_M, OutsideModel
from meshlint.site.limits import LIMITS
from meshlint.workings.propagation.floors import nameless_floor, published_floors_db, slabs_between
from meshlint.workings.propagation.geometry import (
    CLIENT_HEIGHT_M,
    STEEPEST_DEG,
    Location,
    rise_between_m,
)
from meshlint.workings.propagation.path_loss import distance_terms, storeys_met, unstated_wall_db

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    import numpy.typing as npt

    from meshlint.physics.antennas import Beam
    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.places import Level, Metres
    from meshlint.workings.propagation.floors import Slabs
    from meshlint.workings.propagation.geometry import Sheet, Solid, WallPiece
    from meshlint.workings.site_workings import Workings

    Floats = npt.NDArray[np.float64]
    Indices = npt.NDArray[np.intp]
    Truths = npt.NDArray[np.bool_]

STEP_M = 0.5
"""Distance between neighbouring places of the grid, where a level is small enough for it."""

_NODES = 65  # of a slab's loss over the angle: within 0.002 dB of the formula
_SLACK = 1e-9  # radians by which a wall's slice is widened before the exact test


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Places on one level, the middles of square fields: `x_m`, `y_m`, and where they are drawn."""

    level: Level
    step_m: float
    x_m: Floats
    y_m: Floats
    column: Indices
    row: Indices

    @property
    def field_m2(self) -> float:
        """Return the area that one place stands for."""
        return self.step_m**2

    def within(self, outline_m: tuple[Metres, ...]) -> Truths:
        """Return which places lie within an outline."""
        return places_inside(self.x_m, self.y_m, outline_m)


def grid(
    level: Level,
    outlines: Sequence[tuple[Metres, ...]],
    step_m: float = STEP_M,
    most_places: int = LIMITS.places,
) -> Grid:
    """Return the places of a level that lie within any of the outlines.

    A larger level is looked at with a wider step, so that time and memory stay bounded.
    """
    xs = [x for outline in outlines for x, _ in outline]
    ys = [y for outline in outlines for _, y in outline]
    left_m, low_m = min(xs), min(ys)
    wide_m, high_m = max(xs) - left_m, max(ys) - low_m
    step_m = max(
        step_m, math.sqrt(wide_m * high_m / most_places), max(wide_m, high_m) / most_places
    )
    columns, rows = _fields(wide_m, step_m), _fields(high_m, step_m)
    while columns * rows > most_places:  # halves of fields at the edges count whole
        step_m *= math.sqrt(columns * rows / most_places)
        columns, rows = _fields(wide_m, step_m), _fields(high_m, step_m)
    row, column = np.divmod(np.arange(columns * rows, dtype=np.intp), columns)
    x_m = left_m + (column + 0.5) * step_m
    y_m = low_m + (row + 0.5) * step_m
    kept = np.zeros(x_m.shape, dtype=np.bool_)
    for outline in outlines:
        kept |= places_inside(x_m, y_m, outline)
    return Grid(level, step_m, x_m[kept], y_m[kept], column[kept], row[kept])


def _fields(length_m: float, step_m: float) -> int:
    return max(math.ceil(length_m / step_m), 1)


def places_inside(x_m: Floats, y_m: Floats, outline_m: tuple[Metres, ...]) -> Truths:
    """Return which places lie within an outline, by the rule of `building.inside`."""
    odd = np.zeros(x_m.shape, dtype=np.bool_)
    for (x1, y1), (x2, y2) in zip(outline_m, (*outline_m[1:], outline_m[0]), strict=True):
        if y1 != y2:
            spans = (y1 > y_m) != (y2 > y_m)
            odd ^= spans & (x_m < x1 + (y_m - y1) / (y2 - y1) * (x2 - x1))
    return odd


def losses_db(
    w: Workings, unit: Location, places: Grid, frequencies_mhz: Iterable[float]
) -> dict[float, Floats]:
    """Return the loss from a unit to each place of the grid, by frequency.

    People hold their devices at `CLIENT_HEIGHT_M`. Places beyond the published range of the model
    get an infinite loss. Raises `Missing` where the file tells too little.
    """
    one = Location(0.0, 0.0, CLIENT_HEIGHT_M, places.level, outdoors=_open(w, places.level))
    rise_m = rise_between_m(unit, one)
    view = _View(places, unit, rise_m)
    crossings: _Crossings | None = None
    found = {}
    for frequency_mhz in frequencies_mhz:
        terms = distance_terms(w, unit, one, frequency_mhz)
        loss_db = np.max([_distance_db(term, view.distance_m) for term in terms], axis=0)
        if not terms[0].walls_inside:
            crossings = crossings or _Crossings(w, view, unit, one)
            loss_db = loss_db + crossings.losses_db(terms)
        loss_db = loss_db + _floors_db(view, slabs_between(w, unit, one), terms, abs(rise_m))
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


def all_finite(losses: Floats) -> bool:
    """Return whether every place lies inside the published range of the model."""
    return bool(np.isfinite(losses).all())


def _open(w: Workings, level: Level) -> bool:
    return (level.surroundings or w.site.about.surroundings) == "outdoors"


class _View:
    """The places of a grid as one unit sees them, in the order of their angle."""

    def __init__(self, places: Grid, unit: Location, rise_m: float) -> None:
        east, north = places.x_m - unit.x_m, places.y_m - unit.y_m
        angle = np.arctan2(north, east)
        order = np.argsort(angle, kind="stable")
        self.unit = (unit.x_m, unit.y_m)
        self.angle = angle[order]
        self.east, self.north = east[order], north[order]
        self.x_m, self.y_m = places.x_m[order], places.y_m[order]
        self.straight_m = np.sqrt(self.east**2 + self.north**2 + rise_m**2)
        self.distance_m = np.maximum(self.straight_m, NEAREST_M)
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
    """One wall and the places that it stands before: their indices and log cosines of incidence."""

    sheet: Sheet
    at: Indices
    log_cosine: Floats | None


class _Crossings:
    """What stands between a unit and each place, found once for all frequencies."""

    def __init__(self, w: Workings, view: _View, unit: Location, one: Location) -> None:
        self.size = view.angle.size
        self.met: list[_Met] = []
        for storey, start, end in storeys_met(w, unit, one):
            for piece in storey.pieces or ():
                for part in view.slices(piece.start, piece.end):
                    found = _met(view, piece, part, start, end)
                    if found is not None:
                        self.met.append(found)
            for solid in storey.solids:
                at = np.flatnonzero(_passes(view, solid, start, end))
                self.met.append(_Met(solid.sheet, at, None))

    def losses_db(self, terms: tuple[DistanceTerm, ...]) -> Floats:
        """Return the loss of everything crossed, place by place."""
        total = np.zeros(self.size)
        tables: dict[tuple[object, ...], tuple[Floats, Floats]] = {}
        unstated_db = unstated_wall_db(terms)
        frequency_mhz = terms[0].frequency_mhz
        for met in self.met:
            if met.at.size == 0:
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
    nodes = np.linspace(math.log(math.cos(math.radians(STEEPEST_DEG))), 0.0, _NODES)
    angles = np.degrees(np.arccos(np.minimum(np.exp(nodes), 1.0)))
    return nodes, np.array([sheet.loss_db(frequency_mhz, float(a), None) for a in angles])


def _met(view: _View, piece: WallPiece, part: slice, start: float, end: float) -> _Met | None:
    """Return the places of a slice that a piece of wall stands before; the rule of `crossed`."""
    before, _ = _crossed(view, piece.start, piece.end, part, start, end)
    at = np.flatnonzero(before) + part.start
    if at.size == 0:
        return None
    if piece.sheet.layer is None:
        return _Met(piece.sheet, at, None)
    along = (piece.end[0] - piece.start[0], piece.end[1] - piece.start[1])
    across = np.abs(view.east[at] * along[1] - view.north[at] * along[0]) / math.hypot(*along)
    cosine = np.clip(across / view.straight_m[at], 1e-12, 1.0)
    return _Met(piece.sheet, at, np.log(cosine))


def _crossed(
    view: _View, start_m: Metres, end_m: Metres, part: slice, start: float, end: float
) -> tuple[Truths, Floats]:
    x, y = view.unit
    east, north, turned = view.east[part], view.north[part], view.turned[part]
    sides = []
    for corner in (start_m, end_m):
        side = east * (corner[1] - y) - north * (corner[0] - x)
        sides.append(np.where(turned, -side, side) >= 0)
    along = (end_m[0] - start_m[0], end_m[1] - start_m[1])
    from_unit = along[0] * (y - start_m[1]) - along[1] * (x - start_m[0])
    from_place = along[0] * (view.y_m[part] - start_m[1]) - along[1] * (view.x_m[part] - start_m[0])
    before = (sides[0] != sides[1]) & ((from_place >= 0) != (from_unit >= 0))
    if (start, end) == (0.0, 1.0):
        return before, from_place
    with np.errstate(divide="ignore", invalid="ignore"):
        share = from_unit / (from_unit - from_place)
    before &= (share >= start) & ((share < end) | ((share == end) & (end == 1.0)))
    return before, share


def _passes(view: _View, solid: Solid, start: float, end: float) -> Truths:
    corners = solid.outline_m
    passed = np.zeros(view.angle.size, dtype=np.bool_)
    for here, there in zip(corners, (*corners[1:], corners[0]), strict=True):
        if here != there:
            for part in view.slices(here, there):
                passed[part] |= _crossed(view, here, there, part, start, end)[0]
    return passed


def _distance_db(term: DistanceTerm, distance_m: Floats) -> Floats:
    held_m = np.maximum(distance_m, term.nearest_m)
    loss_db = (
        term.at_one_metre_db
        + term.near_slope_db * np.log10(np.minimum(held_m, term.break_m))
        + term.far_slope_db * np.log10(np.maximum(held_m / term.break_m, 1.0))
    )
    return np.where(distance_m > term.farthest_m, np.inf, loss_db)


def _floors_db(
    view: _View, heights: tuple[Slabs, ...], terms: tuple[DistanceTerm, ...], rise_m: float
) -> Floats:
    """Return what the floors cost, place by place; the rule of `levels`."""
    loss_db = np.zeros(view.angle.size)
    if not heights:
        return loss_db
    crossed: list[tuple[Sheet, Truths]] = []
    for slabs in heights:
        x_m = view.unit[0] + slabs.share * view.east
        y_m = view.unit[1] + slabs.share * view.north
        left = np.ones(view.angle.size, dtype=np.bool_)
        for outline_m, sheet in slabs.layers:
            here = left if outline_m is None else left & places_inside(x_m, y_m, outline_m)
            crossed.append((sheet, here))
            left = left & ~here
    summed = [here for sheet, here in crossed if terms[0].walls_inside or not sheet.named]
    count = np.sum(summed, axis=0) if summed else np.zeros(view.angle.size, dtype=np.intp)
    one_by_one = np.full(view.angle.size, not terms[0].walls_inside)
    for floors in np.unique(count):
        at = count == floors
        try:
            loss_db[at] += published_floors_db(terms, int(floors))
        except OutsideModel as outside:
            sheets = tuple(sheet for sheet, here in crossed if (here & at).any())
            if not all(sheet.named for sheet in sheets):
                raise nameless_floor(sheets, outside) from outside
            one_by_one |= at
    log_cosine = np.log(np.clip(rise_m / view.distance_m, 1e-12, 1.0))
    for sheet, here in crossed:
        at = here & one_by_one
        if sheet.named and at.any():
            if sheet.layer is None:
                loss_db[at] += sheet.loss_db(terms[0].frequency_mhz, 0.0, None)
            else:
                table = _table(sheet, terms[0].frequency_mhz)
                loss_db[at] += np.interp(log_cosine[at], *table)
    return loss_db


def louder(one: Floats, other: Floats) -> Floats:
    """Return the greater of two levels, place by place."""
    return np.maximum(one, other)


def largest_part(places: Grid, chosen: Truths) -> str:
    """Return in words where the largest connected part of some places is."""
    part = _largest(places, chosen)
    x, y = _middle(places, part)
    return f"{part.size * places.field_m2:.3g} m2 around x {x:.1f} m, y {y:.1f} m"


def middle_of_largest(places: Grid, chosen: Truths) -> Metres:
    """Return the place nearest to the middle of the largest connected part."""
    return _middle(places, _largest(places, chosen))


def _middle(places: Grid, part: Indices) -> Metres:
    """Return the place of a part that is nearest to its middle: a bent part has none outside."""
    x, y = places.x_m[part], places.y_m[part]
    nearest = part[int(np.argmin((x - x.mean()) ** 2 + (y - y.mean()) ** 2))]
    return float(places.x_m[nearest]), float(places.y_m[nearest])


def _largest(places: Grid, chosen: Truths) -> Indices:
    """Return the largest part of some places that hangs together by edges; the first of equals."""
    at = np.flatnonzero(chosen)
    keys = list(zip(places.row[at].tolist(), places.column[at].tolist(), strict=True))
    left = dict(zip(keys, at.tolist(), strict=True))
    best: list[int] = []
    for key in keys:
        if key not in left:
            continue
        part = [left.pop(key)]
        edge = [key]
        while edge:
            row, column = edge.pop()
            for beside in (
                (row + 1, column),
                (row - 1, column),
                (row, column + 1),
                (row, column - 1),
            ):
                if beside in left:
                    part.append(left.pop(beside))
                    edge.append(beside)
        if len(part) > len(best):
            best = part
    return np.array(sorted(best), dtype=np.intp)

"""How strongly one unit hears another: the loss between two places, and the level that is left.

Which model serves a path:

| the path                                  | model                                              |
|-------------------------------------------|----------------------------------------------------|
| under a roof, walls drawn on its levels    | IEEE 802.11-14/0980 distance term, each wall and   |
|                                           | floor on top (ITU-R P.2040 slab, or its stated loss)|
| under a roof, walls not drawn              | ITU-R P.1238, ordinary walls inside                |
| both ends outdoors                        | free space (P.525), two-ray where heights are known,|
|                                           | and whatever walls are drawn in between            |

A path with one end outdoors is taken by the surroundings of the other. Two ends in different
surroundings take the model that loses more. Distances are three-dimensional and at least 1 m; an
end whose height is not stated is taken to be as high above its floor as the other.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.distance import drawn_term, open_air_term, walls_inside_term
from meshlint.physics.drawn import DrawnModel, drawn_model
from meshlint.physics.propagation import NEAREST_M, OutsideModel, indoor_model
from meshlint.workings.propagation.floors import floors_between, through_floors
from meshlint.workings.propagation.geometry import (
    Crossing,
    Location,
    Storey,
    crossed,
    height_m,
    location_of,
    on_line,
    rise_between_m,
    storeys,
    through,
)
from meshlint.workings.propagation.wall_index import FEWEST, wall_index
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import Input, Missing, Unknown, answer, need

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.model import Unit
    from meshlint.site.places import Level, Metres
    from meshlint.workings.propagation.geometry import Storey, WallPiece
    from meshlint.workings.propagation.wall_index import WallIndex
    from meshlint.workings.site_workings import Workings


class Path(Struct, frozen=True):
    """What a signal loses between two places, in parts. The loss is a median.

    `floors` counts the floors crossed; `through_floors` says what they cost, one by one where they
    are named and in one sum where the model publishes the sum.
    """

    distance_m: float
    term: DistanceTerm
    distance_db: float
    walls: tuple[Crossing, ...]
    floors: int
    through_floors: tuple[Crossing, ...]

    @property
    def walls_db(self) -> float:
        """Return what the walls and obstacles cost together."""
        return math.fsum(crossing.loss_db for crossing in self.walls)

    @property
    def floors_db(self) -> float:
        """Return what the floors cost together."""
        return math.fsum(crossing.loss_db for crossing in self.through_floors)

    @property
    def fixed_db(self) -> float:
        """Return the part that distance has nothing to do with."""
        return self.walls_db + self.floors_db

    @property
    def loss_db(self) -> float:
        """Return the whole loss."""
        return self.distance_db + self.fixed_db

    @property
    def sigma_db(self) -> float | None:
        """Return the published spread about the median, None where none is published."""
        return self.term.sigma_db

    @property
    def model(self) -> str:
        """Return the model and its edition."""
        name = self.term.model.source
        return f"{name}, and ITU-R P.2040-3 for walls and floors" if self._added else name

    @property
    def _added(self) -> bool:
        return bool(self.walls) and not self.term.walls_inside


def path_between(w: Workings, one: Unit, other: Unit, frequency_mhz: float) -> Path:
    """Return the path between two units; raises `Missing` where position or surroundings lack."""
    key = (min(one.name, other.name), max(one.name, other.name), frequency_mhz)
    return w.once(_path_between, key, one, other, frequency_mhz)


def _path_between(w: Workings, one: Unit, other: Unit, frequency_mhz: float) -> Path:
    # Both ends are asked for before either is missed, whichever way round somebody looks.
    here, there = (answer(location_of, w, unit) for unit in (one, other))
    if isinstance(here, Unknown) or isinstance(there, Unknown):
        ends = [end.inputs for end in (here, there) if isinstance(end, Unknown)]
        raise Missing(*sorted({wanted for inputs in ends for wanted in inputs}))
    return path_of(w, here, there, frequency_mhz)


def path_of(w: Workings, a: Location, b: Location, frequency_mhz: float) -> Path:
    """Return the path between two places."""
    rise_m = rise_between_m(a, b)
    distance_m = max(math.hypot(b.x_m - a.x_m, b.y_m - a.y_m, rise_m), NEAREST_M)
    terms = distance_terms(w, a, b, frequency_mhz)
    try:
        distance_db, at = max((term.loss_db(distance_m), i) for i, term in enumerate(terms))
    except OutsideModel as outside:
        raise beyond_model(outside) from outside
    floors = tuple(floors_between(w, a, b))
    return Path(
        distance_m,
        terms[at],
        distance_db,
        () if terms[at].walls_inside else tuple(_walls_between(w, a, b, terms)),
        len(floors),
        through_floors(floors, terms, distance_m, abs(rise_m)),
    )


def beyond_model(outside: OutsideModel) -> Missing:
    """Return what would settle a path that is longer than its model was published for."""
    return Missing(Input(("levels",), f"walls drawn on the plan, since {outside}"))


def distance_terms(
    w: Workings, a: Location, b: Location, frequency_mhz: float
) -> tuple[DistanceTerm, ...]:
    """Return the distance terms of the two ends' surroundings; the greater loss counts."""
    if a.outdoors and b.outdoors:
        return (open_air_term(frequency_mhz, above_ground_m(a, b)),)
    words = dict.fromkeys(
        _surroundings(w, location.level) for location in (a, b) if not location.outdoors
    )
    if _all_drawn(w, a, b):
        return tuple(drawn_term(drawn_model(word), frequency_mhz) for word in words)  # type: ignore[arg-type]
    band = min(NOMINAL_MHZ, key=lambda band: abs(NOMINAL_MHZ[band] - frequency_mhz))
    return tuple(
        walls_inside_term(indoor_model(word, band), frequency_mhz)  # type: ignore[arg-type]
        for word in words
    )


def _surroundings(w: Workings, level: Level | None) -> str:
    word = (level and level.surroundings) or w.site.about.surroundings
    pointer = ("site", "surroundings")
    if word == "outdoors":
        raise Missing(Input(pointer, "what it is under the roof: home, office ..."))
    return need(word, pointer, "what it is: home, office ...")


def above_ground_m(a: Location, b: Location) -> tuple[float, float] | None:
    """Return the heights above the ground of two ends outdoors, where both are known."""
    if a.level is b.level and a.height_m and b.height_m:
        return (a.height_m, b.height_m)
    return None


def _all_drawn(w: Workings, a: Location, b: Location) -> bool:
    """Return whether walls are drawn on the roofed levels of both ends and on those between."""
    ends = [location.level for location in (a, b) if not location.outdoors]
    if any(level is None or level.walls is None for level in ends):
        return False
    if a.level is b.level or a.floor_m is None or b.floor_m is None:
        return True
    low_m, high_m = sorted((a.floor_m, b.floor_m))
    buildings = {level.building for level in ends if level is not None}
    return all(
        level.walls is not None or level.base_m is None or not low_m < level.base_m < high_m
        for level in (w.site.levels or {}).values()
        if level.building in buildings
    )


def storeys_met(w: Workings, a: Location, b: Location) -> Iterator[tuple[Storey, float, float]]:
    """Return each storey that a path runs through, and the stretch of it (0 to 1) in there."""
    all_storeys = w.once(storeys)
    own = a.level.name if a.level is not None and a.level is b.level else None
    if own is not None:
        yield all_storeys[own], 0.0, 1.0
    if a.floor_m is None or b.floor_m is None:
        return
    bottom_m, top_m = a.floor_m + height_m(a, b), b.floor_m + height_m(b, a)
    for storey in all_storeys.values():
        if storey.low_m is None or storey.level.name == own:
            continue
        stretch = _stretch(bottom_m, top_m, storey.low_m, storey.high_m)
        if stretch is not None:
            yield storey, *stretch


def _stretch(from_m: float, to_m: float, low_m: float, high_m: float) -> tuple[float, float] | None:
    """Return the part of a rise (0 to 1) that lies between two heights, the lower included."""
    if from_m == to_m:
        return (0.0, 1.0) if low_m <= from_m < high_m else None
    ends = sorted(((low_m - from_m) / (to_m - from_m), (high_m - from_m) / (to_m - from_m)))
    start, end = max(ends[0], 0.0), min(ends[1], 1.0)
    return (start, end) if start < end else None


def unstated_wall_db(terms: tuple[DistanceTerm, ...]) -> float | None:
    """Return what the scenario publishes for a wall of which nothing is known."""
    published = [t.model.wall_db for t in terms if isinstance(t.model, DrawnModel)]
    return max(published, default=None)


def _walls_between(
    w: Workings, a: Location, b: Location, terms: tuple[DistanceTerm, ...]
) -> Iterator[Crossing]:
    frequency_mhz = terms[0].frequency_mhz
    here, there = (a.x_m, a.y_m), (b.x_m, b.y_m)
    rise_m = rise_between_m(a, b)
    unstated_db = unstated_wall_db(terms)
    for storey, start, end in storeys_met(w, a, b):
        for piece in _near(w, storey, here, there):
            at = crossed(here, there, piece)
            if at is not None and (start <= at < end or at == end == 1.0):
                incidence_deg = _incidence_deg(here, there, rise_m, piece.start, piece.end)
                loss_db = piece.sheet.loss_db(frequency_mhz, incidence_deg, unstated_db)
                yield Crossing(piece.sheet.words, loss_db, on_line(here, there, at))
        for solid in storey.solids:
            met = [at for at in through(here, there, solid) if start <= at < end or at == end == 1]
            if met:
                loss_db = solid.sheet.loss_db(frequency_mhz, 0.0, None)
                yield Crossing(solid.sheet.words, loss_db, on_line(here, there, min(met)))


def _near(w: Workings, storey: Storey, here: Metres, there: Metres) -> Sequence[WallPiece]:
    """Return the pieces of wall of a storey that a line over it may meet."""
    pieces = storey.pieces or ()
    if len(pieces) < FEWEST:
        return pieces
    return w.once(_index, storey.level.name, pieces).near(here, there)


def _index(_: Workings, pieces: tuple[WallPiece, ...]) -> WallIndex:
    return wall_index(pieces)


def _incidence_deg(a: Metres, b: Metres, rise_m: float, start: Metres, end: Metres) -> float:
    """Return the angle between a path and the normal of an upright wall."""
    along = (end[0] - start[0], end[1] - start[1])
    across = abs((b[0] - a[0]) * along[1] - (b[1] - a[1]) * along[0]) / math.hypot(*along)
    return math.degrees(math.acos(min(across / math.dist((*a, 0.0), (*b, rise_m)), 1.0)))

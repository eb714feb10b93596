"""How strongly one unit hears another: the loss between two places, and the level that is left.

Which model serves a path:

| the path                                  | model                                              |
|-------------------------------------------|----------------------------------------------------|
| under a roof, the ends see each other      | ITU-R P.1238-11 row in sight, inside its range;    |
|                                           | free space (P.525) beyond it and without a row     |
| under a roof, something drawn in the way   | IEEE 802.11-14/0980 distance term, each wall and   |
|                                           | floor on top (ITU-R P.2040 slab, or its stated loss)|
| under a roof, walls not drawn              | ITU-R P.1238, ordinary walls inside                |
| both ends outdoors                        | free space (P.525), two-ray where heights are known,|
|                                           | and whatever is drawn in between                   |

Two ends see each other where the link says so (`in_sight`), or where walls are drawn and the line
meets none, nor a floor, an obstacle, a shell or a roof. What the link states beats the plan. A path
through a wall never loses less than one of its length in sight.

What the file names on the way counts with every model: floors with a material or a loss, obstacles,
shells. Only floors of which nothing is said cost what the model publishes for them.

A path with one end outdoors is taken by the surroundings of the other as far as the roof goes, and
is in open air beyond it: see `crossings.roofed_share`. Two ends in different surroundings take the
model that loses more. Distances are three-dimensional and at least 1 m; an end whose height is not
stated is taken to be as high above its floor as the other.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.distance import (
    GUIDED_DB,
    drawn_term,
    indoor_term,
    open_air_term,
    sight_term,
)
from meshlint.physics.drawn import DrawnModel, drawn_model
from meshlint.physics.propagation import NEAREST_M, OutsideModel
from meshlint.workings.propagation.crossings import (
    roofed_share,
    stays_inside,
    things_met,
    wall_between,
)
from meshlint.workings.propagation.drawn_lines import Crossing, on_line
from meshlint.workings.propagation.floors import floors_between, through_floors
from meshlint.workings.propagation.geometry import location_of, rise_between_m
from meshlint.workings.propagation.storeys import is_open_air
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import Input, Missing, Unknown, answer, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.model import Unit
    from meshlint.site.places import Level, Surroundings
    from meshlint.workings.propagation.crossings import Met
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.site_workings import Workings


class Path(Struct, frozen=True):
    """What a signal loses between two places, in parts. The loss is a median.

    `floors` counts the floors crossed; `through_floors` says what they cost, one by one where they
    are named and in one sum where the model publishes the sum. `shells` names the levels whose
    outline the path leaves or enters, with nothing said of what stands there.
    """

    distance_m: float
    term: DistanceTerm
    distance_db: float
    walls: tuple[Crossing, ...]
    floors: int
    through_floors: tuple[Crossing, ...]
    shells: tuple[str, ...] = ()

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
    def in_sight(self) -> bool:
        """Return whether the two ends see each other."""
        between = self.walls or self.through_floors or self.shells
        return self.term.at(self.distance_m).in_sight and not between

    @property
    def sigma_db(self) -> float | None:
        """Return the published spread about the median, None where none is published."""
        return self.term.at(self.distance_m).sigma_db

    @property
    def model(self) -> str:
        """Return the model and its edition."""
        name = self.term.at(self.distance_m).model.source
        return f"{name}, and ITU-R P.2040-3 for walls and floors" if self._added else name

    @property
    def _added(self) -> bool:
        return bool(self.walls) and not self.term.walls_inside


def path_between(w: Workings, one: Unit, other: Unit, frequency_mhz: float) -> Path:
    """Return the path between two units; raises `Missing` where position or surroundings lack."""
    key = (min(one.name, other.name), max(one.name, other.name), frequency_mhz)
    heights_m = tuple(unit.at.height_m if unit.at else None for unit in (one, other))
    # Where a unit stands is the file's; how high it hangs may be taken for one thing or another.
    return w.once_a_building(_path_between, (key, heights_m), one, other, frequency_mhz)


def _path_between(w: Workings, one: Unit, other: Unit, frequency_mhz: float) -> Path:
    # Both ends are asked for before either is missed, whichever way round somebody looks.
    here, there = (answer(location_of, w, unit) for unit in (one, other))
    if isinstance(here, Unknown) or isinstance(there, Unknown):
        ends = [end.inputs for end in (here, there) if isinstance(end, Unknown)]
        raise Missing(*sorted({wanted for inputs in ends for wanted in inputs}))
    stated = w.once(stated_sights).get(frozenset((one.name, other.name)))
    return path_of(w, here, there, frequency_mhz, in_sight=stated)


def stated_sights(w: Workings) -> Mapping[frozenset[str], bool]:
    """Return which pairs of units see each other, or do not, as far as their links say."""
    found: dict[frozenset[str], bool] = {}
    for link in (w.site.backhaul or {}).values():
        if link.in_sight is not None:
            ends = frozenset((link.from_unit, link.to_unit))
            found.setdefault(ends, link.in_sight)
    return found


def path_of(
    w: Workings, a: Location, b: Location, frequency_mhz: float, *, in_sight: bool | None = None
) -> Path:
    """Return the path between two places; `in_sight` is what the link between them states."""
    rise_m = rise_between_m(a, b)
    distance_m = max(math.hypot(b.x_m - a.x_m, b.y_m - a.y_m, rise_m), NEAREST_M)
    if in_sight:
        return _clear_path(sight(w, a, b, frequency_mhz), distance_m)
    terms = distance_terms(w, a, b, frequency_mhz)
    met = things_met(w, a, b)
    floors = tuple(floors_between(w, a, b))
    drawn = not terms[0].walls_inside
    in_open_air = a.outdoors and b.outdoors
    if in_open_air and in_sight is False and not met and not floors:
        wanted = "what stands between the two, drawn as a wall or an obstacle"
        raise Missing(Input(("levels",), wanted))
    if drawn and not in_open_air and in_sight is None and not met and not floors:
        return _clear_path(sight(w, a, b, frequency_mhz), distance_m)
    roofed_m = 0.0 if in_open_air else roofed_share(w, a, b, met) * distance_m
    serving = [*_serving(terms, distance_m, roofed_m)]
    if drawn and not in_open_air:
        serving.append(sight(w, a, b, frequency_mhz))
    try:
        distance_db, at = max((term.loss_db(distance_m), -i) for i, term in enumerate(serving))
    except OutsideModel as outside:
        raise beyond_model(outside) from outside
    return Path(
        distance_m,
        serving[-at],
        distance_db,
        _crossings(met, a, b, terms),
        len(floors),
        through_floors(floors, terms, distance_m, abs(rise_m)),
        tuple(dict.fromkeys(one.level for one in met if one.sheet.is_open)),
    )


def _clear_path(term: DistanceTerm, distance_m: float) -> Path:
    return Path(distance_m, term, term.loss_db(distance_m), (), 0, ())


def _serving(
    terms: Iterable[DistanceTerm], distance_m: float, roofed_m: float
) -> Iterable[DistanceTerm]:
    """Yield the terms of a path that is under a roof for so many metres."""
    for term in terms:
        if roofed_m >= distance_m:
            yield term
            continue
        try:
            yield term if term.in_sight else term.leaving(roofed_m)
        except OutsideModel as outside:
            raise beyond_model(outside) from outside


def _crossings(
    met: Sequence[Met], a: Location, b: Location, terms: tuple[DistanceTerm, ...]
) -> tuple[Crossing, ...]:
    """Return what a path goes through; ordinary walls only where the model does not hold them."""
    unstated_db = unstated_wall_db(terms)
    return tuple(
        Crossing(
            one.sheet.words,
            one.sheet.loss_db(terms[0].frequency_mhz, one.incidence_deg, unstated_db),
            on_line(a.eye_m, b.eye_m, one.at),
        )
        for one in met
        if not one.sheet.is_open and not (one.is_wall and terms[0].walls_inside)
    )


def beyond_model(outside: OutsideModel) -> Missing:
    """Return what would settle a path that is longer than its model was published for."""
    return Missing(Input(("levels",), f"walls drawn on the plan, since {outside}"))


def distance_terms(
    w: Workings, a: Location, b: Location, frequency_mhz: float
) -> tuple[DistanceTerm, ...]:
    """Return the distance terms of the two ends' surroundings where something is in the way.

    The greater loss counts.
    """
    if a.outdoors and b.outdoors:
        return (open_air_term(frequency_mhz, above_ground_m(a, b)),)
    words = _words(w, a, b)
    if _all_drawn(w, a, b):
        return tuple(drawn_term(drawn_model(word), frequency_mhz) for word in words)
    band = min(NOMINAL_MHZ, key=lambda band: abs(NOMINAL_MHZ[band] - frequency_mhz))
    return tuple(indoor_term(word, band, frequency_mhz) for word in words)


def sight(w: Workings, a: Location, b: Location, frequency_mhz: float) -> DistanceTerm:
    """Return the distance term of two places that see each other.

    Open air where either is outdoors, and where the two stand in different surroundings.
    """
    if a.outdoors and b.outdoors:
        return open_air_term(frequency_mhz, above_ground_m(a, b))
    words = _words(w, a, b)
    if a.outdoors or b.outdoors or len(words) > 1:
        return open_air_term(frequency_mhz)
    return sight_term(words[0], frequency_mhz)


def loses_more(w: Workings, one: Unit, other: Unit, frequency_mhz: float, most_db: float) -> bool:
    """Return whether the path between two units surely loses more than this; no if in doubt.

    It only spares work: distance alone tells, or distance and the first wall on the way. Raises
    `Missing` as `path_between` does.
    """
    if frozenset((one.name, other.name)) in w.once(stated_sights):
        return False
    a, b = location_of(w, one), location_of(w, other)
    distance_m = max(math.hypot(b.x_m - a.x_m, b.y_m - a.y_m, rise_between_m(a, b)), NEAREST_M)
    # Models with walls inside may lose up to 0.45 dB less than free space, near to 1 m.
    if sight(w, a, b, frequency_mhz).loss_db(distance_m) - 0.5 > most_db:
        return True
    if not stays_inside(w, a, b):
        return False
    terms = distance_terms(w, a, b, frequency_mhz)
    try:
        least_db = max(term.loss_db(distance_m) for term in terms)
    except OutsideModel:
        return False
    if least_db <= most_db or terms[0].walls_inside:
        return least_db > most_db
    return w.once(_behind_walls, (min(one.name, other.name), max(one.name, other.name)), a, b)


def _behind_walls(w: Workings, a: Location, b: Location) -> bool:
    return wall_between(w, a, b)


def farthest_m(w: Workings, location: Location, frequency_mhz: float, loss_db: float) -> float:
    """Return a distance beyond which any path from a place loses more, whatever is drawn.

    Infinite where that cannot be told. Where no path can be in sight nor leave the building, the
    model of the place's own surroundings bounds it, which the other end can only add loss to.
    """
    if not w.once(_always_through_walls):
        return open_air_term(frequency_mhz).reach_m(loss_db + GUIDED_DB)
    terms = distance_terms(w, location, location, frequency_mhz)
    return max(math.inf if math.isfinite(_end_m(t)) else t.reach_m(loss_db) for t in terms)


def _end_m(term: DistanceTerm) -> float:
    return term.farthest_m if term.beyond is None else term.beyond.farthest_m


def _always_through_walls(w: Workings) -> bool:
    """Return whether every path of a site stays under a roof whose walls are not drawn."""
    site = w.site
    levels = tuple((site.levels or {}).values())
    return (
        not w.once(stated_sights)
        and all(unit.outdoors is not True for unit in site.units.values())
        and all(level.walls is None and level.outline_m is None for level in levels)
        and not any(is_open_air(w, level) for level in levels or (None,))
        and len({level.building for level in levels}) <= 1
    )


def _words(w: Workings, a: Location, b: Location) -> tuple[Surroundings, ...]:
    """Return the surroundings of the ends that are under a roof, each once."""
    roofed = (location.level for location in (a, b) if not location.outdoors)
    return tuple(dict.fromkeys(_surroundings(w, level) for level in roofed))


def _surroundings(w: Workings, level: Level | None) -> Surroundings:
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


def unstated_wall_db(terms: tuple[DistanceTerm, ...]) -> float | None:
    """Return what the scenario publishes for a wall of which nothing is known."""
    published = [t.model.wall_db for t in terms if isinstance(t.model, DrawnModel)]
    return max(published, default=None)

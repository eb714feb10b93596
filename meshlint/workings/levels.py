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
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meshlint.physics.channels import Span, overlap_mhz
from meshlint.physics.distance import drawn_term, open_air_term, walls_inside_term
from meshlint.physics.drawn import DrawnModel, drawn_model
from meshlint.physics.noise import ENERGY_DETECT_DBM, SECONDARY_DETECT_DBM, carrier_sense_dbm
from meshlint.physics.propagation import NEAREST_M, OutsideModel, indoor_model
from meshlint.workings.building import (
    CLIENT_HEIGHT_M,
    Crossing,
    Sheet,
    Spot,
    Storey,
    crossed,
    inside,
    sheet_of,
    spot_of,
    storeys,
    through,
)
from meshlint.workings.cells import NOMINAL_MHZ, radiated_dbm
from meshlint.workings.facts import Input, Missing, Workings, need
from meshlint.workings.spectrum import span

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.physics.channels import Channel
    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.model import Level, Metres, Radio, Unit

_SAME_M = 0.001


@dataclass(frozen=True, slots=True)
class Path:
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
    known = w.once(_paths)
    key = (min(one.name, other.name), max(one.name, other.name), frequency_mhz)
    if key not in known:
        known[key] = path_of(w, spot_of(w, one), spot_of(w, other), frequency_mhz)
    return known[key]


def _paths(_: Workings) -> dict[tuple[str, str, float], Path]:
    return {}


def path_of(w: Workings, a: Spot, b: Spot, frequency_mhz: float) -> Path:
    """Return the path between two places."""
    rise_m = _rise_m(a, b)
    distance_m = max(math.hypot(b.x_m - a.x_m, b.y_m - a.y_m, rise_m), NEAREST_M)
    term, distance_db = nearest_model(w, a, b, frequency_mhz, distance_m)
    floors = tuple(_floors_between(w, a, b))
    return Path(
        distance_m,
        term,
        distance_db,
        () if term.walls_inside else tuple(_walls_between(w, a, b, term)),
        len(floors),
        _through_floors(floors, term, distance_m, abs(rise_m)),
    )


def nearest_model(
    w: Workings, a: Spot, b: Spot, frequency_mhz: float, distance_m: float
) -> tuple[DistanceTerm, float]:
    """Return the distance term that serves a path, and its loss there."""
    terms = distance_terms(w, a, b, frequency_mhz)
    try:
        return max(((term, term.loss_db(distance_m)) for term in terms), key=lambda pair: pair[1])
    except OutsideModel as outside:
        wanted = f"walls drawn on the plan, since {outside}"
        raise Missing(Input(("levels",), wanted)) from outside


def distance_terms(w: Workings, a: Spot, b: Spot, frequency_mhz: float) -> tuple[DistanceTerm, ...]:
    """Return the distance terms of the two ends' surroundings; the greater loss counts."""
    if a.outdoors and b.outdoors:
        return (open_air_term(frequency_mhz, _above_ground_m(a, b)),)
    words = dict.fromkeys(_surroundings(w, spot.level) for spot in (a, b) if not spot.outdoors)
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


def _above_ground_m(a: Spot, b: Spot) -> tuple[float, float] | None:
    if a.level is b.level and a.height_m and b.height_m:
        return (a.height_m, b.height_m)
    return None


def _all_drawn(w: Workings, a: Spot, b: Spot) -> bool:
    """Return whether walls are drawn on every roofed level that the path meets."""
    ends = [spot.level for spot in (a, b) if not spot.outdoors]
    if any(level is None or level.walls is None for level in ends):
        return False
    return all(
        storey.pieces is not None
        for storey, _, _ in _met(w, a, b)
        if storey.level.surroundings != "outdoors"
    )


def _height_m(spot: Spot, other: Spot) -> float:
    if spot.height_m is not None:
        return spot.height_m
    return CLIENT_HEIGHT_M if other.height_m is None else other.height_m


def _rise_m(a: Spot, b: Spot) -> float:
    rise_m = _height_m(b, a) - _height_m(a, b)
    if a.level is b.level or a.level is None or b.level is None:
        return rise_m
    return rise_m + _base_m(b.level) - _base_m(a.level)


def _base_m(level: Level) -> float:
    return need(level.base_m, ("levels", level.name, "base_m"), "the height of the level's floor")


def _met(w: Workings, a: Spot, b: Spot) -> Iterator[tuple[Storey, float, float]]:
    """Return each storey that a path runs through, and the stretch of it (0 to 1) in there."""
    all_storeys = w.once(storeys)
    own = a.level.name if a.level is not None and a.level is b.level else None
    if own is not None:
        yield all_storeys[own], 0.0, 1.0
    if a.floor_m is None or b.floor_m is None:
        return
    bottom_m, top_m = a.floor_m + _height_m(a, b), b.floor_m + _height_m(b, a)
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


def _walls_between(w: Workings, a: Spot, b: Spot, term: DistanceTerm) -> Iterator[Crossing]:
    here, there = (a.x_m, a.y_m), (b.x_m, b.y_m)
    rise_m = _rise_m(a, b)
    unstated_db = term.model.wall_db if isinstance(term.model, DrawnModel) else None
    for storey, start, end in _met(w, a, b):
        for piece in storey.pieces or ():
            at = crossed(here, there, piece)
            if at is not None and (start <= at < end or at == end == 1.0):
                incidence_deg = _incidence_deg(here, there, rise_m, piece.start, piece.end)
                loss_db = piece.sheet.loss_db(term.frequency_mhz, incidence_deg, unstated_db)
                yield Crossing(piece.sheet.words, loss_db, _on(here, there, at))
        for solid in storey.solids:
            at = through(here, there, solid)
            if at is not None and (start <= at < end or at == end == 1.0):
                loss_db = solid.sheet.loss_db(term.frequency_mhz, 0.0, None)
                yield Crossing(solid.sheet.words, loss_db, _on(here, there, at))


def _on(a: Metres, b: Metres, at: float) -> Metres:
    return (a[0] + at * (b[0] - a[0]), a[1] + at * (b[1] - a[1]))


def _incidence_deg(a: Metres, b: Metres, rise_m: float, start: Metres, end: Metres) -> float:
    """Return the angle between a path and the normal of an upright wall."""
    along = (end[0] - start[0], end[1] - start[1])
    across = abs((b[0] - a[0]) * along[1] - (b[1] - a[1]) * along[0]) / math.hypot(*along)
    return math.degrees(math.acos(min(across / math.dist((*a, 0.0), (*b, rise_m)), 1.0)))


def _floors_between(w: Workings, a: Spot, b: Spot) -> Iterator[Sheet]:
    """Return the slabs that a path crosses, one for each height at which there is one."""
    if a.level is None or b.level is None or a.level is b.level:
        return
    from_m, to_m = _base_m(a.level) + _height_m(a, b), _base_m(b.level) + _height_m(b, a)
    low_m, high_m = sorted((from_m, to_m))
    told: list[float] = []
    for level in (w.site.levels or {}).values():
        if level.base_m is None or not low_m < level.base_m <= high_m:
            continue
        at = (level.base_m - from_m) / (to_m - from_m)
        place = _on((a.x_m, a.y_m), (b.x_m, b.y_m), at)
        if level.outline_m is not None and not inside(place, level.outline_m):
            continue
        if any(abs(level.base_m - other) < _SAME_M for other in told):
            continue
        told.append(level.base_m)
        pointer = ("levels", level.name, "floor")
        if level.floor is None:
            yield Sheet(pointer, f"floor of {level.name}", lacks="material")
        else:
            yield sheet_of(level.floor, pointer, f"floor of {level.name}")


def _through_floors(
    sheets: tuple[Sheet, ...], term: DistanceTerm, distance_m: float, rise_m: float
) -> tuple[Crossing, ...]:
    """Return what the floors cost: published sums without walls drawn, else slab by slab."""
    if not sheets:
        return ()
    nowhere = (math.nan, math.nan)
    unnamed = [sheet for sheet in sheets if sheet.stated_db is None and sheet.layer is None]
    summed = list(sheets) if term.walls_inside else unnamed
    incidence_deg = math.degrees(math.acos(min(rise_m / distance_m, 1.0)))
    try:
        sum_db = term.floors_db(len(summed))
    except OutsideModel as outside:
        if unnamed:
            wanted = f"what the floor is made of, since {outside}"
            raise Missing(Input(unnamed[0].pointer, wanted)) from outside
        summed, sum_db = [], 0.0
    found = [
        Crossing(sheet.words, sheet.loss_db(term.frequency_mhz, incidence_deg, None), nowhere)
        for sheet in sheets
        if sheet not in summed
    ]
    if summed:
        found.append(Crossing(" and ".join(sheet.words for sheet in summed), sum_db, nowhere))
    return tuple(found)


def frequency_mhz(radio: Radio) -> float:
    """Return the middle of the radio's span, or what stands for its band while that is open."""
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    try:
        return span(radio).centre_mhz
    except Missing:
        return NOMINAL_MHZ[band]


def gain_dbi(radio: Radio) -> float:
    """Return the gain of the radio's antenna in its best direction."""
    return need(radio.antenna_gain_dbi, (*radio.pointer, "antenna_gain_dbi"), "the antenna's gain")


def received_dbm(w: Workings, radio: Radio, to_unit: Unit, receiving_gain_dbi: float) -> float:
    """Return the median level of a radio at another unit, with the receiving antenna's gain."""
    path = path_between(w, w.site.units[radio.unit], to_unit, frequency_mhz(radio))
    return radiated_dbm(radio) - path.loss_db + receiving_gain_dbi


def hears(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either radio's signal makes the other hold its air for busy.

    False for spectrum that does not overlap. Either way round counts, by the level at which the
    listener must notice the signal: see `busy_from_dbm`.
    """
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    ours, theirs = span(one), span(other)
    if overlap_mhz(ours, theirs) == 0:
        return False
    lacking: list[Input] = []
    for speaker, listener, spoken, heard in (
        (one, other, ours, theirs),
        (other, one, theirs, ours),
    ):
        try:
            unit = w.site.units[listener.unit]
            level_dbm = received_dbm(w, speaker, unit, gain_dbi(listener))
        except Missing as missing:
            lacking.extend(missing.inputs)
            continue
        if level_dbm >= busy_from_dbm(spoken, heard):
            return True
    if lacking:
        raise Missing(*dict.fromkeys(lacking))
    return False


def busy_from_dbm(spoken: Channel, heard: Channel) -> float:
    """Return the level from which a listener on `heard` must notice a signal on `spoken`.

    The signal detection of the whole signal where it covers the listener's primary 20 MHz (IEEE
    802.11-2020 17.3.10.6), the level for the rest of a wide channel where it covers only that
    (21.3.18.5), and plain energy where the two are not in step, which happens at 2.4 GHz.
    """
    primary = heard.pieces[heard.members.index(heard.number)]
    if _covers(spoken.pieces, primary):
        return carrier_sense_dbm(spoken.width_mhz)
    if any(_covers(heard.pieces, piece) for piece in spoken.pieces):
        widths = [width for width in SECONDARY_DETECT_DBM if width <= spoken.width_mhz]
        return SECONDARY_DETECT_DBM[max(widths)]
    return ENERGY_DETECT_DBM


def _covers(pieces: tuple[Span, ...], wanted: Span) -> bool:
    return wanted in pieces

"""What stands between two places of a site: walls, things in the way, and floors, as drawn.

A wall is crossed when the straight line between the two places meets it. Segments are half open:
a line that runs exactly through the end of a wall, or along it, is taken as passing an
infinitesimal step to one side, the same way for every wall, so that no line slips through a corner
and none counts a corner twice. Swapping the two places changes nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.materials import Layer, wall_loss_db
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer, Unit
    from meshlint.site.places import Level, Metres, Position, Slab, Wall
    from meshlint.workings.site_workings import Workings

CLIENT_HEIGHT_M = 1.0
"""Height of a device in somebody's hand or on a table: an assumption, stated wherever it counts."""

STEEPEST_DEG = 80.0
"""A slab's loss grows without bound as the signal comes to graze it. Near grazing a real signal
finds its way round or off something else, so losses are held to that of 80 degrees from the normal:
a convention of ours, no published figure."""


class Location(Struct, frozen=True):
    """A place in space: `height_m` above its level's floor, None where nobody said."""

    x_m: float
    y_m: float
    height_m: float | None
    level: Level | None
    outdoors: bool

    @property
    def floor_m(self) -> float | None:
        """Return the height of its floor on the site's own scale."""
        return self.level.base_m if self.level else None


class Sheet(Struct, frozen=True):
    """Something that takes a loss: its layer or measured loss, words for it, and its place."""

    pointer: Pointer
    words: str
    stated_db: float | None = None
    layer: Layer | None = None
    lacks: str = ""

    @property
    def named(self) -> bool:
        """Return whether the file says what it is: its material and thickness, or its loss."""
        return self.stated_db is not None or self.layer is not None

    def loss_db(
        self, frequency_mhz: float, incidence_deg: float, unstated_db: float | None
    ) -> float:
        """Return what crossing it costs; raises `Missing` where the file tells too little.

        A measured loss holds at any angle. `unstated_db` is what the model publishes for a wall of
        which nothing is known.
        """
        if self.stated_db is not None:
            return self.stated_db
        if self.layer is None:
            known = unstated_db if self.lacks == "material" else None
            wanted = f"its {self.lacks.removesuffix('_mm')}, or a measured loss"
            return need(known, (*self.pointer, self.lacks), wanted)
        try:
            return wall_loss_db((self.layer,), frequency_mhz, min(incidence_deg, STEEPEST_DEG))
        except OutsideModel as outside:
            wanted = f"a measured loss, since {outside}"
            raise Missing(Input((*self.pointer, "loss_db"), wanted)) from outside


class WallPiece(Struct, frozen=True):
    """One straight piece of a wall on a level's plan."""

    start: Metres
    end: Metres
    sheet: Sheet


class Solid(Struct, frozen=True):
    """Something on the plan that a line passes through whole, by its outline."""

    outline_m: tuple[Metres, ...]
    sheet: Sheet


class Storey(Struct, frozen=True):
    """One level as far as signals care: the height from floor to next floor, and what is drawn."""

    level: Level
    low_m: float | None
    high_m: float
    pieces: tuple[WallPiece, ...] | None
    solids: tuple[Solid, ...]


class Crossing(Struct, frozen=True):
    """One thing on a path, what it costs there, and where on the plan it is met."""

    words: str
    loss_db: float
    at_m: Metres


def location_of(w: Workings, unit: Unit) -> Location:
    """Return where a unit stands."""
    at = need(unit.at, (*unit.pointer, "at"), "where the unit stands")
    level = level_of(w, at, (*unit.pointer, "at"))
    outdoors = unit.outdoors if unit.outdoors is not None else _open(w, level)
    return Location(at.x_m, at.y_m, at.height_m, level, outdoors)


def client_location(w: Workings, at: Position, pointer: Pointer) -> Location:
    """Return where somebody with a device stands."""
    level = level_of(w, at, pointer)
    height_m = CLIENT_HEIGHT_M if at.height_m is None else at.height_m
    return Location(at.x_m, at.y_m, height_m, level, _open(w, level))


def level_of(w: Workings, at: Position, pointer: Pointer) -> Level | None:
    """Return the level of a position, the only one where it names none; None without levels."""
    levels = w.site.levels or {}
    if at.level is not None:
        return levels.get(at.level)
    if len(levels) > 1:
        raise Missing(Input((*pointer, "level"), "which level it is on"))
    return next(iter(levels.values()), None)


def _open(w: Workings, level: Level | None) -> bool:
    return ((level and level.surroundings) or w.site.about.surroundings) == "outdoors"


def storeys(w: Workings) -> dict[str, Storey]:
    """Return every level with what is drawn on it, in the order of the file."""
    levels = w.site.levels or {}
    return {
        name: Storey(
            level,
            level.base_m,
            _next_floor_m(level, levels.values()),
            None if level.walls is None else tuple(_pieces(level)),
            tuple(
                Solid(
                    thing.outline_m,
                    Sheet(
                        ("levels", name, "obstacles", at),
                        f"obstacle of {thing.loss_db:g} dB",
                        thing.loss_db,
                    ),
                )
                for at, thing in enumerate(level.obstacles or ())
            ),
        )
        for name, level in levels.items()
    }


def _next_floor_m(level: Level, levels: Iterable[Level]) -> float:
    if level.base_m is None:
        return math.inf
    bases = (other.base_m for other in levels if other.building == level.building)
    return min((m for m in bases if m is not None and m > level.base_m), default=math.inf)


def _pieces(level: Level) -> Iterator[WallPiece]:
    for at, wall in enumerate(level.walls or ()):
        sheet = sheet_of(wall, ("levels", level.name, "walls", at), "wall")
        for start, end in zip(wall.path_m, wall.path_m[1:], strict=False):
            if start != end:
                yield WallPiece(start, end, sheet)


def sheet_of(thing: Wall | Slab, pointer: Pointer, noun: str) -> Sheet:
    """Return a wall or a floor as what it costs: the measured loss before the material."""
    if thing.loss_db is not None:
        material = f"{thing.material} " if thing.material else ""
        return Sheet(pointer, f"{material}{noun} of {thing.loss_db:g} dB", thing.loss_db)
    if thing.material is None:
        return Sheet(pointer, f"{noun} of unstated material", lacks="material")
    if thing.thickness_mm is None:
        return Sheet(pointer, f"{thing.material} {noun}", lacks="thickness_mm")
    return Sheet(
        pointer,
        f"{thing.thickness_mm:g} mm {thing.material} {noun}",
        layer=Layer(thing.material, thing.thickness_mm),
    )


def height_m(location: Location, other: Location) -> float:
    """Return a height above the floor; an unstated one is taken to be as the other end's."""
    if location.height_m is not None:
        return location.height_m
    return CLIENT_HEIGHT_M if other.height_m is None else other.height_m


def rise_between_m(a: Location, b: Location) -> float:
    """Return how much higher the second place is than the first."""
    rise_m = height_m(b, a) - height_m(a, b)
    if a.level is b.level or a.level is None or b.level is None:
        return rise_m
    return rise_m + base_m(b.level) - base_m(a.level)


def base_m(level: Level) -> float:
    """Return the height of a level's floor; raises `Missing` where nobody stated it."""
    return need(level.base_m, ("levels", level.name, "base_m"), "the height of the level's floor")


def on_line(a: Metres, b: Metres, at: float) -> Metres:
    """Return the place so far along (0 to 1) from `a` to `b`."""
    return (a[0] + at * (b[0] - a[0]), a[1] + at * (b[1] - a[1]))


def crossed(a: Metres, b: Metres, piece: WallPiece) -> float | None:
    """Return how far along from `a` to `b` (0 to 1) a line meets a piece of wall, None if not."""
    start, end = piece.start, piece.end
    if _right_of(a, b, start) == _right_of(a, b, end):
        return None
    from_a, from_b = _side(start, end, a), _side(start, end, b)
    if (from_a >= 0) == (from_b >= 0):
        return None
    return from_a / (from_a - from_b)


def _right_of(a: Metres, b: Metres, place: Metres) -> bool:
    """Return on which side of the line a place lies; on it, the side that is settled for all."""
    if b < a:
        a, b = b, a
    return _side(a, b, place) >= 0


def _side(a: Metres, b: Metres, place: Metres) -> float:
    return (b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0])


def inside(place: Metres, outline_m: tuple[Metres, ...]) -> bool:
    """Return whether a place lies within an outline, lower and left edges included."""
    x, y = place
    odd = False
    for (x1, y1), (x2, y2) in zip(outline_m, (*outline_m[1:], outline_m[0]), strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
            odd = not odd
    return odd


def through(a: Metres, b: Metres, solid: Solid) -> tuple[float, ...]:
    """Return how far along (0 to 1) a line meets each edge of an outline that it crosses."""
    corners = solid.outline_m
    edges = zip(corners, (*corners[1:], corners[0]), strict=True)
    return tuple(
        at
        for start, end in edges
        if start != end and (at := crossed(a, b, WallPiece(start, end, solid.sheet))) is not None
    )

"""Where units and devices stand, in three dimensions, and on which side of a wall.

A unit that is fixed to an outer wall stands outside it if it is outdoors, and inside if it is not,
on whichever side of the wall's line its place was written: a mount is never inside its own wall.
The outer walls are those along a level's outline or, where none is drawn, along the convex hull of
its walls. Fixed to a wall is what stands within half of its thickness, or 5 cm where that is less.
On any other wall a unit stands on the side on which it is drawn; of one that is drawn on the very
line of an inner wall nobody knows the side, and that wall is in nobody's way from there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.propagation.drawn_lines import inside, nearest_on, on_line
from meshlint.workings.propagation.storeys import is_open_air, storeys
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Pointer, Unit
    from meshlint.site.places import Level, Metres, Position
    from meshlint.workings.propagation.drawn_lines import WallPiece
    from meshlint.workings.propagation.storeys import Storey
    from meshlint.workings.site_workings import Workings

CLIENT_HEIGHT_M = 1.0
"""Height of a device in somebody's hand or on a table: an assumption, stated wherever it counts."""

_MOUNT_M = 0.05
_THICKEST_M = 0.5
_OFF_M = 0.01  # how far off the wall's face a mount is put: for lines of sight alone
_PROBE_M = 0.6  # how far to either side of a wall it is looked for inside and outside


class Location(Struct, frozen=True):
    """A place in space: `height_m` above its level's floor, None where nobody said.

    `is_unit` marks something that is fixed there, and `seen_from_m` is where its lines of sight
    start where that is not the very place: see `mounted_m`.
    """

    x_m: float
    y_m: float
    height_m: float | None
    level: Level | None
    outdoors: bool
    is_unit: bool = False
    seen_from_m: Metres | None = None

    @property
    def floor_m(self) -> float | None:
        """Return the height of its floor on the site's own scale."""
        return self.level.base_m if self.level else None

    @property
    def eye_m(self) -> Metres:
        """Return where lines of sight start on the plan."""
        return self.seen_from_m or (self.x_m, self.y_m)


def location_of(w: Workings, unit: Unit) -> Location:
    """Return where a unit stands."""
    return w.once(_location_of, unit.name, unit)


def _location_of(w: Workings, unit: Unit) -> Location:
    at = need(unit.at, (*unit.pointer, "at"), "where the unit stands")
    level = level_of(w, at, (*unit.pointer, "at"))
    outdoors = unit.outdoors if unit.outdoors is not None else is_open_air(w, level)
    place = (at.x_m, at.y_m)
    seen_from_m = mounted_m(w, place, at.height_m, level, outdoors=outdoors)
    moved_m = seen_from_m if seen_from_m != place else None
    return Location(*place, at.height_m, level, outdoors, is_unit=True, seen_from_m=moved_m)


def client_location(w: Workings, at: Position, pointer: Pointer) -> Location:
    """Return where somebody with a device stands."""
    level = level_of(w, at, pointer)
    height_m = CLIENT_HEIGHT_M if at.height_m is None else at.height_m
    return Location(at.x_m, at.y_m, height_m, level, is_open_air(w, level))


def level_of(w: Workings, at: Position, pointer: Pointer) -> Level | None:
    """Return the level of a position, the only one where it names none; None without levels."""
    levels = w.site.levels or {}
    if at.level is not None:
        return levels.get(at.level)
    if len(levels) > 1:
        raise Missing(Input((*pointer, "level"), "which level it is on"))
    return next(iter(levels.values()), None)


def mounted_m(
    w: Workings, place: Metres, height_m: float | None, level: Level | None, *, outdoors: bool
) -> Metres:
    """Return a place moved to its own side of the outer walls that it is fixed to."""
    for storey in _storeys_at(w, height_m, level, outdoors=outdoors):
        for piece in (*(storey.pieces or ()), *storey.shell):
            if not _near(piece, place):
                continue
            reach_m = _reach_m(piece)
            nearest = on_line(piece.start, piece.end, nearest_on(piece.start, piece.end, place))
            if math.dist(place, nearest) > reach_m:
                continue
            outward = _outward(storey, piece, place)
            if outward is None:
                continue
            east, north = outward if outdoors else (-outward[0], -outward[1])
            off_m = (place[0] - nearest[0]) * east + (place[1] - nearest[1]) * north
            if off_m < reach_m + _OFF_M:
                more_m = reach_m + _OFF_M - off_m
                place = (place[0] + more_m * east, place[1] + more_m * north)
    return place


def _storeys_at(
    w: Workings, height_m: float | None, level: Level | None, *, outdoors: bool
) -> Iterator[Storey]:
    """Yield the roofed storeys whose outer walls a unit may be fixed to."""
    here_m = CLIENT_HEIGHT_M if height_m is None else height_m
    for storey in w.once_a_building(storeys).values():
        if storey.rim is None:
            continue
        if storey.level is level:
            yield storey
            continue
        if not outdoors and (level is None or storey.level.building != level.building):
            continue
        if level is None or level.base_m is None or storey.low_m is None:
            continue
        if storey.low_m <= level.base_m + here_m < storey.high_m:
            yield storey


def _near(piece: WallPiece, place: Metres) -> bool:
    """Return whether a place may be fixed to a piece of wall; quick, since most are far away."""
    (x, y), (x1, y1), (x2, y2) = place, piece.start, piece.end
    return not (
        (x1 < x - _THICKEST_M and x2 < x - _THICKEST_M)
        or (x1 > x + _THICKEST_M and x2 > x + _THICKEST_M)
        or (y1 < y - _THICKEST_M and y2 < y - _THICKEST_M)
        or (y1 > y + _THICKEST_M and y2 > y + _THICKEST_M)
    )


def _reach_m(piece: WallPiece) -> float:
    layer = piece.sheet.layer
    half_m = layer.thickness_mm / 2000 if layer else 0.0
    return min(max(half_m, _MOUNT_M), _THICKEST_M)


def _outward(storey: Storey, piece: WallPiece, place: Metres) -> Metres | None:
    """Return the way out of the building across a piece of wall; None for an inner wall.

    Looked for away from the ends of the piece, since at a corner both sides are the outline itself.
    """
    (x1, y1), (x2, y2) = piece.start, piece.end
    length_m = math.dist(piece.start, piece.end)
    spare = min(_PROBE_M / length_m, 0.5)
    share = min(max(nearest_on(piece.start, piece.end, place), spare), 1 - spare)
    x, y = on_line(piece.start, piece.end, share)
    east, north = (y2 - y1) / length_m, (x1 - x2) / length_m
    there = inside((x + _PROBE_M * east, y + _PROBE_M * north), storey.rim or ())
    back = inside((x - _PROBE_M * east, y - _PROBE_M * north), storey.rim or ())
    if there == back:
        return None
    return (-east, -north) if there else (east, north)


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

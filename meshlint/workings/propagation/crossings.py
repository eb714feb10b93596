"""What a straight line between two places goes through, and how much of it is under a roof."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from meshlint.workings.propagation.drawn_lines import (
    Sheet,
    crossed,
    inside,
    meets,
    on_line,
    side,
    through,
)
from meshlint.workings.propagation.geometry import height_m, rise_between_m
from meshlint.workings.propagation.storeys import storeys
from meshlint.workings.propagation.wall_index import FEWEST, wall_index

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.places import Metres
    from meshlint.workings.propagation.drawn_lines import WallPiece
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.propagation.storeys import Storey
    from meshlint.workings.propagation.wall_index import WallIndex
    from meshlint.workings.site_workings import Workings

Drawn = Literal["pieces", "shell", "edges"]
_STANDING: tuple[Drawn, ...] = ("pieces", "shell")

_UNDER_THE_CEILING_M = 0.01  # what stands under a roof stands below its ceiling
_WHOLE = 1 - 1e-9


class Met(Struct, frozen=True):
    """Something that a line goes through: its sheet, where, and the angle to its normal.

    `is_wall` marks a drawn wall, which models with walls inside hold already. `level` is the name
    of the level that it is drawn on.
    """

    sheet: Sheet
    at: float
    incidence_deg: float
    is_wall: bool
    level: str


class Stretch(Struct, frozen=True):
    """The part of a line (0 to 1) that runs at the height of a storey.

    `roof_at` is how far along the line passes the storey's top, None where it does not.
    """

    storey: Storey
    start: float
    end: float
    roof_at: float | None

    def holds(self, at: float) -> bool:
        """Return whether a place on the line belongs to the stretch, its start included."""
        return self.start <= at < self.end or at == self.end == 1.0


def stretches(w: Workings, a: Location, b: Location) -> Iterator[Stretch]:
    """Yield each storey at whose height a line runs, and the part of it that does."""
    all_storeys = w.once_a_building(storeys)
    own = all_storeys[a.level.name] if a.level is not None and a.level is b.level else None
    if own is not None:
        part = _part(own, _held_m(own, a, b), _held_m(own, b, a), 0.0)
        if part is not None:
            yield part
    if a.floor_m is None or b.floor_m is None:
        return
    from_m, to_m = absolute_m(w, a, b), absolute_m(w, b, a)
    for storey in all_storeys.values():
        if storey.low_m is not None and storey is not own:
            part = _part(storey, from_m, to_m, storey.low_m)
            if part is not None:
                yield part


def absolute_m(w: Workings, location: Location, other: Location) -> float:
    """Return a height on the site's own scale; under a roof no more than that of the ceiling."""
    above_m = height_m(location, other)
    if location.level is not None:
        above_m = _held_m(w.once_a_building(storeys)[location.level.name], location, other)
    return (location.floor_m or 0.0) + above_m


def _held_m(storey: Storey, location: Location, other: Location) -> float:
    above_m = height_m(location, other)
    if location.outdoors or not storey.roofed:
        return above_m
    return min(above_m, max(storey.tall_m - _UNDER_THE_CEILING_M, 0.0))


def _part(storey: Storey, from_m: float, to_m: float, low_m: float) -> Stretch | None:
    """Return the part of a rise that lies between a storey's floor and its top."""
    high_m = low_m + storey.tall_m
    if from_m == to_m:
        return Stretch(storey, 0.0, 1.0, None) if low_m <= from_m < high_m else None
    top = (high_m - from_m) / (to_m - from_m)
    ends = sorted(((low_m - from_m) / (to_m - from_m), top))
    start, end = max(ends[0], 0.0), min(ends[1], 1.0)
    return Stretch(storey, start, end, top if 0.0 < top < 1.0 else None) if start < end else None


def roof_over(w: Workings, storey: Storey) -> list[tuple[Metres, ...]] | None:
    """Return the outlines that stand on a storey, elsewhere than which its top is a roof.

    None where no roof of it is known: without an outline, or with another level all over it.
    """
    if not storey.roofed or storey.level.outline_m is None:
        return None
    if storey.low_m is None:
        return []
    above = [
        other.level.outline_m
        for other in w.once_a_building(storeys).values()
        if other.level.building == storey.level.building
        and other.low_m is not None
        and abs(other.low_m - storey.high_m) < _UNDER_THE_CEILING_M
    ]
    known = [outline_m for outline_m in above if outline_m is not None]
    return known if len(known) == len(above) else None


def things_met(w: Workings, a: Location, b: Location) -> list[Met]:
    """Return the walls, shells, roofs and obstacles that a line goes through."""
    here, there = a.eye_m, b.eye_m
    fixed = (a.is_unit, b.is_unit)
    rise_m = rise_between_m(a, b)
    found: list[Met] = []
    for stretch in stretches(w, a, b):
        storey, name = stretch.storey, stretch.storey.level.name
        for drawn in _STANDING:
            for piece in _near(w, storey, drawn, here, there):
                at = crossed(here, there, piece, fixed)
                if at is not None and stretch.holds(at):
                    angle_deg = _incidence_deg(here, there, rise_m, piece.start, piece.end)
                    found.append(Met(piece.sheet, at, angle_deg, drawn == "pieces", name))
        roof = _roof_met(w, a, b, stretch)
        if roof is not None:
            found.append(roof)
        for solid in storey.solids:
            met = [at for at in through(here, there, solid) if stretch.holds(at)]
            if met:
                found.append(Met(solid.sheet, min(met), 0.0, is_wall=False, level=name))
    return found


def wall_between(w: Workings, a: Location, b: Location) -> bool:
    """Return whether a line goes through any drawn wall; quick, since the first one answers."""
    here, there, fixed = a.eye_m, b.eye_m, (a.is_unit, b.is_unit)
    for stretch in stretches(w, a, b):

        def met(piece: WallPiece, stretch: Stretch = stretch) -> bool:
            at = crossed(here, there, piece, fixed)
            return at is not None and stretch.holds(at)

        pieces = stretch.storey.pieces or ()
        if len(pieces) < FEWEST:
            found = any(met(piece) for piece in pieces)
        else:
            index = w.once_a_building(_index, (stretch.storey.level.name, "pieces"), pieces)
            found = index.meets_any(here, there, met)
        if found:
            return True
    return False


def stays_inside(w: Workings, a: Location, b: Location) -> bool:
    """Return whether a path surely runs under one roof all the way; quick, and no if in doubt."""
    if stays_indoors(a, b):
        return True
    if a.outdoors or b.outdoors or a.level is None or a.level is not b.level:
        return False
    outline_m = a.level.outline_m or ()
    if not w.once_a_building(_convex, a.level.name, outline_m):
        return False
    return all(inside(end.eye_m, outline_m) for end in (a, b))


def _convex(_: Workings, outline_m: tuple[Metres, ...]) -> bool:
    """Return whether an outline turns one way only, so that a line between two places stays in."""
    corners = len(outline_m)
    turns = [side(outline_m[at - 2], outline_m[at - 1], outline_m[at]) for at in range(corners)]
    return all(turn >= 0 for turn in turns) or all(turn <= 0 for turn in turns)


def _roof_met(w: Workings, a: Location, b: Location, stretch: Stretch) -> Met | None:
    """Return the roof that a line goes through, if it does."""
    storey, at = stretch.storey, stretch.roof_at
    if at is None or storey.roof is None:
        return None
    above = roof_over(w, storey)
    place = on_line(a.eye_m, b.eye_m, at)
    if above is None or not inside(place, storey.level.outline_m or ()):
        return None
    if any(inside(place, outline_m) for outline_m in above):
        return None
    angle_deg = incidence_on_floor_deg(a, b)
    return Met(storey.roof, at, angle_deg, is_wall=False, level=storey.level.name)


def incidence_on_floor_deg(a: Location, b: Location) -> float:
    """Return the angle between a line and the upright."""
    rise_m = rise_between_m(a, b)
    way_m = math.dist((*a.eye_m, 0.0), (*b.eye_m, rise_m))
    return math.degrees(math.acos(min(abs(rise_m) / way_m, 1.0))) if way_m else 0.0


def _near(
    w: Workings, storey: Storey, drawn: Drawn, here: Metres, there: Metres
) -> Sequence[WallPiece]:
    """Return what of a storey's drawing a line over it may meet."""
    pieces = getattr(storey, drawn) or ()
    if len(pieces) < FEWEST:
        return pieces
    return w.once_a_building(_index, (storey.level.name, drawn), pieces).near(here, there)


def _index(_: Workings, pieces: tuple[WallPiece, ...]) -> WallIndex:
    return wall_index(pieces)


def _incidence_deg(a: Metres, b: Metres, rise_m: float, start: Metres, end: Metres) -> float:
    """Return the angle between a path and the normal of an upright wall."""
    along = (end[0] - start[0], end[1] - start[1])
    across = abs((b[0] - a[0]) * along[1] - (b[1] - a[1]) * along[0]) / math.hypot(*along)
    return math.degrees(math.acos(min(across / math.dist((*a, 0.0), (*b, rise_m)), 1.0)))


def stays_indoors(a: Location, b: Location) -> bool:
    """Return whether a path surely runs under one roof: nothing tells where that would end."""
    if a.outdoors or b.outdoors:
        return False
    if a.level is None or b.level is None:
        return True
    if a.level is not b.level and a.level.building != b.level.building:
        return False
    return a.level.outline_m is None or b.level.outline_m is None


def roofed_share(w: Workings, a: Location, b: Location, met: Sequence[Met]) -> float:
    """Return how much of a line (0 to 1) is under a roof.

    The roof ends at a level's outline. Where none is drawn it ends at the last wall that the line
    goes through on its way out, and without walls nowhere.
    """
    if stays_indoors(a, b):
        return 1.0
    here, there = a.eye_m, b.eye_m
    share = 0.0
    for stretch in stretches(w, a, b):
        if stretch.storey.roofed and stretch.storey.level.outline_m is not None:
            share += _inside_share(w, here, there, stretch)
    for location, at_start in ((a, True), (b, False)):
        if location.outdoors or location.level is None or location.level.outline_m is not None:
            continue
        if location.level.walls is None:
            return 1.0
        name = location.level.name
        places = [one.at for one in met if one.is_wall and one.level == name]
        if places:
            share += max(places) if at_start else 1 - min(places)
    return 1.0 if share >= _WHOLE else share


def _inside_share(w: Workings, here: Metres, there: Metres, stretch: Stretch) -> float:
    """Return how much of a line lies within an outline, at the height of the storey.

    What is inside at the start stays so until the line leaves; every way in adds all that comes
    after it, and every way out takes it away again.
    """
    storey = stretch.storey
    length = stretch.end - stretch.start
    share = (
        length
        if w.once_a_building(_starts_inside, (storey.level.name, here), storey, here)
        else 0.0
    )
    for edge in _near(w, storey, "edges", here, there):
        at = meets(here, there, edge.start, edge.end)
        if at is not None:
            after = stretch.end - min(max(at, stretch.start), stretch.end)
            share += after if side(edge.start, edge.end, here) < 0 else -after
    return min(max(share, 0.0), length)


def _starts_inside(_: Workings, storey: Storey, place: Metres) -> bool:
    return inside(place, storey.level.outline_m or ())

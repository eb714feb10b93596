"""The storeys of a site as far as signals care: how high each is, what is drawn on it, its shell.

The outline of a roofed level is the building's shell. Where walls are drawn along it they are the
shell; the rest is what the level says of its `shell`, and takes no loss where it says nothing. An
outline along which another level of the same building goes on is no shell.

Walls reach up to the next floor of their building, at least to their ceiling where one is stated;
above a top storey whose ceiling nobody stated they have no end.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.propagation.drawn_lines import (
    Sheet,
    Solid,
    WallPiece,
    edges_of,
    hull,
    on_line,
    sheet_of,
    side,
    signed_area,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.places import Level, Metres
    from meshlint.workings.site_workings import Workings

    Line = tuple[Metres, Metres]

ALONG_M = 0.5
"""So near to an outline a wall runs along it and is its shell there: a convention of ours, the
thickness of a stout outer wall."""


class Storey(Struct, frozen=True):
    """One level: the height of its floor, how tall it is, and what is drawn on it.

    `pieces` is None where nobody has drawn walls. `shell` holds what of the outline has no wall
    drawn along it, and `edges` the whole of it, inside on the left. `rim` parts inside from
    outside: the outline, or else the convex hull of the drawn walls; None outdoors and where
    nothing is drawn.
    """

    level: Level
    low_m: float | None
    tall_m: float
    pieces: tuple[WallPiece, ...] | None
    shell: tuple[WallPiece, ...]
    edges: tuple[WallPiece, ...]
    solids: tuple[Solid, ...]
    rim: tuple[Metres, ...] | None
    roof: Sheet | None

    @property
    def high_m(self) -> float:
        """Return the height of its top on the site's own scale; infinite where nobody knows it."""
        return (self.low_m or 0.0) + self.tall_m

    @property
    def roofed(self) -> bool:
        """Return whether it has a roof."""
        return self.roof is not None


def is_open_air(w: Workings, level: Level | None) -> bool:
    """Return whether a level, or the site where it has none, is out of doors."""
    return ((level and level.surroundings) or w.site.about.surroundings) == "outdoors"


def storeys(w: Workings) -> dict[str, Storey]:
    """Return every level with what is drawn on it, in the order of the file."""
    levels = w.site.levels or {}
    return {name: _storey(w, level, levels.values()) for name, level in levels.items()}


def _storey(w: Workings, level: Level, levels: Iterable[Level]) -> Storey:
    pieces = None if level.walls is None else tuple(_pieces(level))
    solids = tuple(
        Solid(
            thing.outline_m,
            Sheet(
                ("levels", level.name, "obstacles", at),
                f"obstacle of {thing.loss_db:g} dB",
                thing.loss_db,
            ),
        )
        for at, thing in enumerate(level.obstacles or ())
    )
    if is_open_air(w, level):
        return Storey(
            level, level.base_m, _tall_m(level, levels), pieces, (), (), solids, None, None
        )
    joined = [
        edge
        for other in levels
        if other is not level and _beside(w, level, other)
        for edge in edges_of(other.outline_m or ())
    ]
    shell = shell_of(level)
    uncovered = tuple(_shell(level, shell, [(p.start, p.end) for p in pieces or ()] + joined))
    rim = level.outline_m or hull(end for piece in pieces or () for end in (piece.start, piece.end))
    return Storey(
        level,
        level.base_m,
        _tall_m(level, levels),
        pieces,
        uncovered,
        tuple(_edges(level, shell)),
        solids,
        rim or None,
        shell,
    )


def _beside(w: Workings, level: Level, other: Level) -> bool:
    """Return whether a level goes on in another, so that no shell stands between the two."""
    return (
        other.outline_m is not None
        and other.building == level.building
        and other.base_m == level.base_m
        and not is_open_air(w, other)
    )


def shell_of(level: Level) -> Sheet:
    """Return what a roofed level's outer walls and roof are made of, where no wall is drawn."""
    pointer = ("levels", level.name, "shell")
    if level.shell is None:
        words = f"shell of {level.name}, which the file says nothing of"
        return Sheet(pointer, words, 0.0, is_open=True)
    return sheet_of(level.shell, pointer, f"shell of {level.name}")


def _tall_m(level: Level, levels: Iterable[Level]) -> float:
    """Return how far above its floor the walls of a level reach."""
    bases = [other.base_m for other in levels if other.building == level.building]
    if level.base_m is None:
        return math.inf if level.ceiling_m is None or len(bases) > 1 else level.ceiling_m
    next_m = min((m for m in bases if m is not None and m > level.base_m), default=None)
    if next_m is None:
        return math.inf if level.ceiling_m is None else level.ceiling_m
    return max(next_m - level.base_m, level.ceiling_m or 0.0)


def _pieces(level: Level) -> Iterator[WallPiece]:
    for at, wall in enumerate(level.walls or ()):
        sheet = sheet_of(wall, ("levels", level.name, "walls", at), "wall")
        for start, end in zip(wall.path_m, wall.path_m[1:], strict=False):
            if start != end:
                yield WallPiece(start, end, sheet)


def _edges(level: Level, shell: Sheet) -> Iterator[WallPiece]:
    """Yield the edges of a level's outline, so that what is inside lies to their left."""
    outline_m = level.outline_m or ()
    backwards = signed_area(outline_m) < 0
    for start, end in edges_of(outline_m):
        yield WallPiece(end, start, shell) if backwards else WallPiece(start, end, shell)


def _shell(level: Level, shell: Sheet, along: list[Line]) -> Iterator[WallPiece]:
    """Yield the parts of an outline along which nothing is drawn."""
    for start, end in edges_of(level.outline_m or ()):
        length_m = math.dist(start, end)
        from_m = 0.0
        for low_m, high_m in sorted(_spans(start, end, length_m, along)):
            if low_m > from_m:
                yield _part(start, end, from_m / length_m, low_m / length_m, shell)
            from_m = max(from_m, high_m)
        if from_m < length_m:
            yield _part(start, end, from_m / length_m, 1.0, shell)


def _part(start: Metres, end: Metres, low: float, high: float, shell: Sheet) -> WallPiece:
    first = start if low == 0.0 else on_line(start, end, low)
    return WallPiece(first, end if high == 1.0 else on_line(start, end, high), shell)


def _spans(
    start: Metres, end: Metres, length_m: float, along: Iterable[Line]
) -> Iterator[tuple[float, float]]:
    """Yield the stretches of an edge, in metres from its start, that lines run along.

    Each is taken to reach a little farther, so that walls which meet at a corner leave no gap.
    """
    east, north = (end[0] - start[0]) / length_m, (end[1] - start[1]) / length_m
    for one, other in along:
        if abs(side(start, end, one)) > ALONG_M * length_m:
            continue
        if abs(side(start, end, other)) > ALONG_M * length_m:
            continue
        places = [(x - start[0]) * east + (y - start[1]) * north for x, y in (one, other)]
        low_m, high_m = min(places) - ALONG_M, max(places) + ALONG_M
        if low_m < length_m and high_m > 0:
            yield max(low_m, 0.0), min(high_m, length_m)

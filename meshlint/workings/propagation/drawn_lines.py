"""The lines of a plan: what they cost, and whether a straight line between two places meets them.

A wall is crossed when the straight line between two places meets it. A unit on the wall's own line
(within `ON_LINE_M`) is fixed to it, and is not behind it whichever way one looks; where its side is
known it has been moved there before (see `geometry`). Any other place on the line is the middle of
a patch of floor that lies on both sides, and counts as behind the wall from either.

The ends of a wall are half open: a line that runs exactly through the end of a wall is taken as
passing an infinitesimal step to one side, the same way for every wall, so that no line slips
through a corner and none counts a corner twice. Swapping the two places, or drawing the wall from
its other end, changes nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.materials import Layer, wall_loss_db
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import Pointer
    from meshlint.site.places import Metres, Slab, Wall

ON_LINE_M = 1e-5
"""So near to a wall's line a place is on it. Places of a file are rounded to 1e-6 m."""

THROUGH_M = 1e-9
"""So near to the end of a wall a line runs exactly through it. Rounding moves a line over a plan by
far less, so it never decides on which side of a corner the line passes."""

STEEPEST_DEG = 80.0
"""A slab's loss grows without bound as the signal comes to graze it. Near grazing a real signal
finds its way round or off something else, so losses are held to that of 80 degrees from the normal:
a convention of ours, no published figure."""


class Sheet(Struct, frozen=True):
    """Something that takes a loss: its layer or measured loss, words for it, and its place.

    `is_open` marks the shell of a building of which the file says nothing: it takes no loss.
    """

    pointer: Pointer
    words: str
    stated_db: float | None = None
    layer: Layer | None = None
    lacks: str = ""
    is_open: bool = False

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


class Crossing(Struct, frozen=True):
    """One thing on a path, what it costs there, and where on the plan it is met."""

    words: str
    loss_db: float
    at_m: Metres


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


def on_line(a: Metres, b: Metres, at: float) -> Metres:
    """Return the place so far along (0 to 1) from `a` to `b`."""
    return (a[0] + at * (b[0] - a[0]), a[1] + at * (b[1] - a[1]))


def edges_of(outline_m: tuple[Metres, ...]) -> Iterable[tuple[Metres, Metres]]:
    """Return the edges of an outline, those without a length left out."""
    pairs = zip(outline_m, (*outline_m[1:], *outline_m[:1]), strict=True)
    return ((start, end) for start, end in pairs if start != end)


def crossed(
    a: Metres, b: Metres, piece: WallPiece, fixed: tuple[bool, bool] = (True, True)
) -> float | None:
    """Return how far along from `a` to `b` (0 to 1) a line meets a piece of wall, None if not.

    `fixed` tells which of the two is a unit, fixed to the wall where it is on its line.
    """
    return meets(a, b, piece.start, piece.end, fixed)


def meets(
    a: Metres, b: Metres, start: Metres, end: Metres, fixed: tuple[bool, bool] = (True, True)
) -> float | None:
    """Return how far along from `a` to `b` (0 to 1) a line meets a straight piece, None if not."""
    if _right_of(a, b, start) == _right_of(a, b, end):
        return None
    from_a, from_b = side(start, end, a), side(start, end, b)
    edge = ON_LINE_M * math.dist(start, end)
    a_side, b_side = _settled(from_a, edge), _settled(from_b, edge)
    if a_side == 0 and not fixed[0]:
        a_side = -b_side
    elif b_side == 0 and not fixed[1]:
        b_side = -a_side
    if a_side * b_side >= 0:
        return None
    return min(max(from_a / (from_a - from_b), 0.0), 1.0)


def _settled(from_line: float, edge: float) -> int:
    """Return on which side of a line a place is: 1 or -1, 0 on the line."""
    return (from_line > edge) - (from_line < -edge)


def _right_of(a: Metres, b: Metres, place: Metres) -> bool:
    """Return on which side of the line a place lies; on it, the side that is settled for all."""
    if b < a:
        a, b = b, a
    return side(a, b, place) >= -THROUGH_M * math.dist(a, b)


def side(a: Metres, b: Metres, place: Metres) -> float:
    """Return how far a place lies to the left of a line from `a` to `b`, times its length."""
    return (b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0])


def inside(place: Metres, outline_m: tuple[Metres, ...]) -> bool:
    """Return whether a place lies within an outline, lower and left edges included."""
    x, y = place
    odd = False
    for (x1, y1), (x2, y2) in zip(outline_m, (*outline_m[1:], outline_m[0]), strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
            odd = not odd
    return odd


def middle_of(outline_m: tuple[Metres, ...]) -> Metres:
    """Return the middle of an outline's corners; of a bent one the middle of a part of it."""
    corners = len(outline_m)
    whole = (sum(x for x, _ in outline_m) / corners, sum(y for _, y in outline_m) / corners)
    after, last = outline_m[1:] + outline_m[:1], outline_m[2:] + outline_m[:2]
    parts = (
        ((a[0] + b[0] + c[0]) / 3, (a[1] + b[1] + c[1]) / 3)
        for a, b, c in zip(outline_m, after, last, strict=True)
    )
    return next((place for place in (whole, *parts) if inside(place, outline_m)), whole)


def through(a: Metres, b: Metres, solid: Solid) -> tuple[float, ...]:
    """Return how far along (0 to 1) a line meets each edge of an outline that it crosses."""
    return tuple(
        at
        for start, end in edges_of(solid.outline_m)
        if (at := meets(a, b, start, end)) is not None
    )


def nearest_on(start: Metres, end: Metres, place: Metres) -> float:
    """Return how far along (0 to 1) a straight piece comes nearest to a place."""
    along = (end[0] - start[0], end[1] - start[1])
    squared = along[0] ** 2 + along[1] ** 2
    if squared == 0:
        return 0.0
    share = ((place[0] - start[0]) * along[0] + (place[1] - start[1]) * along[1]) / squared
    return min(max(share, 0.0), 1.0)


def hull(places: Iterable[Metres]) -> tuple[Metres, ...]:
    """Return the corners of the convex hull of places, anticlockwise (Andrew's monotone chain)."""
    ordered = sorted(set(places))

    def chain(some: Iterable[Metres]) -> list[Metres]:
        kept: list[Metres] = []
        for place in some:
            while len(kept) > 1 and side(kept[-2], kept[-1], place) <= 0:
                kept.pop()
            kept.append(place)
        return kept[:-1]

    return (*chain(ordered), *chain(reversed(ordered)))


def signed_area(outline_m: tuple[Metres, ...]) -> float:
    """Return twice the area of an outline, above zero where its corners go anticlockwise."""
    edges = zip(outline_m, (*outline_m[1:], *outline_m[:1]), strict=True)
    return math.fsum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in edges)

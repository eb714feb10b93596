"""Places of a level on a grid, and what can be asked of values at them.

Needs numpy, and is imported by nothing but the workings of sites that have an outline drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meshlint.site.limits import LIMITS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from meshlint.site.places import Level, Metres

    Floats = npt.NDArray[np.float64]
    Indices = npt.NDArray[np.intp]
    Truths = npt.NDArray[np.bool_]

STEP_M = 0.5
"""Distance between neighbouring places of the grid, where a level is small enough for it."""


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


def all_finite(losses: Floats) -> bool:
    """Return whether every place lies inside the published range of the model."""
    return bool(np.isfinite(losses).all())


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

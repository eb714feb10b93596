"""Areas above a level as outlines to fill: marching squares over a regular grid.

Full squares of a row are drawn as one strip. A square that the level cuts gets the polygon of its
corners above the level and of the places on its edges where the level is passed, by straight
interpolation. Strips and polygons only touch, so they may be filled together by any rule.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Truths = npt.NDArray[np.bool_]

Corner = tuple[float, float]


def padded(values: Floats) -> Floats:
    """Return the grid with its edge repeated, so that squares reach the edge of the fields."""
    return np.pad(values, 1, mode="edge")


def areas_above(values: Floats, level: float) -> Iterator[tuple[Corner, ...]]:
    """Yield polygons, in steps of the grid, that together cover where values reach the level.

    A value stands at each whole column and row.
    """
    above = values >= level
    yield from _strips(_count(above) == 4)  # noqa: PLR2004
    for row, column in np.argwhere(_mixed(above)):
        yield tuple(place for _, place in _walk(values, level, int(row), int(column)))


def _strips(full: Truths) -> Iterator[tuple[Corner, ...]]:
    rows = full.shape[0]
    edges = np.diff(np.pad(full.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    for row in range(rows):
        starts, ends = np.flatnonzero(edges[row] == 1), np.flatnonzero(edges[row] == -1)
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            yield ((start, row), (end, row), (end, row + 1), (start, row + 1))


def _walk(values: Floats, level: float, row: int, column: int) -> Iterator[tuple[bool, Corner]]:
    """Yield, round a square, the corners above the level and (True) where its edges pass it."""
    corners = ((row, column), (row, column + 1), (row + 1, column + 1), (row + 1, column))
    for here, there in zip(corners, (*corners[1:], corners[0]), strict=True):
        one, other = float(values[here]), float(values[there])
        if one >= level:
            yield False, (here[1], here[0])
        if (one >= level) != (other >= level):
            share = (level - one) / (other - one)
            yield (
                True,
                (here[1] + share * (there[1] - here[1]), here[0] + share * (there[0] - here[0])),
            )


def lines_at(values: Floats, level: float) -> Iterator[tuple[Corner, Corner]]:
    """Yield straight pieces, in steps of the grid, along which the values pass a level."""
    for row, column in np.argwhere(_mixed(values >= level)):
        walk = _walk(values, level, int(row), int(column))
        passed = [place for crossing, place in walk if crossing]
        yield from zip(passed[::2], passed[1::2], strict=True)


def _count(above: Truths) -> npt.NDArray[np.int8]:
    return above[:-1, :-1].astype(np.int8) + above[1:, :-1] + above[:-1, 1:] + above[1:, 1:]


def _mixed(above: Truths) -> Truths:
    count = _count(above)
    return (count > 0) & (count < 4)  # noqa: PLR2004

"""Which of many pieces of wall a line over the plan may meet: a grid over the plan tells.

Without it every pair of units looks at every wall. It only leaves out what cannot be met; whether
a piece is met is still for `drawn_lines.meets` to say.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from meshlint.site.places import Metres
    from meshlint.workings.propagation.drawn_lines import WallPiece

FEWEST = 32
"""Below so many pieces, looking at each is quicker."""

_COLUMNS = 64
_LEAST_SIDE_M = 0.1
_SLACK = 0.01  # of a side, by which everything is widened: far more than rounding can move it

Cell = tuple[int, int]


class WallIndex(Struct, frozen=True):
    """Pieces of wall by the squares of the plan that they run through."""

    pieces: tuple[WallPiece, ...]
    side_m: float
    low: Cell
    high: Cell
    squares: dict[Cell, list[int]]

    def near(self, a: Metres, b: Metres) -> Sequence[WallPiece]:
        """Return the pieces that a line may meet, in their order."""
        found: set[int] = set()
        for cell in _cells(a, b, self.side_m, self.low, self.high):
            found.update(self.squares.get(cell, ()))
        return [self.pieces[at] for at in sorted(found)]

    def meets_any(self, a: Metres, b: Metres, met: Callable[[WallPiece], bool]) -> bool:
        """Return whether a line meets any piece, looking no farther than the first."""
        seen: set[int] = set()
        for cell in _cells(a, b, self.side_m, self.low, self.high):
            for at in self.squares.get(cell, ()):
                if at not in seen:
                    seen.add(at)
                    if met(self.pieces[at]):
                        return True
        return False


def wall_index(pieces: tuple[WallPiece, ...]) -> WallIndex:
    """Return the pieces, of which there is one at least, sorted into squares."""
    xs = [x for piece in pieces for x, _ in (piece.start, piece.end)]
    ys = [y for piece in pieces for _, y in (piece.start, piece.end)]
    widest_m = max(max(xs) - min(xs), max(ys) - min(ys))
    side_m = max(widest_m / _COLUMNS, _LEAST_SIDE_M)
    low = _at(min(xs), side_m) - 1, _at(min(ys), side_m) - 1
    high = _at(max(xs), side_m) + 1, _at(max(ys), side_m) + 1
    squares: dict[Cell, list[int]] = {}
    for at, piece in enumerate(pieces):
        for cell in _cells(piece.start, piece.end, side_m, low, high):
            squares.setdefault(cell, []).append(at)
    return WallIndex(pieces, side_m, low, high, squares)


def _at(m: float, side_m: float) -> int:
    return math.floor(m / side_m)


def _cells(a: Metres, b: Metres, side_m: float, low: Cell, high: Cell) -> Iterator[Cell]:
    """Yield the squares between two that a line runs through or close by."""
    (x1, y1), (x2, y2) = sorted((a, b))
    slack_m = side_m * _SLACK
    first = max(_at(x1 - slack_m, side_m), low[0])
    last = min(_at(x2 + slack_m, side_m), high[0])
    for column in range(first, last + 1):
        left_m, right_m = column * side_m - slack_m, (column + 1) * side_m + slack_m
        enters_m, leaves_m = y1, y2
        if x1 < left_m and x1 < x2:
            enters_m = y1 + (left_m - x1) / (x2 - x1) * (y2 - y1)
        if right_m < x2:
            leaves_m = y1 + (right_m - x1) / (x2 - x1) * (y2 - y1)
        bottom = max(_at(min(enters_m, leaves_m) - slack_m, side_m), low[1])
        top = min(_at(max(enters_m, leaves_m) + slack_m, side_m), high[1])
        for row in range(bottom, top + 1):
            yield column, row

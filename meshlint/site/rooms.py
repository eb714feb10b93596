"""Rooms of a level: rectangles to the walls between them, the outline round them and areas.

Lengths are counted in whole micrometres, so that two rooms that meet share one wall however their
numbers were written, in metres or in feet (0.3048 m exactly: international foot of 1959).
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer

Raw = dict[str, Any]
Corner = tuple[int, int]
Edge = tuple[Corner, Corner]

MOST_RECTANGLES = 200
"""Rectangles that the rooms of one level may be made of."""

_UM_IN_M = 1_000_000
_UM_IN_FT = 304_800


class RoomsError(Exception):
    """Rooms that cannot be; `at` is where in the level that was written."""

    def __init__(self, at: Pointer, message: str) -> None:
        super().__init__(message)
        self.at = at
        self.message = message


class Rectangle(Struct, frozen=True):
    """A room or a part of one, in micrometres; `at` is where in the level it was written."""

    room: str
    left: int
    low: int
    right: int
    high: int
    at: Pointer


class Plan:
    """The rooms of one level, cut along every line that an edge of a room lies on."""

    def __init__(self, level: Raw) -> None:
        """Lay the rooms out; raise `RoomsError` where they cannot be."""
        self.rectangles = [*_rooms(level.get("rooms", {})), *_cells(level.get("room_grid", {}))]
        if len(self.rectangles) > MOST_RECTANGLES:
            words = f"{len(self.rectangles)} rectangles; at most {MOST_RECTANGLES} are read"
            raise RoomsError(self.rectangles[MOST_RECTANGLES].at, words)
        self._xs = sorted({x for r in self.rectangles for x in (r.left, r.right)})
        self._ys = sorted({y for r in self.rectangles for y in (r.low, r.high)})
        column = {x: at for at, x in enumerate(self._xs)}
        row = {y: at for at, y in enumerate(self._ys)}
        self._of: dict[tuple[int, int], str] = {}
        for r in self.rectangles:
            for i in range(column[r.left], column[r.right]):
                for j in range(row[r.low], row[r.high]):
                    other = self._of.setdefault((i, j), r.room)
                    if other != r.room:
                        words = f"'{r.room}' overlaps '{other}'; rooms must not overlap"
                        raise RoomsError(r.at, words)

    def walls(self, outline: list[list[float]] | None) -> list[Edge]:
        """Return each wall in micrometres; what lies in one line is one wall.

        Walls stand between two rooms and, where the level has an outline of its own, between a
        room and the rest of the level. Along an outline stands the shell.
        """
        edges = [edge for edge, both in self._sides() if both]
        if outline is not None:
            ring = [tuple(round(at * _UM_IN_M) for at in corner) for corner in outline]
            pieces = list(pairwise([*ring, ring[0]]))
            edges += [
                edge
                for edge, both in self._sides()
                if not both and not any(_lies_on(edge, *piece) for piece in pieces)
            ]
        return list(_joined(edges))

    def shared(self, one: str, other: str) -> list[Edge]:
        """Return the walls that two rooms share, in micrometres."""
        return list(_joined(edge for edge, both in self._sides() if both == {one, other}))

    def rooms(self) -> set[str]:
        """Return the names of the rooms."""
        return {rectangle.room for rectangle in self.rectangles}

    def outline(self) -> list[list[float]] | None:
        """Return the corners round all rooms in metres; `None` where that is no single edge."""
        return _ring(self._edges(set(self._of)))

    def room_outline(self, room: str) -> list[list[float]] | None:
        """Return the corners of a room in metres; `None` where its parts are not one."""
        return _ring(self._edges({cell for cell, name in self._of.items() if name == room}))

    def _sides(self) -> Iterator[tuple[Edge, set[str]]]:
        """Yield the edges of rooms once each, and the two rooms that meet there, if there are."""
        xs, ys = self._xs, self._ys
        for (i, j), room in self._of.items():
            low, high = (xs[i], ys[j]), (xs[i + 1], ys[j + 1])
            right, above = (xs[i + 1], ys[j]), (xs[i], ys[j + 1])
            for beyond, edge, first in (
                ((i + 1, j), (right, high), True),
                ((i, j + 1), (above, high), True),
                ((i - 1, j), (low, above), False),
                ((i, j - 1), (low, right), False),
            ):
                other = self._of.get(beyond)
                if other is None or (first and other != room):
                    yield edge, {room, other} if other is not None else set()

    def _edges(self, cells: set[tuple[int, int]]) -> Iterator[Edge]:
        """Yield the edges of some cells, with the cells on the left of each."""
        for i, j in cells:
            left, right = self._xs[i : i + 2]
            low, high = self._ys[j : j + 2]
            if (i, j - 1) not in cells:
                yield (left, low), (right, low)
            if (i + 1, j) not in cells:
                yield (right, low), (right, high)
            if (i, j + 1) not in cells:
                yield (right, high), (left, high)
            if (i - 1, j) not in cells:
                yield (left, high), (left, low)


def _joined(edges: Iterable[Edge]) -> Iterator[Edge]:
    """Yield edges that follow one another in a line as one."""
    last: Edge | None = None
    for start, end in sorted(edges, key=_line_first):
        if last is not None and last[1] == start and _is_upright(last) == _is_upright((start, end)):
            last = (last[0], end)
            continue
        if last is not None:
            yield last
        last = (start, end)
    if last is not None:
        yield last


def _lies_on(edge: Edge, start: tuple[int, ...], end: tuple[int, ...]) -> bool:
    """Return whether the middle of an edge is on a piece of outline, to a micrometre."""
    (ax, ay), (bx, by) = edge
    x, y = (ax + bx) / 2, (ay + by) / 2
    long_um = math.hypot(end[0] - start[0], end[1] - start[1])
    round_um = math.hypot(x - start[0], y - start[1]) + math.hypot(x - end[0], y - end[1])
    across = (end[0] - start[0]) * (y - start[1]) - (end[1] - start[1]) * (x - start[0])
    return abs(across) <= max(long_um, 1) and round_um <= long_um + 2


def _is_upright(edge: Edge) -> bool:
    return edge[0][0] == edge[1][0]


def _line_first(edge: Edge) -> tuple[bool, int, int]:
    (x, y), _ = edge
    return (True, x, y) if _is_upright(edge) else (False, y, x)


def _ring(edges: Iterable[Edge]) -> list[list[float]] | None:
    following: dict[Corner, Corner] = {}
    for start, end in edges:
        if following.setdefault(start, end) != end:
            return None  # two rooms that touch in a corner alone
    first = min(following)
    ring, at = [first], following.pop(first)
    while at != first:
        ring.append(at)
        at = following.pop(at)
    if following:
        return None
    turns = zip([ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True)
    return [_metres(b) for a, b, c in turns if not (a[0] == b[0] == c[0] or a[1] == b[1] == c[1])]


def path_m(edge: Edge) -> list[list[float]]:
    """Return both ends of an edge in metres."""
    return [_metres(end) for end in edge]


def _metres(corner: Corner) -> list[float]:
    return [corner[0] / _UM_IN_M, corner[1] / _UM_IN_M]


def _rooms(rooms: Raw) -> Iterator[Rectangle]:
    for name, room in rooms.items():
        at: Pointer = ("rooms", name)
        if "parts" not in room:
            yield _rectangle(name, room, at)
            continue
        if room.keys() & {"at_m", "at_ft", "size_m", "size_ft"}:
            raise RoomsError(at, f"'{name}' has parts, so its place and size are theirs; keep one")
        for position, part in enumerate(room["parts"]):
            yield _rectangle(name, part, (*at, "parts", position))


def _rectangle(name: str, entry: Raw, at: Pointer) -> Rectangle:
    left, low = lengths_um(entry, "at", at)
    width, depth = lengths_um(entry, "size", at)
    return Rectangle(name, left, low, left + width, low + depth, at)


def lengths_um(entry: Raw, what: str, at: Pointer) -> list[int]:
    """Return lengths that are stated in metres or in feet; raise `RoomsError` without them."""
    stated = [key for key in (f"{what}_m", f"{what}_ft") if key in entry]
    if not stated:
        raise RoomsError(at, f"{what}_m is missing here, for example [4, 3]; {what}_ft is for feet")
    if len(stated) > 1:
        raise RoomsError((*at, stated[1]), f"{stated[0]} and {stated[1]} say the same; keep one")
    unit = _UM_IN_FT if stated[0].endswith("_ft") else _UM_IN_M
    said = entry[stated[0]]
    lengths = [round(length * unit) for length in (said if isinstance(said, list) else [said])]
    if what != "at" and min(lengths) < 1:
        raise RoomsError((*at, stated[0]), f"{stated[0]}: a length is above 0")
    return lengths


def _cells(grid: Raw) -> Iterator[Rectangle]:
    if not grid:
        return
    at: Pointer = ("room_grid",)
    columns, rows = lengths_um(grid, "columns", at), lengths_um(grid, "rows", at)
    start = lengths_um(grid, "at", at) if grid.keys() & {"at_m", "at_ft"} else [0, 0]
    names = grid["names"]
    if len(names) != len(rows):
        words = f"{len(rows)} rows have widths and {len(names)} have names; each takes one line"
        raise RoomsError((*at, "names"), words)
    lines = [_sums(start[0], columns), _sums(start[1], rows)]
    for row, (line, (low, high)) in enumerate(zip(names, pairwise(lines[1]), strict=True)):
        if len(line) != len(columns):
            words = f"this row names {len(line)} rooms; there are {len(columns)} columns"
            raise RoomsError((*at, "names", row), words)
        for column, (name, (left, right)) in enumerate(zip(line, pairwise(lines[0]), strict=True)):
            if name != "":
                yield Rectangle(str(name), left, low, right, high, (*at, "names", row, column))


def _sums(start: int, lengths: list[int]) -> list[int]:
    sums = [start]
    for length in lengths:
        sums.append(sums[-1] + length)
    return sums

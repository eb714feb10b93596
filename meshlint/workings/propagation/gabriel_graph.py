"""Which places on a plan are neighbours: the graph of Gabriel and Sokal (1969).

Two places are neighbours when no third stands inside the circle that has the line between them as
its diameter. A place's neighbours lie in a convex region round it: each other place k cuts off all
that lies beyond the line through k at a right angle to the way there. Places are looked at ring by
ring of a square grid until the region lies inside the rings, so a plan of n places spread evenly
takes about n steps, and not the n cubed of trying every triple.
"""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.places import Metres

_EDGE = 1e-12  # the corners of a rectangle lie on the circle, whatever rounding says
_FEW = 4
_FEW_PLACES = 12  # of these, every other is looked at: the grid pays with more
_SLACK_M = 1e-6  # the region may be this much off; the exact test has the last word


def neighbours(places: Sequence[Metres]) -> tuple[tuple[int, int], ...]:
    """Return the pairs of neighbours by their positions in the sequence, in rising order.

    Two at the very same place are neighbours, and have the same others. Of more than a few there
    only the next in order are, and the first has the others, or a pile of n would be n squared.
    """
    together: dict[Metres, list[int]] = {}
    for at, place in enumerate(places):
        together.setdefault(place, []).append(at)
    found: list[tuple[int, int]] = []
    for place, group in together.items():
        if len(group) <= _FEW:
            found += combinations(group, 2)
        else:
            found += pairwise(group)
            together[place] = group[:1]
    distinct = list(together)
    for one, other in _of_distinct(distinct):
        found += [
            (min(first, second), max(first, second))
            for first in together[distinct[one]]
            for second in together[distinct[other]]
        ]
    return tuple(sorted(found))


def _of_distinct(places: list[Metres]) -> Iterator[tuple[int, int]]:
    if len(places) <= _FEW_PLACES:
        for first, second in combinations(range(len(places)), 2):
            here, there = places[first], places[second]
            others = (p for at, p in enumerate(places) if at not in (first, second))
            if not any(_between(here, there, other) for other in others):
                yield first, second
        return
    rings = _Rings(places)
    for first, here in enumerate(places):
        around, region = rings.around(first)
        for second in around:
            there = places[second]
            if second > first and _within(there, region):
                others = (places[other] for other in around if other != second)
                if not any(_between(here, there, other) for other in others):
                    yield first, second


def _between(here: Metres, there: Metres, other: Metres) -> bool:
    """Return whether a place lies inside the circle over two others, on its edge not included."""
    turn = (other[0] - here[0]) * (other[0] - there[0]) + (other[1] - here[1]) * (
        other[1] - there[1]
    )
    return turn < -_EDGE * ((here[0] - there[0]) ** 2 + (here[1] - there[1]) ** 2)


class _Rings:
    """The places in square fields, about one to a field."""

    def __init__(self, places: Sequence[Metres]) -> None:
        self.places = places
        xs, ys = [x for x, _ in places], [y for _, y in places]
        self.low = (min(xs), min(ys))
        self.high = (max(xs), max(ys))
        wide_m, high_m = self.high[0] - self.low[0], self.high[1] - self.low[1]
        side_m = math.sqrt(wide_m * high_m / len(places))
        self.side_m = max(side_m, max(wide_m, high_m) / len(places)) or 1.0
        self.fields: dict[tuple[int, int], list[int]] = {}
        for at, place in enumerate(places):
            self.fields.setdefault(self._field(place), []).append(at)
        across, up = self._field(self.high)
        self.most_rings = max(across, up) + 1

    def _field(self, place: Metres) -> tuple[int, int]:
        return (
            int((place[0] - self.low[0]) / self.side_m),
            int((place[1] - self.low[1]) / self.side_m),
        )

    def around(self, centre: int) -> tuple[list[int], list[Metres]]:
        """Return every other place that can matter to one, and the region of its neighbours."""
        here = self.places[centre]
        region = [
            (self.low[0] - 1, self.low[1] - 1),
            (self.high[0] + 1, self.low[1] - 1),
            (self.high[0] + 1, self.high[1] + 1),
            (self.low[0] - 1, self.high[1] + 1),
        ]
        across, up = self._field(here)
        around: list[int] = []
        for ring in range(self.most_rings + 1):
            for field in _ring(across, up, ring):
                for other in self.fields.get(field, ()):
                    if other != centre:
                        around.append(other)
                        region = _cut(region, here, self.places[other])
            # Whatever comes later is at least this far away, and cuts nothing nearer than that.
            if all(math.dist(here, corner) <= ring * self.side_m for corner in region):
                break
        return around, region


def _ring(across: int, up: int, ring: int) -> Iterator[tuple[int, int]]:
    if ring == 0:
        yield across, up
        return
    for step in range(-ring, ring + 1):
        yield across + step, up - ring
        yield across + step, up + ring
    for step in range(-ring + 1, ring):
        yield across - ring, up + step
        yield across + ring, up + step


def _cut(region: list[Metres], here: Metres, other: Metres) -> list[Metres]:
    """Return what is left of a convex region when all beyond another place is cut off."""
    to_x, to_y = other[0] - here[0], other[1] - here[1]
    far_m = math.hypot(to_x, to_y)
    if far_m == 0:
        return region
    beyond = [((x - other[0]) * to_x + (y - other[1]) * to_y) / far_m for x, y in region]
    # Cuts too shallow to matter are left, or places on one circle would whittle at it for ever.
    if all(m <= _SLACK_M for m in beyond):
        return region
    left: list[Metres] = []
    for at, corner in enumerate(region):
        before, past = beyond[at - 1], beyond[at]
        if (before > 0) != (past > 0):
            share = before / (before - past)
            last = region[at - 1]
            left.append(
                (last[0] + share * (corner[0] - last[0]), last[1] + share * (corner[1] - last[1]))
            )
        if past <= 0:
            left.append(corner)
    return left


def _within(place: Metres, region: list[Metres]) -> bool:
    """Return whether a place lies in a convex region, its edge and a little more included."""
    for (x1, y1), (x2, y2) in zip(region, (*region[1:], region[0]), strict=True):
        long_m = math.hypot(x2 - x1, y2 - y1)
        outside = (y2 - y1) * (place[0] - x1) - (x2 - x1) * (place[1] - y1)
        # An edge shorter than the slack has no direction to speak of.
        if long_m > _SLACK_M and outside > _SLACK_M * long_m:
            return False
    return True

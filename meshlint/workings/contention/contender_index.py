"""Which contenders stand near enough to some radios that the two may hold each other up.

A search over squares of the plan, so that a large site does not ask about every pair. It only
leaves out what is surely out of hearing; whether the others share air is still for `must_defer` to
say. Contenders of which place, channel or reach is not known may be anywhere.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.propagation import NEAREST_M
from meshlint.workings.contention.must_defer import hearing_limit_m, settled_span
from meshlint.workings.unknown import Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

Square = tuple[int, int]
_Place = tuple[float, float]


class ContenderIndex(Struct, frozen=True):
    """The keys of contenders by the squares in which their radios stand.

    A square is as wide as the one heard farthest is heard.
    """

    keys: frozenset[str]
    side_m: float
    squares: Mapping[Square, frozenset[str]]
    anywhere: frozenset[str]

    def near(self, w: Workings, radios: Iterable[Radio]) -> frozenset[str]:
        """Return the keys of the contenders that may hold some radios up, or be held up by them."""
        found = set(self.anywhere)
        for radio in radios:
            known = _known(w, radio)
            if known is None or known[1] > self.side_m:
                return self.keys
            column, row = _square(known[0], self.side_m)
            for x in (column - 1, column, column + 1):
                for y in (row - 1, row, row + 1):
                    found |= self.squares.get((x, y), frozenset())
        return frozenset(found)


def contender_index(w: Workings, contenders: Mapping[str, tuple[Radio, ...]]) -> ContenderIndex:
    """Return contenders, each by key with its radios, sorted into squares."""
    places: dict[str, list[_Place]] = {}
    side_m = NEAREST_M
    for key, radios in contenders.items():
        known = [entry for radio in radios if (entry := _known(w, radio)) is not None]
        if len(known) == len(radios):
            places[key] = [place for place, _ in known]
            side_m = max(side_m, *(limit_m for _, limit_m in known))
    squares: dict[Square, set[str]] = {}
    for key, stands in places.items():
        for place in stands:
            squares.setdefault(_square(place, side_m), set()).add(key)
    return ContenderIndex(
        frozenset(contenders),
        side_m,
        {square: frozenset(keys) for square, keys in squares.items()},
        frozenset(contenders.keys() - places.keys()),
    )


def _known(w: Workings, radio: Radio) -> tuple[_Place, float] | None:
    """Return where a radio stands and how far it may be heard; None where not all is known."""
    at = w.site.units[radio.unit].at
    if at is None or not isinstance(radio.channel, int):
        return None
    limit_m = hearing_limit_m(w, radio)
    if math.isinf(limit_m) or isinstance(answer(settled_span, w, radio), Unknown):
        return None
    return (at.x_m, at.y_m), limit_m


def _square(place: _Place, side_m: float) -> Square:
    return math.floor(place[0] / side_m), math.floor(place[1] / side_m)

"""Which of many radios are near enough to another that they may hear it at all.

A search over squares of the plan in place of every pair. How far the loudest radio can be heard by
the best antenna with nothing in the way bounds the search; radios of which something is not known
may be anywhere, and stay in everybody's earshot.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.noise import carrier_sense_dbm
from meshlint.physics.propagation import NEAREST_M, OutsideModel
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.path_loss import farthest_m
from meshlint.workings.propagation.received_level import gain_dbi
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from meshlint.site.model import Pointer, Radio
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.site_workings import Workings

_NARROWEST_MHZ = 20


class RangeIndex(Struct, frozen=True):
    """Radios of one band in squares as wide as anybody can be heard."""

    radios: tuple[Radio, ...]
    side_m: float
    squares: dict[tuple[int, int], list[int]]
    anywhere: tuple[int, ...]
    places: dict[Pointer, tuple[float, float]]
    rank: dict[Pointer, int]

    def near(self, radio: Radio) -> tuple[Radio, ...]:
        """Return the other radios that may hear this one or be heard by it, in their order."""
        place = self.places.get(radio.pointer)
        if place is None or math.isinf(self.side_m):
            found = list(range(len(self.radios)))
        else:
            column, row = _square(place, self.side_m)
            found = list(self.anywhere)
            for x in (column - 1, column, column + 1):
                for y in (row - 1, row, row + 1):
                    found += self.squares.get((x, y), ())
        mine = self.rank.get(radio.pointer)
        return tuple(self.radios[at] for at in sorted(found) if at != mine)


def range_index(w: Workings, radios: tuple[Radio, ...]) -> RangeIndex:
    """Return the radios sorted into squares by where they stand."""
    known: dict[Pointer, tuple[Location, float, float]] = {}
    for radio in radios:
        try:
            location = location_of(w, w.site.units[radio.unit])
            known[radio.pointer] = (location, effective_dbm(w, radio), gain_dbi(radio))
        except Missing:
            continue
    side_m = max(_farthest_m(w, radios, list(known.values())), NEAREST_M)
    places = {pointer: (location.x_m, location.y_m) for pointer, (location, _, _) in known.items()}
    squares: dict[tuple[int, int], list[int]] = {}
    anywhere = []
    for at, radio in enumerate(radios):
        place = places.get(radio.pointer)
        if place is None or radio.width_mhz is None:
            anywhere.append(at)
        elif math.isfinite(side_m):
            squares.setdefault(_square(place, side_m), []).append(at)
    rank = {radio.pointer: at for at, radio in enumerate(radios)}
    return RangeIndex(radios, side_m, squares, tuple(anywhere), places, rank)


def _square(place: tuple[float, float], side_m: float) -> tuple[int, int]:
    return math.floor(place[0] / side_m), math.floor(place[1] / side_m)


def _farthest_m(
    w: Workings, radios: tuple[Radio, ...], known: list[tuple[Location, float, float]]
) -> float:
    """Return a distance beyond which nobody hears anybody; infinite where none can be told."""
    if not known:
        return math.inf
    loss_db = max(power for _, power, _ in known) + max(gain for _, _, gain in known)
    loss_db -= carrier_sense_dbm(_NARROWEST_MHZ)
    lowest_mhz = min(frequency_mhz(radio) for radio in radios)
    kinds = {(id(location.level), location.outdoors): location for location, _, _ in known}
    try:
        # Beyond a model's published range it is not known who hears whom.
        return max(farthest_m(w, one, lowest_mhz, loss_db) for one in kinds.values())
    except (Missing, OutsideModel):
        return math.inf

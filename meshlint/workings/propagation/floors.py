"""Floors between two places of different levels, and what they cost."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.propagation import OutsideModel
from meshlint.workings.propagation.geometry import (
    Crossing,
    Sheet,
    base_m,
    height_m,
    inside,
    on_line,
    sheet_of,
)
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.places import Level, Metres
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.site_workings import Workings


class Slabs(Struct, frozen=True):
    """The floors at one height, `share` of the way along a path: each with where it lies."""

    share: float
    layers: tuple[tuple[tuple[Metres, ...] | None, Sheet], ...]


def slabs_between(w: Workings, a: Location, b: Location) -> tuple[Slabs, ...]:
    """Return the floors at every height that a path from `a` to `b` passes.

    A level's own floor belongs to it: a path crosses it when it starts or ends below. Whether a
    floor is there at the place where the path passes its height is for the outline to say.
    """
    if a.level is None or b.level is None or a.level is b.level:
        return ()
    from_m, to_m = base_m(a.level) + height_m(a, b), base_m(b.level) + height_m(b, a)
    low_m, high_m = sorted((from_m, to_m))
    heights: dict[float, list[Level]] = {}
    for level in (w.site.levels or {}).values():
        if level.base_m is not None and low_m < level.base_m <= high_m:
            heights.setdefault(round(level.base_m, 3), []).append(level)
    return tuple(
        Slabs(
            (floor_m - from_m) / (to_m - from_m),
            tuple((level.outline_m, _slab(level)) for level in levels),
        )
        for floor_m, levels in heights.items()
    )


def _slab(level: Level) -> Sheet:
    pointer = ("levels", level.name, "floor")
    words = f"floor of {level.name}"
    if level.floor is None:
        return Sheet(pointer, words, lacks="material")
    return sheet_of(level.floor, pointer, words)


def floors_between(w: Workings, a: Location, b: Location) -> Iterator[Sheet]:
    """Return the floors that a path crosses, one at most for each height."""
    for slabs in slabs_between(w, a, b):
        place = on_line((a.x_m, a.y_m), (b.x_m, b.y_m), slabs.share)
        for outline_m, sheet in slabs.layers:
            if outline_m is None or inside(place, outline_m):
                yield sheet
                break


def published_floors_db(terms: tuple[DistanceTerm, ...], floors: int) -> float:
    """Return what crossing so many floors costs by the model; raises OutsideModel."""
    return max(term.floors_db(floors) for term in terms)


def nameless_floor(sheets: tuple[Sheet, ...], outside: OutsideModel) -> Missing:
    """Return what would settle floors for which the model publishes nothing."""
    wanted = f"what the floor is made of, since {outside}"
    return Missing(*(Input(sheet.pointer, wanted) for sheet in sheets if not sheet.named))


def through_floors(
    sheets: tuple[Sheet, ...], terms: tuple[DistanceTerm, ...], distance_m: float, rise_m: float
) -> tuple[Crossing, ...]:
    """Return what floors cost: published sums without walls drawn, else slab by slab."""
    if not sheets:
        return ()
    nowhere = (math.nan, math.nan)
    summed = sheets if terms[0].walls_inside else tuple(s for s in sheets if not s.named)
    incidence_deg = math.degrees(math.acos(min(rise_m / distance_m, 1.0)))
    try:
        sum_db = published_floors_db(terms, len(summed))
    except OutsideModel as outside:
        if not all(sheet.named for sheet in sheets):
            raise nameless_floor(sheets, outside) from outside
        summed, sum_db = (), 0.0
    found = [
        Crossing(sheet.words, sheet.loss_db(terms[0].frequency_mhz, incidence_deg, None), nowhere)
        for sheet in sheets
        if sheet not in summed
    ]
    if summed:
        found.append(Crossing(" and ".join(sheet.words for sheet in summed), sum_db, nowhere))
    return tuple(found)

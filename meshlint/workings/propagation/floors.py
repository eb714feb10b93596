"""Floors between two places of different levels, and what they cost."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.propagation import OutsideModel
from meshlint.workings.propagation.crossings import absolute_m
from meshlint.workings.propagation.drawn_lines import Crossing, Sheet, inside, on_line, sheet_of
from meshlint.workings.propagation.geometry import base_m
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.physics.distance import DistanceTerm
    from meshlint.site.places import Level, Metres
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.site_workings import Workings


class Laid(Struct, frozen=True):
    """The floor of one level: where it lies, where it is open, and what it is."""

    outline_m: tuple[Metres, ...] | None
    openings_m: tuple[tuple[Metres, ...], ...]
    sheet: Sheet


class Slabs(Struct, frozen=True):
    """The floors at one height, `share` of the way along a path."""

    share: float
    layers: tuple[Laid, ...]


def slabs_between(w: Workings, a: Location, b: Location) -> tuple[Slabs, ...]:
    """Return the floors at every height that a path from `a` to `b` passes.

    A level's own floor belongs to it: a path crosses it when it starts or ends below. Whether a
    floor is there at the place where the path passes its height is for the outline to say.
    """
    if a.level is None or b.level is None or (a.level is b.level and a.level.base_m is None):
        return ()
    base_m(a.level)
    base_m(b.level)
    from_m, to_m = absolute_m(w, a, b), absolute_m(w, b, a)
    low_m, high_m = sorted((from_m, to_m))
    heights: dict[float, list[Level]] = {}
    for level in (w.site.levels or {}).values():
        if level.base_m is not None and low_m < level.base_m <= high_m:
            heights.setdefault(round(level.base_m, 3), []).append(level)
    return tuple(
        Slabs(
            (floor_m - from_m) / (to_m - from_m),
            tuple(Laid(level.outline_m, _openings_m(w, level), _slab(level)) for level in levels),
        )
        for floor_m, levels in heights.items()
    )


def _openings_m(w: Workings, level: Level) -> tuple[tuple[Metres, ...], ...]:
    areas = w.site.areas or {}
    return tuple(areas[name].outline_m for name in level.floor_openings or ())


def _slab(level: Level) -> Sheet:
    pointer = ("levels", level.name, "floor")
    words = f"floor of {level.name}"
    if level.floor is None:
        return Sheet(pointer, words, lacks="material")
    return sheet_of(level.floor, pointer, words)


def floors_between(w: Workings, a: Location, b: Location) -> Iterator[Sheet]:
    """Return the floors that a path crosses, one at most for each height.

    Where a floor is open, as over a stairwell, a path crosses none at that height.
    """
    for slabs in slabs_between(w, a, b):
        place = on_line(a.eye_m, b.eye_m, slabs.share)
        for laid in slabs.layers:
            if laid.outline_m is None or inside(place, laid.outline_m):
                if not any(inside(place, opening) for opening in laid.openings_m):
                    yield laid.sheet
                break


def published_floors_db(terms: tuple[DistanceTerm, ...], floors: int) -> float:
    """Return what crossing so many floors costs by the model; raises OutsideModel."""
    return max(term.floors_db(floors) for term in terms)


def nameless_floor(sheets: tuple[Sheet, ...], outside: OutsideModel) -> Missing:
    """Return what would settle unnamed floors for which the model publishes nothing."""
    wanted = f"what the floor is made of, since {outside}"
    return Missing(*(Input(sheet.pointer, wanted) for sheet in sheets))


def through_floors(
    sheets: tuple[Sheet, ...], terms: tuple[DistanceTerm, ...], distance_m: float, rise_m: float
) -> tuple[Crossing, ...]:
    """Return what floors cost: those that the file names slab by slab, the rest as published."""
    if not sheets:
        return ()
    nowhere = (math.nan, math.nan)
    summed = tuple(sheet for sheet in sheets if not sheet.named)
    incidence_deg = math.degrees(math.acos(min(rise_m / distance_m, 1.0)))
    try:
        sum_db = published_floors_db(terms, len(summed))
    except OutsideModel as outside:
        raise nameless_floor(summed, outside) from outside
    found = [
        Crossing(sheet.words, sheet.loss_db(terms[0].frequency_mhz, incidence_deg, None), nowhere)
        for sheet in sheets
        if sheet not in summed
    ]
    if summed:
        found.append(Crossing(" and ".join(sheet.words for sheet in summed), sum_db, nowhere))
    return tuple(found)

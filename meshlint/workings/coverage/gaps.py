"""Named areas: how much of each is below the level that it asks for, and where."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.antenna_pattern import PATTERN
from meshlint.workings.propagation.cells import TARGET_DBM, client_radios
from meshlint.workings.propagation.coverage_map import coverage_of_area
from meshlint.workings.unknown import Input, Missing, raise_missing

if TYPE_CHECKING:
    from meshlint.site.places import Area, Metres
    from meshlint.workings.propagation.raster import Floats, Truths
    from meshlint.workings.site_workings import Workings

ON_GRID = (
    f"levels over a grid inside the area, by the site's path loss model; 0 dBi, 1 m high; {PATTERN}"
)


@fact("area.name", Kind.TEXT, "the area's name", source=STATED)
def area_name(_: Workings, area: Area) -> str:
    return area.name


@fact("area.level", Kind.TEXT, "the level that it is on", source=STATED)
def area_level(_: Workings, area: Area) -> str:
    return area.level


@fact(
    "area.target_dbm",
    Kind.NUMBER,
    f"the level that it asks for; {TARGET_DBM:g} dBm where it states none",
    source="the site file; common practice",
    unit="dBm",
)
def area_target_dbm(_: Workings, area: Area) -> float:
    return TARGET_DBM if area.target_dbm is None else area.target_dbm


@fact("area.bands", Kind.TEXT, "the band that counts, in words", source=STATED)
def area_bands(_: Workings, area: Area) -> str:
    return "any band" if area.band is None else f"{area.band:g} GHz"


@fact("area.clients", Kind.COUNT, "devices of the groups used in it", source=STATED)
def area_clients(w: Workings, area: Area) -> float:
    return sum(g.count for g in (w.site.clients or {}).values() if g.area == area.name)


class Gap(Struct, frozen=True):
    """What of an area is below its target: places, area, where the largest part is."""

    places: Truths
    area_m2: float
    whole_m2: float
    worst_dbm: float
    middle_m: Metres | None
    where: str


def gap(w: Workings, area: Area) -> Gap:
    """Return what of an area nobody covers.

    A radio of which the level is not known can only make a gap smaller, so it matters only where
    there is one: then `Missing` is raised.
    """
    return w.once(_gap, area.name, area)


def _gap(w: Workings, area: Area) -> Gap:
    from meshlint.workings.propagation import raster

    cover, inside = coverage_of_area(w, area)
    if not inside.any():
        raise Missing(Input(("areas", area.name, "outline_m"), "an outline with an area"))
    best: Floats | None = None
    lacking: list[Input] = []
    for radio in cover.radios.values():
        if area.band is not None and radio.band != area.band:
            continue
        if radio.pointer in cover.lacking:
            lacking.extend(cover.lacking[radio.pointer])
            continue
        level = cover.of(radio)
        best = level if best is None else raster.louder(best, level)
    target_dbm = TARGET_DBM if area.target_dbm is None else area.target_dbm
    below = inside if best is None else inside & (best < target_dbm)
    if below.any():
        raise_missing(lacking)
    whole_m2 = cover.area_m2(inside)
    worst_dbm = -math.inf if best is None else float(best[inside].min())
    middle_m = raster.middle_of_largest(cover.places, below) if below.any() else None
    where = raster.largest_part(cover.places, below) if below.any() else ""
    return Gap(below, cover.area_m2(below), whole_m2, worst_dbm, middle_m, where)


@fact(
    "area.uncovered_m2",
    Kind.NUMBER,
    "how much of it is below the target level",
    source=ON_GRID,
    unit="m2",
    digits=1,
)
def uncovered_m2(w: Workings, area: Area) -> float:
    return gap(w, area).area_m2


@fact(
    "area.uncovered_percent",
    Kind.NUMBER,
    "which share of it that is",
    source=ON_GRID,
    unit="%",
    digits=1,
)
def uncovered_percent(w: Workings, area: Area) -> float:
    found = gap(w, area)
    return 100 * found.area_m2 / found.whole_m2


@fact(
    "area.uncovered_where",
    Kind.TEXT,
    "the middle of the largest part of that, on the plan",
    source=ON_GRID,
)
def uncovered_where(w: Workings, area: Area) -> str:
    return gap(w, area).where


@fact("area.worst_dbm", Kind.NUMBER, "the weakest level in it", source=ON_GRID, unit="dBm")
def worst_dbm(w: Workings, area: Area) -> float:
    found = gap(w, area)
    if math.isinf(found.worst_dbm):
        wanted = f"a client radio on {area.band:g} GHz" if area.band else "a client radio"
        raise Missing(Input(("units", "*", "radios"), wanted))
    return found.worst_dbm


@fact("area.nearest_unit", Kind.TEXT, "the unit nearest the middle of the gap", source="the plan")
def nearest_unit(w: Workings, area: Area) -> str:
    middle_m = gap(w, area).middle_m
    if middle_m is None:
        return ""
    placed = [
        (math.dist((unit.at.x_m, unit.at.y_m), middle_m), unit.name)
        for unit in w.site.units.values()
        if unit.at is not None and client_radios(unit) and unit.at.level in (None, area.level)
    ]
    return min(placed, default=(0.0, ""))[1]

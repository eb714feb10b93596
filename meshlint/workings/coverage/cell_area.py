"""Cells as areas of a plan: how large, who serves where, what nobody covers and what leaks out.

Sites without an outline have circles instead (`cells`), and lack the outline for what needs a plan.
`radio.cell_model` says which it was.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.coverage.cell_overlap import covered_anyway
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.antenna_pattern import PATTERN
from meshlint.workings.propagation.cells import TARGET_DBM, circle_term, client_radios, radius_m
from meshlint.workings.propagation.coverage_map import (
    CoverageMap,
    coverage_of,
    outlined,
    over,
    plan_of,
)
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.path_loss import distance_terms
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from meshlint.site.model import Radio, Site, Unit
    from meshlint.site.places import Level
    from meshlint.workings.propagation.raster import Truths
    from meshlint.workings.site_workings import Workings

ON_PLAN = f"levels over a grid inside the outline; see radio.cell_model; {PATTERN}"
AROUND_M = 10.0
"""How far outside the outline a cell is followed to see what leaks out."""


def serves(w: Workings, radio: Radio) -> bool:
    """Return whether the radio may serve clients."""
    return radio in client_radios(w.site.units[radio.unit])


def _own_cover(w: Workings, radio: Radio) -> CoverageMap:
    return coverage_of(w, plan_of(w, w.site.units[radio.unit]))


@fact(
    "radio.cell_m2",
    Kind.NUMBER,
    "area in which clients get the target level from it; 0 for a radio without clients",
    source=ON_PLAN,
    unit="m2",
)
def cell_m2(w: Workings, radio: Radio) -> float:
    return cell_area_m2(w, radio)


def cell_area_m2(w: Workings, radio: Radio) -> float:
    """Return the area on the unit's own level, or of a circle where no outline is drawn."""
    if not serves(w, radio):
        return 0.0
    unit = w.site.units[radio.unit]
    level = outlined(w, unit)
    if level is None:
        return math.pi * radius_m(w, unit, radio) ** 2
    cover = coverage_of(w, level)
    return cover.area_m2(cover.cell(radio))


@fact("radio.cell_model", Kind.TEXT, "what the cell was worked out with", source=STATED)
def cell_model(w: Workings, radio: Radio) -> str:
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    unit = w.site.units[radio.unit]
    level = outlined(w, unit)
    if level is None:
        return f"a circle; {circle_term(w, unit, band).model.source}"
    location = location_of(w, unit)
    term = distance_terms(w, location, location, NOMINAL_MHZ[band])[0]
    walls = "" if term.walls_inside else ", and ITU-R P.2040-3 for walls"
    step_m = coverage_of(w, level).places.step_m
    return f"an area inside the outline at {step_m:.2g} m; {term.model.source}{walls}"


@fact(
    "radio.cell_elsewhere_m2",
    Kind.NUMBER,
    "area on other levels with an outline in which clients get the target level from it",
    source=ON_PLAN,
    unit="m2",
)
def cell_elsewhere_m2(w: Workings, radio: Radio) -> float:
    if not serves(w, radio):
        return 0.0
    own = plan_of(w, w.site.units[radio.unit])
    covers = [coverage_of(w, level) for level in _plans(w) if level is not own]
    return sum(cover.area_m2(cover.cell(radio)) for cover in covers)


def _plans(w: Workings) -> list[Level]:
    return [level for level in (w.site.levels or {}).values() if level.outline_m is not None]


@fact(
    "radio.best_server_m2",
    Kind.NUMBER,
    "area of its cell in which no other unit is louder on its band",
    source=ON_PLAN,
    unit="m2",
)
def best_server_m2(w: Workings, radio: Radio) -> float:
    if not serves(w, radio):
        return 0.0
    cover = _own_cover(w, radio)
    mine = cover.of(radio)
    best = mine >= TARGET_DBM
    for other in cover.others(radio):
        best = best & (mine >= cover.of(other))
    return cover.area_m2(best)


@fact(
    "radio.alone_m2",
    Kind.NUMBER,
    "area of its cell in which no other unit holds the target level on its band",
    source=ON_PLAN,
    unit="m2",
)
def alone_m2(w: Workings, radio: Radio) -> float:
    if not serves(w, radio):
        return 0.0
    cover = _own_cover(w, radio)
    alone = cover.cell(radio)
    for other in cover.others(radio):
        alone = alone & ~cover.cell(other)
    return cover.area_m2(alone)


@fact(
    "radio.outside_m2",
    Kind.NUMBER,
    f"area within {AROUND_M:g} m outside the outlines in which its target level is heard",
    source=ON_PLAN + "; nothing but drawn walls is in the way",
    unit="m2",
)
def outside_m2(w: Workings, radio: Radio) -> float:
    if not serves(w, radio):
        return 0.0
    level = plan_of(w, w.site.units[radio.unit])
    around, out = w.once(_around, level.name, level)
    return around.area_m2(around.cell(radio) & out)


def _around(w: Workings, level: Level) -> tuple[CoverageMap, Truths]:
    """Return the cover of a level and its surroundings, and which places are outside."""
    outline_m = need(level.outline_m, ("levels", level.name, "outline_m"), "its outline")
    xs, ys = [x for x, _ in outline_m], [y for _, y in outline_m]
    low, high = (
        (min(xs) - AROUND_M, min(ys) - AROUND_M),
        (max(xs) + AROUND_M, max(ys) + AROUND_M),
    )
    box = (low, (high[0], low[1]), high, (low[0], high[1]))
    cover = over(w, level, (box,))
    out = ~cover.places.within(outline_m)
    for other in _plans(w):
        if other.base_m == level.base_m and other.outline_m is not None:
            out &= ~cover.places.within(other.outline_m)
    return cover, out


@fact(
    "unit.redundant",
    Kind.TRUTH,
    "whether other units hold the target wherever it does, on all its bands and its own level",
    source=ON_PLAN,
)
def redundant(w: Workings, unit: Unit) -> bool:
    return covered_anyway(w, unit)


@fact(
    "site.redundant_units",
    Kind.TEXTS,
    "units that could each be taken out, one at a time, without less of their level being covered",
    source=ON_PLAN,
)
def redundant_units(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(
        unit.name
        for unit in w.site.units.values()
        if client_radios(unit) and covered_anyway(w, unit)
    )

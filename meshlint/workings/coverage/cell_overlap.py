"""How two neighbouring cells meet: what they share, and what is left where people change over.

On a level with an outline both cells are areas on its grid, walls and all. Elsewhere they are
circles; where walls but no outline are drawn, each as wide as its cell reaches towards the other.
Overlap is the share of the smaller cell's area, clipped to the outline. The hand-over level is the
strongest that both units give at one place: the best location on the line where neither is louder.
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from meshlint.physics import circles
from meshlint.physics.channels import overlap_mhz
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.fact import Kind, fact
from meshlint.workings.propagation.antenna_pattern import beam_of
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.cells import (
    TARGET_DBM,
    client_radios,
    first_client_radios,
    radius_m,
    refuse_beam,
)
from meshlint.workings.propagation.coverage_map import CoverageMap, coverage_of, outlined, plan_of
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, Location, location_of
from meshlint.workings.propagation.path_loss import (
    beyond_model,
    distance_terms,
    farthest_m,
    path_of,
)
from meshlint.workings.spectrum.channel import NOMINAL_MHZ, possible_spans, span
from meshlint.workings.topology.tree import stated_clients
from meshlint.workings.unknown import Input, Missing, Unknown, answer, gather, need, raise_missing

if TYPE_CHECKING:
    from meshlint.site.model import Radio, Unit
    from meshlint.workings.propagation.cells import Pair
    from meshlint.workings.site_workings import Workings

CIRCLES = (
    "cells on the drawn level, else circles (Weisstein, Circle-Circle Intersection); levels by the "
    "site's path loss model"
)
_HALVINGS = 40
_CLOSE_M = 0.01


def common_ground(w: Workings, pair: Pair) -> CoverageMap | None:
    """Return the cover of the first unit's level; None where no outline is drawn."""
    level = outlined(w, pair.first)
    return coverage_of(w, level) if level is not None else None


def reach_towards_m(
    w: Workings, unit: Unit, radio: Radio, other: Unit, *, on_its_level: bool = False
) -> float:
    """Return how far a unit holds the target level on the way to another and beyond it.

    Along its own level, or along that of the other unit; 0 where it holds it nowhere there. Where
    walls are drawn, by halving: farther is never louder, and a wall never helps.
    """
    key = (unit.name, radio.name, other.name, on_its_level)
    return w.once(_reach_towards_m, key, unit, radio, other, on_its_level=on_its_level)


def _reach_towards_m(
    w: Workings, unit: Unit, radio: Radio, other: Unit, *, on_its_level: bool
) -> float:
    refuse_beam(radio)
    here, there = location_of(w, unit), location_of(w, other)
    frequency_mhz = NOMINAL_MHZ[need(radio.band, (*radio.pointer, "band"))]
    terms = distance_terms(w, here, there, frequency_mhz)
    way_m = math.dist((here.x_m, here.y_m), (there.x_m, there.y_m))
    if not on_its_level and (terms[0].walls_inside or way_m == 0):
        return radius_m(w, unit, radio)
    allowed_db = effective_dbm(w, radio) - TARGET_DBM
    try:
        behind_m = max(term.reach_m(allowed_db) for term in terms)
    except OutsideModel as outside:
        raise beyond_model(outside) from outside
    far_m = farthest_m(w, here, frequency_mhz, allowed_db)
    if math.isinf(far_m):
        far_m = behind_m
    east, north = (
        ((there.x_m - here.x_m) / way_m, (there.y_m - here.y_m) / way_m) if way_m else (1, 0)
    )
    level, outdoors = (there.level, there.outdoors) if on_its_level else (here.level, here.outdoors)

    def held(length_m: float) -> bool:
        x, y = here.x_m + length_m * east, here.y_m + length_m * north
        place = Location(x, y, CLIENT_HEIGHT_M, level, outdoors)
        return path_of(w, here, place, frequency_mhz).loss_db <= allowed_db

    near_m = 0.0
    if not held(near_m):
        if on_its_level:
            return 0.0
        wanted = f"a power that gives {TARGET_DBM:.0f} dBm next to the unit at least"
        raise Missing(Input((*radio.pointer, "power_dbm"), wanted))
    # Most places that far are behind a wall, where the cell ends no later than this.
    middle_m = min(behind_m, far_m)
    while far_m - near_m > _CLOSE_M:
        near_m, far_m = (middle_m, far_m) if held(middle_m) else (near_m, middle_m)
        middle_m = (near_m + far_m) / 2
    return near_m


def radii_m(w: Workings, pair: Pair) -> tuple[float, float]:
    """Return how far each unit of the pair holds the target towards the other."""
    return (
        reach_towards_m(w, pair.first, pair.first_radio, pair.second),
        reach_towards_m(w, pair.second, pair.second_radio, pair.first),
    )


def _best_shared_dbm(w: Workings, pair: Pair) -> float:
    """Return the strongest level that both units give at one place on the line between them."""
    here, there = location_of(w, pair.first), location_of(w, pair.second)
    frequency_mhz = NOMINAL_MHZ[pair.band]
    ours, theirs = effective_dbm(w, pair.first_radio), effective_dbm(w, pair.second_radio)
    terms = distance_terms(w, here, there, frequency_mhz)

    def both(share: float) -> tuple[float, float]:
        if terms[0].walls_inside:
            shares = (share, 1 - share)
            lost = [max(t.loss_db(pair.apart_m * part) for t in terms) for part in shares]
            return ours - lost[0], theirs - lost[1]
        x = here.x_m + share * (there.x_m - here.x_m)
        y = here.y_m + share * (there.y_m - here.y_m)
        place = Location(x, y, CLIENT_HEIGHT_M, here.level, here.outdoors)
        return (
            ours - path_of(w, here, place, frequency_mhz).loss_db,
            theirs - path_of(w, there, place, frequency_mhz).loss_db,
        )

    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        try:
            our_dbm, their_dbm = both(middle)
        except OutsideModel as outside:
            raise beyond_model(outside) from outside
        low, high = (middle, high) if our_dbm > their_dbm else (low, middle)
    return max(min(both(low)), min(both(high)))


def covered_anyway(w: Workings, unit: Unit) -> bool:
    """Return whether other units hold the target wherever this one's client radios do.

    Judged on its own level and for every band that it serves. Raises `Missing` without an outline.
    """
    return w.once(_covered_anyway, unit.name, unit)


def _covered_anyway(w: Workings, unit: Unit) -> bool:
    level = outlined(w, unit)
    if level is None:
        raise Missing(Input(("levels", "*", "outline_m"), "the outline of the level"))
    return _all_shared(coverage_of(w, level), client_radios(unit))


def _all_shared(cover: CoverageMap, radios: tuple[Radio, ...]) -> bool:
    lacking: list[Input] = []
    for radio in radios:
        alone = cover.cell(radio)
        for other in cover.others(radio):
            if other.pointer in cover.lacking:
                lacking.extend(cover.lacking[other.pointer])
            else:
                alone = alone & ~cover.cell(other)
        if alone.any():
            raise_missing(lacking)
            return False
    return bool(radios)


@fact(
    "pair.next_to_each_other",
    Kind.TRUTH,
    "whether they are neighbours on one level, which people walk between",
    source="Gabriel and Sokal 1969, on the plan",
)
def next_to_each_other(_: Workings, pair: Pair) -> bool:
    return pair.next_to


@fact("pair.first", Kind.TEXT, "the unit of the pair that the file names first", source="the plan")
def first(_: Workings, pair: Pair) -> str:
    return pair.first.name


@fact("pair.second", Kind.TEXT, "the other unit of the pair", source="the plan")
def second(_: Workings, pair: Pair) -> str:
    return pair.second.name


@fact(
    "pair.band_ghz", Kind.NUMBER, "the band of both cells", source="the plan", unit="GHz", digits=1
)
def band_ghz(_: Workings, pair: Pair) -> float:
    return pair.band


@fact(
    "pair.apart_m", Kind.NUMBER, "distance between the units", source="the plan", unit="m", digits=1
)
def apart_m(_: Workings, pair: Pair) -> float:
    return pair.apart_m


@fact(
    "pair.roaming_clients",
    Kind.COUNT,
    "devices that roam and use this band at these units",
    source="the site file; a group that names no band is counted on the pair's highest",
)
def roaming_clients(w: Workings, pair: Pair) -> float:
    shared = first_client_radios(pair.first).keys() & first_client_radios(pair.second).keys()
    best = max((band for band in shared if band != 6), default=pair.band)
    ends = {pair.first.name, pair.second.name}
    return sum(
        group.count
        for group in stated_clients(w.site)
        if group.roams
        and not group.wired_to
        and (group.near is None or group.near in ends)
        and (group.band or best) == pair.band
    )


@fact(
    "pair.first_radius_m",
    Kind.NUMBER,
    "how far the first unit holds the target level, towards the second where walls are drawn",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def first_radius_m(w: Workings, pair: Pair) -> float:
    return radii_m(w, pair)[0]


@fact(
    "pair.second_radius_m",
    Kind.NUMBER,
    "how far the second unit holds the target level, towards the first where walls are drawn",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def second_radius_m(w: Workings, pair: Pair) -> float:
    return radii_m(w, pair)[1]


@fact(
    "pair.target_dbm",
    Kind.NUMBER,
    "the level at which a cell ends",
    source="common practice",
    unit="dBm",
)
def target_dbm(_: Workings, __: Pair) -> float:
    return TARGET_DBM


@fact(
    "pair.model",
    Kind.TEXT,
    "the path loss model behind the cells, and whether they are areas on a plan or circles",
    source="ITU-R P.1238, P.2040, P.525; IEEE 802.11-14/0980",
)
def model(w: Workings, pair: Pair) -> str:
    cover = common_ground(w, pair)
    here, there = location_of(w, pair.first), location_of(w, pair.second)
    term = distance_terms(w, here, there, NOMINAL_MHZ[pair.band])[0]
    name = term.model.source
    if not term.walls_inside:
        name = f"{name}, and ITU-R P.2040-3 for walls"
    if cover is None:
        return f"circles; {name}"
    return f"areas inside the outline at {cover.places.step_m:.2g} m; {name}"


@fact(
    "pair.overlap_percent",
    Kind.NUMBER,
    "share of the smaller cell's area that the other cell covers too; of two on different levels "
    "the larger share of either on its own",
    source=CIRCLES,
    unit="%",
    digits=1,
)
def overlap_percent(w: Workings, pair: Pair) -> float:
    here, there = location_of(w, pair.first), location_of(w, pair.second)
    ends = ((pair.first, pair.first_radio), (pair.second, pair.second_radio))
    if all(outlined(w, unit) is not None for unit, _ in ends):
        return 100 * max(_share_on_plan(w, *mine, other) for mine, (_, other) in (ends, ends[::-1]))
    if here.level is there.level:
        return 100 * circles.share_of_smaller(*radii_m(w, pair), pair.apart_m)
    apart_m = math.dist((here.x_m, here.y_m), (there.x_m, there.y_m))
    return 100 * max(_share_of_circle(w, *ways, apart_m) for ways in (ends, ends[::-1]))


def _share_on_plan(w: Workings, unit: Unit, radio: Radio, other: Radio) -> float:
    """Return the share of a cell, on its own unit's level, that another cell covers too."""
    cover = coverage_of(w, plan_of(w, unit))
    mine = cover.cell(radio)
    mine_m2 = cover.area_m2(mine)
    if mine_m2 == 0:
        wanted = f"a power that gives {TARGET_DBM:.0f} dBm somewhere on the level"
        raise Missing(Input((*radio.pointer, "power_dbm"), wanted))
    return cover.area_m2(mine & cover.cell(other)) / mine_m2


def _share_of_circle(
    w: Workings, mine: tuple[Unit, Radio], other: tuple[Unit, Radio], apart_m: float
) -> float:
    """Return the share of a cell that one on another storey covers as well, both as circles."""
    own_m = reach_towards_m(w, *mine, other[0])
    through_m = reach_towards_m(w, *other, mine[0], on_its_level=True)
    if through_m == 0:
        return 0.0
    return circles.lens_area_m2(own_m, through_m, apart_m) / (math.pi * own_m**2)


@fact(
    "pair.handover_dbm",
    Kind.NUMBER,
    "the level that is left of both units at the best place to change from one to the other",
    source="levels by the site's path loss model; device of 0 dBi, 1 m above the floor",
    unit="dBm",
    digits=0,
)
def handover_dbm(w: Workings, pair: Pair) -> float:
    cover = common_ground(w, pair)
    if cover is None:
        radii_m(w, pair)  # a power that makes no cell hands nobody over
        return _best_shared_dbm(w, pair)
    import numpy as np

    ours, theirs = cover.of(pair.first_radio), cover.of(pair.second_radio)
    if not ours.size:
        level = pair.first.at.level if pair.first.at else None
        raise Missing(Input(("levels", level or "", "outline_m"), "an outline that holds a place"))
    return float(np.minimum(ours, theirs).max())


@fact(
    "pair.redundant_unit",
    Kind.TEXT,
    "the unit of the two whose every covered place others cover too, on all its bands",
    source="cells on the drawn level",
)
def redundant_unit(w: Workings, pair: Pair) -> str:
    both = (pair.second, pair.first)
    return next((unit.name for unit in both if covered_anyway(w, unit)), "")


@fact(
    "pair.shared_spectrum_mhz",
    Kind.NUMBER,
    "how much of the two channels is the same spectrum",
    source="spans by IEEE 802.11 numbering",
    unit="MHz",
)
def shared_spectrum_mhz(_: Workings, pair: Pair) -> float:
    """Return it where it is the same whatever the file leaves open of the two channels."""
    ours, theirs = (answer(span, radio) for radio in (pair.first_radio, pair.second_radio))
    shared = {
        overlap_mhz(mine, other)
        for mine in (possible_spans(pair.first_radio) if isinstance(ours, Unknown) else (ours,))
        for other in (
            possible_spans(pair.second_radio) if isinstance(theirs, Unknown) else (theirs,)
        )
    }
    if len(shared) > 1:
        gather((pair.first_radio, pair.second_radio), span)
    return max(shared)


@fact(
    "pair.apart_for_15_percent_m",
    Kind.NUMBER,
    "the distance at which two circles of those radii would overlap by 15 % of the smaller",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def apart_for_15_percent_m(w: Workings, pair: Pair) -> float:
    return circles.spacing_for_share_m(*radii_m(w, pair), 0.15)


@fact(
    "pair.apart_for_30_percent_m",
    Kind.NUMBER,
    "the distance at which two circles of those radii would overlap by 30 % of the smaller",
    source=CIRCLES,
    unit="m",
    digits=1,
)
def apart_for_30_percent_m(w: Workings, pair: Pair) -> float:
    return circles.spacing_for_share_m(*radii_m(w, pair), 0.30)


@fact(
    "pair.less_overlap",
    Kind.TEXT,
    "how the cells would overlap less: lower power, or a distance if one is to be had on the level",
    source=f"{CIRCLES}; without an outline at most twice the present distance, an assumption",
)
def less_overlap(w: Workings, pair: Pair) -> str:
    if any(beam_of(radio) is not None for radio in (pair.first_radio, pair.second_radio)):
        return "lower the power, or turn an antenna away from the other cell"
    wanted_m = circles.spacing_for_share_m(*radii_m(w, pair), 0.30)
    if not pair.apart_m < wanted_m <= _widest_m(w, pair):
        return "lower the power"
    return f"lower the power, or stand them {wanted_m:.1f} m apart instead of {pair.apart_m:.1f} m"


def _widest_m(w: Workings, pair: Pair) -> float:
    """Return how far apart two units can stand there at most."""
    level = outlined(w, pair.first)
    if level is None or not level.outline_m:
        return 2 * pair.apart_m
    return w.once(_across_m, level.name, level.outline_m)


def _across_m(_: Workings, outline_m: tuple[tuple[float, float], ...]) -> float:
    """Return the longest distance inside an outline: between two of its corners."""
    return max(math.dist(one, other) for one, other in combinations(outline_m, 2))

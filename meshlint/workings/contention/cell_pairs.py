"""Which two cells are looked at together: neighbours on a level, and cells that take turns.

Neighbours are looked at whatever their channels, since people walk between them. Beyond those, on
any storey and with any client radio of a unit, two cells are looked at that share spectrum and hear
each other: of each cell the nearest `NEAREST` such, so that a hall full of units on one channel
gives findings in proportion to its units. Where it cannot be told whether two cells hear each
other, those that are neighbours on the plan are looked at, on whichever storeys they stand.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.physics.channels import overlap_mhz
from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.contention.client_cells import cells_near, is_client_cell
from meshlint.workings.propagation.cells import client_radios, neighbouring, pair_of, serving
from meshlint.workings.propagation.gabriel_graph import neighbours
from meshlint.workings.propagation.geometry import location_of, rise_between_m
from meshlint.workings.spectrum.channel import span
from meshlint.workings.unknown import Input, Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Radio, Unit
    from meshlint.workings.propagation.cells import Pair
    from meshlint.workings.site_workings import Workings

NEAREST = 6
"""So many cells that share its air are told of each cell: a convention of ours, the number of
neighbours in a hexagonal plan."""


def pairs(w: Workings) -> tuple[tuple[Pair, ...], tuple[Input, ...]]:
    """Return the cells to look at together, and the inputs without which some could not be told.

    A site with one unit that serves clients has no pairs, and lacks nothing.
    """
    units = serving(w)
    if len(units) < 2:
        return (), ()
    unplaced = tuple(
        Input((*unit.pointer, "at"), "where the unit stands") for unit in units if unit.at is None
    )
    found = {pair.key: pair for pair in neighbouring(w)}
    for pair in _taking_turns(w, units):
        found.setdefault(pair.key, pair)
    rank = {unit.name: at for at, unit in enumerate(units)}
    ordered = sorted(
        found.values(), key=lambda p: (not p.next_to, rank[p.first.name], rank[p.second.name])
    )
    return tuple(ordered), unplaced


def _taking_turns(w: Workings, units: tuple[Unit, ...]) -> Iterator[Pair]:
    """Yield the pairs of cells that share spectrum and hear each other, or may."""
    rank = {unit.name: at for at, unit in enumerate(units)}
    on_plan = _next_on_plan(units)
    for unit in units:
        for radio in client_radios(unit):
            if not is_client_cell(w, radio):
                continue
            nearest = sorted(_sharing(w, radio, on_plan), key=lambda found: found[0])[:NEAREST]
            for apart_m, other in nearest:
                ends = ((unit, radio), (w.site.units[other.unit], other))
                (first, ours), (second, theirs) = sorted(ends, key=lambda end: rank[end[0].name])
                yield pair_of(first, second, ours, theirs, apart_m, next_to=False)


def _sharing(
    w: Workings, radio: Radio, on_plan: frozenset[tuple[str, str]]
) -> Iterator[tuple[float, Radio]]:
    """Yield the cells of other units that share a cell's air, or may, and how far away they are."""
    here = answer(span, radio)
    if isinstance(here, Unknown):
        return
    for other in cells_near(w, radio):
        there = answer(span, other)
        if (
            other.unit == radio.unit
            or isinstance(there, Unknown)
            or overlap_mhz(here, there) == 0
            or (apart_m := _apart_m(w, radio, other)) is None
        ):
            continue
        hears = answer(within_carrier_sense, w, radio, other)
        if hears is True or (isinstance(hears, Unknown) and (radio.unit, other.unit) in on_plan):
            yield apart_m, other


def _apart_m(w: Workings, one: Radio, other: Radio) -> float | None:
    """Return how far apart the units of two cells stand; None where nobody says where."""
    here, there = (answer(location_of, w, w.site.units[radio.unit]) for radio in (one, other))
    if isinstance(here, Unknown) or isinstance(there, Unknown):
        return None
    rise_m = answer(rise_between_m, here, there)
    up_m = 0.0 if isinstance(rise_m, Unknown) or here.level is there.level else rise_m
    return math.hypot(here.x_m - there.x_m, here.y_m - there.y_m, up_m)


def _next_on_plan(units: tuple[Unit, ...]) -> frozenset[tuple[str, str]]:
    """Return which units are neighbours on the plan, all storeys laid on top of each other."""
    placed = [unit for unit in units if unit.at is not None]
    places = [(unit.at.x_m, unit.at.y_m) for unit in placed if unit.at is not None]
    found = [(placed[one].name, placed[other].name) for one, other in neighbours(places)]
    return frozenset(found + [(other, one) for one, other in found])

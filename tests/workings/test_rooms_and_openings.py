"""Rooms lose what the same walls drawn by hand lose, and a stairwell loses no floor.

Outside reference: a wall drawn by hand, one for each stretch where two rooms meet.
"""

from __future__ import annotations

from itertools import pairwise, product
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import site, workings_of
from meshlint.site.load import Catalogues, load_site
from meshlint.site.places import Position
from meshlint.site.problem import InputError
from meshlint.workings.propagation.geometry import client_location
from meshlint.workings.propagation.path_loss import path_of

if TYPE_CHECKING:
    from meshlint.workings.site_workings import Workings

MHZ = 5210.0

lengths = st.lists(st.integers(4, 24).map(lambda quarters: quarters / 4), min_size=1, max_size=4)
quarters = st.integers(-8, 96).map(lambda number: number / 4)
ends = st.tuples(quarters, quarters, st.sampled_from(["g", "f"]))


def sums(widths: list[float]) -> list[float]:
    return [sum(widths[:at]) for at in range(len(widths) + 1)]


def drawn_by_hand(columns: list[float], rows: list[float], names: list[list[str]]) -> list[object]:
    """Return a wall for each stretch of one cell on which two rooms meet."""
    xs, ys = sums(columns), sums(rows)
    found: list[object] = []
    for (j, (low, high)), (i, (left, right)) in product(
        enumerate(pairwise(ys)), enumerate(pairwise(xs))
    ):
        if i + 1 < len(columns) and names[j][i] != names[j][i + 1]:
            found.append([[right, low], [right, high]])
        if j + 1 < len(rows) and names[j][i] != names[j + 1][i]:
            found.append([[left, high], [right, high]])
    return found


def loss_db(w: Workings, *two: tuple[float, float, str]) -> float:
    one, other = (client_location(w, Position(x, y, level), ("x",)) for x, y, level in two)
    return path_of(w, one, other, MHZ).loss_db


def with_levels(levels: str) -> Workings:
    return workings_of(site({"one": ""}, None, f"levels: {levels}\n", surroundings="home"))


@st.composite
def names_of(draw: st.DrawFn, columns: int, rows: int) -> list[list[str]]:
    """Return names row by row, some neighbours of a row being one room."""
    names = []
    for row in range(rows):
        line = [f"r{row}c0"]
        for column in range(1, columns):
            line.append(line[-1] if draw(st.booleans()) else f"r{row}c{column}")
        names.append(line)
    return names


@settings(max_examples=60, deadline=None)
@given(lengths, lengths, st.data(), st.lists(st.tuples(ends, ends), min_size=3, max_size=6))
def test_rooms_lose_what_the_same_walls_drawn_by_hand_lose(
    columns: list[float],
    rows: list[float],
    data: st.DataObject,
    paths: list[tuple[tuple[float, float, str], tuple[float, float, str]]],
) -> None:
    names = data.draw(names_of(len(columns), len(rows)))
    walls = ", ".join(
        f"{{path_m: {path}, material: plasterboard, thickness_mm: 25}}"
        for path in drawn_by_hand(columns, rows, names)
    )
    wide, deep = sum(columns), sum(rows)
    plan = f"outline_m: [[0, 0], [{wide}, 0], [{wide}, {deep}], [0, {deep}]], walls: [{walls}]"
    shell = "shell: {material: brick, thickness_mm: 205}"
    slab = "base_m: 2.7, floor: {material: chipboard, thickness_mm: 22}"
    by_hand = with_levels(f"{{g: {{base_m: 0, {shell}, {plan}}}, f: {{{slab}, {shell}, {plan}}}}}")
    grid = f"room_grid: {{columns_m: {columns}, rows_m: {rows}, names: {names}}}"
    rooms = with_levels(
        f"{{g: {{base_m: 0, shell: 'brick, two leaves', between: stud wall, {grid}}}, "
        f"f: {{{slab}, shell: 'brick, two leaves', rooms_as: g}}}}"
    )
    for two in paths:
        assert loss_db(rooms, *two) == pytest.approx(loss_db(by_hand, *two), abs=1e-9)


HOUSE = """{
  g: {base_m: 0, between: stud wall, room_grid: {columns_m: [4, 2, 4], rows_m: [4, 4],
      names: [[kitchen, stairs, parlour], [den, stairs, store]]}},
  f: {base_m: 2.7, floor: {loss_db: 15}, rooms_as: g OPEN}}"""


def test_a_stairwell_loses_no_floor_and_the_rest_does() -> None:
    closed = with_levels(HOUSE.replace(" OPEN", ""))
    opened = with_levels(HOUSE.replace(" OPEN", ", floor_openings: [stairs]"))
    through = ((5, 1, "g"), (5, 5, "f"))
    assert loss_db(opened, *through) <= loss_db(closed, *through) - 15
    beyond = ((1, 1, "g"), (1, 5, "f"))
    assert loss_db(opened, *beyond) == loss_db(closed, *beyond)
    assert loss_db(opened, *through[::-1]) == pytest.approx(loss_db(opened, *through))


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("[stair]", "there is no area 'stair'"),
        ("[g stairs]", "this area is on level 'g'; an opening in the floor of 'f' is an area"),
    ],
)
def test_an_opening_is_an_area_of_its_own_level(said: str, told: str) -> None:
    levels = HOUSE.replace(" OPEN", f", floor_openings: {said}")
    with pytest.raises(InputError) as caught:
        load_site(site({"one": ""}, None, f"levels: {levels}\n").encode(), "a", Catalogues())
    (problem,) = caught.value.problems
    assert problem.message.startswith(told)
    assert problem.place.line == 9

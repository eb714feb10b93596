"""Doors take the place of a stretch of wall between two rooms.

Outside reference: plans drawn by hand, and lengths along a straight line.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders import site
from meshlint.site.doors import doors_of, parted
from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError
from meshlint.site.rooms import Plan

GRID = "room_grid: {columns_m: [4, 6], rows_m: [3, 5], names: [[den, hall], [bar, hall]]}"


def text_of(doors: str, more: str = "between: stud wall, ") -> str:
    return site({"one": ""}, None, f"levels: {{g: {{{more}{GRID}, doors: {doors}}}}}\n")


def walls(doors: str) -> list[tuple[object, ...]]:
    found, _ = load_site(text_of(doors).encode(), "a", Catalogues())
    (level,) = (found.levels or {}).values()
    return [(w.path_m, w.material, w.thickness_mm, w.loss_db) for w in level.walls or ()]


STUD = ("plasterboard", 25, None)


def test_a_door_cuts_the_wall_that_two_rooms_share() -> None:
    said = "[{between: [hall, den], at_m: [4, 1], width_m: 0.8, material: wooden door}]"
    assert walls(said) == [
        (((0, 3), (4, 3)), *STUD),
        (((4, 0), (4, 0.6)), *STUD),
        (((4, 1.4), (4, 8)), *STUD),
        (((4, 0.6), (4, 1.4)), "wood", 40, None),
    ]


@pytest.mark.parametrize(
    ("said", "ends"),
    [
        ("{between: [den, bar]}", ((1.55, 3), (2.45, 3))),
        ("{between: [bar, hall], at_m: [4.3, 3]}", ((4, 3), (4, 3.9))),
        ("{between: [bar, hall], at_ft: [13, 22], width_ft: 3}", ((4, 6.2484), (4, 7.1628))),
    ],
)
def test_a_door_is_in_the_middle_or_as_near_as_its_wall_allows(said: str, ends: object) -> None:
    assert walls(f"[{said[:-1]}, loss_db: 0}}]")[-1] == (ends, None, None, 0)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("[{between: [den, loft]}]", "there is no room of this name on this level"),
        ("[{between: [den, bar], at_m: [1, 1]}]", "there is no wall between the two rooms here"),
        ("[{between: [den, bar], width_m: 5}]", "the two rooms share 4 m of wall, less than"),
        ("[{between: [den, bar]}, {between: [bar, den]}]", "this door lies partly where another"),
        ("[{between: [den, bar], material: cheese}]", "no losses are published for"),
        ("[{between: [den, bar], width_m: 1, width_ft: 3}]", "width_m and width_ft say the same"),
    ],
)
def test_a_door_that_no_wall_can_hold_is_told_at_its_place(said: str, told: str) -> None:
    text = text_of(said)
    with pytest.raises(InputError) as caught:
        load_site(text.encode(), "a", Catalogues())
    (problem,) = caught.value.problems
    assert problem.message.startswith(told)
    column = text.splitlines()[problem.place.line - 1].index("doors:") + 1
    assert problem.place.column > column


@pytest.mark.parametrize(
    ("more", "told"),
    [("between: open, ", "there are no walls that doors could be in"), ("", "")],
)
def test_doors_need_walls_between_rooms(more: str, told: str) -> None:
    text = text_of("[{between: [den, bar]}]", more)
    if not told:
        load_site(text.encode(), "a", Catalogues())
        return
    with pytest.raises(InputError, match=told):
        load_site(text.encode(), "a", Catalogues())


def test_a_level_with_the_rooms_of_another_has_its_doors() -> None:
    text = text_of("[{between: [den, bar]}]").replace("}]}}\n", "}]}, f: {rooms_as: g}}\n")
    found, _ = load_site(text.encode(), "a", Catalogues())
    one, other = (found.levels or {}).values()
    assert one.walls == other.walls
    assert len(one.walls or ()) == 4


metres = st.integers(0, 200).map(lambda twentieths: twentieths / 20)


@given(st.lists(metres, max_size=5), st.floats(0.3, 1.5))
def test_walls_and_doors_are_as_long_as_the_wall_without_doors(
    at: list[float], wide_m: float
) -> None:
    names = [["west", "east"]]
    plan = Plan({"room_grid": {"columns_m": [3, 3], "rows_m": [10], "names": names}})
    entries = []
    for y in sorted(at):
        entry = {"between": ["west", "east"], "at_m": [3, y], "width_m": wide_m}
        if not entries or y - entries[-1]["at_m"][1] > 2 * wide_m:
            entries.append(entry)
    entries = [entry for entry in entries if wide_m < entry["at_m"][1] < 10 - wide_m]
    doors = doors_of(plan, entries)
    pieces = [*parted(plan.walls(None), doors), *((door.start, door.end) for door in doors)]
    assert sum(math.dist(*piece) for piece in pieces) == 10_000_000
    assert len(pieces) == 2 * len(entries) + 1

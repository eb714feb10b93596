"""Rooms of a level become the walls, the outline and the areas that a hand would draw.

Outside references: plans drawn by hand, counts along straight lines, and the area of a polygon by
Gauss's formula. The foot is 0.3048 m exactly (international agreement of 1959).
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError
from meshlint.site.rooms import Plan, path_m

if TYPE_CHECKING:
    from meshlint.site.model import Site
    from meshlint.site.places import Level
    from tests.conftest import Worked

HEAD = """\
meshlint: 1
site: {name: Mill House, country: GB, surroundings: home}
primary: gate
units:
  gate:
    at: {level: ground, x_m: 1, y_m: 1, height_m: 2}
    radios: {mid: {band: 5, channel: 36, width_mhz: 80, power_dbm: 18, antenna_gain_dbi: 4,
      noise_figure_db: 7, generation: 802.11ax, streams: 2, carries: [clients, backhaul]}}
  loft:
    at: {level: ground, x_m: 9, y_m: 5, height_m: 2}
    radios: {mid: {band: 5, channel: 36, width_mhz: 80, power_dbm: 18, antenna_gain_dbi: 4,
      noise_figure_db: 7, generation: 802.11ax, streams: 2, carries: [clients, backhaul]}}
backhaul:
  up: {from: loft, to: gate, over: radio, from_radio: mid, to_radio: mid}
"""
DRAWN = """\
levels:
  ground:
    shell: {material: brick, thickness_mm: 205}
    outline_m: [[0, 0], [10, 0], [10, 6], [0, 6]]
    walls:
      - {path_m: [[6, 3], [10, 3]], material: plasterboard, thickness_mm: 25}
      - {path_m: [[0, 4], [6, 4]], material: plasterboard, thickness_mm: 25}
      - {path_m: [[4, 0], [4, 4]], material: plasterboard, thickness_mm: 25}
      - {path_m: [[6, 3], [6, 6]], material: plasterboard, thickness_mm: 25}
"""
AS_ROOMS = """\
levels:
  ground:
    shell: brick, two leaves
    between: stud wall
    rooms:
      kitchen: {at_m: [0, 0], size_m: [4, 4]}
      hall: {parts: [{at_m: [4, 0], size_m: [2, 4]}, {at_m: [6, 0], size_m: [4, 3]}]}
      parlour: {at_m: [0, 4], size_m: [6, 2]}
      study: {at_m: [6, 3], size_m: [4, 3]}
"""


def site(text: str) -> Site:
    return load_site((HEAD + text).encode(), "a.site.yaml", Catalogues())[0]


def refused(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        site(text)
    first = HEAD.count("\n")
    return [f"{p.place.line - first}:{p.place.column} {p.message}" for p in caught.value.problems]


def lines_of(level: Level) -> list[tuple[object, ...]]:
    return sorted((w.path_m, w.material, w.thickness_mm) for w in level.walls or ())


def corners_of(level: Level) -> set[object]:
    return set(level.outline_m or ())


def test_rooms_give_the_walls_and_the_outline_that_a_hand_draws() -> None:
    drawn, rooms = (site(text).levels["ground"] for text in (DRAWN, AS_ROOMS))  # type: ignore[index]
    assert lines_of(rooms) == lines_of(drawn)
    assert corners_of(rooms) == corners_of(drawn)
    assert rooms.shell == drawn.shell


def test_rooms_lose_as_much_on_a_path_as_the_walls_that_a_hand_draws(
    worked: type[Worked],
) -> None:
    fact = "link.path_loss_db"
    drawn, rooms = (worked(HEAD + t)(fact, "backhaul/up") for t in (DRAWN, AS_ROOMS))
    assert drawn == rooms
    bare = HEAD + "levels: {ground: {walls: [], outline_m: [[0, 0], [10, 0], [10, 6], [0, 6]]}}\n"
    assert drawn > worked(bare)(fact, "backhaul/up") + 2  # type: ignore[operator]


def test_a_room_is_an_area_by_its_name() -> None:
    text = AS_ROOMS + "clients: {family: {count: 4, in: hall}}\n"
    areas = site(text).areas or {}
    assert areas["hall"].level == "ground"
    assert set(areas["hall"].outline_m) == {(4, 0), (10, 0), (10, 3), (6, 3), (6, 4), (4, 4)}
    assert set(areas) == {"kitchen", "hall", "parlour", "study"}


def test_feet_and_metres_meet_in_one_wall() -> None:
    text = """\
levels:
  ground:
    rooms:
      west: {at_ft: [0, 0], size_ft: [10, 10]}
      east: {at_m: [3.048, 0], size_m: [2, 3.048]}
"""
    level = site(text).levels["ground"]  # type: ignore[index]
    assert [wall.path_m for wall in level.walls or ()] == [((3.048, 0), (3.048, 3.048))]
    assert set(level.outline_m or ()) == {(0, 0), (5.048, 0), (5.048, 3.048), (0, 3.048)}


def test_a_name_on_two_levels_is_an_area_with_the_level_before_it() -> None:
    text = """\
levels:
  ground: {room_grid: &plan {columns_m: [4, 4], rows_m: [3], names: [[bath, den]]}}
  first: {room_grid: *plan}
"""
    assert set(site(text).areas or {}) == {"ground bath", "ground den", "first bath", "first den"}


def test_a_room_within_an_outline_has_walls_to_the_rest_and_none_on_the_outline() -> None:
    text = """\
levels:
  ground:
    outline_m: [[0, 0], [10, 0], [10, 6], [0, 6]]
    rooms: {store: {at_m: [0, 0], size_m: [3, 2]}}
"""
    level = site(text).levels["ground"]  # type: ignore[index]
    walls = {wall.path_m for wall in level.walls or ()}
    assert walls == {((3, 0), (3, 2)), ((0, 2), (3, 2))}


def test_open_rooms_have_no_walls() -> None:
    assert site(AS_ROOMS.replace("stud wall", "open")).levels["ground"].walls == ()  # type: ignore[index]


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("a: {size_m: [1, 1]}", "4:7 at_m is missing here"),
        ("a: {at_m: [0, 0], at_ft: [0, 0], size_m: [1, 1]}", "4:25 at_m and at_ft say the same"),
        ("a: {at_m: [0, 0], parts: [{at_m: [0, 0], size_m: [1, 1]}]}", "4:7 'a' has parts"),
        (
            "{a: {at_m: [0, 0], size_m: [2, 2]}, b: {at_m: [1, 1], size_m: [2, 2]}}",
            "4:43 'b' overlaps 'a'",
        ),
        (
            "{a: {at_m: [0, 0], size_m: [2, 2]}, b: {at_m: [5, 5], size_m: [2, 2]}}",
            "3:5 no single edge goes round these rooms",
        ),
        (
            "{a: {at_m: [0, 0], size_m: [2, 2]}, b: {at_m: [2, 2], size_m: [2, 2]}}",
            "3:5 no single edge goes round these rooms",
        ),
        ("a/b: {at_m: [0, 0], size_m: [1, 1]}", "4:7 areas: a name cannot hold '/'"),
    ],
)
def test_a_mistake_in_a_room_is_told_at_the_rooms_own_key(said: str, told: str) -> None:
    (problem,) = refused(f"levels:\n  ground:\n    rooms:\n      {said}\n")
    assert problem.startswith(told)


def test_a_material_of_many_walls_that_nobody_knows_is_told_once() -> None:
    (problem,) = refused(AS_ROOMS.replace("stud wall", "cheese"))
    assert problem.startswith("4:")
    assert "no losses are published for" in problem


def test_walls_between_no_rooms_are_a_mistake() -> None:
    (problem,) = refused("levels:\n  ground:\n    between: brick\n")
    assert problem.startswith("3:5 between says")


def test_rows_and_names_of_a_grid_must_agree() -> None:
    grid = "levels:\n  ground:\n    room_grid: {columns_m: [4, 4], rows_m: [3], names: [[a]]}\n"
    (problem,) = refused(grid)
    assert problem.endswith("this row names 1 rooms; there are 2 columns")


GRID = "{columns_m: [4, 3], rows_m: [3, 2], names: [[bath, den], [hall, hall]]}"


def test_a_level_has_the_rooms_of_another_and_their_walls() -> None:
    text = f"""\
levels:
  ground: {{room_grid: {GRID}, between: stud wall, shell: brick}}
  first: {{rooms_as: ground}}
  second: {{rooms_as: ground, between: "brick, one leaf"}}
"""
    found = site(text)
    ground, first, second = (found.levels or {}).values()
    assert lines_of(first) == lines_of(ground)
    assert (first.outline_m, first.shell) == (ground.outline_m, None)
    assert {wall.material for wall in second.walls or ()} == {"brick"}
    assert len(found.areas or {}) == 9
    assert (found.areas or {})["second den"].level == "second"


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (f"{{room_grid: {GRID}, rooms_as: ground}}", "rooms_as stands instead of rooms"),
        ("{rooms_as: cellar}", "expected the name of another level that has rooms"),
        ("{rooms_as: first}", "expected the name of another level that has rooms"),
    ],
)
def test_rooms_of_a_level_that_has_none_are_a_mistake(said: str, told: str) -> None:
    (problem,) = refused(f"levels:\n  ground: {{room_grid: {GRID}}}\n  first: {said}\n")
    assert problem.startswith("3:")
    assert told in problem


def test_a_mistake_in_rooms_is_told_once_where_they_are_drawn() -> None:
    text = """\
levels:
  ground: {room_grid: {columns_m: [4, 3], rows_m: [3], names: [[bath]]}}
  first: {rooms_as: ground}
"""
    (problem,) = refused(text)
    assert problem.startswith("2:")
    text = f"""\
levels:
  ground: {{room_grid: {GRID}, between: cheese}}
  first: {{rooms_as: ground}}
"""
    (problem,) = refused(text)
    assert problem.startswith("2:")
    assert "no losses are published" in problem


lengths = st.lists(st.integers(1, 60).map(lambda tenths: tenths / 10), min_size=1, max_size=5)


@given(lengths, lengths, st.data())
def test_a_line_through_a_grid_meets_a_wall_wherever_the_name_changes(
    columns: list[float], rows: list[float], data: st.DataObject
) -> None:
    line = st.lists(st.sampled_from("abcd"), min_size=len(columns), max_size=len(columns))
    names = data.draw(st.lists(line, min_size=len(rows), max_size=len(rows)))
    grid = {"columns_m": columns, "rows_m": rows, "names": names}
    walls = [path_m(edge) for edge in Plan({"room_grid": grid}).walls(None)]
    for row, across in enumerate(names):
        y = sum(rows[:row]) + rows[row] / 2
        met = [w for w in walls if w[0][0] == w[1][0] and w[0][1] < y < w[1][1]]
        assert len(met) == sum(a != b for a, b in pairwise(across))
    for column in range(len(columns)):
        x = sum(columns[:column]) + columns[column] / 2
        met = [w for w in walls if w[0][1] == w[1][1] and w[0][0] < x < w[1][0]]
        down = [across[column] for across in names]
        assert len(met) == sum(a != b for a, b in pairwise(down))


@given(lengths, lengths)
def test_the_outline_of_a_grid_holds_the_area_of_its_rooms(
    columns: list[float], rows: list[float]
) -> None:
    names = [[f"{i} {j}" for i in range(len(columns))] for j in range(len(rows))]
    plan = Plan({"room_grid": {"columns_m": columns, "rows_m": rows, "names": names}})
    ring = plan.outline() or []
    turned = zip(ring, [*ring[1:], ring[0]], strict=True)
    area_m2 = sum(a[0] * b[1] - b[0] * a[1] for a, b in turned) / 2
    assert area_m2 == pytest.approx(sum(columns) * sum(rows))
    assert len(ring) == 4


def test_a_guest_house_of_thirty_rooms_takes_under_twenty_lines() -> None:
    text = """\
meshlint: 1
site: {name: Alder Guest House, country: GB, surroundings: home}
primary: desk
units: {desk: {at: {level: ground, x_m: 3, y_m: 6}}}
levels:
  ground:
    shell: brick, two leaves
    between: stud wall
    room_grid: &plan
      columns_m: [4, 4, 4, 4, 4, 4, 4, 4]
      rows_m: [5, 2, 5]
      names:
        - [1, 2, 3, 4, 5, 6, 7, 8]
        - [hall, hall, hall, hall, hall, hall, hall, stairs]
        - [9, 10, 11, 12, 13, 14, 15, 16]
  first: {shell: "brick, two leaves", between: stud wall, floor: timber floor, room_grid: *plan}
"""
    found, _ = load_site(text.encode(), "a.site.yaml", Catalogues())
    assert len(text.splitlines()) < 20
    assert len(found.areas or {}) == 36


@pytest.mark.parametrize(
    ("said", "meant"),
    [("4", "n"), ("5", "ac"), ("6", "ax"), ("6E", "ax"), ("7", "be"), ("802.11ac", "ac")],
)
def test_a_generation_number_is_another_spelling_of_the_amendment(said: str, meant: str) -> None:
    text = f"clients: {{family: {{count: 4, generation: {said}}}}}\n" + AS_ROOMS
    assert (site(text).clients or {})["family"].generation == f"802.11{meant}"
    own = HEAD.replace("802.11ax", said) + AS_ROOMS
    found, _ = load_site(own.encode(), "a.site.yaml", Catalogues())
    assert found.units["gate"].radios["mid"].generation == f"802.11{meant}"


def test_a_kind_of_wall_keeps_what_is_stated_next_to_it() -> None:
    text = """\
levels:
  ground:
    floor: concrete slab
    walls:
      - {path_m: [[0, 0], [1, 0]], material: "brick, one leaf"}
      - {path_m: [[0, 0], [1, 0]], material: reinforced concrete, thickness_mm: 250}
      - {path_m: [[0, 0], [1, 0]], material: coated glass, loss_db: 30}
"""
    level = site(text).levels["ground"]  # type: ignore[index]
    said = [(w.material, w.thickness_mm, w.loss_db) for w in level.walls or ()]
    assert said == [("brick", 102.5, None), ("concrete", 250, None), (None, None, 30)]
    assert level.floor is not None
    assert (level.floor.material, level.floor.thickness_mm) == ("concrete", 200)

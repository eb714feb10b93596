"""Which side of a wall things are on, what a shell is, where walls end, and what is in sight."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from builders import over_radio, site, workings_of
from meshlint.physics.distance import GUIDED_DB, sight_term
from meshlint.physics.materials import MATERIALS, slab_loss_db
from meshlint.physics.propagation import free_space_loss_db, site_general_loss_db
from meshlint.site.places import Position
from meshlint.workings.propagation.geometry import client_location, location_of
from meshlint.workings.propagation.grid_losses import losses_db
from meshlint.workings.propagation.path_loss import path_between, path_of
from meshlint.workings.propagation.raster import grid
from meshlint.workings.unknown import Missing

MHZ = 5200.0


def between(first: str, second: str, levels: str = "", link: str = "", surroundings: str = "home"):
    """Return the path between two units at 5.2 GHz; each text is what a unit states."""
    links = {"l": over_radio("two", "one", more=link)} if link else None
    more = f"levels: {{{levels}}}\n" if levels else ""
    w = workings_of(site({"one": first, "two": second}, links, more, surroundings=surroundings))
    return path_between(w, w.site.units["one"], w.site.units["two"], MHZ)


def at(x: float, y: float, height: float = 1.0, level: str = "", more: str = "") -> str:
    level = f"level: {level}, " if level else ""
    return f"at: {{{level}x_m: {x}, y_m: {y}, height_m: {height}}}{more}"


def free_space(length_m: float) -> float:
    return free_space_loss_db(length_m, MHZ)


# --- in sight -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("surroundings", "loss_db"),
    [
        # ITU-R P.1238-11, Table 2, in sight, at 30 m: corridor 28.12 + 16.3 log10 30 + 22.5 log10
        # 5.2 = 68.3 dB, industrial hall 73.4 dB. Free space: 76.3 dB, and less than 70.3 dB, which
        # is 6 dB below that, nothing loses.
        ("corridor", 70.31),
        ("industrial", 73.39),
        ("home", 76.31),
        ("commercial", 76.31),
        ("office", 76.31),  # published to 27 m
    ],
)
def test_ends_that_see_each_other_take_the_row_in_sight(surroundings: str, loss_db: float) -> None:
    ends = (at(0, 0), at(30, 0))
    assert between(*ends, "g: {walls: []}", surroundings=surroundings).loss_db == pytest.approx(
        loss_db, abs=0.01
    )
    stated = between(*ends, link=", in_sight: true", surroundings=surroundings)
    assert stated.loss_db == pytest.approx(loss_db, abs=0.01)


def test_the_rows_in_sight_are_the_published_ones() -> None:
    assert site_general_loss_db("corridor", "line of sight", 30, MHZ) == pytest.approx(
        68.3, abs=0.1
    )
    assert site_general_loss_db("industrial", "line of sight", 30, MHZ) == pytest.approx(
        73.4, abs=0.1
    )


@given(
    st.sampled_from(["office", "corridor", "industrial"]),
    st.sampled_from([2437.0, 5210.0, 6135.0]),
    st.floats(2, 160),
)
def test_a_row_in_sight_is_the_published_one_but_never_far_below_free_space(word, mhz, length_m):
    model = sight_term(word, mhz).model
    assume(length_m <= model.farthest_m)
    published = site_general_loss_db(word, "line of sight", length_m, mhz)
    least = free_space_loss_db(length_m, mhz) - GUIDED_DB
    found = sight_term(word, mhz).loss_db(length_m)
    assert found == pytest.approx(max(published, least), abs=1e-6)


@given(st.sampled_from(["office", "corridor", "industrial", "home"]), st.floats(1, 300))
def test_farther_is_never_louder_in_sight(word, length_m):
    term = sight_term(word, MHZ)
    assert term.loss_db(length_m + 1) >= term.loss_db(length_m)


def test_what_the_link_states_beats_the_plan() -> None:
    wall = "g: {walls: [{path_m: [[5, -5], [5, 5]], loss_db: 9}]}"
    ends = (at(0, 0), at(10, 0))
    assert between(*ends, wall, ", in_sight: true").loss_db == pytest.approx(free_space(10))
    assert between(*ends, wall).walls_db == 9
    assert between(*ends, wall, ", in_sight: true").in_sight
    assert not between(*ends, wall).in_sight
    # Not in sight, though nothing is drawn: IEEE 802.11-14/0980, residential, 35 dB a decade.
    hidden = between(*ends, "g: {walls: []}", ", in_sight: false")
    assert hidden.loss_db == pytest.approx(free_space(10) + 15 * math.log10(2), abs=0.01)


def test_outdoors_out_of_sight_asks_what_stands_between() -> None:
    ends = (at(0, 0, more=", outdoors: true"), at(10, 0, more=", outdoors: true"))
    with pytest.raises(Missing) as missing:
        between(*ends, link=", in_sight: false", surroundings="outdoors")
    assert missing.value.inputs[0].pointer == ("levels",)


# --- out of the building --------------------------------------------------------------------------

HOUSE = "[[0, 0], [12, 0], [12, 9], [0, 9]]"
RING = "[[0, 0], [12, 0], [12, 9], [0, 9], [0, 0]]"
YARD = "yard: {base_m: 0, surroundings: outdoors}"


@pytest.mark.parametrize("outline", ["", f"outline_m: {HOUSE}, "])
def test_beyond_the_shell_is_open_air(outline: str) -> None:
    # 3 m of a house, its wall, and 47 m of garden: free space over 50 m, and the wall.
    house = f"house: {{base_m: 0, {outline}walls: [{{path_m: {RING}, loss_db: 9}}]}}"
    ends = (at(9, 4, level="house"), at(59, 4, level="yard", more=", outdoors: true"))
    found = between(*ends, f"{house}, {YARD}")
    assert found.loss_db == pytest.approx(free_space(50) + 9, abs=0.01)


def test_the_part_under_the_roof_loses_as_it_does_indoors() -> None:
    house = f"house: {{base_m: 0, outline_m: {HOUSE}, walls: [{{path_m: {RING}, loss_db: 9}}]}}"
    ends = (at(2, 4, level="house"), at(52, 4, level="yard", more=", outdoors: true"))
    # IEEE 802.11-14/0980: 15 dB a decade more than free space beyond 5 m; 10 m are inside.
    expected = free_space(50) + 15 * math.log10(10 / 5) + 9
    assert between(*ends, f"{house}, {YARD}").loss_db == pytest.approx(expected, abs=0.01)


def test_a_shell_is_what_the_level_says_and_takes_nothing_where_it_says_nothing() -> None:
    ends = (at(9, 4, level="house"), at(22, 4, level="yard", more=", outdoors: true"))

    def shell(words: str):
        return between(*ends, f"house: {{base_m: 0, outline_m: {HOUSE}, walls: []{words}}}, {YARD}")

    bare = shell("")
    assert (bare.walls, bare.shells) == ((), ("house",))
    assert shell(", shell: {loss_db: 14}").loss_db == pytest.approx(bare.loss_db + 14)
    brick = shell(", shell: {material: brick, thickness_mm: 215}")
    slab_db = slab_loss_db(MATERIALS["brick"], 215, MHZ)
    assert brick.loss_db == pytest.approx(bare.loss_db + slab_db)
    assert [crossing.words for crossing in brick.walls] == ["215 mm brick shell of house"]
    assert brick.shells == ()


def test_a_wall_along_the_outline_is_the_shell_and_counts_once() -> None:
    ends = (at(9, 4, level="house"), at(22, 4, level="yard", more=", outdoors: true"))
    walls = "walls: [{path_m: [[11.8, 0.2], [11.8, 8.8]], loss_db: 9}]"
    house = f"house: {{base_m: 0, outline_m: {HOUSE}, {walls}, shell: {{loss_db: 20}}}}"
    assert between(*ends, f"{house}, {YARD}").walls_db == 9


def test_no_shell_stands_where_a_building_goes_on_in_another_level() -> None:
    hall = f"hall: {{base_m: 0, outline_m: {HOUSE}, walls: [], shell: {{loss_db: 20}}}}"
    wing = (
        "wing: {base_m: 0, outline_m: [[12, 0], [20, 0], [20, 9], [12, 9]], walls: [], "
        "shell: {loss_db: 20}}"
    )
    found = between(at(9, 4, level="hall"), at(15, 4, level="wing"), f"{hall}, {wing}")
    assert found.loss_db == pytest.approx(free_space(6))


def test_named_floors_and_obstacles_count_whether_or_not_walls_are_drawn() -> None:
    levels = (
        "g: {base_m: 0}, f: {base_m: 3, floor: {loss_db: 30}}, s: {base_m: 6, floor: {loss_db: 9}}"
    )
    one = between(at(0, 0, level="g"), at(2, 0, level="f"), levels)
    assert (one.floors, one.floors_db) == (1, 30)
    two = between(at(0, 0, level="g"), at(2, 0, level="s"), levels)
    assert (two.floors, two.floors_db) == (2, 39)
    rack = "g: {obstacles: [{outline_m: [[3, -1], [6, -1], [6, 1], [3, 1]], loss_db: 4}]}"
    plain = between(at(0, 0), at(9, 0), "g: {}")
    assert between(at(0, 0), at(9, 0), rack).loss_db == pytest.approx(plain.loss_db + 4)


# --- where walls end ------------------------------------------------------------------------------


def test_walls_end_at_the_ceiling_where_nothing_stands_on_top() -> None:
    # A mast 9 m up looks over a house of 2.5 m.
    house = f"house: {{base_m: 0, ceiling_m: 2.5, walls: [{{path_m: {RING}, loss_db: 11}}]}}"
    low, high = (
        between(
            at(-20, 4, height, level="yard", more=", outdoors: true"),
            at(40, 4, height, level="yard", more=", outdoors: true"),
            f"{house}, {YARD}",
        )
        for height in (1.5, 9)
    )
    assert (low.walls_db, high.walls_db) == (22, 0)
    under = between(at(2, 4, 2.5, level="house"), at(30, 4, 2.5, level="yard"), f"{house}, {YARD}")
    assert under.walls_db == 11


def test_from_a_mast_one_looks_into_a_house_through_its_roof() -> None:
    mast = at(14, 4, 9, level="yard", more=", outdoors: true")
    shell = "shell: {loss_db: 7}"
    house = f"house: {{base_m: 0, ceiling_m: 2.5, outline_m: {HOUSE}, walls: [], {shell}}}"
    assert between(mast, at(6, 4, 1, level="house"), f"{house}, {YARD}").walls_db == 7
    # Below another storey of the same outline there is a floor, and the roof is above that.
    floor = f"walls: [], floor: {{loss_db: 15}}, {shell}"
    upper = f"upper: {{base_m: 3, ceiling_m: 2.5, outline_m: {HOUSE}, {floor}}}"
    found = between(mast, at(6, 4, 1, level="house"), f"{house}, {upper}, {YARD}")
    assert (found.walls_db, found.floors_db) == (7, 15)


# --- mounts on walls ------------------------------------------------------------------------------

METAL = "material: metal, thickness_mm: 1"


def farm(house: str, barn: str, first: str, second: str):
    levels = (
        f"house: {{base_m: 0, building: house, walls: [{house}]}}, "
        f"barn: {{base_m: 0, building: barn, walls: [{barn}]}}, {YARD}"
    )
    text = site(
        {"one": first, "two": second},
        None,
        f"levels: {{{levels}}}\nbuildings: {{house: {{}}, barn: {{}}}}\n",
        surroundings="home",
    )
    w = workings_of(text)
    return path_between(w, w.site.units["one"], w.site.units["two"], MHZ)


def ways_round(corners: list[list[float]], how: str) -> list[str]:
    """Return a ring of walls as one path, the other way round, and wall by wall both ways."""
    ring = [*corners, corners[0]]
    pieces = list(pairwise(ring))
    return [
        f"{{path_m: {ring}, {how}}}",
        f"{{path_m: {ring[::-1]}, {how}}}",
        ", ".join(f"{{path_m: {[a, b]}, {how}}}" for a, b in pieces),
        ", ".join(f"{{path_m: {[b, a]}, {how}}}" for a, b in pieces),
    ]


def test_units_on_the_faces_of_house_and_barn_see_each_other_whichever_way_walls_were_drawn():
    house = ways_round([[0, 0], [10, 0], [10, 8], [0, 8]], "material: brick, thickness_mm: 215")
    barn = ways_round([[50, 0], [64, 0], [64, 10], [50, 10]], METAL)
    for one, other in zip(house, barn, strict=True):
        outside = farm(
            one,
            other,
            at(10, 4, 3, level="yard", more=", outdoors: true"),
            at(50, 5, 3, level="yard", more=", outdoors: true"),
        )
        assert outside.walls == ()
        assert outside.loss_db == pytest.approx(free_space(math.hypot(40, 1)))
        inside = farm(
            one,
            other,
            at(10, 4, 2, level="house"),
            at(30, 4, 2, level="yard", more=", outdoors: true"),
        )
        assert [crossing.words for crossing in inside.walls] == ["215 mm brick wall"]


@pytest.mark.parametrize("corner", [(0, 0), (10, 0), (10, 8), (0, 8)])
@pytest.mark.parametrize("outdoors", [True, False])
def test_a_unit_at_a_corner_is_on_its_side_of_both_walls(corner, outdoors):
    walls = ways_round([[0, 0], [10, 0], [10, 8], [0, 8]], "loss_db: 9")
    x, y = corner
    away = (-20 if x == 0 else 30, -20 if y == 0 else 28)
    for drawn in walls:
        level = "yard" if outdoors else "house"
        unit = at(x, y, 2, level=level, more=f", outdoors: {str(outdoors).lower()}")
        out = farm(drawn, "", unit, at(*away, 2, level="yard", more=", outdoors: true"))
        into = farm(drawn, "", unit, at(5, 4, 2, level="house"))
        assert (out.walls_db, into.walls_db) == ((0, 9) if outdoors else (9, 0)) or (
            # Straight out over the corner a line from inside meets the corner: one wall or both.
            not outdoors and out.walls_db in (9, 18) and into.walls_db == 0
        )


def test_an_inner_wall_on_whose_line_a_unit_is_drawn_is_in_nobodys_way():
    inner = "{path_m: [[6, 0], [6, 9]], loss_db: 5}"
    for path_m in ("[[6, 0], [6, 9]]", "[[6, 9], [6, 0]]"):
        level = f"g: {{outline_m: {HOUSE}, walls: [{inner.replace('[[6, 0], [6, 9]]', path_m)}]}}"
        for x in (2, 10):
            assert between(at(6, 4), at(x, 4), level).walls == ()


quarter = st.integers(0, 48).map(lambda n: n / 4)
spots = st.tuples(quarter, quarter)
side_kinds = st.sampled_from([", outdoors: true", ""])
hows = st.sampled_from(["loss_db: 5", "material: brick, thickness_mm: 200"])
inner_walls = st.lists(st.tuples(spots, spots, hows), max_size=4)


def turned(place, angle, mirror):
    x, y = (-place[0] if mirror else place[0]), place[1]
    cosine, sine = math.cos(angle), math.sin(angle)
    return [round(x * cosine - y * sine + 7, 7), round(x * sine + y * cosine - 3, 7)]


@settings(max_examples=60)
@given(
    inner_walls,
    spots,
    spots,
    side_kinds,
    side_kinds,
    st.sampled_from([0.0, math.pi / 2, 0.3, 2.2]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_turning_mirroring_and_drawing_it_backwards_change_nothing(
    inner, a, b, kind_a, kind_b, angle, mirror, backwards, outlined
):
    """Units stand on the ring of outer walls as often as not; lines through ends of walls are out.

    Which side a line through the very end of a wall passes is a settled choice, not a fact.
    """
    ring = [(1, 1), (11, 1), (11, 9), (1, 9), (1, 1)]
    assume(a != b)
    assume(not any(_grazes(a, b, end) for p, q, _ in inner for end in (p, q)))
    assume(not any(_grazes(a, b, corner) for corner in ring))

    def loss(change):
        drawn = [(ring, "loss_db: 9"), *(([p, q], how) for p, q, how in inner)]
        walls = ", ".join(
            f"{{path_m: {[change(p) for p in (path[::-1] if backwards else path)]}, {how}}}"
            for path, how in drawn
        )
        outline = f"outline_m: {[change(p) for p in ring[:-1]]}, " if outlined else ""
        one, two = (
            at(*change(place), 2, level="yard" if kind else "house", more=kind)
            for place, kind in ((a, kind_a), (b, kind_b))
        )
        return between(one, two, f"house: {{base_m: 0, {outline}walls: [{walls}]}}, {YARD}")

    plain, moved = loss(list), loss(lambda place: turned(place, angle, mirror))
    assert moved.walls_db == pytest.approx(plain.walls_db, abs=1e-3)
    assert moved.loss_db == pytest.approx(plain.loss_db, abs=1e-3)


def _grazes(a, b, corner):
    """Return whether a corner is so near to the line that moving a mount may change its side."""
    across = (b[0] - a[0]) * (corner[1] - a[1]) - (b[1] - a[1]) * (corner[0] - a[0])
    return abs(across) / math.dist(a, b) < 0.15


# --- the grid -------------------------------------------------------------------------------------

SHELLS = ("", ", shell: {loss_db: 12}", ", shell: {material: brick, thickness_mm: 215}")
shells = st.sampled_from(SHELLS)
ceilings = st.sampled_from(["", ", ceiling_m: 2.5"])
drawings = st.sampled_from(["walls", "no walls", "undrawn"])


@settings(max_examples=60)
@given(
    inner_walls,
    spots,
    st.sampled_from([1.0, 2.4, 8.0]),
    st.sampled_from(["house", "yard", "barn"]),
    shells,
    ceilings,
    drawings,
    st.booleans(),
    st.sampled_from(["home", "office", "corridor"]),
)
@example([], (10.0, 2.0), 1.0, "house", SHELLS[2], "", "walls", True, "home")
def test_the_grid_follows_the_same_rules_in_and_out_of_buildings(
    inner, spot, height, stands, shell, ceiling, drawing, outlined, surroundings
):
    listed = ", ".join(f"{{path_m: {[list(p), list(q)]}, {how}}}" for p, q, how in inner)
    walls = {"walls": f", walls: [{listed}]", "no walls": ", walls: []", "undrawn": ""}[drawing]
    outline = ", outline_m: [[2, 2], [10, 2], [10, 5], [7, 5], [7, 9], [2, 9]]" if outlined else ""
    more = (
        f"levels: {{house: {{base_m: 0, building: house{outline}{walls}{shell}{ceiling}}}, "
        f"barn: {{base_m: 0, building: barn, outline_m: [[11, 0], [15, 0], [15, 9], [11, 9]], "
        f"walls: []{shell}}}, {YARD}}}\nbuildings: {{house: {{}}, barn: {{}}}}\n"
    )
    unit = at(*spot, height, level=stands, more=", outdoors: true" if stands == "yard" else "")
    w = workings_of(site({"one": unit}, None, more, surroundings=surroundings))
    here = location_of(w, w.site.units["one"])
    for level in ("house", "yard"):
        places = grid(w.site.levels[level], [((0, 0), (14, 0), (14, 10), (0, 10))], 1.0)
        fast = losses_db(w, here, places, [MHZ])[MHZ]
        slow = np.array(
            [
                path_of(w, here, client_location(w, Position(x, y, level), ("x",)), MHZ).loss_db
                for x, y in zip(places.x_m.tolist(), places.y_m.tolist(), strict=True)
            ]
        )
        assert fast == pytest.approx(slow, abs=0.002 * (3 + len(inner)), rel=1e-6)

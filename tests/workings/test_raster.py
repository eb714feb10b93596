"""Losses over a grid against the same losses worked out place by place."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import site, workings_of
from meshlint.physics.circles import share_of_smaller
from meshlint.site.places import Position
from meshlint.workings.propagation.drawn_lines import inside
from meshlint.workings.propagation.geometry import client_location, location_of
from meshlint.workings.propagation.grid_losses import losses_db
from meshlint.workings.propagation.path_loss import path_of
from meshlint.workings.propagation.raster import grid, places_inside

if TYPE_CHECKING:
    from meshlint.workings.site_workings import Workings

SQUARE = ((0.0, 0.0), (12.0, 0.0), (12.0, 9.0), (0.0, 9.0))


def one_unit(levels: str, there: str, surroundings: str = "office") -> Workings:
    text = site({"one": f"at: {there}"}, None, f"levels: {levels}\n", surroundings=surroundings)
    return workings_of(text)


def both(w: Workings, level: str, frequency_mhz: float = 5210.0, step_m: float = 1.0):
    """Return the losses over the grid, and place by place."""
    unit = location_of(w, w.site.units["one"])
    places = grid(w.site.levels[level], [SQUARE], step_m)
    fast = losses_db(w, unit, places, [frequency_mhz])[frequency_mhz]
    slow = [
        path_of(
            w, unit, client_location(w, Position(float(x), float(y), level), ("x",)), frequency_mhz
        ).loss_db
        for x, y in zip(places.x_m, places.y_m, strict=True)
    ]
    return fast, np.array(slow)


metres = st.integers(0, 48).map(lambda quarter: quarter / 4)  # many rays run through corners
points = st.tuples(metres, metres)
walls = st.lists(
    st.tuples(
        st.lists(points, min_size=2, max_size=4),
        st.sampled_from(
            [
                "loss_db: 3",
                "material: brick, thickness_mm: 100",
                "material: concrete, thickness_mm: 200",
                "material: metal, thickness_mm: 1",
            ]
        ),
    ),
    max_size=8,
)


def written(listed) -> str:
    return ", ".join(f"{{path_m: {[list(p) for p in path]}, {how}}}" for path, how in listed)


def table_error_db(*drawn) -> float:
    """Return the most that the grid's tables may stray: 0.002 dB for each slab on a ray's way."""
    return 0.002 * (1 + sum(len(path) - 1 for listed in drawn for path, _ in listed))


@settings(max_examples=60)
@given(walls, points, st.sampled_from([2.4, 3.0, 1.0]))
def test_the_grid_and_the_single_path_agree_through_walls(listed, at, height_m):
    w = one_unit(
        f"{{g: {{walls: [{written(listed)}], obstacles: [{{outline_m: [[3, 3], [6, 3], [5, 6]], "
        "loss_db: 4}]}}",
        f"{{x_m: {at[0]}, y_m: {at[1]}, height_m: {height_m}}}",
    )
    fast, slow = both(w, "g")
    assert fast == pytest.approx(slow, abs=table_error_db(listed), rel=1e-6)


@settings(max_examples=40)
@given(
    walls,
    walls,
    points,
    st.sampled_from(["loss_db: 15", "material: concrete, thickness_mm: 200"]),
    st.sampled_from(["", "floor_openings: [well], ", "floor_openings: [well, hatch], "]),
)
def test_the_grid_and_the_single_path_agree_between_levels(lower, upper, at, slab, openings):
    w = one_unit(
        f"{{g: {{base_m: 0, walls: [{written(lower)}]}}, f: {{base_m: 3.5, floor: {{{slab}}}, "
        f"{openings}outline_m: [[0, 0], [9, 0], [9, 9], [0, 9]], walls: [{written(upper)}]}}}}\n"
        "areas: {well: {level: f, outline_m: [[2, 2], [6, 2], [6, 7], [2, 7]]}, "
        "hatch: {level: f, outline_m: [[7, 1], [9, 1], [9, 9]]}}",
        f"{{level: f, x_m: {at[0]}, y_m: {at[1]}, height_m: 2.5}}",
    )
    for level in ("g", "f"):
        fast, slow = both(w, level)
        assert fast == pytest.approx(slow, abs=table_error_db(lower, upper), rel=1e-6)


@pytest.mark.parametrize(
    ("surroundings", "levels", "at"),
    [
        ("office", "{g: {base_m: 0}, f: {base_m: 3}}", "{level: f, x_m: 3, y_m: 4}"),
        ("home", "{g: {base_m: 0}, f: {base_m: 3}, s: {base_m: 6}}", "{level: s, x_m: 3, y_m: 4}"),
        (
            "home",
            "{g: {base_m: 0, walls: []}, f: {base_m: 3, walls: []}}",
            "{level: f, x_m: 3, y_m: 4}",
        ),
        ("outdoors", "{g: {base_m: 0}}", "{level: g, x_m: 3, y_m: 4, height_m: 3}"),
        ("corridor", "{g: {base_m: 0}}", "{level: g, x_m: 3, y_m: 4, height_m: 3}"),
        (
            "office",
            "{g: {base_m: 0, walls: []}, h: {base_m: 0, walls: [], surroundings: home}}",
            "{level: h, x_m: 3, y_m: 4}",
        ),
    ],
)
def test_the_grid_and_the_single_path_agree_by_every_model(surroundings, levels, at):
    for frequency_mhz in (2437.0, 5210.0, 6135.0):
        fast, slow = both(one_unit(levels, at, surroundings), "g", frequency_mhz)
        assert fast == pytest.approx(slow, abs=1e-9)


def test_places_beyond_the_published_range_get_no_loss_that_is_finite():
    # ITU-R P.1238-11, corridor, no line of sight: published from 4 to 94 m.
    w = one_unit("{g: {base_m: 0}}", "{x_m: 100, y_m: 4}", "corridor")
    unit = location_of(w, w.site.units["one"])
    places = grid(w.site.levels["g"], [SQUARE], 1.0)
    lost = losses_db(w, unit, places, [5210.0])[5210.0]
    far = np.hypot(places.x_m - 100, places.y_m - 4) > 94
    assert np.isinf(lost[far]).all()
    assert np.isfinite(lost[~far]).all()
    assert far.any()
    assert not far.all()


@given(st.lists(points, min_size=3, max_size=7))
def test_places_inside_an_outline_are_those_of_the_single_place(outline):
    x, y = np.meshgrid(np.arange(0, 12, 0.75), np.arange(0, 12, 0.75))
    fast = places_inside(x.ravel(), y.ravel(), tuple(outline))
    slow = [inside(place, tuple(outline)) for place in zip(x.ravel(), y.ravel(), strict=True)]
    assert fast.tolist() == slow


def test_the_grid_covers_the_outline_to_within_its_edge():
    places = grid(level=None, outlines=[SQUARE])
    assert places.x_m.size * places.field_m2 == pytest.approx(12 * 9)
    triangle = ((0.0, 0.0), (40.0, 0.0), (0.0, 30.0))
    places = grid(level=None, outlines=[triangle])
    assert places.x_m.size * places.field_m2 == pytest.approx(600, rel=0.01)


def test_a_huge_level_is_looked_at_in_wider_steps():
    places = grid(
        level=None, outlines=[((0.0, 0.0), (1000.0, 0.0), (1000.0, 1000.0), (0.0, 1000.0))]
    )
    assert 30_000 < places.x_m.size <= 41_000
    assert places.x_m.size * places.field_m2 == pytest.approx(1e6, rel=0.01)


@pytest.mark.parametrize(("apart_m", "radius_m"), [(20.0, 16.0), (28.0, 20.0)])
def test_the_overlap_on_ever_finer_grids_comes_to_that_of_exact_circles(apart_m, radius_m):
    # Reference: the closed form of Weisstein, "Circle-Circle Intersection".
    exact = share_of_smaller(radius_m, radius_m, apart_m)
    off = []
    for step_m in (2.0, 1.0, 0.5, 0.25):
        half = apart_m / 2 + radius_m + 1
        wide = ((-half, -half), (half, -half), (half, half), (-half, half))
        places = grid(level=None, outlines=[wide], step_m=step_m)
        one = np.hypot(places.x_m + apart_m / 2, places.y_m) <= radius_m
        two = np.hypot(places.x_m - apart_m / 2, places.y_m) <= radius_m
        off.append(abs((one & two).sum() / one.sum() - exact))
    assert off[-1] < 0.002
    assert off[-1] < off[0]
    assert all(
        error <= 0.6 * math.sqrt(step) * 0.1
        for error, step in zip(off, (2, 1, 0.5, 0.25), strict=True)
    )

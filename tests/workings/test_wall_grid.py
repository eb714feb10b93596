"""The grid leaves out no wall that a line meets: trying every wall is the oracle."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.workings.propagation.drawn_lines import Sheet, WallPiece, crossed
from meshlint.workings.propagation.wall_index import wall_index

SHEET = Sheet(("levels", "g", "walls", 0), "wall")
ROUND = st.integers(-6, 6).map(float)
WIDE = st.floats(-100_000, 100_000) | st.sampled_from([0.0, 1e-300, -1e-12, 1e5, -1e5, 0.1])


def pieces_of(numbers):
    places = st.tuples(numbers, numbers)
    walls = st.tuples(places, places).filter(lambda ends: ends[0] != ends[1])
    return st.lists(walls, min_size=1, max_size=40)


@pytest.mark.parametrize("numbers", [ROUND, WIDE, ROUND | WIDE, st.floats(0, 1e-6)])
def test_no_wall_that_a_line_meets_is_left_out(numbers):
    @given(pieces_of(numbers), st.tuples(numbers, numbers), st.tuples(numbers, numbers))
    def holds(walls, here, there):
        pieces = tuple(WallPiece(start, end, SHEET) for start, end in walls)
        near = wall_index(pieces).near(here, there)
        met = [piece for piece in pieces if crossed(here, there, piece) is not None]
        assert [piece for piece in near if crossed(here, there, piece) is not None] == met

    holds()


def test_few_of_many_rooms_walls_are_looked_at_for_a_short_line():
    pieces = tuple(
        WallPiece((float(x), float(y)), (float(x), y + 0.9), SHEET)
        for x in range(60)
        for y in range(60)
    )
    here, there = (10.5, 10.5), (13.5, 11.0)
    near = wall_index(pieces).near(here, there)
    # Of 3,600; the line is at 10.58 where x is 11, 10.75 at 12, and past the wall's end at 13.
    met = [piece.start for piece in near if crossed(here, there, piece) is not None]
    assert met == [(11.0, 10.0), (12.0, 10.0)]
    assert len(near) < 40

"""The neighbour search against the definition of Gabriel and Sokal, tried on every triple."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from meshlint.workings.propagation.gabriel_graph import neighbours


def by_definition(places):
    found = []
    for first, here in enumerate(places):
        for second in range(first + 1, len(places)):
            there = places[second]
            between = any(
                sum(x * y for x, y in zip(_minus(other, here), _minus(other, there), strict=True))
                < 0
                for other in places
                if other not in (here, there)
            )
            if not between:
                found.append((first, second))
    return found


def _minus(one, other):
    return one[0] - other[0], one[1] - other[1]


# Quarters of a metre are exact in binary, so the definition above has no rounding in it.
metres = st.one_of(st.integers(-6, 6).map(float), st.integers(-400, 400).map(lambda q: q / 4))


@given(st.lists(st.tuples(metres, metres), max_size=30))
@example([(0.0, 0.0)] * 3)
@example([(float(x), 0.0) for x in range(12)])
@example([(float(x), float(y)) for x in range(4) for y in range(5)])
def test_neighbours_are_those_of_the_definition(places):
    assert list(neighbours(places)) == by_definition(places)


@pytest.mark.parametrize("apart_m", [0.1, 7.0])
def test_a_row_of_rooms_gives_next_rooms_and_no_others(apart_m):
    row = [(apart_m * i, 0.0) for i in range(9)]
    assert list(neighbours(row)) == [(i, i + 1) for i in range(8)]

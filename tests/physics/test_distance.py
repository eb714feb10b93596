"""The distance term against the formulae that it stands for, which are tested against tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.distance import drawn_term, open_air_term, walls_inside_term
from meshlint.physics.drawn import ENTERPRISE, RESIDENTIAL, distance_loss_db
from meshlint.physics.outdoors import break_point_m, open_air_loss_db
from meshlint.physics.propagation import OutsideModel, indoor_model, path_loss_db

FREQUENCIES = (2437.0, 5210.0, 6135.0)
BANDS = {2437.0: 2.4, 5210.0: 5.0, 6135.0: 6.0}
TERMS = [
    *(drawn_term(model, f) for model in (ENTERPRISE, RESIDENTIAL) for f in FREQUENCIES),
    *(open_air_term(f, heights) for f in FREQUENCIES for heights in (None, (2.0, 3.0))),
    *(
        walls_inside_term(indoor_model(word, BANDS[f]), f)
        for word in ("home", "office", "commercial", "corridor", "industrial")
        for f in FREQUENCIES
    ),
]


# IEEE 802.11-14/0980 as copied in three public simulators: 5210 MHz, no wall, at 5, 10 and 20 m.
@pytest.mark.parametrize(
    ("model", "losses_db"),
    [(RESIDENTIAL, (60.76, 71.30, 81.83)), (ENTERPRISE, (60.76, 66.78, 77.32))],
)
def test_the_drawn_term_gives_the_published_losses(model, losses_db):
    term = drawn_term(model, 5210.0)
    assert [term.loss_db(m) for m in (5, 10, 20)] == pytest.approx(losses_db, abs=0.01)


@given(st.floats(1.0, 500.0), st.sampled_from(FREQUENCIES))
def test_every_term_is_the_formula_that_it_stands_for(length_m, frequency_mhz):
    for model in (ENTERPRISE, RESIDENTIAL):
        assert drawn_term(model, frequency_mhz).loss_db(length_m) == pytest.approx(
            distance_loss_db(model, frequency_mhz, length_m), abs=1e-9
        )
    for heights in (None, (2.0, 3.0)):
        assert open_air_term(frequency_mhz, heights).loss_db(length_m) == pytest.approx(
            open_air_loss_db(length_m, frequency_mhz, heights), abs=1e-9
        )
    for word in ("home", "office", "commercial", "corridor", "industrial"):
        model = indoor_model(word, BANDS[frequency_mhz])
        if length_m <= model.farthest_m:
            assert walls_inside_term(model, frequency_mhz).loss_db(length_m) == pytest.approx(
                path_loss_db(model, frequency_mhz, length_m), abs=1e-9
            )


@pytest.mark.parametrize("term", TERMS, ids=lambda t: f"{t.model.name} {t.frequency_mhz:g}")
@given(length_m=st.floats(0.1, 400.0), more_m=st.floats(0.0, 100.0))
def test_farther_is_never_louder(term, length_m, more_m):
    if length_m + more_m <= term.farthest_m:
        assert term.loss_db(length_m + more_m) >= term.loss_db(length_m) - 1e-9


@pytest.mark.parametrize("term", TERMS, ids=lambda t: f"{t.model.name} {t.frequency_mhz:g}")
@given(length_m=st.floats(1.0, 400.0))
def test_the_way_back_from_a_loss_is_the_distance(term, length_m):
    if length_m <= term.farthest_m:
        assert term.reach_m(term.loss_db(length_m)) == pytest.approx(length_m, rel=1e-9)


def test_a_range_that_ends_is_not_stretched():
    term = walls_inside_term(indoor_model("corridor", 5.0), 5210.0)
    with pytest.raises(OutsideModel, match="94 m"):
        term.loss_db(94.5)
    with pytest.raises(OutsideModel, match="94 m"):
        term.reach_m(term.loss_db(94.0) + 0.1)
    assert term.reach_m(term.loss_db(1.0) - 0.1) == 0.0


def test_open_air_turns_steep_beyond_the_break_point_of_two_rays():
    break_m = break_point_m(2.0, 3.0, 2437.0)
    term = open_air_term(2437.0, (2.0, 3.0))
    assert term.loss_db(10 * break_m) - term.loss_db(break_m) == pytest.approx(40.0)
    assert math.isinf(open_air_term(2437.0).break_m)

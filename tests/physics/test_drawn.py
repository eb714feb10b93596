"""The distance term for drawn walls: IEEE 802.11-14/0980 and plain laws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.drawn import (
    ENTERPRISE,
    RESIDENTIAL,
    DrawnModel,
    distance_loss_db,
    drawn_model,
    floors_loss_db,
)
from meshlint.physics.propagation import OutsideModel, free_space_loss_db

models = st.sampled_from((RESIDENTIAL, ENTERPRISE))
frequencies = st.floats(2400, 7125)

# (metres, walls) and the losses there, worked out apart from this code.
PLACES = ((5, 0), (10, 0), (10, 1), (20, 0), (20, 2), (30, 3))


@pytest.mark.parametrize(
    ("model", "frequency_mhz", "losses_db"),
    [
        (RESIDENTIAL, 2437, (54.16, 64.70, 69.70, 75.23, 85.23, 96.40)),
        (RESIDENTIAL, 5210, (60.76, 71.30, 76.30, 81.83, 91.83, 103.00)),
        (RESIDENTIAL, 6000, (61.99, 72.52, 77.52, 83.06, 93.06, 104.22)),
        (ENTERPRISE, 2437, (54.16, 60.18, 67.18, 70.72, 84.72, 97.88)),
        (ENTERPRISE, 5210, (60.76, 66.78, 73.78, 77.32, 91.32, 104.48)),
        (ENTERPRISE, 6000, (61.99, 68.01, 75.01, 78.54, 92.54, 105.71)),
    ],
)
def test_distance_and_walls(
    model: DrawnModel, frequency_mhz: float, losses_db: tuple[float, ...]
) -> None:
    """IEEE 802.11-14/0980 r16, scenarios 1 and 2."""
    for (length_m, walls), loss_db in zip(PLACES, losses_db, strict=True):
        found_db = distance_loss_db(model, frequency_mhz, length_m) + walls * model.wall_db
        assert found_db == pytest.approx(loss_db, abs=0.01)


@pytest.mark.parametrize(("floors", "loss_db"), [(0, 0), (1, 18.30), (2, 33.52), (3, 43.59)])
def test_floors_of_a_home(floors: int, loss_db: float) -> None:
    """The COST 231 form, 18.3 F^((F+2)/(F+1) - 0.46)."""
    assert floors_loss_db(RESIDENTIAL, floors) == pytest.approx(loss_db, abs=0.01)


def test_an_enterprise_floor_has_to_be_named() -> None:
    assert floors_loss_db(ENTERPRISE, 0) == 0
    with pytest.raises(OutsideModel, match="no floor term"):
        floors_loss_db(ENTERPRISE, 1)


def test_each_surroundings_word_has_its_distance_term() -> None:
    assert drawn_model("home") is RESIDENTIAL
    assert {drawn_model(word) for word in ("office", "commercial", "corridor", "industrial")} == {
        ENTERPRISE
    }
    with pytest.raises(OutsideModel, match="outdoors"):
        drawn_model("outdoors")


@given(models, frequencies, st.floats(1, 5))
def test_before_the_break_point_it_is_free_space(
    model: DrawnModel, frequency_mhz: float, length_m: float
) -> None:
    """40.05 dB at 2.4 GHz and 1 m is free space to a hundredth of a decibel (ITU-R P.525)."""
    found_db = distance_loss_db(model, frequency_mhz, length_m)
    assert found_db == pytest.approx(free_space_loss_db(length_m, frequency_mhz), abs=0.01)


@given(models, frequencies, st.floats(0, 200), st.floats(0, 200))
def test_farther_is_never_louder(
    model: DrawnModel, frequency_mhz: float, one_m: float, other_m: float
) -> None:
    near_m, far_m = sorted((one_m, other_m))
    near_db = distance_loss_db(model, frequency_mhz, near_m)
    assert distance_loss_db(model, frequency_mhz, far_m) >= near_db


def test_impossible_paths_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 0"):
        distance_loss_db(RESIDENTIAL, 2437, -1)
    with pytest.raises(ValueError, match="floors"):
        floors_loss_db(RESIDENTIAL, -1)

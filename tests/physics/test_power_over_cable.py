"""The power classes of IEEE 802.3, reproduced from voltage, current and resistance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.power_over_cable import CLASSES, arriving_w, loss_w

# IEEE 802.3 clauses 33 and 145 as public copies of the class table have it: class, watts of the
# source, watts of the unit, pairs.
TABLE = [
    (0, 15.4, 12.95, 2),
    (1, 4.0, 3.84, 2),
    (2, 7.0, 6.49, 2),
    (3, 15.4, 12.95, 2),
    (4, 30.0, 25.5, 2),
    (5, 45.0, 40.0, 4),
    (6, 60.0, 51.0, 4),
    (7, 75.0, 62.0, 4),
    (8, 90.0, 71.3, 4),
]

# Same source, by type: lowest volts of the source, most amperes in a pair set, ohms of a pair set.
TYPES = {1: (44, 0.35, 20.0), 2: (50, 0.6, 12.5), 3: (50, 0.6, 12.5), 4: (52, 0.96, 12.5)}


def type_of(number: int) -> int:
    return 1 if number <= 3 else 2 if number == 4 else 3 if number <= 6 else 4


@pytest.mark.parametrize(("number", "source_w", "unit_w", "_pairs"), TABLE)
def test_the_table_is_the_published_one(
    number: int, source_w: float, unit_w: float, _pairs: int
) -> None:
    assert (CLASSES[number].source_w, CLASSES[number].unit_w) == (source_w, unit_w)


@pytest.mark.parametrize(("number", "source_w", "unit_w", "pairs"), TABLE)
def test_what_arrives_follows_from_voltage_current_and_resistance(
    number: int, source_w: float, unit_w: float, pairs: int
) -> None:
    volts, amperes, ohms = TYPES[type_of(number)]
    ohms = ohms / (pairs // 2)
    current = source_w / volts
    assert current <= amperes * (pairs // 2) + 1e-9
    # The standard rounds class 5 up by 0.06 W; all others agree to 0.03 W.
    assert source_w - current**2 * ohms == pytest.approx(unit_w, abs=0.07)
    assert (CLASSES[number].lowest_v, CLASSES[number].resistance_ohm) == (volts, ohms)
    assert loss_w(number, 100) == pytest.approx(source_w - unit_w, abs=0.07)


def test_a_type_one_source_at_its_lowest_voltage_gives_15_4_watts() -> None:
    # 44 V times 350 mA, IEEE 802.3af.
    assert CLASSES[3].source_w == pytest.approx(44 * 0.350, abs=0.01)


@pytest.mark.parametrize(
    ("number", "length_m", "watts"),
    [
        (6, 25, 2.3),
        (6, 50, 4.5),
        (6, 75, 6.8),
        (6, 100, 9.0),
        (8, 25, 4.7),
        (8, 50, 9.4),
        (8, 75, 14.0),
        (8, 100, 18.7),
    ],
)
def test_loss_by_length(number: int, length_m: float, watts: float) -> None:
    # I^2 R by hand from the published figures, to the tenth.
    assert loss_w(number, length_m) == pytest.approx(watts, abs=0.051)


@given(st.sampled_from(sorted(CLASSES)), st.floats(0, 100))
def test_a_unit_gets_its_class_over_any_link_of_the_standard(number: int, length_m: float) -> None:
    assert arriving_w(number, length_m) == CLASSES[number].unit_w
    assert CLASSES[number].source_w - loss_w(number, length_m) >= CLASSES[number].unit_w - 0.07


@given(st.sampled_from(sorted(CLASSES)), st.floats(100, 5000), st.floats(0, 1000))
def test_a_longer_cable_never_brings_more(number: int, length_m: float, more_m: float) -> None:
    assert 0 <= arriving_w(number, length_m + more_m) <= arriving_w(number, length_m)

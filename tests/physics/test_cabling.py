"""What cables carry over which length, against the documents that say so."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.cabling import Reach, fastest_mbps, is_fibre, reach

RATES = (100, 1000, 2500, 5000, 10000, 25000, 40000)
COPPER = ("5", "5e", "6", "6a", "7", "7a", "8")
FIBRE = ("om1", "om2", "om3", "om4", "om5", "os1", "os2")

# category, Mb/s, metres without a test, metres with one; the document beside each.
PUBLISHED = [
    ("5", 100, 100, 100),  # IEEE 802.3 clause 25
    ("5e", 1000, 100, 100),  # IEEE 802.3 clause 40
    ("5e", 2500, 0, 100),  # IEEE 802.3bz with TIA TSB-5021: "defined use cases"
    ("5e", 5000, 0, 100),  # as above
    ("5e", 10000, 0, 0),  # TIA TSB-155
    ("6", 5000, 100, 100),  # objective of IEEE 802.3bz
    ("6", 10000, 37, 55),  # TIA TSB-155, ISO/IEC TR 24750
    ("6a", 10000, 100, 100),  # IEEE 802.3an
    ("8", 40000, 30, 30),  # IEEE 802.3bq
    ("8", 10000, 100, 100),
    ("om1", 1000, 220, 220),  # 1000BASE-SX, the shorter of its two figures
    ("om2", 1000, 550, 550),
    ("om2", 10000, 82, 82),  # 10GBASE-SR
    ("om3", 10000, 300, 300),
    ("om4", 10000, 400, 400),
    ("os2", 1000, 5000, 5000),  # 1000BASE-LX, the standard's own figure
    ("os2", 10000, 10000, 10000),  # 10GBASE-LR
]


@pytest.mark.parametrize(("category", "rate_mbps", "sure_m", "tested_m"), PUBLISHED)
def test_reaches_are_the_published_ones(
    category: str, rate_mbps: float, sure_m: float, tested_m: float
) -> None:
    assert reach(category, rate_mbps) == Reach(sure_m, tested_m)


@pytest.mark.parametrize(
    ("category", "optics", "rate_mbps", "longest_m"),
    [
        ("om3", "long-wave", 10000, 0),  # 10GBASE-LR has no multimode reach
        ("os2", "short-wave", 1000, 0),
        ("om2", "long-wave", 1000, 550),  # 1000BASE-LX with a mode-conditioning cord
    ],
)
def test_optics_that_do_not_suit_the_fibre_have_no_reach(
    category: str, optics: str, rate_mbps: float, longest_m: float
) -> None:
    assert reach(category, rate_mbps, optics) == Reach(longest_m, longest_m)


@given(st.sampled_from(COPPER + FIBRE), st.sampled_from(RATES), st.sampled_from(RATES))
def test_a_faster_rate_never_reaches_farther_but_on_long_wave_fibre(
    category: str, one: float, other: float
) -> None:
    slow, fast = sorted((one, other))
    if not category.startswith("os"):  # there the standard's 1 Gb/s stops at 5 km, 10 Gb/s at 10
        assert reach(category, fast) <= reach(category, slow)


@given(st.sampled_from(COPPER + FIBRE), st.floats(0, 20000))
def test_the_fastest_rate_to_count_on_is_one_that_reaches(category: str, length_m: float) -> None:
    rate = fastest_mbps(category, length_m)
    assert rate is not None
    if rate:
        assert length_m <= reach(category, rate).sure_m
    faster = [reach(category, r).sure_m for r in RATES if r > rate]
    assert all(length_m > sure_m or sure_m == 0 for sure_m in faster)


def test_of_other_categories_nothing_is_published() -> None:
    assert reach("9", 1000) is None
    assert fastest_mbps("3", 10) is None
    assert [category for category in COPPER + FIBRE if is_fibre(category)] == list(FIBRE)

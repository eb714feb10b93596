"""Circle geometry against Weisstein's closed form, random sampling and plain laws."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from meshlint.physics.circles import lens_area_m2, share_of_smaller, spacing_for_share_m

radii = st.floats(0.5, 200.0)
distances = st.floats(0.0, 500.0)

# Distance over radius of equal circles, and the share of one circle that the lens takes:
# (2 acos(x/2) - (x/2) sqrt(4 - x^2)) / pi, worked out apart from this code. The half-overlap
# distance 0.80794 is Weisstein's ("Circle-Circle Intersection"), from memory.
EQUAL_CIRCLES = (
    (0.0, 1.0),
    (0.5, 0.6850),
    (0.80794, 0.5),
    (1.0, 0.3910),
    (1.2, 0.2848),
    (1.3, 0.2351),
    (1.4, 0.1881),
    (1.41421, 0.1817),
    (1.5, 0.1443),
    (1.6, 0.1041),
    (1.7, 0.0681),
    (1.73205, 0.0577),
    (1.8, 0.0374),
    (1.9, 0.0133),
    (2.0, 0.0),
)


@pytest.mark.parametrize(("apart", "share"), EQUAL_CIRCLES)
def test_equal_circles_share_what_the_closed_form_says(apart: float, share: float) -> None:
    assert share_of_smaller(1, 1, apart) == pytest.approx(share, abs=1e-4)
    assert share_of_smaller(7, 7, 7 * apart) == pytest.approx(share, abs=1e-4)


def test_two_unit_circles_one_apart() -> None:
    """Documentation of an R package for Venn diagrams: 1.22837."""
    assert lens_area_m2(1, 1, 1) == pytest.approx(1.22837, abs=1e-5)


@pytest.mark.parametrize(
    ("share", "apart"),
    [
        (0.05, 1.7567),
        (0.10, 1.6108),
        (0.15, 1.4865),
        (0.20, 1.3741),
        (0.25, 1.2694),
        (0.30, 1.1703),
        (0.50, 0.8079),
    ],
)
def test_spacing_for_a_wanted_share(share: float, apart: float) -> None:
    assert spacing_for_share_m(1, 1, share) == pytest.approx(apart, abs=1e-4)


def test_the_ends_of_the_spacing() -> None:
    assert spacing_for_share_m(5, 2, 1) == 3
    assert spacing_for_share_m(5, 2, 0) == pytest.approx(7, abs=1e-4)


@pytest.mark.parametrize(("first", "second", "apart"), [(10, 10, 12), (10, 4, 9), (3, 12, 10.5)])
def test_sampling_finds_the_same_share(first: float, second: float, apart: float) -> None:
    source = random.Random(20_250_101)  # noqa: S311 - sampling, no secret
    smaller, larger = min(first, second), max(first, second)
    tries, inside = 40_000, 0
    for _ in range(tries):
        distance = smaller * math.sqrt(source.random())
        angle = source.uniform(0, 2 * math.pi)
        x, y = distance * math.cos(angle), distance * math.sin(angle)
        inside += math.hypot(x - apart, y) <= larger
    # Four standard deviations of a share measured with so many tries.
    assert share_of_smaller(first, second, apart) == pytest.approx(
        inside / tries, abs=4 * 0.5 / math.sqrt(tries)
    )


def test_a_circle_inside_another_is_wholly_shared() -> None:
    assert share_of_smaller(10, 3, 6.9) == 1
    assert lens_area_m2(10, 3, 0) == pytest.approx(9 * math.pi)


@given(radii, radii, distances)
def test_the_order_of_the_circles_does_not_matter(
    first: float, second: float, apart: float
) -> None:
    assert lens_area_m2(first, second, apart) == lens_area_m2(second, first, apart)


@given(radii, radii, distances)
def test_a_share_lies_between_none_and_all(first: float, second: float, apart: float) -> None:
    assert 0 <= share_of_smaller(first, second, apart) <= 1


@given(radii, radii, distances, distances)
def test_farther_apart_never_shares_more(
    first: float, second: float, one: float, other: float
) -> None:
    near, far = sorted((one, other))
    # Rounding of r^2 acos() in the larger circle is all that is allowed for.
    room = 1e-12 * max(first, second) ** 2
    assert lens_area_m2(first, second, far) <= lens_area_m2(first, second, near) + room


@given(radii, radii, st.floats(0.01, 0.99))
def test_spacing_is_the_inverse_of_the_share(first: float, second: float, share: float) -> None:
    assume(max(first, second) / min(first, second) < 50)
    apart = spacing_for_share_m(first, second, share)
    assert share_of_smaller(first, second, apart) == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize(("first", "second", "apart"), [(0, 1, 1), (1, -1, 1), (1, 1, -0.1)])
def test_impossible_circles_are_refused(first: float, second: float, apart: float) -> None:
    with pytest.raises(ValueError, match="circles need radii"):
        lens_area_m2(first, second, apart)


def test_an_impossible_share_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        spacing_for_share_m(1, 1, 1.2)

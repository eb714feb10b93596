"""How much two round cells share, in closed form.

Eric Weisstein, "Circle-Circle Intersection", MathWorld (the formula for the lens of two circles).
"Overlap" has no published definition for Wi-Fi: here it is always a share of *area*. The same
layout read by diameter or by union gives figures two to four times apart.
"""

from __future__ import annotations

import math


def lens_area_m2(first_radius_m: float, second_radius_m: float, apart_m: float) -> float:
    """Return the area in square metres that two circles have in common.

    The sum of the two circular segments on either side of the common chord. 0 when the circles
    stand apart or touch, the smaller circle's area when it lies inside the other.
    """
    if not (first_radius_m > 0 and second_radius_m > 0 and apart_m >= 0):
        message = (
            f"circles need radii above 0 and a distance of at least 0, not {first_radius_m}, "
            f"{second_radius_m}, {apart_m}"
        )
        raise ValueError(message)
    smaller_m, larger_m = sorted((first_radius_m, second_radius_m))
    smaller_m2 = math.pi * smaller_m**2
    if apart_m >= smaller_m + larger_m:
        return 0.0
    if apart_m <= larger_m - smaller_m:
        return smaller_m2
    area_m2 = _segment_m2(smaller_m, larger_m, apart_m) + _segment_m2(larger_m, smaller_m, apart_m)
    return min(max(area_m2, 0.0), smaller_m2)


def share_of_smaller(first_radius_m: float, second_radius_m: float, apart_m: float) -> float:
    """Return the share (0 to 1) of the smaller circle's area that the other circle covers."""
    smaller_m = min(first_radius_m, second_radius_m)
    return lens_area_m2(first_radius_m, second_radius_m, apart_m) / (math.pi * smaller_m**2)


def spacing_for_share_m(first_radius_m: float, second_radius_m: float, share: float) -> float:
    """Return the distance in metres between centres at which `share_of_smaller` equals ``share``.

    The share falls steadily with distance, so bisection finds it to the last bit. For a share of
    1 the largest such distance is given, for 0 the smallest.
    """
    if not 0 <= share <= 1:
        message = f"a share lies between 0 and 1, not {share}"
        raise ValueError(message)
    near_m, far_m = abs(first_radius_m - second_radius_m), first_radius_m + second_radius_m
    if share == 1:
        return near_m
    while near_m < (middle_m := (near_m + far_m) / 2) < far_m:
        if share_of_smaller(first_radius_m, second_radius_m, middle_m) > share:
            near_m = middle_m
        else:
            far_m = middle_m
    return far_m


def _segment_m2(radius_m: float, other_radius_m: float, apart_m: float) -> float:
    """Return the part of a circle that lies beyond the chord it shares with the other circle."""
    chord_from_centre_m = (apart_m**2 + radius_m**2 - other_radius_m**2) / (2 * apart_m)
    half_angle = math.acos(min(1.0, max(-1.0, chord_from_centre_m / radius_m)))
    return radius_m**2 * (half_angle - math.sin(half_angle) * math.cos(half_angle))

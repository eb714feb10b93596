"""Open-air paths: how wide the line of sight has to be clear, and how far free space holds."""

from __future__ import annotations

import math
from typing import Final

from meshlint.physics.propagation import SPEED_OF_LIGHT_M_S, free_space_loss_db

# Share of the first Fresnel zone's radius that has to stay clear for the loss to be that of free
# space. ITU-R P.530 (path clearance) and P.526; the figure is from memory.
CLEAR_SHARE: Final = 0.6

_NO_DIFFRACTION_BELOW: Final = -0.78  # ITU-R P.526: the approximation holds above this


def wavelength_m(frequency_mhz: float) -> float:
    """Return the wavelength in metres."""
    if not frequency_mhz > 0:
        message = f"a frequency is above 0, not {frequency_mhz}"
        raise ValueError(message)
    return SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6)


def fresnel_radius_m(near_m: float, far_m: float, frequency_mhz: float) -> float:
    """Return the first Fresnel zone's radius in metres at a place on a path.

    sqrt(lambda d1 d2 / (d1 + d2)), d1 and d2 being the distances to the two ends (ITU-R P.526-8,
    2, eq. (2)). 0 at the ends themselves.
    """
    if not (near_m >= 0 and far_m >= 0 and near_m + far_m > 0):
        message = f"distances to the ends are at least 0 and not both 0, not {near_m}, {far_m}"
        raise ValueError(message)
    return math.sqrt(wavelength_m(frequency_mhz) * near_m * far_m / (near_m + far_m))


def obstacle_loss_db(
    clearance_m: float, near_m: float, far_m: float, frequency_mhz: float
) -> float:
    """Return the loss in dB that one sharp-edged obstacle adds to an open-air path.

    ``clearance_m`` is how far the edge stays below the line of sight (negative when it stands
    above). Single knife edge of ITU-R P.526, 4.1 (from memory): with v = -sqrt(2) clearance /
    Fresnel radius, J = 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1), and nothing for v below
    -0.78, which is why 0.6 of the radius is clearance enough. A rounded obstacle loses more.
    """
    radius_m = fresnel_radius_m(near_m, far_m, frequency_mhz)
    if radius_m == 0:
        message = "an obstacle stands between the ends of a path, not at one"
        raise ValueError(message)
    v = -math.sqrt(2) * clearance_m / radius_m
    if v <= _NO_DIFFRACTION_BELOW:
        return 0.0
    return max(0.0, 6.9 + 20 * math.log10(math.hypot(v - 0.1, 1) + v - 0.1))


def break_point_m(one_height_m: float, other_height_m: float, frequency_mhz: float) -> float:
    """Return the distance in metres beyond which the ground's reflection rules the loss.

    4 h1 h2 / lambda, the break point of the two-ray model as ITU-R P.1411 takes it (from memory).
    Heights are above the ground between the two ends.
    """
    if not (one_height_m > 0 and other_height_m > 0):
        message = f"heights above ground are above 0, not {one_height_m}, {other_height_m}"
        raise ValueError(message)
    return 4 * one_height_m * other_height_m / wavelength_m(frequency_mhz)


def open_air_loss_db(
    length_m: float, frequency_mhz: float, heights_m: tuple[float, float] | None = None
) -> float:
    """Return the loss in dB of a clear open-air path.

    Free space (ITU-R P.525); where both heights above ground are known, 40 dB a decade beyond the
    two-ray break point instead of 20. An envelope: nearer than the break point the two rays add
    and cancel by several dB, which is not modelled.
    """
    loss_db = free_space_loss_db(length_m, frequency_mhz)
    if heights_m is None:
        return loss_db
    break_m = break_point_m(*heights_m, frequency_mhz)
    return loss_db + 20 * math.log10(max(length_m / break_m, 1.0))

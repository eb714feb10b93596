"""What an antenna gives away from its best direction, by the widths of its beam."""

from __future__ import annotations

import math
from typing import Final

from msgspec import Struct

# Published patterns of single antennas stop here, whatever lies behind them.
MOST_LOST_DB: Final = 30.0

ALL_ROUND_DEG: Final = 360.0
ALL_HEIGHTS_DEG: Final = 180.0

HALF_POWER_DB: Final = 3.0
AT_ONE_WIDTH_DB: Final = 4 * HALF_POWER_DB  # a parabola, with half power at half the width

Direction = tuple[float, float, float]
"""East, north and up, of any length."""


class Beam(Struct, frozen=True):
    """An antenna's half-power beam and where it points.

    `width_deg` and `height_deg` are the full angles between the directions of half power, across
    and up and down as the antenna hangs; 360 and 180 stand for no beam at all. `bearing_deg` counts
    clockwise from north, seen from above, `tilt_deg` upwards from the horizon.
    """

    width_deg: float
    height_deg: float
    bearing_deg: float
    tilt_deg: float

    @property
    def axes(self) -> tuple[Direction, Direction, Direction]:
        """Return the directions ahead of it, to its right and above it: unit vectors.

        The turn of 3GPP TR 38.901, 7.1: the antenna's own axes are turned and tilted with it.
        """
        bearing, tilt = math.radians(self.bearing_deg), math.radians(self.tilt_deg)
        east, north = math.sin(bearing), math.cos(bearing)
        return (
            (east * math.cos(tilt), north * math.cos(tilt), math.sin(tilt)),
            (north, -east, 0.0),
            (-east * math.sin(tilt), -north * math.sin(tilt), math.cos(tilt)),
        )

    def off_axis_deg(self, way: Direction) -> tuple[float, float]:
        """Return how far to the right of its axis a direction lies, and how far above.

        As the antenna sees it: across counts to 180 degrees either way, above to 90.
        """
        ahead, right, above = (
            sum(a * b for a, b in zip(axis, way, strict=True)) for axis in self.axes
        )
        return (
            math.degrees(math.atan2(right, ahead)),
            math.degrees(math.atan2(above, math.hypot(ahead, right))),
        )

    def lost_db(self, way: Direction) -> float:
        """Return what it gives less in a direction than in its best one."""
        across_deg, above_deg = self.off_axis_deg(way)
        return off_axis_loss_db(across_deg, above_deg, self)


def off_axis_loss_db(across_deg: float, above_deg: float, beam: Beam) -> float:
    """Return what a beam gives less so far off its axis than along it, in dB.

    3GPP TR 38.901, Table 7.3-1 (second-hand): 12 (angle / width)^2, held to 30 dB, across and in
    height, added and held to 30 dB together. 3 dB at half the width. The table gives 65 degrees
    for both widths of one element; that the same parabola serves other widths near their axis is
    how TR 36.814 and ITU-R F.1336 have it (from memory). Side lobes and nulls are not in it.
    """
    return min(
        lobe_db(across_deg, beam.width_deg, ALL_ROUND_DEG)
        + lobe_db(above_deg, beam.height_deg, ALL_HEIGHTS_DEG),
        MOST_LOST_DB,
    )


def lobe_db(off_deg: float, width_deg: float, whole_deg: float) -> float:
    """Return the loss in one plane; none for an antenna whose beam fills the whole plane."""
    if width_deg >= whole_deg:
        return 0.0
    return min(AT_ONE_WIDTH_DB * (off_deg / width_deg) ** 2, MOST_LOST_DB)

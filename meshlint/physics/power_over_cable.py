"""Power over Ethernet: what a class takes at its source, loses in the cable and leaves at the unit.

IEEE 802.3 clauses 33 and 145 (clause 145 from memory). The table was seen in public copies; the
loss is the standard's own worst case, I = P / V at the source's lowest voltage through the
highest resistance that a link may have, and gives the table's last column from the others.
"""

from __future__ import annotations

from typing import Final, NamedTuple

LINK_M: Final = 100.0
"""Length of the link whose resistance the standard bounds, in metres."""


class PowerClass(NamedTuple):
    """One power class: watts at either end, and the worst link between them."""

    source_w: float
    """What the source must be able to give."""
    unit_w: float
    """What the unit may draw at most."""
    lowest_v: float
    resistance_ohm: float
    """Round trip over all pairs in use, of a link of 100 m."""


CLASSES: Final[dict[int, PowerClass]] = {
    0: PowerClass(15.4, 12.95, 44, 20),
    1: PowerClass(4.0, 3.84, 44, 20),
    2: PowerClass(7.0, 6.49, 44, 20),
    3: PowerClass(15.4, 12.95, 44, 20),
    4: PowerClass(30.0, 25.5, 50, 12.5),
    # From class 5 on all four pairs carry, which halves the resistance.
    5: PowerClass(45.0, 40.0, 50, 6.25),
    6: PowerClass(60.0, 51.0, 50, 6.25),
    7: PowerClass(75.0, 62.0, 52, 6.25),
    8: PowerClass(90.0, 71.3, 52, 6.25),
}


def loss_w(power_class: int, length_m: float) -> float:
    """Return the most that a cable may lose at the class's full power, in watts.

    `length_m` is the length in metres; the loss grows with it in proportion. Real category 6 loses
    far less. Raises `KeyError` for a class that is not from 0 to 8.
    """
    row = CLASSES[power_class]
    current_a = row.source_w / row.lowest_v
    return current_a**2 * row.resistance_ohm * length_m / LINK_M


def arriving_w(power_class: int, length_m: float) -> float:
    """Return what a unit may count on at the end of a cable, in watts.

    The class's own figure up to 100 m, and beyond that what the loss leaves. Raises `KeyError` for
    a class that is not from 0 to 8.
    """
    row = CLASSES[power_class]
    if length_m <= LINK_M:
        return row.unit_w
    return max(0.0, min(row.unit_w, row.source_w - loss_w(power_class, length_m)))

"""How much a radio signal loses on a site whose walls are drawn: distance first, walls apart.

The distance term of the IEEE 802.11ax task group's simulation scenarios, document IEEE
802.11-14/0980 (r16): free space up to a break point, then 35 dB a decade. Walls and floors are
counted one by one on top, so this is the model to use beside drawn walls, and the walls-inside
models of `propagation` are not.

The document was not read: formula, break point and wall figures were seen in public simulators
that cite it. The spread of 5 dB (log-normal, both scenarios) is from memory.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.propagation import NEAREST_M, OutsideModel

if TYPE_CHECKING:
    from meshlint.physics.propagation import Status, Surroundings

_LOSS_AT_ONE_METRE_DB: Final = 40.05  # at the reference frequency: free space, as published
_REFERENCE_MHZ: Final = 2400.0
FAR_SLOPE_DB: Final = 35.0
_FLOOR_DB: Final = 18.3


class DrawnModel(Struct, frozen=True):
    """A distance term with what one wall costs when nothing more is known of it.

    ``has_floor_term`` tells whether the scenario publishes a floor loss.
    """

    name: str
    break_m: float
    wall_db: float
    has_floor_term: bool
    sigma_db: float
    source: str
    status: Status


RESIDENTIAL: Final = DrawnModel(
    name="residential, walls drawn",
    break_m=5.0,
    wall_db=5.0,
    has_floor_term=True,
    sigma_db=5.0,
    source="IEEE 802.11-14/0980 r16, scenario 1 (residential)",
    status="seen in part",
)
ENTERPRISE: Final = DrawnModel(
    name="enterprise, walls drawn",
    break_m=10.0,
    wall_db=7.0,
    has_floor_term=False,
    sigma_db=5.0,
    source="IEEE 802.11-14/0980 r16, scenario 2 (enterprise), p. 19",
    status="seen in part",
)

_BY_SURROUNDINGS: Final[dict[str, DrawnModel]] = {
    "home": RESIDENTIAL,
    "office": ENTERPRISE,
    "commercial": ENTERPRISE,
    "corridor": ENTERPRISE,
    "industrial": ENTERPRISE,
}


def drawn_model(surroundings: Surroundings) -> DrawnModel:
    """Return the distance term for a surroundings word of the site file.

    The residential scenario for homes; the enterprise scenario, which has open rooms with
    furniture in mind, for every other roofed place: nothing nearer is published. Raises
    OutsideModel outdoors, where free space holds.
    """
    model = _BY_SURROUNDINGS.get(surroundings)
    if model is None:
        message = f"no distance term for drawn walls is published for {surroundings}"
        raise OutsideModel(message)
    return model


def distance_loss_db(model: DrawnModel, frequency_mhz: float, length_m: float) -> float:
    """Return the distance term in dB, with no wall or floor in it.

    40.05 + 20 log10(f/2.4 GHz) + 20 log10 min(d, break) + 35 log10(d/break) beyond the break
    point; d is the three-dimensional distance, held to at least 1 m.
    """
    if not (length_m >= 0 and frequency_mhz > 0):
        message = (
            f"a path needs a length of at least 0 and a frequency above 0, "
            f"not {length_m}, {frequency_mhz}"
        )
        raise ValueError(message)
    held_m = max(length_m, NEAREST_M)
    return (
        _LOSS_AT_ONE_METRE_DB
        + 20 * math.log10(frequency_mhz / _REFERENCE_MHZ)
        + 20 * math.log10(min(held_m, model.break_m))
        + FAR_SLOPE_DB * math.log10(max(held_m / model.break_m, 1.0))
    )


def floors_loss_db(model: DrawnModel, floors: int) -> float:
    """Return what crossing so many floors costs in dB when no slab is named.

    18.3 F^((F+2)/(F+1) - 0.46), the form of COST 231. Raises OutsideModel for the enterprise
    scenario, which publishes none: name the slab instead.
    """
    if floors < 0:
        message = f"floors crossed cannot be {floors}"
        raise ValueError(message)
    if floors == 0:
        return 0.0
    if not model.has_floor_term:
        message = f"{model.source} has no floor term: name the material and thickness of the floor"
        raise OutsideModel(message)
    return float(_FLOOR_DB * floors ** ((floors + 2) / (floors + 1) - 0.46))

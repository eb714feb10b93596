"""The part of a path's loss that hangs on distance alone, at one frequency.

Every published model that the project uses is a straight line, or two of them, over the logarithm
of the distance. `DistanceTerm` holds such a line, so that one place, a whole raster of places and
the way back from a loss to a distance all use the same numbers.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.drawn import (
    FAR_SLOPE_DB,
    DrawnModel,
    distance_loss_db,
    floors_loss_db,
)
from meshlint.physics.outdoors import break_point_m
from meshlint.physics.propagation import (
    FREE_SPACE,
    NEAREST_M,
    OutsideModel,
    floor_loss_db,
    free_space_loss_db,
    path_loss_db,
)

if TYPE_CHECKING:
    from meshlint.physics.propagation import PathModel

_NEAR_SLOPE_DB = 20.0
_BEYOND_BREAK_DB = 40.0  # two-ray: the ground's reflection rules, 40 dB a decade


class DistanceTerm(Struct, frozen=True):
    """Loss = ``at_one_metre_db + near_slope_db log10 d`` to the break, steeper beyond it.

    ``model`` is what it was made from. ``sigma_db`` is the published spread, None where none is.
    ``nearest_m``: nearer places lose as much as places there.
    """

    model: PathModel | DrawnModel
    frequency_mhz: float
    at_one_metre_db: float
    near_slope_db: float
    nearest_m: float = NEAREST_M
    farthest_m: float = math.inf
    break_m: float = math.inf
    far_slope_db: float = 0.0

    @property
    def walls_inside(self) -> bool:
        """Whether ordinary walls are part of the model, so that none may be added."""
        return not isinstance(self.model, DrawnModel) and self.model is not FREE_SPACE

    @property
    def sigma_db(self) -> float | None:
        """The published spread from place to place in dB."""
        return self.model.sigma_db

    def loss_db(self, length_m: float) -> float:
        """Return the loss in dB; raises OutsideModel beyond the model's published range."""
        if length_m > self.farthest_m:
            message = f"{length_m:.1f} m is beyond the {self.farthest_m:g} m of {self.model.source}"
            raise OutsideModel(message)
        held_m = max(length_m, self.nearest_m)
        return (
            self.at_one_metre_db
            + self.near_slope_db * math.log10(min(held_m, self.break_m))
            + self.far_slope_db * math.log10(max(held_m / self.break_m, 1.0))
        )

    def reach_m(self, loss_db: float) -> float:
        """Return the distance in metres at which the loss is reached.

        0.0 where even the nearest place loses more. Raises OutsideModel where the far edge of the
        published range loses less.
        """
        spare_db = loss_db - self.at_one_metre_db
        length_m: float = 10.0 ** (spare_db / self.near_slope_db)
        if length_m > self.break_m:
            beyond_db = spare_db - self.near_slope_db * math.log10(self.break_m)
            length_m = self.break_m * 10.0 ** (beyond_db / self.far_slope_db)
        if length_m < self.nearest_m * (1 - 1e-12):
            return 0.0
        if length_m > self.farthest_m * (1 + 1e-12):
            message = (
                f"a loss of {loss_db:.1f} dB lies beyond the {self.farthest_m:g} m of "
                f"{self.model.source}"
            )
            raise OutsideModel(message)
        return length_m

    def floors_db(self, floors: int) -> float:
        """Return the published loss of crossing so many floors of which nothing is known."""
        if isinstance(self.model, DrawnModel):
            return floors_loss_db(self.model, floors)
        return floor_loss_db(self.model, floors)


@lru_cache(256)
def walls_inside_term(model: PathModel, frequency_mhz: float) -> DistanceTerm:
    """Return the term of a model of `propagation` (ITU-R P.1238, or P.525 free space)."""
    edge_db = path_loss_db(model, frequency_mhz, model.nearest_m)
    return DistanceTerm(
        model,
        frequency_mhz,
        edge_db - model.slope_db * math.log10(model.nearest_m),
        model.slope_db,
        model.nearest_m,
        model.farthest_m,
    )


@lru_cache(256)
def drawn_term(model: DrawnModel, frequency_mhz: float) -> DistanceTerm:
    """Return the term of IEEE 802.11-14/0980, to which drawn walls are added one by one."""
    return DistanceTerm(
        model,
        frequency_mhz,
        distance_loss_db(model, frequency_mhz, NEAREST_M),
        _NEAR_SLOPE_DB,
        break_m=model.break_m,
        far_slope_db=FAR_SLOPE_DB,
    )


@lru_cache(256)
def open_air_term(
    frequency_mhz: float, heights_m: tuple[float, float] | None = None
) -> DistanceTerm:
    """Return free space, with the two-ray break point where both heights are known.

    The same loss as `outdoors.open_air_loss_db`, which says what it leaves out.
    """
    at_one_metre_db = free_space_loss_db(NEAREST_M, frequency_mhz)
    if heights_m is None:
        return DistanceTerm(FREE_SPACE, frequency_mhz, at_one_metre_db, _NEAR_SLOPE_DB)
    return DistanceTerm(
        FREE_SPACE,
        frequency_mhz,
        at_one_metre_db,
        _NEAR_SLOPE_DB,
        break_m=max(break_point_m(*heights_m, frequency_mhz), NEAREST_M),
        far_slope_db=_BEYOND_BREAK_DB,
    )

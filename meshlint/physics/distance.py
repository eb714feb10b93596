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
from msgspec.structs import replace

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
    SITE_GENERAL,
    OutsideModel,
    floor_loss_db,
    free_space_loss_db,
    indoor_model,
    path_loss_db,
)

if TYPE_CHECKING:
    from meshlint.physics.propagation import PathModel, Surroundings

NEAR_SLOPE_DB = 20.0  # free space
_BEYOND_BREAK_DB = 40.0  # two-ray: the ground's reflection rules, 40 dB a decade

GUIDED_DB = 6.0
"""How much less than free space a published row in sight may lose: walls guide a signal along a
corridor or a room, but two like paths that add in phase gain no more than this. Our convention."""


class DistanceTerm(Struct, frozen=True):
    """Loss = ``at_one_metre_db + near_slope_db log10 d`` to the break, steeper beyond it.

    ``model`` is what it was made from. ``sigma_db`` is the published spread, None where none is.
    ``nearest_m`` is where the published range begins: from there inwards the loss falls as that of
    free space does, so that a nearer unit is always the louder one. ``beyond`` serves where the
    range ends; without it there is no answer there.
    """

    model: PathModel | DrawnModel
    frequency_mhz: float
    at_one_metre_db: float
    near_slope_db: float
    nearest_m: float = NEAREST_M
    farthest_m: float = math.inf
    break_m: float = math.inf
    far_slope_db: float = 0.0
    beyond: DistanceTerm | None = None

    @property
    def walls_inside(self) -> bool:
        """Whether ordinary walls are part of the model, so that none may be added."""
        return not isinstance(self.model, DrawnModel) and not self.in_sight

    @property
    def in_sight(self) -> bool:
        """Whether it is for ends that see each other."""
        return not isinstance(self.model, DrawnModel) and self.model.in_sight

    def at(self, length_m: float) -> DistanceTerm:
        """Return the term that serves at a distance: this one, or the one beyond its range."""
        if self.beyond is not None and length_m > self.farthest_m:
            return self.beyond
        return self

    @property
    def sigma_db(self) -> float | None:
        """The published spread from place to place in dB."""
        return self.model.sigma_db

    def loss_db(self, length_m: float) -> float:
        """Return the loss in dB; raises OutsideModel beyond the model's published range."""
        if length_m > self.farthest_m:
            if self.beyond is not None:
                return self.beyond.loss_db(length_m)
            message = f"{length_m:.1f} m is beyond the {self.farthest_m:g} m of {self.model.source}"
            raise OutsideModel(message)
        held_m = max(length_m, self.nearest_m)
        nearer = min(max(length_m, NEAREST_M) / self.nearest_m, 1.0)
        return (
            self.at_one_metre_db
            + self.near_slope_db * math.log10(min(held_m, self.break_m))
            + self.far_slope_db * math.log10(max(held_m / self.break_m, 1.0))
            + NEAR_SLOPE_DB * math.log10(nearer)
        )

    def reach_m(self, loss_db: float) -> float:
        """Return the distance in metres at which the loss is reached.

        0.0 where even a place at 1 m loses more. Raises OutsideModel where the far edge of the
        published range loses less.
        """
        spare_db = loss_db - self.at_one_metre_db
        length_m: float = 10.0 ** (spare_db / self.near_slope_db)
        if length_m > self.break_m:
            beyond_db = spare_db - self.near_slope_db * math.log10(self.break_m)
            length_m = self.break_m * 10.0 ** (beyond_db / self.far_slope_db)
        if length_m < self.nearest_m * (1 - 1e-12):
            edge_db = self.loss_db(self.nearest_m)
            nearer_m: float = self.nearest_m * 10.0 ** ((loss_db - edge_db) / NEAR_SLOPE_DB)
            return nearer_m if nearer_m >= NEAREST_M * (1 - 1e-12) else 0.0
        if length_m > self.farthest_m * (1 + 1e-12):
            if self.beyond is not None:
                return max(self.beyond.reach_m(loss_db), self.farthest_m)
            message = (
                f"a loss of {loss_db:.1f} dB lies beyond the {self.farthest_m:g} m of "
                f"{self.model.source}"
            )
            raise OutsideModel(message)
        return length_m

    @property
    def alone(self) -> DistanceTerm:
        """Return the term without the one that serves beyond its range."""
        return replace(self, beyond=None)

    def leaving(self, roofed_m: float) -> DistanceTerm:
        """Return the term of a path of which only so many metres are under this roof.

        Beyond the building there is open air, so the whole way loses as much as free space does,
        and on top what the stretch inside loses more than free space of that length.
        """
        held_m = max(roofed_m, self.nearest_m)
        inside = self.at(held_m)
        air = open_air_term(self.frequency_mhz)
        more_db = inside.loss_db(held_m) - air.loss_db(held_m) if roofed_m > 0 else 0.0
        return DistanceTerm(
            inside.model,
            self.frequency_mhz,
            air.at_one_metre_db + more_db,
            air.near_slope_db,
        )

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
def indoor_term(surroundings: Surroundings, band: float, frequency_mhz: float) -> DistanceTerm:
    """Return the term under a roof where nobody has drawn the walls, which are inside the model.

    Offices have figures of a newer edition, with a spread that was seen: the row without line of
    sight of P.1238-11 serves inside its range, and the coefficient form of `indoor_model` beyond.
    """
    older = walls_inside_term(indoor_model(surroundings, band), frequency_mhz)
    if surroundings != "office":
        return older
    row = SITE_GENERAL["office", "no line of sight"]
    model = replace(row, floors_db=older.model.floors_db)  # type: ignore[union-attr]
    return replace(walls_inside_term(model, frequency_mhz), beyond=older)


@lru_cache(256)
def sight_term(surroundings: Surroundings, frequency_mhz: float) -> DistanceTerm:
    """Return the term of two ends under a roof that see each other.

    The row in sight of P.1238-11 inside its range, but never less than free space less
    `GUIDED_DB`; free space beyond it, and where there is no row (homes, commercial rooms).
    """
    air = open_air_term(frequency_mhz)
    row = SITE_GENERAL.get((surroundings, "line of sight"))
    if row is None:
        return air
    term = walls_inside_term(row, frequency_mhz)
    least_db = air.at_one_metre_db - GUIDED_DB
    steeper_db = term.near_slope_db - air.near_slope_db
    # Two straight lines over log d: they meet once, and the greater loss counts on either side.
    break_m = 10.0 ** ((least_db - term.at_one_metre_db) / steeper_db)
    lines = ((term.at_one_metre_db, term.near_slope_db), (least_db, air.near_slope_db))
    (near_db, near_slope_db), (_, far_slope_db) = lines if steeper_db < 0 else lines[::-1]
    return DistanceTerm(
        row,
        frequency_mhz,
        near_db,
        near_slope_db,
        row.nearest_m,
        row.farthest_m,
        max(break_m, NEAREST_M),
        far_slope_db,
        beyond=air,
    )


@lru_cache(256)
def drawn_term(model: DrawnModel, frequency_mhz: float) -> DistanceTerm:
    """Return the term of IEEE 802.11-14/0980, to which drawn walls are added one by one."""
    return DistanceTerm(
        model,
        frequency_mhz,
        distance_loss_db(model, frequency_mhz, NEAREST_M),
        NEAR_SLOPE_DB,
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
        return DistanceTerm(FREE_SPACE, frequency_mhz, at_one_metre_db, NEAR_SLOPE_DB)
    return DistanceTerm(
        FREE_SPACE,
        frequency_mhz,
        at_one_metre_db,
        NEAR_SLOPE_DB,
        break_m=max(break_point_m(*heights_m, frequency_mhz), NEAREST_M),
        far_slope_db=_BEYOND_BREAK_DB,
    )

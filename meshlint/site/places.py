"""Where things are: on the globe, in buildings, and on the plan of a level.

The part of the site model that could be drawn; `model.py` has the rest, and how records are made.
"""

from typing import Literal

from msgspec import Struct

Band = float
Metres = tuple[float, float]
Surroundings = Literal["home", "office", "commercial", "corridor", "industrial", "outdoors"]


class GeoPlace(Struct, frozen=True):
    """A point on the globe, degrees, WGS 84."""

    latitude: float
    longitude: float


class Building(Struct, frozen=True):
    """A building, and the electrical service that feeds it."""

    name: str
    electrical_service: str | None = None


class Wall(Struct, frozen=True):
    """A wall as a line on the plan: a material and thickness, or a measured loss."""

    path_m: tuple[Metres, ...]
    material: str | None = None
    thickness_mm: float | None = None
    loss_db: float | None = None


class Obstacle(Struct, frozen=True):
    """Something that fills an outline on the plan and takes a measured loss."""

    outline_m: tuple[Metres, ...]
    loss_db: float


class Slab(Struct, frozen=True):
    """The floor under a level, or the shell round it: a material and thickness, or a loss."""

    material: str | None = None
    thickness_mm: float | None = None
    loss_db: float | None = None


class Level(Struct, frozen=True):
    """One storey, with its plan in metres on the site's own grid."""

    name: str
    building: str | None = None
    base_m: float | None = None
    ceiling_m: float | None = None
    surroundings: Surroundings | None = None
    floor: Slab | None = None
    floor_openings: tuple[str, ...] | None = None
    shell: Slab | None = None
    outline_m: tuple[Metres, ...] | None = None
    walls: tuple[Wall, ...] | None = None
    obstacles: tuple[Obstacle, ...] | None = None


class Area(Struct, frozen=True):
    """A named part of a level that must be covered, and how well."""

    name: str
    level: str
    outline_m: tuple[Metres, ...]
    target_dbm: float | None = None
    band: Band | None = None


class Position(Struct, frozen=True):
    """A point on a level's plan; height counts from that level's floor."""

    x_m: float
    y_m: float
    level: str | None = None
    height_m: float | None = None

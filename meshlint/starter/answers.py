"""What somebody said of a site that has no file yet; what they skipped is `None`."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct


class Kind(Struct, frozen=True):
    """What the place is, as people call it, the surroundings that stand for it, and its country."""

    word: str | None = None
    surroundings: str | None = None
    country: str | None = None


class Storeys(Struct, frozen=True):
    """The storeys from the ground up, one above the other; lengths in metres."""

    levels: tuple[str, ...]
    width_m: float | None = None
    depth_m: float | None = None
    rise_m: float | None = None


class Rooms(Struct, frozen=True):
    """How each storey is parted, by so many columns and rows, and what parts it.

    `open_plan` is `None` where there are rooms and nobody said how many.
    """

    columns: int = 0
    rows: int = 0
    open_plan: bool | None = None
    inside: str | None = None
    outside: str | None = None
    between_storeys: str | None = None


class Spot(Struct, frozen=True):
    """A place on a plan, in metres."""

    x_m: float
    y_m: float
    level: str | None = None


class Ground(Struct, frozen=True):
    """Where things can be: the levels that there are, and the middle of each room."""

    levels: tuple[str, ...] = ()
    rooms: dict[str, Spot] = {}


class NewUnit(Struct, frozen=True):
    """A unit: what it is like or its model, and where it stands."""

    name: str
    like: str | None = None
    model: str | None = None
    at: Spot | None = None


class Line(Struct, frozen=True):
    """Where the internet enters, and the rates of the line in Mb/s."""

    enters_at: str
    down_mbps: float | None = None
    up_mbps: float | None = None


class Join(Struct, frozen=True):
    """How two units are joined, or the way of a cable between them that is laid or possible.

    A link over radio may say which radio it uses at each end.
    """

    one: str
    other: str
    over: Literal["cable", "coax", "powerline", "radio"] | None = None
    state: Literal["laid", "possible"] | None = None
    one_radio: str | None = None
    other_radio: str | None = None
    category: str | None = None
    length_m: float | None = None


class Joins(Struct, frozen=True):
    """All joins, and whether a cable can run nowhere else."""

    joins: tuple[Join, ...] = ()
    nowhere_else: bool = False


class Group(Struct, frozen=True):
    """So many devices of a sort, and where they are used or plugged in."""

    name: str
    count: int
    near: str | None = None
    room: str | None = None
    wired_to: str | None = None
    use: str | None = None


class Heard(Struct, frozen=True):
    """A network of others, as a scan at a unit heard it."""

    unit: str
    band_ghz: float
    channel: int
    level_dbm: float


class Answers(Struct):
    """All that was said, question by question."""

    kind: Kind | None = None
    storeys: Storeys | None = None
    rooms: Rooms | None = None
    units: tuple[NewUnit, ...] | None = None
    internet: Line | None = None
    backhaul: Joins | None = None
    clients: tuple[Group, ...] | None = None
    neighbours: tuple[Heard, ...] | None = None

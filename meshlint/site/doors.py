"""Doors between rooms: stretches of a wall that are of something else than the wall."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from meshlint.site.rooms import RoomsError, lengths_um

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.rooms import Edge, Plan

Raw = dict[str, Any]

_USUAL_UM = 900_000
"""Width of a door of which nobody says how wide it is: common practice."""
_OFF_UM = 500_000
"""So far from the wall may a door be drawn: a plan is drawn no finer."""


class Door(Struct, frozen=True):
    """A door: the stretch of wall that it takes, in micrometres."""

    start: tuple[int, int]
    end: tuple[int, int]


def doors_of(plan: Plan, entries: Iterable[Raw]) -> list[Door]:
    """Return the doors of a level; raise `RoomsError` for one that no wall can hold.

    The error says where in the list of doors.
    """
    found: list[Door] = []
    for position, entry in enumerate(entries):
        door = _door(plan, entry, (position,))
        if any(_overlap(door, other) for other in found):
            raise RoomsError((position,), "this door lies partly where another one is")
        found.append(door)
    return found


def parted(walls: Iterable[Edge], doors: list[Door]) -> Iterator[Edge]:
    """Yield the walls with the doors cut out of them."""
    for start, end in walls:
        inside = sorted((door.start, door.end) for door in doors if _is_in(door, (start, end)))
        corners = [start, *(corner for door in inside for corner in door), end]
        yield from (
            (one, other)
            for at, (one, other) in enumerate(pairwise(corners))
            if at % 2 == 0 and one != other
        )


def _door(plan: Plan, entry: Raw, at: Pointer) -> Door:
    names = [str(name) for name in entry["between"]]
    for place, name in enumerate(names):
        if name not in plan.rooms():
            raise RoomsError((*at, "between", place), "there is no room of this name on this level")
    shared = plan.shared(*names)
    if not shared:
        raise RoomsError((*at, "between"), "these two rooms share no wall that a door could be in")
    wide = _USUAL_UM
    if entry.keys() & {"width_m", "width_ft"}:
        (wide,) = lengths_um(entry, "width", at)
    if entry.keys() & {"at_m", "at_ft"}:
        x, y = lengths_um(entry, "at", at)
        wall = min(shared, key=lambda edge: _apart(edge, x, y))
        if _apart(wall, x, y) > _OFF_UM:
            raise RoomsError((*at, "at_m"), "there is no wall between the two rooms here")
    else:
        wall = max(shared, key=lambda edge: math.dist(*edge))
        x, y = ((a + b) // 2 for a, b in zip(*wall, strict=True))
    return _in(wall, x, y, wide, at)


def _in(wall: Edge, x: int, y: int, wide: int, at: Pointer) -> Door:
    """Return a door of a width in a wall, as near to a place as the wall allows."""
    (left, low), (right, high) = wall
    long = (right - left) + (high - low)
    if wide > long:
        raise RoomsError(at, f"the two rooms share {long / 1e6:g} m of wall, less than the door")
    if left == right:
        start = min(max(y - wide // 2, low), high - wide)
        return Door((left, start), (left, start + wide))
    start = min(max(x - wide // 2, left), right - wide)
    return Door((start, low), (start + wide, low))


def _apart(edge: Edge, x: int, y: int) -> float:
    (left, low), (right, high) = edge
    return math.hypot(x - min(max(x, left), right), y - min(max(y, low), high))


def _is_in(door: Door, wall: Edge) -> bool:
    return all(_apart(wall, *end) == 0 for end in (door.start, door.end))


def _overlap(one: Door, other: Door) -> bool:
    """Return whether two doors have a stretch of one wall in common."""
    along = 1 if one.start[0] == one.end[0] else 0
    lines = {end[1 - along] for door in (one, other) for end in (door.start, door.end)}
    apart = one.end[along] <= other.start[along] or other.end[along] <= one.start[along]
    return len(lines) == 1 and not apart

"""Where things can be on the storeys that somebody described."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.starter.answers import Ground, Spot

if TYPE_CHECKING:
    from meshlint.starter.answers import Answers, Rooms, Storeys


def ground_of(answers: Answers) -> Ground:
    """Return the storeys and the middles of their rooms, as far as they were given."""
    storeys, rooms = answers.storeys, answers.rooms
    if storeys is None:
        return Ground()
    found: dict[str, Spot] = {}
    if is_grid(storeys, rooms):
        assert rooms is not None
        widths = widths_m(storeys.width_m or 0, rooms.columns)
        depths = widths_m(storeys.depth_m or 0, rooms.rows)
        for level, names in zip(storeys.levels, room_names(storeys, rooms), strict=True):
            for row, line in enumerate(names):
                for column, name in enumerate(line):
                    x = sum(widths[:column]) + widths[column] / 2
                    y = sum(depths[:row]) + depths[row] / 2
                    found[name] = Spot(round(x, 2), round(y, 2), level)
    return Ground(storeys.levels, found)


def is_grid(storeys: Storeys, rooms: Rooms | None) -> bool:
    """Return whether rooms can be drawn: so many, on storeys of a known size."""
    return rooms is not None and rooms.columns > 0 and storeys.width_m is not None


def widths_m(whole_m: float, parts: int) -> list[float]:
    """Return a length parted evenly, to the centimetre, the last part taking what is left."""
    even = round(whole_m / parts, 2)
    return [even] * (parts - 1) + [round(whole_m - even * (parts - 1), 3)]


def room_names(storeys: Storeys, rooms: Rooms) -> list[list[list[str]]]:
    """Return the names of the rooms, storey by storey and row by row, numbered through."""
    a_storey = rooms.columns * rooms.rows
    return [
        [
            [f"room {start + row * rooms.columns + column + 1}" for column in range(rooms.columns)]
            for row in range(rooms.rows)
        ]
        for start in range(0, a_storey * len(storeys.levels), a_storey)
    ]

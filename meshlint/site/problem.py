"""Errors that a user can cause, each with its place in a file.

Everything that goes wrong because of what somebody wrote is one `InputError` holding one or more
`Problem` values; any other exception is a fault of the program.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable


class Place(Struct, frozen=True, order=True, array_like=True):
    """A point in a file; line and column count from one, as editors do."""

    path: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.path}:{self.line}:{self.column}"


class Problem(Struct, frozen=True, order=True, array_like=True):
    """One thing that could not be understood, and where."""

    place: Place
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"


class InputError(Exception):
    """What was given cannot be understood; holds every independent problem found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(map(str, self.problems)))

    @classmethod
    def at(cls, place: Place, message: str) -> InputError:
        """Return an error with a single problem."""
        return cls([Problem(place, message)])

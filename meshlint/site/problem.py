"""Errors that a user can cause, each with its place in a file.

Everything that goes wrong because of what somebody wrote is one `InputError` holding one or more
`Problem` values; any other exception is a fault of the program.
"""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable


MOST_PROBLEMS = 50
"""A file with more mistakes than this is better mended in steps, and the list stays readable."""

TOO_MANY = "too many mistakes; the rest is not told"


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
    without_value: str = ""
    """The message without the value of the file that it repeats; empty where it repeats none."""

    @property
    def kept_message(self) -> str:
        """Return what a report says that is kept or uploaded: no value that was refused."""
        return self.without_value or self.message

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"


class InputError(Exception):
    """What was given cannot be understood; holds every independent problem found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(map(str, self.problems)))

    @classmethod
    def first(cls, problems: Iterable[Problem]) -> InputError:
        """Return an error with the first problems, no more than people read.

        What is yielded lazily is not worked out past that.
        """
        told = list(islice(problems, MOST_PROBLEMS + 1))
        if len(told) > MOST_PROBLEMS:
            told[-1] = Problem(max(problem.place for problem in told), TOO_MANY)
        return cls(told)

    @classmethod
    def at(cls, place: Place, message: str) -> InputError:
        """Return an error with a single problem."""
        return cls([Problem(place, message)])

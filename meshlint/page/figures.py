"""Numbers of the workings as a page shows them: each with the fact and the subject it comes from.

A page works nothing out. Whatever number stands on it is a `Figure`, so that a test can walk them
all and hold each against `meshlint workings`.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import with_unit
from meshlint.workings.subjects import SCOPES, subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.workings.fact import Fact, FactValue
    from meshlint.workings.site_workings import Subject, Workings


class Figure(Struct, frozen=True):
    """One value in words; where it is not known, what is missing."""

    text: str
    fact: str
    subject: str
    is_known: bool


class Told:
    """What the workings know of a site, asked by fact and subject."""

    def __init__(self, workings: Workings, facts: Mapping[str, Fact]) -> None:
        self.workings = workings
        self._facts = facts

    @cached_property
    def _subjects(self) -> Mapping[str, Mapping[str, Subject]]:
        return {
            scope: {subject.key: subject for subject in subjects(self.workings, scope)[0]}
            for scope in SCOPES
        }

    def keys(self, scope: str) -> tuple[str, ...]:
        """Return the keys of all subjects of a scope, in the order of the file."""
        return tuple(self._subjects[scope])

    def label(self, scope: str, key: str) -> str:
        """Return a subject's name in words."""
        return self._subjects[scope][key].label

    def value(self, fact: str, key: str) -> FactValue | Unknown:
        """Return a fact's value; `Unknown` where the file does not tell."""
        subject = self._subjects[fact.partition(".")[0]][key]
        return self.workings.value(self._facts[fact], subject)

    def number(self, fact: str, key: str) -> float | None:
        """Return a number to draw by, `None` where it is not known."""
        value = self.value(fact, key)
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        return float(value) if is_number else None  # type: ignore[arg-type]

    def figure(self, fact: str, key: str) -> Figure:
        """Return a fact as the page shows it."""
        value = self.value(fact, key)
        if isinstance(value, Unknown):
            wanted = dict.fromkeys(one.wanted or one.key for one in value.inputs)
            return Figure(f"not known; it takes {', '.join(wanted)}", fact, key, is_known=False)
        text = "none" if value in ("", ()) else with_unit(self._facts[fact], value)
        return Figure(text, fact, key, is_known=True)

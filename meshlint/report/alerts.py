"""What asks for somebody's eye in one list: the same for every format that is a list of lines.

Open findings, cautions, and what could not be read. Accepted findings and what was not judged are
no alerts; such a format says their number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.lint.finding import fingerprint
from meshlint.report.places import from_top
from meshlint.report.plain import in_a_row
from meshlint.site.problem import Place

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.lint.finding import Finding, Severity, SiteResult
    from meshlint.site.problem import Problem

NOT_UNDERSTOOD = "file-not-understood"
PROGRAM_FAULT = "program-fault"

RANKS: dict[Severity, int] = {"error": 0, "caution": 1, "warning": 2, "note": 3}
"""What is listed first. A caution is about somebody's safety, so few things come before it."""


class Alert(Struct, frozen=True):
    """One line of a list. `is_broken` where a file could not be read, or the program failed."""

    severity: Severity
    rule: str
    label: str
    place: Place
    message: str
    fingerprint: str
    why: str = ""
    remedy: str = ""
    is_broken: bool = False

    @property
    def rank(self) -> int:
        """Return what it is sorted by, the gravest first."""
        return -1 if self.is_broken else RANKS[self.severity]


class Alerts:
    """Turns results into alerts; what is told of a shared file is told once in a run."""

    def __init__(self) -> None:
        self._told: set[Problem] = set()

    def of(self, result: SiteResult) -> Iterator[Alert]:
        """Yield what one file has to say."""
        if result.fault:
            yield _broken(PROGRAM_FAULT, Place(result.path, 1, 1), result.fault)
        for problem in result.problems:
            if problem not in self._told:
                yield _broken(NOT_UNDERSTOOD, problem.place, problem.message)
        self._told.update(result.shared_problems)
        for finding in (*result.open_findings, *result.cautions):
            yield _alert(finding, result.cause_of(finding))


def _broken(rule: str, place: Place, message: str) -> Alert:
    # Such a line has no name of its own, and where it stands may change.
    known = fingerprint(from_top(place.path).path, rule, message)
    return Alert("error", rule, "", place, message, known, is_broken=True)


def _alert(finding: Finding, cause: Finding | None) -> Alert:
    message = finding.message
    if finding.follows:
        message += f" Likewise {in_a_row(finding.follows)}."
    if cause is not None:
        message += f" Follows from {cause.rule} for {cause.label}."
    return Alert(
        finding.severity,
        finding.rule,
        finding.label,
        finding.place,
        message,
        finding.fingerprint,
        finding.why,
        finding.remedy,
    )

"""What a report over many sites tells once: the same words at other places are listed at its end.

One slip in a catalogue or a policy makes the same paragraph at every site that rests on it. The
first is told in full; `TextWriter` leaves the others out and shows their places together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct, field
from msgspec.structs import replace

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.site.problem import Place, Problem

MOST_KEPT = 6
"""Places that are shown of each; the rest is counted."""


class Repeated(Struct):
    """Something told at one place: what it is, and where else the same holds."""

    first: str
    what: str
    counted: Literal["more site", "more file"]
    others: int = 0
    shown: list[str] = field(default_factory=list)

    def add(self, place: str) -> None:
        """Take in one more place."""
        self.others += 1
        if len(self.shown) < MOST_KEPT:
            self.shown.append(place)


class Told:
    """What was told of the files so far, by its words."""

    def __init__(self) -> None:
        # By a hash of the words, so that a run over thousands of sites does not hold them all.
        self._known: dict[int, Repeated] = {}
        self.files_left_out = 0
        """Files that could not be understood for nothing but what was told of others."""

    @property
    def repeated(self) -> list[Repeated]:
        """Return what holds at more than one place, in the order in which it was told."""
        return [entry for entry in self._known.values() if entry.others]

    def is_known_problem(self, result: SiteResult) -> bool:
        """Return whether every problem of a file was told of another, and take the file in.

        A problem in a shared file is the same one, whichever site leads to it. One in a site's own
        file is told once where another site's has the same words.
        """
        keys: dict[int, Problem] = {}
        for problem in result.problems:
            keys.setdefault(_problem_key(problem, result), problem)
        if result.problems and keys.keys() <= self._known.keys():
            self.files_left_out += 1
            for key, problem in keys.items():
                own = problem.place.path == result.path
                self._known[key].add(str(problem.place) if own else result.path)
            return True
        for key, problem in keys.items():
            self._known.setdefault(key, Repeated(str(problem.place), problem.message, "more file"))
        return False

    def without_known(self, result: SiteResult) -> SiteResult:
        """Return a result without the open findings and cautions that were told of another site.

        A finding goes with its consequences: both have to be the same.
        """
        under: dict[str, list[Finding]] = {}
        for finding in result.findings:
            if finding.under and not finding.is_accepted:
                under.setdefault(finding.under, []).append(finding)
        left_out: set[int] = set()
        new: dict[int, Repeated] = {}
        for finding in (*result.open_findings, *result.cautions):
            if finding.under:
                continue
            # A fingerprint is a hash that costs a check of one small site its speed.
            following = under.get(finding.fingerprint, ()) if under else ()
            key = _finding_key(finding, following)
            known = self._known.get(key)
            if known is None:
                what = f"{finding.severity}, {finding.rule} for {finding.label}"
                new.setdefault(key, Repeated(str(finding.place), what, "more site"))
            else:
                known.add(str(finding.place))
                left_out.update(map(id, (finding, *following)))
        # Two subjects of one site that read the same are both told: folding is the rules' affair.
        self._known.update(new)
        if not left_out:
            return result
        kept = tuple(f for f in result.findings if f.is_accepted or id(f) not in left_out)
        return replace(result, findings=kept)


def _problem_key(problem: Problem, result: SiteResult) -> int:
    place: Place | None = problem.place if problem.place.path != result.path else None
    return hash(("problem", place, problem.message))


def _finding_key(finding: Finding, following: Iterable[Finding]) -> int:
    told: list[Hashable] = [
        (f.severity, f.rule, f.subject, f.label, f.message, f.remedy, f.follows)
        for f in (finding, *following)
    ]
    return hash(tuple(told))

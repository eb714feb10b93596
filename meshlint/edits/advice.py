"""Advice that a report may print: for each finding of one site the change that is proven for it.

What is advised holds by itself and with all that is advised above it, so that whoever follows one
line or all of them is served alike.
"""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from meshlint.edits.mending import mended
from meshlint.edits.patch import lines_of
from meshlint.lint.finding import Fix, Replacement

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.edits.mending import Mend
    from meshlint.edits.proof import Judgement
    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.run import Checker

MOST_WORK: Final = 20_000
"""Values that are kept while changes are tried for one report, about two seconds of work: a count
and no clock, so that every machine says the same."""

MOST_JUDGEMENTS: Final = 3000
"""A site of which more is judged gets no advice with its report, since one proof would take as long
as the report; `meshlint mend` takes that time."""


_FILLINGS: Final = 5
"""About so many times each judgement is made where gaps are filled from usual ranges."""


def advised(checker: Checker, data: bytes, path: str, result: SiteResult) -> SiteResult:
    """Return a result whose open findings carry the changes that are proven to mend them."""
    judgements = result.times_held + result.times_not_judged + len(result.findings)
    if result.assumed or any(finding.assumed for finding in result.findings):
        judgements *= _FILLINGS
    if not result.open_findings or judgements > MOST_JUDGEMENTS:
        return result
    mends, _, _ = mended(checker, data, path, work=MOST_WORK, alone=True)
    by_label: dict[tuple[str, str], Fix] = {}
    by_pair: dict[Judgement, Fix] = {}
    for mend in mends:
        fix = _fix(mend, data)
        by_label[mend.finding[0], mend.label] = by_pair[mend.finding] = fix
        for pair in mend.alone.gone if mend.alone else ():
            by_pair.setdefault(pair, fix)
    return replace(
        result,
        findings=tuple(
            finding
            if finding.is_accepted or finding.is_caution
            else replace(finding, fixes=tuple(_fixes(finding, by_pair, by_label)))
            for finding in result.findings
        ),
    )


def _fixes(
    finding: Finding, by_pair: dict[Judgement, Fix], by_label: dict[tuple[str, str], Fix]
) -> Iterator[Fix]:
    """Yield what mends a finding, and then what mends those that are told with it."""
    found = [
        by_pair.get((finding.rule, finding.subject)),
        *(by_label.get((finding.rule, label)) for label in finding.follows),
    ]
    yield from dict.fromkeys(fix for fix in found if fix is not None)


def _fix(mend: Mend, data: bytes) -> Fix:
    proof = mend.alone or mend.proof
    words, work = mend.change.words, mend.change.work
    if new := sorted({rule for rule, _ in proof.milder}):
        words += f", at the price of {', '.join(new)}"
    changed = tuple(_replacements(data, proof.data))
    return Fix(mend.label, words, work, changed, proof.left or "")


def _replacements(before: bytes, after: bytes) -> Iterator[Replacement]:
    """Yield the lines that differ, as one stretch where lines came or went.

    A site file is UTF-8, or it would not have been read.
    """
    old, new = lines_of(before), lines_of(after)
    same = _alike(zip(old, new, strict=False))
    tail = _alike(zip(reversed(old[same:]), reversed(new[same:]), strict=False))
    parts = [(same, len(old) - tail, len(new) - tail)]
    if len(old) == len(new):
        parts = [(at, at + 1, at + 1) for at in range(*parts[0][:2]) if old[at] != new[at]]
    for start, end, new_end in parts:
        yield Replacement(start + 1, end, b"".join(new[start:new_end]).decode())


def _alike(pairs: Iterable[tuple[bytes, bytes]]) -> int:
    """Return how many pairs of lines are the same before the first that differ."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], pairs))

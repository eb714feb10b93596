"""The short report: each finding in a headline, who is hit and by how much, and what to do.

The gravest come first, and among those of one severity what most devices depend on. Reasons,
sources and every open question stand in the explained report.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from meshlint.lint.finding import SEVERITIES
from meshlint.report.lines import wrapped
from meshlint.report.plain import in_a_row, visible
from meshlint.report.totals import number_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, Fix
    from meshlint.report.lines import Look
    from meshlint.report.totals import Totals

_INDENT = "    "
_MOST_ALIKE = 3
_MOST_OPEN = 3
_DO = "Do: "
_ROOM = 34  # for the words around an open question and the input that would settle it


def brief_findings(findings: Iterable[Finding], look: Look) -> Iterator[str]:
    """Yield the lines of one file's findings, each consequence in a line under its cause."""
    findings = tuple(findings)
    under: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.under:
            under.setdefault(finding.under, []).append(finding)
    named = Counter(label for _, label in {(f.subject, f.label) for f in findings})
    for finding in sorted(findings, key=_gravest_first):
        if finding.under:
            continue
        # A unit and a link may have one name; then the section of the file tells them apart.
        kind = f" ({finding.subject.split('/')[0]})" if named[finding.label] > 1 else ""
        yield from _headline(finding, kind, look)
        yield from wrapped(visible(finding.in_short), look, _INDENT)
        following = under.get(finding.fingerprint, ()) if under else ()
        if following:
            yield from wrapped(visible(_consequences(following)), look, _INDENT)
        yield from _to_do(finding, look)


def _gravest_first(finding: Finding) -> tuple[object, ...]:
    rank = 0 if finding.is_caution else SEVERITIES.index(finding.severity)
    return rank, -finding.devices, finding.place, finding.rule, finding.subject


def _headline(finding: Finding, kind: str, look: Look) -> Iterator[str]:
    shown, left = finding.follows[:_MOST_ALIKE], len(finding.follows) - _MOST_ALIKE
    more = f" and {left} more" if left > 0 else ""
    alike = f" (also {in_a_row(shown)}{more})" if shown else ""
    told, place = visible(f"{finding.label}{kind}{alike}"), visible(str(finding.place))
    rule = visible(finding.rule)
    long = len(f"{told}: {finding.severity}, {rule}, {place}") > look.width
    subject = look.paint(told, "subject")
    head = f"{subject}: {look.paint(finding.severity, finding.severity)}, {rule},"
    place = look.paint(place, "place")
    if not long:
        yield f"{head} {place}"
        return
    # A long row of subjects is broken like any text; colour stays on one line of it.
    if len(f"{told}: {finding.severity}, {rule},") > look.width:
        rows = list(wrapped(f"{told}:", look, ""))
        yield from (look.paint(row, "subject") for row in rows)
        yield f"{_INDENT}{look.paint(finding.severity, finding.severity)}, {rule}, {place}"
        return
    yield from (head, f"{_INDENT}{place}")


def _consequences(following: Iterable[Finding]) -> str:
    by_rule: dict[str, list[str]] = {}
    for finding in sorted(following, key=_gravest_first):
        by_rule.setdefault(finding.rule, []).extend((finding.label, *finding.follows))
    told = []
    for rule, labels in by_rule.items():
        left = len(labels) - _MOST_ALIKE
        shown = "; ".join(labels[:_MOST_ALIKE]) + (f" and {left} more" if left > 0 else "")
        told.append(f"{rule} for {shown}")
    return f"This is also the cause of {', and of '.join(told)}."


def _to_do(finding: Finding, look: Look) -> Iterator[str]:
    """Yield what to do: what is proven; else as many sentences as one line holds, one at least."""
    if finding.fixes:
        told = [proven(fix, finding) for fix in finding.fixes[:_MOST_ALIKE]]
        told[1:] = [words[:1].lower() + words[1:] for words in told[1:]]
        left = len(finding.fixes) - _MOST_ALIKE
        more = f"; and {left} more, see `meshlint mend`" if left > 0 else ""
        yield from wrapped(visible(f"{_DO}{'; '.join(told)}{more}."), look, _INDENT)
        return
    first, *others = re.split(r"(?<=[.?!]) (?=[A-Z`])", finding.remedy)
    for sentence in others:
        if len(_INDENT + _DO + first) + 1 + len(sentence) > look.width:
            break
        first += f" {sentence}"
    yield from wrapped(visible(_DO + first), look, _INDENT)


def proven(fix: Fix, finding: Finding) -> str:
    """Return a proven change in words, with what it leaves and whose finding it was proven for."""
    left = f", which leaves a {fix.left}" if fix.left else ""
    alike = "" if fix.label in (finding.label, *finding.follows) else f", as for {fix.label}"
    words = f"{fix.words}{left}{alike}"
    return words[:1].upper() + words[1:]


def open_questions(tally: Totals, look: Look) -> Iterator[str]:
    """Yield what could not be told because of what, the input that would settle most first."""
    rows = tally.most_wanted()
    for key, meaning, judgements, rules in rows[:_MOST_OPEN]:
        asked = [*dict.fromkeys(tally.asked[rule] for rule in rules if rule in tally.asked)]
        open_ = f"{asked[0]}" if asked else number_of(judgements, "judgement")
        left = judgements - 1
        for question in asked[1:2]:
            longer = f"{open_} or {question}"
            if len(longer) + len(key) < look.width - _ROOM:
                open_, left = longer, left - 1
        more = f", and {left} more" if left > 0 and asked else ""
        text = f"Cannot tell {open_}{more}, without {key}"
        if key == "neighbours":
            text = f"Nobody scanned: without neighbours you cannot tell {open_}{more}"
        elif key == "units.*.radios.*":
            text = f"Cannot tell {open_}{more}, without {meaning}"
        elif meaning and len(text) + len(meaning) < look.width - 4:
            text += f" ({meaning})"
        yield from wrapped(visible(f"{text}."), look, "")
    left = len(rows) - _MOST_OPEN
    if left > 0:
        yield f"{number_of(left, 'more input')} would settle the rest; `--explain` lists all."

"""The report that a person reads: findings by file and subject, then what was not judged.

Nothing here decides anything: words come from the cards, numbers from the findings.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meshlint.lint.finding import SEVERITIES
from meshlint.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from meshlint.lint.finding import Finding, Severity, SiteResult

WIDTH = 96
"""Columns of a report that does not go to a terminal."""

CAUTIONS = (
    "Cautions. They are no faults of the design and no passes either: local code and a licensed "
    "person decide."
)
"""What stands above the cautions of a file, wherever they are shown."""

_LABEL = 8
_MOST_WANTED = 6


@dataclass(frozen=True, slots=True)
class Look:
    """How wide the text may be, and how to paint a word; `paint(text, role)` may return it bare."""

    width: int = WIDTH
    paint: Callable[[str, str], str] = lambda text, _: text


def render(results: Sequence[SiteResult], look: Look) -> str:
    """Return the report on all files, ending in a summary over them."""
    lines: list[str] = []
    for result in results:
        lines += _file(result, look)
    lines += _summary(results, look)
    return "\n".join(lines) + "\n"


def _file(result: SiteResult, look: Look) -> Iterator[str]:
    if result.problems:
        yield look.paint(f"{visible(result.path)} could not be understood", "title")
        for problem in result.problems:
            yield f"  {look.paint(visible(str(problem.place)), 'place')}"
            yield from _wrapped(visible(problem.message), look, "    ")
        yield ""
        return
    if result.open_findings or result.cautions:
        yield look.paint(f"{visible(result.site)}, {visible(result.path)}", "title")
        yield from _subjects(result.open_findings, look)
        if result.cautions:
            yield ""
            yield from _wrapped(CAUTIONS, look, "  ")
            yield from _subjects(result.cautions, look)
        yield ""


def _subjects(findings: Iterable[Finding], look: Look) -> Iterator[str]:
    subject = None
    for finding in _by_subject(findings):
        if finding.subject != subject:
            subject = finding.subject
            yield ""
            yield f"  {look.paint(visible(finding.label), 'subject')}"
        yield from _finding(finding, look)


def _by_subject(findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings with those of one subject together, subjects by their first place."""
    first: dict[str, Finding] = {}
    for finding in findings:
        first.setdefault(finding.subject, finding)
    return sorted(
        findings,
        key=lambda f: (
            first[f.subject].place,
            f.subject,
            0 if f.is_caution else SEVERITIES.index(f.severity),
        ),
    )


def _finding(finding: Finding, look: Look) -> Iterator[str]:
    head = f"{look.paint(finding.severity, finding.severity)}, {finding.rule}"
    yield f"    {head}, {look.paint(visible(str(finding.place)), 'place')}"
    yield from _wrapped(visible(finding.message), look, "      ")
    if finding.follows:
        others = ", ".join(map(visible, finding.follows))
        yield from _entry("likewise", f"{others}, for the same cause", look)
    yield from _entry("because", finding.why, look)
    yield from _entry("remedy", visible(finding.remedy), look)
    yield from _entry("source", "; ".join(map(str, finding.sources)), look)
    for related in finding.related:
        place = visible(str(related.place))
        yield f"      {look.paint('see'.ljust(_LABEL), 'label')}  {look.paint(place, 'place')}"


def _entry(label: str, text: str, look: Look) -> Iterator[str]:
    indent = " " * (6 + _LABEL + 2)
    first, *rest = _wrapped(text, look, indent)
    yield f"      {look.paint(label.ljust(_LABEL), 'label')}  {first[len(indent) :]}"
    yield from rest


def _wrapped(text: str, look: Look, indent: str) -> list[str]:
    return textwrap.wrap(
        text,
        look.width,
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [indent]


def _summary(results: Sequence[SiteResult], look: Look) -> Iterator[str]:
    unread = [result for result in results if result.problems]
    counts = count_by_severity(results)
    found = [_count(counts[s], s) for s in SEVERITIES if counts[s]] or ["no findings"]
    read = len(results) - len(unread)
    line = f"{_count(read, 'site')} checked: {', '.join(found)}"
    held = sum(len(result.held) for result in results)
    not_judged = sum(len(result.not_judged) for result in results)
    waived = sum(len(result.accepted) for result in results)
    cautions = sum(len(result.cautions) for result in results)
    parts = [f"{held} held" if held else "", f"{not_judged} not judged" if not_judged else ""]
    parts.append(f"{waived} accepted by waiver" if waived else "")
    parts.append(f"{_count(cautions, 'caution')} for a licensed person" if cautions else "")
    yield look.paint("; ".join([line, *filter(None, parts)]) + ".", "title")
    idle = _always_idle(results)
    if idle:
        yield from _wrapped(f"Nothing to look at for: {', '.join(idle)}.", look, "")
    yield from _waived(results, look)
    if unread:
        yield look.paint(f"{_count(len(unread), 'file')} could not be understood.", "error")
    yield from _wanted(results, look)


def _always_idle(results: Sequence[SiteResult]) -> list[str]:
    read = [set(result.idle) for result in results if not result.problems]
    return sorted(set.intersection(*read)) if read else []


def _waived(results: Sequence[SiteResult], look: Look) -> Iterator[str]:
    for result in results:
        for finding in result.findings:
            if (waiver := finding.waiver) is None:
                continue
            by = f" by {visible(waiver.approved_by)}" if waiver.approved_by else ""
            until = f" until {waiver.until.isoformat()}" if waiver.until else ""
            text = (
                f"Accepted{by}{until}: {finding.rule} for {visible(finding.label)} "
                f"({visible(str(finding.place))}): {visible(waiver.because or '')}"
            )
            yield from _wrapped(text, look, "  ")


def _wanted(results: Sequence[SiteResult], look: Look) -> Iterator[str]:
    """Yield which inputs would settle most of what was not judged, over all files."""
    wanted: dict[str, tuple[str, int, set[str]]] = {}
    for result in results:
        for key, meaning, judgements, rules in result.wanted():
            _, so_far, named = wanted.get(key, (meaning, 0, set()))
            wanted[key] = (meaning, so_far + judgements, named | set(rules))
    if not wanted:
        return
    yield "Not judged for want of an input; the line that would settle most comes first:"
    rows = sorted(wanted.items(), key=lambda row: (-len(row[1][2]), -row[1][1], row[0]))
    for key, (meaning, judgements, names) in rows[:_MOST_WANTED]:
        meaning_said = f", {visible(meaning)}" if meaning else ""
        text = f"{look.paint(key, 'subject')}{meaning_said}: {_count(judgements, 'judgement')} of "
        yield from _wrapped(text + ", ".join(sorted(names)), look, "  ")
    if len(rows) > _MOST_WANTED:
        yield f"  and {_count(len(rows) - _MOST_WANTED, 'more input')}; `--format json` lists all."


def count_by_severity(results: Iterable[SiteResult]) -> dict[Severity, int]:
    """Return how many open faults there are of each severity; cautions are none."""
    counts: dict[Severity, int] = dict.fromkeys(SEVERITIES, 0)
    for result in results:
        for finding in result.open_findings:
            counts[finding.severity] += 1
    return counts


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"

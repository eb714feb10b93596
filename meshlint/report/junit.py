"""JUnit XML, which most build servers show: one suite for each file, one case for each judgement.

The format has no specification; this is the common part of what its readers take (`testsuites`,
`testsuite`, `testcase` with `failure`, `error` or `skipped`). What is grave enough to fail the site
is a failure; what is milder passes and says so; what was not judged, is accepted, or asks a
licensed person to look is skipped with the reason. A file that could not be read is an error.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from meshlint.report.plain import in_a_row, visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult

# What XML 1.0 has no way to write, beside the controls that `visible` spells out.
_NOT_XML = {0xFFFE: "\\ufffe", 0xFFFF: "\\uffff"}

Case = tuple[str, str, str, str]
"""Name, kind (failure, error, skipped, or none), message, further text."""


class JUnitWriter:
    """Writes the report file by file."""

    def __init__(self) -> None:
        self._begun = False

    def add(self, result: SiteResult) -> str:
        """Return one file's suite."""
        start, self._begun = "" if self._begun else _HEAD, True
        return start + "".join(_suite(result))

    def finish(self) -> str:
        """Return the end."""
        return ("" if self._begun else _HEAD) + "</testsuites>\n"


_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<testsuites name="meshlint">\n'


def render(results: Iterable[SiteResult]) -> str:
    """Return the whole report on results that are all there."""
    writer = JUnitWriter()
    return "".join([*map(writer.add, results), writer.finish()])


def _suite(result: SiteResult) -> Iterator[str]:
    cases = list(_cases(result))
    kinds = Counter(kind for _, kind, _, _ in cases)
    yield (
        f"  <testsuite name={_attribute(result.site or result.path)} "
        f'tests="{len(cases)}" failures="{kinds["failure"]}" errors="{kinds["error"]}" '
        f'skipped="{kinds["skipped"]}">\n'
    )
    for name, kind, message, text in cases:
        yield f"    <testcase classname={_attribute(result.path)} name={_attribute(name)}"
        if kind:
            yield f">\n      <{kind} message={_attribute(message)}>{_text(text)}</{kind}>\n"
            yield "    </testcase>\n"
        elif text:
            yield f">\n      <system-out>{_text(text)}</system-out>\n    </testcase>\n"
        else:
            yield "/>\n"
    yield "  </testsuite>\n"


def _cases(result: SiteResult) -> Iterator[Case]:
    if result.fault:
        yield "check", "error", "a fault of the program", result.fault
    for problem in result.problems:
        yield str(problem.place), "error", problem.message, str(problem)
    failing = set(map(id, result.failing))
    for finding in result.findings:
        yield _finding(finding, result.cause_of(finding), fails=id(finding) in failing)
    for entry in result.not_judged:
        wants = ", ".join(
            f"{'/'.join(map(str, i.pointer))} ({i.wanted})" if i.wanted else i.key
            for i in entry.inputs
        )
        yield f"{entry.rule}: {entry.subject}", "skipped", f"not judged for want of {wants}", ""
    for listed in result.vanished:
        text = f"accepted since {listed.since.isoformat()} and no longer there: {listed.place}"
        if result.is_gone:
            text = f"{text}; no site is called {result.site} any more"
        yield f"{listed.rule}: {listed.subject}", "", "", text
    spoken = {finding.rule for finding in result.findings}
    spoken |= {entry.rule for entry in result.not_judged}
    for rule, count in sorted(Counter(result.held).items()):
        if rule not in spoken:
            yield rule, "", "", f"held {count} times" if count > 1 else ""


def _finding(finding: Finding, cause: Finding | None, *, fails: bool) -> Case:
    name = f"{finding.rule}: {finding.subject}"
    text = f"{finding.severity} at {finding.place}: {finding.message}"
    if finding.follows:
        text += f" Likewise {in_a_row(finding.follows)}."
    if cause is not None:
        text += f" Follows from {cause.rule} for {cause.label}: {cause.message}"
    text += f" Because: {finding.why} Remedy: {finding.remedy}"
    if finding.waiver is not None:
        waiver = finding.waiver
        until = waiver.until.isoformat() if waiver.until else "no day"
        reason = f"accepted by {waiver.approved_by or 'nobody named'} until {until}"
        return name, "skipped", f"{reason}: {waiver.because}", text
    if finding.listed is not None:
        since = finding.listed.since.isoformat()
        reason = f"on the accepted list since {since}: {finding.listed.because}"
        return name, "skipped", reason, text
    if finding.is_caution:
        return name, "skipped", f"for a licensed person to review: {finding.message}", text
    return (name, "failure", finding.message, text) if fails else (name, "", "", text)


def _attribute(text: str) -> str:
    return quoteattr(_harmless(text))


def _text(text: str) -> str:
    return escape(_harmless(text))


def _harmless(text: str) -> str:
    return visible(text).translate(_NOT_XML)

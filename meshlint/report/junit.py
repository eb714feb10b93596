"""JUnit XML, which most build servers show: one suite for each file, one case for each judgement.

The format has no specification; this is the common part of what its readers take (`testsuites`,
`testsuite`, `testcase` with `failure`, `error` or `skipped`). What is grave enough to fail the site
is a failure; what is milder passes and says so; what was not judged, is accepted, or asks a
licensed person to look is skipped with the reason. A file that could not be read is an error.

Readers cut a class name at its last dot and take what comes before for a package, so that a path
is written without its ending, and with `_` for any other dot; `file` holds the path as it is, from
the repository's top. `time` is 0 everywhere: readers ask for it, and a report that hung on the
clock would never be the same twice.

A call that chose rules says so in the name of the whole and in a property of each suite: what it
did not look at is in no case, and must not be read as passed.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from msgspec import Struct

from meshlint.report.places import from_top
from meshlint.report.plain import in_a_row, visible
from meshlint.report.totals import Totals, chosen_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.site.problem import Place


_KINDS = ("failure", "error", "skipped")

_ENDINGS = (".site.yaml", ".site.yml", ".yaml", ".yml")


class _Case(Struct):
    """A judgement: `kind` is one of `_KINDS`, or nothing where it passed."""

    name: str
    kind: str = ""
    message: str = ""
    text: str = ""
    line: int = 0
    """Where it stands in the suite's file; 0 where nowhere."""


class JUnitWriter:
    """Gathers the suites, since their totals stand before them."""

    def __init__(self) -> None:
        self._suites: list[str] = []
        self._totals: Counter[str] = Counter()
        self._tally = Totals()

    def add(self, result: SiteResult) -> str:
        """Take one file in; nothing can be written before all are known."""
        self._tally.add(result)
        cases = list(_cases(result))
        counts = Counter(case.kind for case in cases)
        self._totals.update(counts)
        self._suites.append("".join(_suite(result, cases, counts)))
        return ""

    def finish(self) -> str:
        """Return the report."""
        head = '<?xml version="1.0" encoding="UTF-8"?>\n'
        chosen = self._tally.chosen
        name = f"meshlint, {chosen_words(chosen)}" if chosen else "meshlint"
        head += f"<testsuites name={_attribute(name)} {_numbers(self._totals)}>\n"
        return "".join([head, *self._suites, "</testsuites>\n"])


def render(results: Iterable[SiteResult]) -> str:
    """Return the whole report on results that are all there."""
    writer = JUnitWriter()
    return "".join([*map(writer.add, results), writer.finish()])


def _suite(result: SiteResult, cases: list[_Case], counts: Counter[str]) -> Iterator[str]:
    file = _attribute(from_top(result.path).path)
    yield (
        f"  <testsuite name={_attribute(result.site or result.path)} file={file} "
        f"{_numbers(counts)}>\n"
    )
    if result.chosen:
        chosen = _attribute(chosen_words(result.chosen))
        yield f'    <properties>\n      <property name="looked at" value={chosen}/>\n'
        yield "    </properties>\n"
    group = _attribute(_class_name(result.path))
    for case in cases:
        line = f' line="{case.line}"' if case.line else ""
        yield (
            f"    <testcase classname={group} name={_attribute(case.name)} file={file}{line}"
            ' time="0"'
        )
        if case.kind:
            said = f"message={_attribute(case.message)}>{_text(case.text)}"
            yield f">\n      <{case.kind} {said}</{case.kind}>\n    </testcase>\n"
        elif case.text:
            yield f">\n      <system-out>{_text(case.text)}</system-out>\n    </testcase>\n"
        else:
            yield "/>\n"
    yield "  </testsuite>\n"


def _numbers(counts: Counter[str]) -> str:
    failures, errors, skipped = (counts[kind] for kind in _KINDS)
    return (
        f'tests="{counts.total()}" failures="{failures}" errors="{errors}" skipped="{skipped}" '
        'time="0"'
    )


def _class_name(path: str) -> str:
    shown = from_top(path).path
    ending = next((end for end in _ENDINGS if shown.endswith(end)), "")
    return shown.removesuffix(ending).replace(".", "_")


def _cases(result: SiteResult) -> Iterator[_Case]:
    if result.fault:
        yield _Case("check", "error", "a fault of the program", result.fault)
    for problem in result.problems:
        line = _line_in(result, problem.place)
        text = problem.kept_message
        yield _Case(str(problem.place), "error", text, f"{problem.place}: {text}", line)
    failing = set(map(id, result.failing))
    for finding in result.findings:
        case = _finding(finding, result.cause_of(finding), fails=id(finding) in failing)
        case.line = _line_in(result, finding.place)
        yield case
    for entry in result.not_judged:
        wants = ", ".join(
            f"{'/'.join(map(str, i.pointer))} ({i.wanted})" if i.wanted else i.key
            for i in entry.inputs
        )
        name, reason = f"{entry.rule}: {entry.subject}", f"not judged without {wants}"
        yield _Case(name, "skipped", reason, line=_line_in(result, entry.place))
    for listed in result.vanished:
        text = f"accepted since {listed.since.isoformat()} and no longer there: {listed.place}"
        if result.is_gone:
            text = f"{text}; no site is called {result.site} any more"
        yield _Case(f"{listed.rule}: {listed.subject}", text=text)
    spoken = {finding.rule for finding in result.findings}
    spoken |= {entry.rule for entry in result.not_judged}
    for rule, count in sorted(Counter(result.held).items()):
        if rule not in spoken:
            yield _Case(rule, text=f"held {count} times" if count > 1 else "")


def _line_in(result: SiteResult, place: Place) -> int:
    return place.line if place.path == result.path else 0


def _finding(finding: Finding, cause: Finding | None, *, fails: bool) -> _Case:
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
        return _Case(name, "skipped", f"{reason}: {waiver.because}", text)
    if finding.listed is not None:
        since = finding.listed.since.isoformat()
        reason = f"on the accepted list since {since}: {finding.listed.because}"
        return _Case(name, "skipped", reason, text)
    if finding.is_caution:
        reason = f"for a licensed person to review: {finding.message}"
        return _Case(name, "skipped", reason, text)
    if fails:
        return _Case(name, "failure", finding.message, text)
    return _Case(name, text=text)


def _attribute(text: str) -> str:
    return quoteattr(visible(text))


def _text(text: str) -> str:
    return escape(visible(text))

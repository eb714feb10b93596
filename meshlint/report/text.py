"""The report that a person reads: findings by file, then what was not judged.

In short, the gravest first; or explained, by subject, with reasons and sources. Nothing
here decides anything: words come from the cards, numbers from the findings.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.lint.finding import SEVERITIES
from meshlint.report.brief import brief_findings, open_questions, proven
from meshlint.report.lines import LABEL, entry, wrapped
from meshlint.report.plain import in_a_row, visible
from meshlint.report.repeated import Told
from meshlint.report.totals import Totals, counted, gone_words, number_of, shown_points

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult, Source
    from meshlint.report.lines import Look
    from meshlint.report.repeated import Repeated

CAUTIONS = (
    "Cautions. They are no faults of the design and no passes either: local code and a licensed "
    "person decide."
)
"""What stands above the cautions of a file, wherever they are shown."""

_MOST_WANTED = 6
_MOST_BROKEN = 10
_MOST_NAMED = 4
_MANY_SITES = 4


class TextWriter:
    """Writes the report file by file, and a summary over all at the end."""

    def __init__(self, look: Look) -> None:
        self._look = look
        self._tally = Totals()
        self._waived: list[str] = []
        self._told = Told()

    def add(self, result: SiteResult) -> str:
        """Return what there is to say of one file."""
        self._tally.add(result)
        if self._look.quiet:
            result = only_failing(result)
        if self._told.is_known_problem(result):
            # A mistake in a policy or a catalogue is one, of however many sites it is in the way.
            return ""
        self._waived += _waived(result, self._look)
        return _joined(_file(self._told.without_known(result), self._look))

    def finish(self) -> str:
        """Return the summary."""
        repeated = _joined(_repeated(self._told.repeated, self._look))
        left_out = self._told.files_left_out
        return repeated + _joined(_summary(self._tally, self._waived, left_out, self._look))


def render(results: Iterable[SiteResult], look: Look) -> str:
    """Return the whole report on results that are all there."""
    writer = TextWriter(look)
    return "".join([*map(writer.add, results), writer.finish()])


def only_failing(result: SiteResult) -> SiteResult:
    """Return a result without what does not make the run fail."""
    return replace(result, findings=result.failing, vanished=(), is_gone=False)


def _joined(lines: Iterable[str]) -> str:
    return "".join(f"{line}\n" for line in lines)


def _file(result: SiteResult, look: Look) -> Iterator[str]:
    if result.is_gone:
        yield look.paint(f"{visible(result.site)}, {visible(result.path)}", "title")
        yield from wrapped(visible(gone_words(result)), look, "  ")
        yield ""
        return
    if result.fault:
        yield look.paint(f"{visible(result.path)} was not checked", "title")
        yield from wrapped(f"A fault of the program: {visible(result.fault)}", look, "    ")
        yield ""
        return
    if result.problems:
        yield look.paint(f"{visible(result.path)} could not be understood", "title")
        for problem in result.problems:
            yield f"  {look.paint(visible(str(problem.place)), 'place')}"
            yield from wrapped(visible(problem.message), look, "    ")
        yield ""
        return
    if result.open_findings or result.cautions:
        yield look.paint(visible(", ".join(filter(None, (result.site, result.path)))), "title")
        told = _subjects if look.explain else brief_findings
        yield from told(result.open_findings, look)
        if result.cautions:
            yield ""
            yield from wrapped(CAUTIONS, look, "" if not look.explain else "  ")
            yield from told(result.cautions, look)
        yield ""
    if result.vanished:
        yield look.paint(f"{visible(result.site)}, {visible(result.path)}", "title")
        for gone in result.vanished:
            text = (
                f"No longer there: {visible(gone.rule)} for {visible(gone.subject)}, accepted "
                f"since {gone.since.isoformat()}; take {visible(str(gone.place))} out"
            )
            yield from wrapped(text, look, "  ")
        yield ""


def _subjects(findings: Iterable[Finding], look: Look) -> Iterator[str]:
    subject = None
    findings = tuple(findings)
    under: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.under:
            under.setdefault(finding.under, []).append(finding)
    named = Counter(label for _, label in {(f.subject, f.label) for f in findings})
    for finding in _by_subject(findings):
        if finding.under:
            continue
        if finding.subject != subject:
            subject = finding.subject
            # A unit and a link may have one name; then the section of the file tells them apart.
            kind = f" ({subject.split('/')[0]})" if named[finding.label] > 1 else ""
            yield ""
            yield f"  {look.paint(visible(finding.label + kind), 'subject')}"
        yield from _finding(finding, look, under.get(finding.fingerprint, ()) if under else ())


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


def _finding(finding: Finding, look: Look, under: Iterable[Finding]) -> Iterator[str]:
    head = f"{look.paint(finding.severity, finding.severity)}, {finding.rule}"
    yield f"    {head}, {look.paint(visible(str(finding.place)), 'place')}"
    yield from wrapped(visible(finding.message), look, "      ")
    if finding.follows:
        others = visible(in_a_row(finding.follows))
        yield from entry("likewise", f"{others}, for the same cause", look)
    for other in sorted(under, key=lambda other: SEVERITIES.index(other.severity)):
        labels = in_a_row((other.label, *other.follows))
        told = f"{other.severity}, {other.rule} for {labels}: {other.message}"
        yield from entry("and so", told, look)
    yield from _why(finding.why, look)
    yield from entry("remedy", visible(finding.remedy), look)
    for fix in finding.fixes:
        yield from entry("proven", visible(proven(fix, finding)), look)
    yield from _sources(finding.sources, look)
    for related in finding.related:
        place = visible(str(related.place))
        yield f"      {look.paint('see'.ljust(LABEL), 'label')}  {look.paint(place, 'place')}"


@cache
def _why(text: str, look: Look) -> tuple[str, ...]:
    """Return an entry that is the same for every finding of a rule, as `_sources` is."""
    return tuple(entry("because", text, look))


@cache
def _sources(sources: tuple[Source, ...], look: Look) -> tuple[str, ...]:
    return tuple(entry("source", "; ".join(source.marked for source in sources), look))


def _repeated(entries: list[Repeated], look: Look) -> Iterator[str]:
    """Yield, for what was told once, where else it holds in the same words."""
    if not entries:
        return
    yield look.paint("Told once above, and the same elsewhere", "title")
    cut = False
    for told in entries:
        left = told.others - len(told.shown)
        cut |= left > 0
        places = ", ".join(told.shown) + (f" and {left} more" if left else "")
        text = f"{told.what} ({told.first}): {number_of(told.others, told.counted)}, {places}"
        yield from wrapped(visible(text), look, "  ")
    if cut:
        yield "  `--format concise` lists every place."
    yield ""


def _of_the_site(tally: Totals, look: Look) -> Iterator[str]:
    """Yield what the only site of a run is like: no faults, but worth a line."""
    # That all depends on the primary goes without saying, unless somebody asked for everything.
    if len(tally.single_points) > 1 or (tally.single_points and look.explain):
        yield from wrapped(visible(shown_points(tally)), look, "")
    if tally.line_shares:
        yield from wrapped(visible(" ".join(tally.line_shares)), look, "")


def _summary(tally: Totals, waived: Iterable[str], told_before: int, look: Look) -> Iterator[str]:
    for line in wrapped(counted(tally), look, ""):
        yield look.paint(line, "title")
    if tally.sites == 1 and not look.quiet:
        yield from _of_the_site(tally, look)
    if tally.idle and look.explain:
        had = "rule" if len(tally.idle) == 1 else "rules"
        yield f"{len(tally.idle)} {had} had nothing to look at; `--format json` names them."
    waived = tuple(waived)
    if waived:
        yield "Accepted by waiver:"
        yield from waived
    if tally.sites >= _MANY_SITES and not look.quiet:
        yield from _broken(tally, look)
    if tally.unreadable:
        files = number_of(tally.unreadable, "file")
        same = f", {told_before} of them for what is told of another" if told_before else ""
        yield look.paint(f"{files} could not be understood{same}.", "error")
    if tally.faults:
        yield look.paint(f"{number_of(tally.faults, 'file')} met a fault of the program.", "error")
    if look.explain:
        yield from _wanted(tally, look)
    elif not look.quiet:
        yield from open_questions(tally, look)


def _broken(tally: Totals, look: Look) -> Iterator[str]:
    """Yield which rules are broken in the most sites: where one decision mends many."""
    rows = tally.most_broken()[:_MOST_BROKEN]
    if not rows:
        return
    yield "Broken in the most sites:"
    wide = max(len(rule) for rule, _, _ in rows)
    for rule, findings, files in rows:
        name = look.paint(visible(rule).ljust(wide), "subject")
        yield f"  {name}  {number_of(files, 'site')}, {number_of(findings, 'finding')}"


def _waived(result: SiteResult, look: Look) -> Iterator[str]:
    for finding in result.findings:
        if (waiver := finding.waiver) is None:
            continue
        by = f" by {visible(waiver.approved_by)}" if waiver.approved_by else ""
        until = f" until {waiver.until.isoformat()}" if waiver.until else ""
        text = (
            f"{finding.rule} for {visible(finding.label)} ({visible(str(finding.place))})"
            f"{by}{until}: {visible(waiver.because or '')}"
        )
        yield from wrapped(text, look, "  ")


def _wanted(tally: Totals, look: Look) -> Iterator[str]:
    """Yield which inputs would settle most of what was not judged, over all files."""
    rows = tally.most_wanted()
    if not rows:
        return
    yield "Not judged; the line that would settle most comes first:"
    for key, meaning, judgements, names in rows[:_MOST_WANTED]:
        meaning_said = f", {visible(meaning)}" if meaning else ""
        text = f"{key}{meaning_said}: {number_of(judgements, 'judgement')} of "
        left = len(names) - _MOST_NAMED
        shown = [*names[:_MOST_NAMED], f"{left} more"] if left > 0 else names
        first, *rest = wrapped(text + ", ".join(shown), look, "  ")
        # Painted once the lines are cut: what paint is made of takes no room in them.
        yield first.replace(key, look.paint(key, "subject"), 1)
        yield from rest
    if len(rows) > _MOST_WANTED:
        more = number_of(len(rows) - _MOST_WANTED, "more input")
        yield f"  and {more}; `--format json` lists all."

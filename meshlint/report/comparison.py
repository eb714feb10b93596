"""Two states of a site side by side, for people, for programs and for a merge request."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from meshlint.report.markdown import escaped, with_code
from meshlint.report.plain import harmless_json, in_a_row, visible

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.compare import Change, Comparison
    from meshlint.lint.finding import Finding
    from meshlint.report.lines import Look
    from meshlint.site.edits import Edit

SCHEMA_VERSION = 1

_GONE = "Findings gone"
_MOST_EDITS = 30
_LONGEST_VALUE = 80


def as_text(found: Comparison, look: Look) -> str:
    """Return what differs as text: findings first, then numbers by subject."""
    return "\n".join(_text(found, look)) + "\n"


def _text(found: Comparison, look: Look) -> Iterator[str]:
    yield look.paint(_title(found, visible), "title")
    if found.is_empty:
        yield "  Nothing differs."
        return
    yield from _text_edits(found, look)
    yield from _text_findings(found, look)
    for heading, keys in (("Added", found.added), ("Removed", found.removed)):
        if keys:
            yield ""
            yield from _wrapped(f"{heading}: {', '.join(map(visible, keys))}", look, "  ")
    yield from _text_numbers(found, look)
    if rest := _rest(found):
        yield ""
        yield f"  {rest}"


def _text_edits(found: Comparison, look: Look) -> Iterator[str]:
    if found.edits:
        yield ""
        yield "  Changed by hand"
        for edit in found.edits[:_MOST_EDITS]:
            yield from _wrapped(f"{visible(edit.key)}: {visible(_edited(edit))}", look, "    ")
        if more := _more_edits(found):
            yield f"    {more}"


def _text_findings(found: Comparison, look: Look) -> Iterator[str]:
    for heading, findings in _findings(found):
        yield ""
        yield f"  {heading}"
        for severity, finding in findings:
            head = f"{look.paint(severity, finding.severity)}, {finding.rule} for {_whom(finding)}"
            yield f"    {head}, {look.paint(visible(str(finding.place)), 'place')}"
            yield from _wrapped(visible(finding.message), look, "      ")
            if heading != _GONE:
                yield from _wrapped(visible(f"Remedy: {finding.remedy}"), look, "      ")


def _text_numbers(found: Comparison, look: Look) -> Iterator[str]:
    if found.rates:
        yield ""
        yield "  What each client group gets"
        for change in found.rates:
            verdict = change.verdict if change.verdict != "other" else ""
            told = f"{verdict:<7}  {visible(change.label)}, {_moved(change, visible)}"
            yield from _wrapped(told, look, "    ", " " * 9)
    last = None
    for change in _felt(found):
        if change.subject != last:
            last = change.subject
            yield ""
            yield f"  {look.paint(visible(_named(change)), 'subject')}"
        verdict = change.verdict if change.verdict != "other" else ""
        moved = f"{verdict:<7}  {_moved(change, visible)}{visible(_bought(change))}"
        yield from _wrapped(moved, look, "    ", " " * 9)


def _title(found: Comparison, shown: Any) -> str:  # noqa: ANN401 - one of two escapes
    name = found.new.result.site
    return f"{shown(name)}: from {shown(found.old.shown)} to {shown(found.new.shown)}"


def _findings(found: Comparison) -> Iterator[tuple[str, list[tuple[str, Finding]]]]:
    """Return the kinds of findings that there are, each with how its severity reads."""
    if found.appeared:
        yield "New findings", [(f.severity, f) for f in found.appeared]
    if found.graver:
        yield (
            "Findings of another severity",
            [(f"{before}, now {finding.severity}", finding) for before, finding in found.graver],
        )
    if found.gone:
        yield _GONE, [(f.severity, f) for f in found.gone]


def _whom(finding: Finding) -> str:
    """Return the subjects of a finding, those told under its cause among them."""
    return visible(in_a_row((finding.label, *finding.follows)))


def _edited(edit: Edit) -> str:
    """Return what became of a key; a long value is cut, JSON has it whole."""
    before, after = map(_cut, (edit.before, edit.after))
    if before is None:
        return f"added, {after}"
    return f"{before} becomes {after}" if after is not None else f"removed, was {before}"


def _cut(value: str | None) -> str | None:
    if value is None or len(value) <= _LONGEST_VALUE:
        return value
    return f"{value[:_LONGEST_VALUE]}..."


def _more_edits(found: Comparison) -> str:
    left = len(found.edits) - _MOST_EDITS
    return f"and {left} more; --format json lists all." if left > 0 else ""


def _felt(found: Comparison) -> list[Change]:
    """Return the changes that people feel, what groups get left out: that is told of every one."""
    rates = {(change.subject, change.fact) for change in found.rates}
    return [change for change in found.felt if (change.subject, change.fact) not in rates]


def _named(change: Change) -> str:
    """Return a subject's label, with what it is where units, links and groups could be mixed up."""
    scope = change.fact.partition(".")[0]
    return f"{change.label} ({scope})" if scope in {"link", "group", "radio"} else change.label


def _moved(change: Change, shown: Any) -> str:  # noqa: ANN401 - one of two escapes
    if change.shown_before == change.shown_after:
        return f"{change.words}: {shown(change.shown_after)} as before"
    return f"{change.words}: {shown(change.shown_before)} becomes {shown(change.shown_after)}"


def _bought(change: Change) -> str:
    """Return which errors or losses a gain comes with, so that nobody takes it for one."""
    errors = f", with new errors of {', '.join(change.bought_with)}" if change.bought_with else ""
    return f"{errors}, as {change.because}" if change.because else errors


def _rest(found: Comparison) -> str:
    count = sum(not change.is_felt for change in found.changes)
    if not count:
        return ""
    noun = "number" if count == 1 else "numbers"
    return f"{count} lesser {noun} moved as well; --format json lists all."


def _wrapped(text: str, look: Look, indent: str, hanging: str = "") -> Iterator[str]:
    yield from textwrap.wrap(
        text,
        look.width,
        initial_indent=indent,
        subsequent_indent=indent + hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )


def as_markdown(found: Comparison) -> str:
    """Return what differs for a merge request, names of the file escaped."""
    return "\n".join(_markdown(found)) + "\n"


def _markdown(found: Comparison) -> Iterator[str]:
    yield f"## {_title(found, escaped)}"
    if found.is_empty:
        yield ""
        yield "Nothing differs."
        return
    yield from _markdown_edits(found)
    yield from _markdown_findings(found)
    for heading, keys in (("Added", found.added), ("Removed", found.removed)):
        if keys:
            yield ""
            yield f"{heading}: {', '.join(map(escaped, keys))}."
    yield from _markdown_numbers(found)
    if rest := _rest(found):
        yield ""
        yield rest


def _markdown_edits(found: Comparison) -> Iterator[str]:
    if found.edits:
        yield ""
        yield "### Changed by hand"
        yield ""
        for edit in found.edits[:_MOST_EDITS]:
            yield f"- {escaped(edit.key)}: {escaped(_edited(edit))}"
        if more := _more_edits(found):
            yield f"- {more}"


def _markdown_findings(found: Comparison) -> Iterator[str]:
    for heading, findings in _findings(found):
        yield ""
        yield f"### {heading}"
        yield ""
        for severity, finding in findings:
            where = f"{escaped(_whom(finding))}, {escaped(str(finding.place))}"
            said = f"{escaped(finding.rule)}, {where}: {with_code(finding.message)}"
            yield f"- **{severity}** {said}"
            if heading != _GONE:
                yield f"  Remedy: {with_code(finding.remedy)}"


def _markdown_numbers(found: Comparison) -> Iterator[str]:
    if found.rates:
        yield ""
        yield "### What each client group gets"
        yield ""
        yield "| | | before | after | |"
        yield "|---|---|---|---|---|"
        for change in found.rates:
            verdict = change.verdict if change.verdict != "other" else ""
            shown = (change.shown_before, change.shown_after)
            columns = (escaped(change.label), change.words, *map(escaped, shown), verdict)
            yield f"| {' | '.join(columns)} |"
    last = None
    for change in _felt(found):
        if change.subject != last:
            last = change.subject
            yield ""
            yield f"### {escaped(_named(change))}"
            yield ""
            yield "| | before | after | |"
            yield "|---|---|---|---|"
        verdict = change.verdict if change.verdict != "other" else ""
        cells = (
            change.words,
            escaped(change.shown_before),
            escaped(change.shown_after),
            f"{verdict}{escaped(_bought(change))}",
        )
        yield f"| {' | '.join(cells)} |"


def as_json(found: Comparison) -> str:
    """Return everything that differs as one JSON object, keys in a fixed order."""
    report: dict[str, Any] = {
        "schema_version": SCHEMA_VERSION,
        "site": found.new.result.site,
        "old": found.old.shown,
        "new": found.new.shown,
        "findings_gone": [_finding(finding) for finding in found.gone],
        "findings_new": [_finding(finding) for finding in found.appeared],
        "findings_of_another_severity": [
            {**_finding(finding), "severity_before": before} for before, finding in found.graver
        ],
        "edits": [
            {"key": edit.key, "before": edit.before, "after": edit.after} for edit in found.edits
        ],
        "rates": [_entry(change) for change in found.rates],
        "subjects_added": list(found.added),
        "subjects_removed": list(found.removed),
        "changes": [_entry(change) for change in found.changes],
    }
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "subject": finding.subject,
        "label": finding.label,
        "path": finding.place.path,
        "line": finding.place.line,
        "column": finding.place.column,
        "message": finding.message,
        "remedy": finding.remedy,
        "follows": list(finding.follows),
        "fingerprint": finding.fingerprint,
    }


def _entry(change: Change) -> dict[str, Any]:
    def plain(value: object) -> object:
        return list(value) if isinstance(value, tuple) else value

    return {
        "subject": change.subject,
        "fact": change.fact,
        "meaning": change.words,
        "unit": change.unit,
        "before": plain(change.before),
        "after": plain(change.after),
        "verdict": change.verdict,
        "felt": change.is_felt,
        "bought_with": list(change.bought_with),
        "because": change.because,
    }

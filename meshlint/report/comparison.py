"""Two states of a site side by side, for people, for programs and for a merge request."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from meshlint.report.markdown import escaped
from meshlint.report.plain import harmless_json, visible

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.compare import Change, Comparison
    from meshlint.lint.finding import Finding
    from meshlint.report.text import Look

SCHEMA_VERSION = 1


def as_text(found: Comparison, look: Look) -> str:
    """Return what differs as text: findings first, then numbers by subject."""
    return "\n".join(_text(found, look)) + "\n"


def _text(found: Comparison, look: Look) -> Iterator[str]:
    yield look.paint(_title(found, visible), "title")
    if found.is_empty:
        yield "  Nothing differs."
        return
    for heading, findings in _findings(found):
        yield ""
        yield f"  {heading}"
        for severity, finding in findings:
            yield f"    {look.paint(severity, finding.severity)}, {finding.rule}"
            yield from _wrapped(visible(finding.message), look, "      ")
    for heading, keys in (("Added", found.added), ("Removed", found.removed)):
        if keys:
            yield ""
            yield from _wrapped(f"{heading}: {', '.join(map(visible, keys))}", look, "  ")
    last = None
    for change in found.felt:
        if change.subject != last:
            last = change.subject
            yield ""
            yield f"  {look.paint(visible(_named(change)), 'subject')}"
        verdict = change.verdict if change.verdict != "other" else ""
        moved = f"{verdict:<7}  {_moved(change, visible)}{_bought(change)}"
        yield from _wrapped(moved, look, "    ", " " * 9)
    if rest := _rest(found):
        yield ""
        yield f"  {rest}"


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
        yield "Findings gone", [(f.severity, f) for f in found.gone]


def _named(change: Change) -> str:
    """Return a subject's label, with what it is where units, links and groups could be mixed up."""
    scope = change.fact.partition(".")[0]
    return f"{change.label} ({scope})" if scope in {"link", "group", "radio"} else change.label


def _moved(change: Change, shown: Any) -> str:  # noqa: ANN401 - one of two escapes
    return f"{change.words}: {shown(change.shown_before)} becomes {shown(change.shown_after)}"


def _bought(change: Change) -> str:
    """Return which new errors a gain comes with, so that nobody takes it for one; mostly none."""
    return f", with new errors of {', '.join(change.bought_with)}" if change.bought_with else ""


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
    for heading, findings in _findings(found):
        yield ""
        yield f"### {heading}"
        yield ""
        for severity, finding in findings:
            yield f"- **{severity}** {escaped(finding.rule)}: {escaped(finding.message)}"
    for heading, keys in (("Added", found.added), ("Removed", found.removed)):
        if keys:
            yield ""
            yield f"{heading}: {', '.join(map(escaped, keys))}."
    last = None
    for change in found.felt:
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
    if rest := _rest(found):
        yield ""
        yield rest


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
        "message": finding.message,
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
    }

"""The report that a program reads: one JSON object, versioned, with one-based places.

Its schema is `schemas/report.schema.json`. Files come first and the summary last, so that it can be
written while the check goes on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meshlint import __version__
from meshlint.report.plain import harmless_json
from meshlint.report.totals import Totals

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.lint.finding import Assumption, Finding, Fix, Listed, NotJudged, SiteResult
    from meshlint.site.problem import Place

SCHEMA_VERSION = 1


class JsonWriter:
    """Writes the report file by file."""

    def __init__(self) -> None:
        self._tally = Totals()
        self._gone: list[dict[str, Any]] = []

    def add(self, result: SiteResult) -> str:
        """Return one file's part."""
        if result.is_gone:
            self._tally.add(result)
            self._gone.append(_gone(result))
            return ""
        start = ",\n" if self._tally.files else self._head()
        self._tally.add(result)
        return start + _indented(_file(result), "    ")

    def finish(self) -> str:
        """Return the summary and the end."""
        start = "\n" if self._tally.files else self._head()
        summary = _indented(_summary(self._tally), "  ").lstrip()
        gone = _indented(self._gone, "  ").lstrip()
        return f'{start}  ],\n  "gone_sites": {gone},\n  "summary": {summary}\n}}\n'

    def _head(self) -> str:
        program = _indented({"name": "meshlint", "version": __version__}, "  ").lstrip()
        return f'{{\n  "schema_version": {SCHEMA_VERSION},\n  "program": {program},\n  "files": [\n'


def render(results: Iterable[SiteResult]) -> str:
    """Return the whole report on results that are all there."""
    writer = JsonWriter()
    return "".join([*map(writer.add, results), writer.finish()])


def _indented(value: object, indent: str) -> str:
    from msgspec import json

    text = harmless_json(json.format(json.encode(value), indent=2).decode())
    return indent + text.replace("\n", f"\n{indent}")


def _summary(tally: Totals) -> dict[str, int]:
    return {
        "files": tally.files,
        "unreadable": tally.unreadable,
        "faults": tally.faults,
        **{f"{severity}s": count for severity, count in tally.severities.items()},
        "failing": tally.failing,
        "cautions": tally.cautions,
        "held": tally.held,
        "held_assumed": tally.assumed,
        "not_judged": tally.not_judged,
        "waived": tally.waived,
        "listed": tally.listed,
        "vanished": tally.vanished,
    }


def _file(result: SiteResult) -> dict[str, Any]:
    return {
        "path": result.path,
        "site": result.site,
        "fault": result.fault,
        "problems": [
            {"place": _place(problem.place), "message": problem.message}
            for problem in result.problems
        ],
        "fail_at": result.fail_at,
        "rules": None
        if result.chosen is None
        else {"chosen": result.chosen[0], "all": result.chosen[1]},
        "findings": [_finding(finding) for finding in result.findings],
        "not_judged": [_not_judged(entry) for entry in result.not_judged],
        "wanted": [
            {"input": key, "meaning": meaning, "judgements": judgements, "rules": rules}
            for key, meaning, judgements, rules in result.wanted
        ],
        "vanished": _vanished(result),
        "nothing_to_look_at": result.idle,
        "single_points": result.single_points,
        "line_shares": result.line_shares,
        **({"verdicts": _verdicts(result)} if result.verdicts else {}),
    }


def _verdicts(result: SiteResult) -> list[dict[str, str]]:
    return [
        {"rule": rule, "subject": subject, "verdict": word}
        for rule, subject, word in result.verdicts
    ]


def _gone(result: SiteResult) -> dict[str, Any]:
    return {"site": result.site, "list": result.path, "vanished": _vanished(result)}


def _vanished(result: SiteResult) -> list[dict[str, Any]]:
    return [
        {"rule": entry.rule, "subject": entry.subject, **_listed(entry)}
        for entry in result.vanished
    ]


def _finding(finding: Finding) -> dict[str, Any]:
    waiver, listed = finding.waiver, finding.listed
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "kind": "caution" if finding.is_caution else "fault",
        "title": finding.title,
        "subject": finding.subject,
        "label": finding.label,
        "place": _place(finding.place),
        "message": finding.message,
        "why": finding.why,
        "remedy": finding.remedy,
        "fixes": [_fix(fix) for fix in finding.fixes],
        "numbers": finding.numbers,
        "sources": [
            {
                "document": source.document,
                "edition": source.edition,
                "clause": source.clause,
                "supports": source.supports,
                "read": source.read,
            }
            for source in finding.sources
        ],
        "related": [{"place": _place(r.place), "says": r.says} for r in finding.related],
        "assumed": [_assumed(one) for one in finding.assumed],
        "follows": finding.follows,
        "under": finding.under,
        "fingerprint": finding.fingerprint,
        "waiver": None
        if waiver is None
        else {
            "because": waiver.because,
            "approved_by": waiver.approved_by,
            "until": waiver.until.isoformat() if waiver.until else None,
        },
        "listed": None if listed is None else _listed(listed),
    }


def _fix(fix: Fix) -> dict[str, Any]:
    return {
        "for": fix.label,
        "words": fix.words,
        "work": fix.work,
        "left": fix.left,
        "replacements": [
            {"first_line": part.first_line, "last_line": part.last_line, "text": part.text}
            for part in fix.replacements
        ],
    }


def _assumed(one: Assumption) -> dict[str, Any]:
    return {
        "at": "/".join(map(str, one.pointer)),
        "input": one.words,
        "low": one.low,
        "usual": one.usual,
        "high": one.high,
        "unit": one.unit,
        "source": one.source,
    }


def _listed(entry: Listed) -> dict[str, Any]:
    return {
        "because": entry.because,
        "since": entry.since.isoformat(),
        "severity": entry.severity,
        "fingerprint": entry.fingerprint,
        "place": _place(entry.place),
    }


def _not_judged(entry: NotJudged) -> dict[str, Any]:
    return {
        "rule": entry.rule,
        "subject": entry.subject,
        "label": entry.label,
        "place": _place(entry.place),
        "inputs": [
            {"input": wanted.key, "at": "/".join(map(str, wanted.pointer)), "wanted": wanted.wanted}
            for wanted in entry.inputs
        ],
    }


def _place(place: Place) -> dict[str, Any]:
    return {"path": place.path, "line": place.line, "column": place.column}

"""The report that a program reads: one JSON object, versioned, with one-based places."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from meshlint.report.text import count_by_severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.lint.finding import Finding, NotJudged, SiteResult
    from meshlint.site.problem import Place

SCHEMA_VERSION = 1


def render(results: Sequence[SiteResult]) -> str:
    """Return the report as JSON text, keys in a fixed order."""
    report = {
        "schema_version": SCHEMA_VERSION,
        "summary": {
            "files": len(results),
            "unreadable": sum(bool(result.problems) for result in results),
            **{f"{severity}s": n for severity, n in count_by_severity(results).items()},
            "held": sum(len(result.held) for result in results),
            "not_judged": sum(len(result.not_judged) for result in results),
            "waived": sum(len(result.accepted) for result in results),
            "cautions": sum(len(result.cautions) for result in results),
        },
        "files": [_file(result) for result in results],
    }
    return json.dumps(report, indent=2, ensure_ascii=False) + "\n"


def _file(result: SiteResult) -> dict[str, Any]:
    return {
        "path": result.path,
        "site": result.site,
        "problems": [
            {"place": _place(problem.place), "message": problem.message}
            for problem in result.problems
        ],
        "findings": [_finding(finding) for finding in result.findings],
        "not_judged": [_not_judged(entry) for entry in result.not_judged],
        "wanted": [
            {"input": key, "meaning": meaning, "judgements": judgements, "rules": list(rules)}
            for key, meaning, judgements, rules in result.wanted()
        ],
        "nothing_to_look_at": list(result.idle),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    waiver = finding.waiver
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
        "numbers": {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in finding.numbers.items()
        },
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
        "follows": list(finding.follows),
        "fingerprint": finding.fingerprint,
        "waiver": None
        if waiver is None
        else {
            "because": waiver.because,
            "approved_by": waiver.approved_by,
            "until": waiver.until.isoformat() if waiver.until else None,
        },
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

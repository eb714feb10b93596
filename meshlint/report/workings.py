"""Every computed number of a site, with its unit, meaning and source, or why it is unknown."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from meshlint.report.plain import harmless_json, visible
from meshlint.workings.fact import with_unit
from meshlint.workings.subjects import SCOPES, subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.workings.fact import Fact, FactValue
    from meshlint.workings.site_workings import Subject, Workings
    from meshlint.workings.unknown import Input

_ON_ONE_LINE = 4
"""Longer lists stand one entry to a line, so that a ledger can be read to its end."""

Row = tuple["Subject", "Fact", "FactValue | Unknown"]


def as_text(workings: Workings, facts: Mapping[str, Fact], only: str | None = None) -> str:
    """Return the facts by subject, each on a line with its unit, meaning and source."""
    lines: list[str] = []
    last = None
    for subject, declared, value in _rows(workings, facts, only):
        if subject != last:
            last = subject
            lines += ["", f"{visible(subject.key)} ({subject.scope})"]
        if isinstance(value, tuple) and len(value) > _ON_ONE_LINE:
            lines.append(f"  {declared.name} = these {len(value)}:")
            lines += [f"    {visible(entry)}" for entry in value]
        else:
            lines.append(f"  {declared.name} = {_said(declared, value)}")
        lines.append(f"      {declared.meaning}; from {declared.source}")
    for scope, missing in _gaps(workings) if only is None else ():
        keys = ", ".join(dict.fromkeys(wanted.key for wanted in missing))
        lines += ["", f"{scope}: not all can be told; the file does not state {keys}"]
    return "\n".join(lines[1:]) + "\n"


def as_json(workings: Workings, facts: Mapping[str, Fact], only: str | None = None) -> str:
    """Return the facts as one JSON object: an entry for each subject and fact."""
    report: dict[str, Any] = {
        "schema_version": 1,
        "site": workings.site.about.name,
        "facts": [_entry(*row) for row in _rows(workings, facts, only)],
        "gaps": [
            {"scope": scope, "inputs": list(dict.fromkeys(wanted.key for wanted in missing))}
            for scope, missing in _gaps(workings)
        ],
    }
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def _rows(workings: Workings, facts: Mapping[str, Fact], only: str | None) -> Iterator[Row]:
    for scope in SCOPES:
        declared = [entry for entry in facts.values() if entry.scope == scope]
        for subject in subjects(workings, scope)[0]:
            if only is None or subject.key == only:
                for entry in declared:
                    yield subject, entry, workings.value(entry, subject)


def _gaps(workings: Workings) -> Iterator[tuple[str, tuple[Input, ...]]]:
    for scope in SCOPES:
        missing = subjects(workings, scope)[1]
        if missing:
            yield scope, missing


def _said(declared: Fact, value: FactValue | Unknown) -> str:
    if isinstance(value, Unknown):
        wanted = dict.fromkeys(
            f"{w.key}{f' ({w.wanted})' if w.wanted else ''}" for w in value.inputs
        )
        return f"unknown: the file does not state {visible(', '.join(wanted))}"
    if value in ("", ()):
        return "none"
    return visible(with_unit(declared, value))


def _entry(subject: Subject, declared: Fact, value: FactValue | Unknown) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "subject": subject.key,
        "fact": declared.qualified,
        "unit": declared.unit,
        "meaning": declared.meaning,
        "source": declared.source,
    }
    if isinstance(value, Unknown):
        missing = [{"input": wanted.key, "wanted": wanted.wanted} for wanted in value.inputs]
        return {**entry, "value": None, "missing": missing}
    return {**entry, "value": list(value) if isinstance(value, tuple) else value, "missing": []}

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

Value = tuple["Fact", "FactValue | Unknown"]


def as_text(
    workings: Workings, facts: Mapping[str, Fact], only: str | None = None
) -> Iterator[str]:
    """Yield the facts subject by subject, each on a line with its unit, meaning and source."""
    between = ""
    for subject, values in _by_subject(workings, facts, only):
        lines = [f"{between}{visible(subject.key)} ({subject.scope})"]
        between = "\n"
        for declared, value in values:
            if isinstance(value, tuple) and len(value) > _ON_ONE_LINE:
                lines.append(f"  {declared.name} = these {len(value)}:")
                lines += [f"    {visible(entry)}" for entry in value]
            else:
                lines.append(f"  {declared.name} = {_said(declared, value)}")
            lines.append(f"      {declared.meaning}; from {declared.source}")
        yield "\n".join(lines) + "\n"
    for scope, missing in _gaps(workings) if only is None else ():
        keys = ", ".join(dict.fromkeys(wanted.key for wanted in missing))
        yield f"{between}{scope}: not all can be told; the file does not state {keys}\n"
        between = "\n"


def as_json(
    workings: Workings, facts: Mapping[str, Fact], only: str | None = None
) -> Iterator[str]:
    """Yield the parts of one JSON object with the facts: an entry for each subject and fact."""
    head = {"schema_version": 1, "site": workings.site.about.name, "facts": []}
    yield _json(head).removesuffix("]\n}")
    between, end = "\n", "]"
    for subject, values in _by_subject(workings, facts, only):
        entries = [_json(_entry(subject, *row)).replace("\n", "\n    ") for row in values]
        yield between + ",\n".join(f"    {entry}" for entry in entries)
        between, end = ",\n", "\n  ]"
    gaps = [
        {"scope": scope, "inputs": list(dict.fromkeys(wanted.key for wanted in missing))}
        for scope, missing in _gaps(workings)
    ]
    yield f"{end},\n" + _json({"gaps": gaps}).removeprefix("{\n") + "\n"


def _json(value: object) -> str:
    return harmless_json(json.dumps(value, indent=2, ensure_ascii=False))


def _by_subject(
    workings: Workings, facts: Mapping[str, Fact], only: str | None
) -> Iterator[tuple[Subject, list[Value]]]:
    """Yield each subject with its facts, worked out when its turn comes and not kept here."""
    for scope in SCOPES:
        declared = [entry for entry in facts.values() if entry.scope == scope]
        for subject in subjects(workings, scope)[0] if declared else ():
            if only is None or subject.key == only:
                yield subject, [(entry, workings.value(entry, subject)) for entry in declared]


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

"""A repository's list of accepted findings: read, held against a site, and written.

The list is kept by the site's own name and not by its file, one finding on a line, so that a
renamed file or a moved line changes nothing in it and a review sees what was added.
"""

from __future__ import annotations

import json
import os
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from meshlint.lint.finding import Listed, fingerprint
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError, Problem
from meshlint.site.scalars import in_double_quotes
from meshlint.site.schema import check
from meshlint.site.source import read_document

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from meshlint.site.source import Document

AcceptedList = dict[str, tuple[Listed, ...]]
"""Accepted findings by the name of their site."""

_HEAD = """\
# Findings that this repository lives with for now: only new ones fail.
# Written by `meshlint accept`; edit a reason, or take a line out, and review the difference.
"""


def read_accepted(path: Path, shown: str) -> AcceptedList:
    """Return the list in a file, empty where there is no file; raise `InputError` if it is none."""
    if not os.path.lexists(path):
        return {}
    document = read_document(read_bytes(path, shown), shown)
    check(document, "accepted")
    entries: AcceptedList = {}
    problems: list[Problem] = []
    sites: dict[str, list[dict[str, Any]]] = cast("dict[str, Any]", document.value)["sites"]
    for site, listed in sites.items():
        found = list(_entries(document, site, listed, problems))
        entries[site] = tuple(found)
    if problems:
        raise InputError(problems)
    return entries


def sites_as_written(data: bytes) -> set[str] | None:
    """Return the sites of a list that stands as `accepted_text` writes it, `None` for another.

    To read a long list in full takes a hundred times as long.
    """
    names: set[str] = set()
    for line in data.decode(errors="replace").splitlines():
        if line.startswith('  "') and line.endswith('":'):
            try:
                names.add(json.loads(line.strip()[:-1]))
            except ValueError:
                return None
        elif not line.startswith(("    - {rule: ", "#", "meshlint:", "sites:")):
            return None
    return names


def accepted_text(entries: Mapping[str, tuple[Listed, ...]]) -> str:
    """Return the file of a list: sites and findings in order, the same text for the same list."""
    lines = [_HEAD, "meshlint: 1\n"]
    kept = {site: listed for site, listed in entries.items() if listed}
    if not kept:
        return "".join([*lines, "sites: {}\n"])
    lines.append("sites:\n")
    for site in sorted(kept):
        lines.append(f"  {in_double_quotes(site)}:\n")
        lines += map(_line, sorted(kept[site], key=lambda entry: (entry.rule, entry.subject)))
    return "".join(lines)


def _entries(
    document: Document, site: str, listed: list[dict[str, Any]], problems: list[Problem]
) -> Iterator[Listed]:
    seen: set[str] = set()
    for position, raw in enumerate(listed):
        pointer = ("sites", site, position)
        place = document.place(pointer)
        expected = fingerprint(site, raw["rule"], raw["subject"])
        try:
            since = date.fromisoformat(raw["since"])
        except ValueError:
            since = date.min
            words = f"there is no day {raw['since']}"
            problems.append(Problem(document.place((*pointer, "since")), words))
        if raw["fingerprint"] != expected:
            words = (
                "this is not the fingerprint of that rule and subject; take the line out and run "
                "`meshlint accept`"
            )
            problems.append(Problem(document.place((*pointer, "fingerprint")), words))
        if expected in seen:
            problems.append(Problem(place, "this finding stands in the list already"))
        seen.add(expected)
        yield Listed(
            rule=raw["rule"],
            subject=raw["subject"],
            severity=raw["severity"],
            fingerprint=expected,
            since=since,
            because=raw["because"],
            place=place,
        )


def _line(entry: Listed) -> str:
    rule, subject, because = map(in_double_quotes, (entry.rule, entry.subject, entry.because))
    return (
        f"    - {{rule: {rule}, subject: {subject}, severity: {entry.severity}, "
        f"since: {entry.since.isoformat()}, because: {because}, "
        f'fingerprint: "{entry.fingerprint}"}}\n'
    )

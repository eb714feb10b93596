"""A piece of a site file that is asked about: a unit or several, with their links and clients."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.edits.rewriting import Append, Edit, Set, rewritten
from meshlint.report.figures import in_words
from meshlint.site.files import read_bytes
from meshlint.site.limits import LIMITS
from meshlint.site.problem import InputError, Problem
from meshlint.site.references import mapping
from meshlint.site.source import read_document
from meshlint.what_if.step import Step

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.references import Raw
    from meshlint.site.source import Document, Pointer, Value
    from meshlint.what_if.draft import Draft

_MAPS = ("units", "backhaul", "clients", "networks", "areas", "levels", "buildings",
         "internet_lines", "models")  # fmt: skip
_LISTS = ("cable_routes", "neighbours", "radars", "readings")


def with_piece(draft: Draft, path: str) -> Draft:
    """Return a draft with what a file holds: sections as in a site file, or units alone.

    Raises `InputError` with a place in that file, also where the site would not be sound with it.
    """
    limits = draft.opened.policy.limits if draft.opened.policy else LIMITS
    piece = read_document(read_bytes(Path(path), path), path, limits)
    value = mapping(piece.value)
    if not value:
        raise InputError.at(piece.place(()), "it holds no unit to add; write {units: {NAME: ...}}")
    is_whole = not value.keys().isdisjoint((*_MAPS, *_LISTS))
    sections = value if is_whole else {"units": value}
    raw = draft.raw
    edits = tuple(
        edit
        for section, entries in sections.items()
        for edit in _section(raw, piece, section, entries, (section,) if is_whole else ())
    )
    names = list(mapping(sections.get("units"))) or list(sections)
    try:
        return draft.then(Step(f"add {in_words(names)}", edits, "new unit"))
    except InputError as error:
        changed = read_document(rewritten(draft.data, edits), draft.first.path, limits)
        raise InputError(
            _in_piece(problem, changed, piece, value, is_whole=is_whole)
            for problem in error.problems
        ) from error


def _in_piece(
    problem: Problem, changed: Document, piece: Document, value: Raw, *, is_whole: bool
) -> Problem:
    """Return a problem of the changed file at its place in the piece that brought it."""
    found = piece.place(())
    waiting: list[tuple[Pointer, object]] = [((), value)]
    for at, inner in waiting:  # grows on the way
        there = at if is_whole else ("units", *at)
        if at and problem.place == changed.place(there):
            found = piece.place(at)
        elif at and problem.place == changed.key_place(there):
            found = piece.key_place(at)
        if isinstance(inner, dict):
            waiting += [((*at, key), entry) for key, entry in inner.items()]
    return Problem(found, problem.message, problem.without_value)


def _section(
    raw: Raw, piece: Document, section: str, entries: Value, at: Pointer
) -> Iterator[Edit]:
    there = raw.get(section)
    if section in _LISTS and isinstance(entries, list):
        if isinstance(there, list):
            yield from (Append((section,), entry) for entry in entries)
        else:
            yield Set((section,), entries)
    elif section in _MAPS and isinstance(entries, dict):
        for name in entries:
            if name in mapping(there):
                words = f"{section} has '{name}' already; a piece adds what is not there yet"
                raise InputError.at(piece.key_place((*at, name)), words)
        if mapping(there):
            yield from (Set((section, name), entry) for name, entry in entries.items())
        else:
            yield Set((section,), entries)
    elif section in (*_MAPS, *_LISTS):
        words = f"expected a {'list' if section in _LISTS else 'map'} of {section} to add"
        raise InputError.at(piece.place(at), words)
    else:
        known = ", ".join((*_MAPS, *_LISTS))
        raise InputError.at(piece.key_place(at), f"'{section}' cannot be added; these can: {known}")

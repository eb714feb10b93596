"""Which site files a call means: the named ones, and all in the named folders.

A folder is searched as git would: what a `.gitignore` on the way excludes is not entered. A file
that is named outright is always checked.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.lint.policy import find_policy, read_policy, shown_from_here
from meshlint.site.files import (
    STANDARD_INPUT,
    followed,
    read_bytes,
    repository_around,
    with_slashes,
)
from meshlint.site.limits import LIMITS
from meshlint.site.problem import InputError, Place

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pathspec import GitIgnoreSpec

SUFFIXES = (".site.yaml", ".site.yml")
IGNORE_FILE = ".gitignore"

Rules = tuple[tuple[str, "GitIgnoreSpec"], ...]
"""Ignore rules from the outermost folder inwards, each with the folder that it is relative to."""


def site_files(paths: Iterable[str]) -> tuple[str, ...]:
    """Return the files to check, once each, sorted; folders are searched for `*.site.yaml`.

    A file named outright counts whatever it is called, and one that is not there stays in the
    list, so that reading it says so. Hidden folders and links to folders are not entered.
    """
    found: dict[str, None] = {}
    for path in paths:
        if path != STANDARD_INPUT and os.path.isdir(path):  # noqa: PTH112 - never raises
            found.update(dict.fromkeys(_inside(path, _rules_above(path))))
        else:
            found[_plain(path)] = None
    return tuple(sorted(found))


def _plain(path: str) -> str:
    """Return the path as a folder's search would spell it, `a` for `./a`.

    One that leads upwards stays: what is above a folder that is a link, its name does not tell.
    """
    if not path or os.pardir in Path(path).parts:
        return with_slashes(path)
    return with_slashes(os.path.normpath(path))


def _inside(folder: str, rules: Rules) -> Iterator[str]:
    """Yield the site files under a folder.

    A folder that cannot be read stands for the files in it: reading it says so, and stops no other.
    """
    waiting = [(folder, rules)]
    while waiting:
        here, above = waiting.pop()
        held = above + _rules_in(here, sum(len(spec) for _, spec in above))
        try:
            with os.scandir(here) as entries:
                found = list(entries)
        except OSError:
            yield os.path.normpath(here)
            continue
        for entry in found:
            is_folder = entry.is_dir(follow_symlinks=False)
            wanted = not entry.name.startswith(".") if is_folder else entry.name.endswith(SUFFIXES)
            if not wanted or (held and _ignored(entry.path, held, is_folder=is_folder)):
                continue
            if is_folder:
                waiting.append((entry.path, held))
            elif not _leads_to_folder(entry):
                yield with_slashes(os.path.normpath(entry.path))


def _leads_to_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads in a circle; reading it says so
        return False


def _rules_above(folder: str) -> Rules:
    """Return the ignore rules of the folders between the repository's top and this one."""
    here = followed(Path(folder))
    top = repository_around(here)
    above = [parent for parent in here.parents if parent.is_relative_to(top)]
    return tuple(rule for parent in reversed(above) for rule in _rules_in(str(parent)))


def _rules_in(folder: str, above: int = 0) -> Rules:
    """Return the rules of a folder, if it has any; `above` is how many hold there already.

    Raises `InputError` where they are too many to ask of every file.
    """
    path = Path(folder, IGNORE_FILE)
    if not os.path.lexists(path):
        return ()
    try:
        lines = read_bytes(path, str(path)).decode(errors="replace").splitlines()
    except InputError:
        return ()
    lines = [line for line in lines if line.strip() and not line.startswith("#")]
    if above + len(lines) > LIMITS.patterns and above + len(lines) > (most := _most(folder)):
        words = f"{above + len(lines)} patterns hold here; at most {most} are read"
        raise InputError.at(Place(str(path)), words)
    # git has no name that is as long, and passes over what is no pattern, as we do.
    return ((str(followed(Path(folder))), _spec(lines)),)


def _most(folder: str) -> int:
    """Return how many patterns the policy of a folder allows."""
    policy = find_policy(Path(folder))
    limits = read_policy(policy, shown_from_here(policy)).limits if policy else LIMITS
    return limits.patterns


def _spec(lines: list[str]) -> GitIgnoreSpec:
    from meshlint.lint.patterns import LONGEST, patterns

    lines = [line for line in lines if len(line) <= LONGEST]
    try:
        return patterns(lines)
    except ValueError:
        return patterns(line for line in lines if _is_pattern(line))


def _is_pattern(line: str) -> bool:
    from pathspec import GitIgnoreSpec

    try:
        GitIgnoreSpec.from_lines([line])
    except ValueError:
        return False
    return True


def _ignored(path: str, rules: Rules, *, is_folder: bool) -> bool:
    """Return whether git would ignore the path: the innermost rule that speaks of it decides."""
    full = os.path.abspath(path)  # noqa: PTH100 - links are not followed
    for folder, spec in reversed(rules):
        below = os.path.relpath(full, folder).replace(os.sep, "/")
        said = spec.check_file(f"{below}/" if is_folder else below).include
        if said is not None:
            return said
    return False

"""Which sites a change touches: by their own file, or by a file that bears on them.

git is asked with everything switched off that a repository could have it run.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.lint.policy import find_policy, read_policy
from meshlint.site.files import STANDARD_INPUT, read_bytes
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_QUIET = ("-c", "core.fsmonitor=false", "-c", "core.hooksPath=/dev/null", "-c", "core.pager=cat")


class NotKnown(Exception):  # noqa: N818 - it is told to the user as it is
    """What changed could not be found out."""


def touched_since(revision: str, files: Iterable[str]) -> tuple[str, ...]:
    """Return those of the site files that changed since a revision, or rest on what did.

    Counted are commits since the common ancestor of the revision and the current commit, what is
    not committed yet, and new files that git does not ignore. Raises `NotKnown`.
    """
    changed = _changed_files(revision)
    found = []
    shared: dict[Path, frozenset[Path]] = {}
    for file in files:
        if file == STANDARD_INPUT:
            found.append(file)
            continue
        path = Path(file).resolve()
        folder = path.parent
        if folder not in shared:
            shared[folder] = frozenset(_bearing_on(folder, changed))
        if path in changed or changed & shared[folder] or changed & _catalogues(path, file):
            found.append(file)
    return tuple(found)


def _changed_files(revision: str) -> frozenset[Path]:
    if revision.startswith("-"):
        raise NotKnown(f"'{revision}' is no revision")
    top = Path(_git("rev-parse", "--show-toplevel").strip())
    try:
        start = _git("merge-base", revision, "HEAD").strip()
    except NotKnown:
        start = _git("rev-parse", "--verify", "--end-of-options", f"{revision}^{{commit}}").strip()
    names = _git(
        "diff", "--name-only", "--no-ext-diff", "--no-textconv", "--no-renames", "-z", start
    )
    new = _git("ls-files", "--others", "--exclude-standard", "--full-name", "-z", "--", str(top))
    return frozenset((top / name).resolve() for name in (names + new).split("\0") if name)


def _bearing_on(folder: Path, changed: frozenset[Path]) -> Iterator[Path]:
    """Yield what bears on every site of a folder: its policy, and the files that it names.

    A policy that is gone counts, and so does a card.
    """
    for here in (folder, *folder.parents):
        yield here / "meshlint.yaml"
    found = find_policy(folder)
    if found is None:
        return
    try:
        policy = read_policy(found, str(found))
        yield policy.accepted.resolve()
        for own in policy.card_folders:
            cards = own.path.resolve()
            yield from (path for path in changed if path.parent == cards)
        yield from policy.catalogues
    except InputError:
        return  # every site under it will say so


def _catalogues(path: Path, shown: str) -> frozenset[Path]:
    from meshlint.site.source import read_document

    try:
        value = read_document(read_bytes(path, shown), shown).value
    except InputError:
        return frozenset()
    named = value.get("catalogue") if isinstance(value, dict) else None
    return frozenset({(path.parent / named).resolve()} if isinstance(named, str) else ())


def _git(*words: str) -> str:
    try:
        done = subprocess.run(  # noqa: S603 - fixed words, and a revision that is no option
            ["git", *_QUIET, *words],  # noqa: S607 - the user's own git
            capture_output=True,
            check=False,
        )
    except OSError as error:
        raise NotKnown(f"git cannot be run: {error.strerror}") from error
    if done.returncode:
        said = done.stderr.decode(errors="replace").strip().splitlines() or ["it failed"]
        raise NotKnown(f"git cannot tell what changed: {said[0]}")
    return done.stdout.decode(errors="surrogateescape")

"""Which sites a change touches: by their own file, or by a file that bears on them.

git tells what was there at the revision, and which files it knows. What is there now is read here
and not by git, which would run the filters that a repository's settings name.
"""

from __future__ import annotations

import hashlib
import os
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.lint.policy import find_policy, read_policy
from meshlint.site.files import STANDARD_INPUT, followed, read_bytes
from meshlint.site.problem import InputError
from meshlint.site.repository import NoAnswer, ask, is_plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_LINK = "120000"
_MODULE = "160000"


class NotKnown(Exception):  # noqa: N818 - it is told to the user as it is
    """What changed could not be found out."""


def touched_since(revision: str, files: Iterable[str]) -> tuple[str, ...]:
    """Return those of the site files that changed since a revision, or rest on what did.

    Counted are commits since the common ancestor of the revision and the current commit, what is
    not committed yet, and new files that git does not ignore. Every site's own repository is asked.
    Raises `NotKnown`.
    """
    if not is_plain(revision):
        raise NotKnown(f"'{revision}' is no revision")
    found = []
    repositories: dict[Path, _Since] = {}
    in_folder: dict[Path, tuple[_Since, bool]] = {}
    for file in files:
        if file == STANDARD_INPUT or os.path.isdir(file):  # noqa: PTH112 - one that none can read
            found.append(file)
            continue
        path = followed(Path(file))
        folder = path.parent
        if folder not in in_folder:
            top = followed(Path(_git(folder, "rev-parse", "--show-toplevel").removesuffix("\n")))
            since = repositories.get(top) or _Since(top, revision)
            repositories[top] = since
            in_folder[folder] = since, any(map(since.changed, _bearing_on(folder, since)))
        since, shared = in_folder[folder]
        if shared or since.changed(path) or any(map(since.changed, _catalogues(path, file))):
            found.append(file)
    return tuple(found)


class _Since:
    """What a repository held where the current work parted from a revision, and holds now."""

    def __init__(self, top: Path, revision: str) -> None:
        self._top = top
        try:
            start = _git(top, "merge-base", revision, "HEAD").strip()
        except NotKnown:
            wanted = f"{revision}^{{commit}}"
            start = _git(top, "rev-parse", "--verify", "--end-of-options", wanted).strip()
        self._then: dict[Path, str] = {}
        self._links: dict[Path, str] = {}
        for entry in _git(top, "ls-tree", "-r", "-z", "--full-tree", start).split("\0")[:-1]:
            words, name = entry.split("\t", 1)
            mode, _, held = words.split(" ")
            if mode == _LINK:
                self._links[top / name] = held
            elif mode != _MODULE:
                self._then[top / name] = held

    @cached_property
    def names(self) -> frozenset[Path]:
        """Return the files that git knows or does not ignore, and those that were there then."""
        listed = _git(
            self._top, "ls-files", "--cached", "--others", "--exclude-standard", "--full-name", "-z"
        )
        now = (self._top / name for name in listed.split("\0")[:-1])
        return frozenset(now) | frozenset(self._then)

    @cached_property
    def _led_elsewhere(self) -> frozenset[Path]:
        """Return where symbolic links lead to that led elsewhere, or were none, at the start."""
        links = {*self._links, *(path for path in self.names if path.is_symlink())}
        return frozenset(
            followed(path)
            for path in links
            if path.is_symlink()
            and not _is(os.fsencode(path.readlink()), self._links.get(path, ""))
        )

    def changed(self, path: Path) -> bool:
        """Return whether a file is another than it was, is new or is gone."""
        if path in self._led_elsewhere:
            return True
        then = self._then.get(path)
        if then is None:
            return path in self.names and os.path.lexists(path)
        try:
            now = read_bytes(path, str(path))
        except InputError:
            return True
        # git may keep lines with LF and write them with CRLF. Files under any other filter count
        # as changed: rather one site too many.
        return not (_is(now, then) or _is(now.replace(b"\r\n", b"\n"), then))


def _is(data: bytes, name: str) -> bool:
    """Return whether git knows these bytes by this name (gitformat: "blob", length, NUL, bytes)."""
    kind = "sha1" if len(name) == hashlib.sha1(usedforsecurity=False).digest_size * 2 else "sha256"
    whole = b"blob %d\0" % len(data) + data
    return hashlib.new(kind, whole, usedforsecurity=False).hexdigest() == name


def _bearing_on(folder: Path, since: _Since) -> Iterator[Path]:
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
        yield followed(policy.accepted)
        for own in policy.card_folders:
            cards = followed(own.path)
            yield from (path for path in since.names if path.parent == cards)
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
    return frozenset({followed(path.parent / named)} if isinstance(named, str) else ())


def _git(folder: Path, *words: str) -> str:
    try:
        answer = ask(folder, *words)
    except NoAnswer as error:
        raise NotKnown(str(error)) from error
    if answer.status:
        raise NotKnown(f"git cannot tell what changed: {answer.reason('it failed')}")
    return os.fsdecode(answer.out)

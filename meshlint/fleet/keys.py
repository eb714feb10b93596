"""What bears on a file's result, as one key: the program, the policy and the file's own bytes.

The catalogue that a file names is known only once it has been read, so an entry of the cache names
the catalogues it rests on with their content, and counts only while they are the same.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint import __version__
from meshlint.datafiles import STAMP, data_folder, in_a_wheel
from meshlint.digest import blake2b
from meshlint.lint.policy import find_policy, read_policy
from meshlint.site.files import STANDARD_INPUT, read_bytes
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date

    from meshlint.lint.choice import Choice
    from meshlint.lint.finding import Severity

_SIZE = 20

_OF_THE_DAY = (b"waivers", b"readings", b"\\")
"""In a file whose result hangs on the day: ends of waivers, ages of readings. Behind a backslash
any key may be spelt in another way."""


class Keys:
    """Makes the keys of one run; every shared file is read once."""

    def __init__(
        self,
        today: date,
        fail_at: Severity | None,
        choice: Choice | None = None,
        *,
        usual: bool = True,
        advise: bool = False,
    ) -> None:
        held_to = f"{fail_at} {usual} {advise}".encode()
        self._program = _digest([_program(), held_to, *_named(choice)])
        self._today = today.isoformat().encode()
        self._surroundings: dict[str, bytes | None] = {}
        self._files: dict[str, bytes | None] = {}

    def of(self, path: str, data: bytes) -> bytes | None:
        """Return the key of a file, or `None` where its result must not be kept."""
        folder = "." if path == STANDARD_INPUT else os.path.dirname(path) or "."  # noqa: PTH120
        if folder not in self._surroundings:
            self._surroundings[folder] = self._around(folder)
        around = self._surroundings[folder]
        if around is None:
            return None
        # A fleet should not start afresh each day because of the few sites that the day matters to.
        day = self._today if any(mark in data for mark in _OF_THE_DAY) else b""
        return _digest([self._program, around, day, path.encode(errors="surrogateescape"), data])

    def content(self, path: str) -> bytes | None:
        """Return a digest of a file's bytes, empty where there is none, `None` if not readable.

        It is read as a check reads it: never past its bound, and never what is no file.
        """
        if path not in self._files:
            self._files[path] = _content(path)
        return self._files[path]

    def _around(self, folder: str) -> bytes | None:
        """Return a digest of the policy of a folder and all that it names; `None`: keep nothing."""
        # A catalogue is named relative to the site file, so the folder itself bears on the result.
        here = os.fsencode(os.path.realpath(folder))
        found = find_policy(Path(folder))
        if found is None:
            return here
        try:
            policy = read_policy(found, str(found))
            if policy.facts:  # what installed code does is not ours to know
                return None
            files = [found, policy.accepted]
            for own in policy.card_folders:
                cards = sorted(own.path.glob("*.yaml"))
                if len(cards) > policy.limits.cards:  # refused before any is read
                    return None
                files += cards
        except InputError:
            return None
        parts = [here]
        for file in map(str, files):
            content = self.content(file)
            if content is None:
                return None
            parts += [file.encode(errors="surrogateescape"), content]
        return _digest(parts)


def _content(path: str) -> bytes | None:
    if not os.path.lexists(path):
        return b""
    try:
        return _digest([read_bytes(Path(path), path)])
    except InputError:
        return None


def _named(choice: Choice | None) -> Iterator[bytes]:
    """Yield the rules of a choice, those wanted apart from those to skip."""
    for names in (choice.only, choice.skip) if choice else ():
        yield _digest(name.encode(errors="surrogateescape") for name in sorted(names))


def _program() -> bytes:
    """Return a digest that changes with the program: the build's, or one of a checkout's files."""
    if in_a_wheel():
        with suppress(OSError):
            return _digest([__version__.encode(), STAMP.read_bytes()])
    seen = [__version__]
    for folder in (Path(__file__).parents[1], data_folder("rules"), data_folder("schemas")):
        seen += sorted(_stamps(str(folder)))
    return _digest([stamp.encode() for stamp in seen])


def _stamps(folder: str) -> Iterator[str]:
    for entry in os.scandir(folder):
        if entry.is_dir():
            yield from _stamps(entry.path)
        elif not entry.name.endswith(".pyc"):
            about = entry.stat()
            yield f"{entry.name} {about.st_size} {about.st_mtime_ns}"


def _digest(parts: Iterable[bytes]) -> bytes:
    whole = blake2b(digest_size=_SIZE)
    for part in parts:
        # The length keeps two different sequences of parts from running into one.
        whole.update(len(part).to_bytes(8, "big"))
        whole.update(part)
    return whole.digest()

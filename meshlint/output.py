"""Where text goes that is meant for a file: whole into an ordinary one, as it comes into a stream.

An ordinary file is replaced in one step, so that nobody ever sees half of it. A pipe, a terminal or
a device is written to and stays what it is. What the program reads (sites, catalogues, policies,
cards, accepted lists) is never the place of a report: a pattern that the shell fills in after
`--output` would put one there.
"""

from __future__ import annotations

import os
import re
import stat
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from meshlint.site.files import followed, kept_inside, read_bytes
from meshlint.site.problem import InputError, Place

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


class RefusedError(Exception):
    """A report must not go there; says why."""


class Output(Protocol):
    """Text on its way to its place. Every method but `drop` raises `OSError` where it cannot go."""

    def write(self, text: str) -> None:
        """Add to the text."""

    def keep(self) -> None:
        """End it: all of it is in its place."""

    def drop(self) -> None:
        """Let go of it; of what is not kept, nothing is left behind."""


class WholeFile:
    """An ordinary file, written next to its place and put there in one step.

    It may be read and written by whom the one before it could be, or else any new file could.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        # A name may be as long as a file system takes, and this one is longer.
        self._beside = path.parent / f".{path.name[:40]}.{os.urandom(6).hex()}"
        try:
            mode = stat.S_IMODE(path.stat().st_mode)
        except FileNotFoundError:
            mode = None
        new = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        handle = os.open(self._beside, new, 0o666 if mode is None else 0o600)
        if mode is not None:
            self._beside.chmod(mode)
        self._file = os.fdopen(handle, "w", encoding="utf-8", newline="\n")

    def write(self, text: str) -> None:
        """Add to the text."""
        self._file.write(text)

    def keep(self) -> None:
        """Put the whole text in its place."""
        self._file.close()
        self._beside.replace(self._path)

    def keep_new(self) -> None:
        """Put the whole text in its place, if nothing is there; raise `FileExistsError`."""
        self._file.close()
        try:
            os.link(self._beside, self._path)
        except FileExistsError:
            raise
        except OSError:  # a file system without links; the place is taken first
            os.close(os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
            try:
                self._beside.replace(self._path)
            except OSError:
                self._path.unlink()
                raise

    def drop(self) -> None:
        """Leave what was in its place as it was; nothing happens once the text is kept."""
        try:
            # What is still held back cannot be written either where the disk is full.
            with suppress(OSError):
                self._file.close()
        finally:
            self._beside.unlink(missing_ok=True)


class _Stream:
    """A pipe, a terminal or a device: written to as the text comes, and never replaced."""

    def __init__(self, handle: int) -> None:
        self._file = os.fdopen(handle, "w", encoding="utf-8", newline="\n")

    def write(self, text: str) -> None:
        self._file.write(text)
        self._file.flush()

    def keep(self) -> None:
        self._file.close()

    def drop(self) -> None:
        with suppress(OSError):
            self._file.close()


def write_whole(path: Path, text: str) -> None:
    """Write a file of the program's own at once, whole or not at all; raise `OSError`."""
    _write(WholeFile(path), text)


def write_new(path: Path, text: str) -> None:
    """Write a file where none is, whole or not at all; raise `OSError`."""
    file = WholeFile(path)
    try:
        file.write(text)
        file.keep_new()
    finally:
        file.drop()


@contextmanager
def sole_writer(folder: Path) -> Iterator[None]:
    """Wait until no other run writes the program's own files of a folder, and keep others waiting.

    The folder itself is locked, so that nothing is left behind. Windows has no such lock, and there
    the last to write has the last word.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def write_report(path: Path, text: str) -> None:
    """Write a report to where a call says; raise `OSError` or `RefusedError`."""
    _write(report_to(path), text)


def report_to(path: Path, read: Iterable[str] = ()) -> Output:
    """Return the way to where a report is to go; raise `OSError` or `RefusedError`.

    `read` are the files that the run was asked to read.
    """
    own = _own_descriptor(path)
    if own is not None:
        return _Stream(os.dup(own))
    target = _target_of(path)
    try:
        there = target.stat()
    except FileNotFoundError:
        there = None
    if there is None or stat.S_ISREG(there.st_mode):
        _refuse_input(target, there, read)
        return WholeFile(target)
    if stat.S_ISBLK(there.st_mode) or stat.S_ISSOCK(there.st_mode):
        raise RefusedError("it is neither a file nor a stream")
    return _Stream(os.open(target, os.O_WRONLY | getattr(os, "O_NOCTTY", 0)))


def place_of(path: Path | None) -> object:
    """Return what two ways to one file or pipe share; `None` is standard output.

    Devices take several reports, as the null device does, so each stands for itself.
    """
    try:
        own = 1 if path is None else _own_descriptor(path)
        there = followed(path or Path()).stat() if own is None else os.fstat(own)
    except OSError:
        return path and followed(path)
    return path if stat.S_ISCHR(there.st_mode) else (there.st_dev, there.st_ino)


_OWN = r"/dev/(?P<name>stdout|stderr)|/(?:dev|proc/self)/fd/(?P<number>\d{1,9})"


def _own_descriptor(path: Path) -> int | None:
    """Return the number of the open stream that a path stands for, as `/dev/stdout` does.

    The shell names the pipe of a process substitution so. To open such a path once more would
    write over the beginning of a file that standard output goes to.
    """
    found = re.fullmatch(_OWN, str(path))
    if found is None:
        return None
    return {"stdout": 1, "stderr": 2}.get(found["name"] or "") or int(found["number"])


def _target_of(path: Path) -> Path:
    """Return the path with the link followed that it may be, within the link's repository."""
    if not path.is_symlink():
        return path
    try:
        return kept_inside(path, followed(path.parent), Place(str(path)), "the link")
    except InputError as error:
        raise RefusedError(error.problems[0].message) from None


_NEVER = r"(?i).*\.site\.ya?ml|meshlint\.yaml|\.gitignore"
_OF_GIT = ".git"

# What a site, a catalogue, a policy and an accepted list have in common, and what every card has.
_FORMAT = rb"(?m)^(?:\xef\xbb\xbf)?[ \t{]*[\"']?meshlint[\"']?[ \t]*:[ \t]*1\b"
_CARD = (rb"(?m)^[ \t{]*expect[ \t]*:", rb"(?m)^[ \t{]*says[ \t]*:")


def _refuse_input(target: Path, there: os.stat_result | None, read: Iterable[str]) -> None:
    if re.fullmatch(_NEVER, target.name) or _OF_GIT in followed(target).parts:
        raise RefusedError("that name is for what meshlint or git reads, and no report's")
    if there is None:
        return
    if not there.st_mode & 0o222 or not os.access(target, os.W_OK):
        raise RefusedError("the file may not be written to")
    if any(_is(path, there) for path in read) or _is_format(target):
        raise RefusedError("meshlint reads that file, and a report would take its place")


def _is(path: str, there: os.stat_result) -> bool:
    try:
        return os.path.samestat(os.stat(path), there)  # noqa: PTH116 - a text, of thousands
    except (OSError, ValueError):
        return False


def _is_format(target: Path) -> bool:
    """Return whether a file is a site, a catalogue, a policy, a list or a card."""
    try:
        data = read_bytes(target, str(target))
    except InputError:
        return False
    return bool(re.search(_FORMAT, data)) or all(re.search(sign, data) for sign in _CARD)


def _write(output: Output, text: str) -> None:
    try:
        output.write(text)
        output.keep()
    finally:
        output.drop()

"""Files on disk: which bytes may be read, and where a site's repository ends.

A site file is anybody's; what it names is read only inside its own repository, links followed
before that is decided, and only if it is an ordinary file of bounded size.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path

from meshlint.site.limits import MOST
from meshlint.site.problem import InputError, Place

STANDARD_INPUT = "-"

POLICY_NAME = "meshlint.yaml"
"""The file by which a folder says what it asks of its sites."""

_LEAST_READ = 16_384

# What is opened has been looked at: a link that somebody puts there in between is not followed.
# Windows turns line ends over and stops at a Ctrl-Z unless it is told to hand over bytes.
_READ_ONLY = os.O_RDONLY
for _flag in ("O_NONBLOCK", "O_NOFOLLOW", "O_BINARY"):
    _READ_ONLY |= getattr(os, _flag, 0)

_OF_GIT = ".git"


def read_bytes(path: Path, shown: str) -> bytes:
    """Return the bytes of an ordinary file; `shown` is the name to use in an error.

    A link is followed inside its repository only.

    Opening does not wait, so that a pipe without a writer cannot hang the program, and at most one
    byte more than any policy may allow is read, so that the reader can tell and refuse.
    """
    if shown_name(shown) != shown:
        raise InputError.at(Place(shown_name(shown)), "the file's name is not UTF-8; rename it")
    try:
        handle = os.open(_target_of(path, shown), _READ_ONLY)
    except PermissionError as error:
        what = "folder" if os.path.isdir(path) else "file"  # noqa: PTH112 - never raises
        raise InputError.at(Place(shown), f"the {what} may not be read") from error
    except OSError as error:
        raise InputError.at(Place(shown), _reason(error)) from error
    except ValueError as error:  # a NUL in the name
        raise InputError.at(Place(shown), "this is no name that a file can have") from error
    before = os.fstat(handle)
    if not stat.S_ISREG(before.st_mode):
        os.close(handle)
        found = _kind(before.st_mode)
        raise InputError.at(Place(shown), f"expected an ordinary file, found {found}")
    try:
        data = _bytes_of(handle, before.st_size)
        after = os.fstat(handle)
    except OSError as error:
        raise InputError.at(Place(shown), _reason(error)) from error
    finally:
        os.close(handle)
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise InputError.at(Place(shown), "the file was written to while it was read; run again")
    return data


def _bytes_of(handle: int, size: int) -> bytes:
    """Return what an open file holds, one byte past the limit at most; `size` says what to expect.

    A buffer for the limit itself would take longer to make than a usual file to read.
    """
    data = b""
    while room := MOST.bytes + 1 - len(data):
        more = os.read(handle, min(room, max(size + 1, _LEAST_READ)))
        if not more:
            break
        data += more
    return data


def shown_name(path: str) -> str:
    """Return a file's name as a report can hold it: what is not UTF-8 in it is spelt out."""
    return path.encode(errors="backslashreplace").decode()


def with_slashes(path: str) -> str:
    """Return a path as reports have it on every system, which each of them reads as well."""
    return path.replace(os.sep, "/") if os.sep != "/" else path


def read_standard_input() -> bytes:
    """Return what stands on standard input, one byte past the limit at most."""
    if sys.stdin is None:
        raise InputError.at(Place(STANDARD_INPUT), "standard input is closed")
    try:
        return sys.stdin.buffer.read(MOST.bytes + 1)
    except OSError as error:
        raise InputError.at(Place(STANDARD_INPUT), _reason(error)) from error


def repository_of(path: Path) -> Path:
    """Return the folder that what a site file names must stay in.

    The nearest folder above the file that git keeps; without one, that of the nearest policy; else
    the folder above the file's own. Where a run was started from never matters.
    """
    return repository_around(followed(path).parent)


def repository_around(folder: Path) -> Path:
    """Return the same for what stands in a folder, links followed."""
    top = top_around(folder)
    if top is not None:
        return top
    return folder if _is_too_wide(folder.parent) else folder.parent


def top_around(folder: Path) -> Path | None:
    """Return the top of the repository around a folder, else the folder of the nearest policy.

    Neither the root nor the home folder is the top of anything but what git keeps there.
    """
    for candidate in (folder, *folder.parents):
        if os.path.lexists(candidate / _OF_GIT):
            return candidate
    for candidate in (folder, *folder.parents):
        if _is_too_wide(candidate):
            break
        if os.path.isfile(candidate / POLICY_NAME):  # noqa: PTH113 - never raises
            return candidate
    return None


def _is_too_wide(folder: Path) -> bool:
    return folder == folder.parent or folder == followed(Path(os.path.expanduser("~")))  # noqa: PTH111 - never raises


def followed(path: Path) -> Path:
    """Return the path with its links followed; one that leads in a circle is left where it is."""
    return Path(os.path.realpath(path))


def _target_of(path: Path, shown: str) -> Path:
    """Return what to open for a path; raise `InputError` for a link that leads out.

    An error would show what stands in that file.
    """
    if not os.path.islink(path):  # noqa: PTH114 - which also takes names that no file can have
        return path
    target = kept_inside(path, followed(path.parent), Place(shown), "the link")
    if not os.path.lexists(target):
        raise InputError.at(Place(shown), "the link leads nowhere: there is no such file")
    return target


def inside_repository(site_file: Path, named: str, place: Place) -> Path:
    """Return the file that a site file names by a relative path, links followed.

    Raises `InputError` at `place` where the path is absolute, or leads out of the repository or to
    what git keeps of its own.
    """
    if "\0" in named or Path(named).is_absolute():
        raise InputError.at(place, "expected a path relative to this file, inside the repository")
    folder = followed(site_file).parent
    return kept_inside(folder / named, folder, place, "this path")


def kept_inside(path: Path, folder: Path, place: Place, what: str) -> Path:
    """Return where a path leads, if that is in the repository around a folder.

    Raises `InputError` at `place` where it is not, with `what` to call the path by.
    """
    target = followed(path)
    if target != followed(target) or os.path.islink(target):  # noqa: PTH114
        raise InputError.at(place, f"{what} leads in a circle")
    repository = repository_around(folder)
    if not target.is_relative_to(repository):
        raise InputError.at(place, f"{what} leads out of {_said_of(repository)}")
    if any(part.casefold() == _OF_GIT for part in target.relative_to(repository).parts):
        raise InputError.at(place, f"{what} leads into {_OF_GIT}, which is git's own")
    return target


def _said_of(repository: Path) -> str:
    """Return what a boundary is called, and how to have a wider one where that is easy."""
    if os.path.lexists(repository / _OF_GIT):
        return "the repository"
    if os.path.isfile(repository / POLICY_NAME):  # noqa: PTH113 - never raises
        return f"the folder of {POLICY_NAME}; move that up, to a folder that holds both"
    return (
        f"the folder above this file's, and git keeps neither; a {POLICY_NAME} that says "
        "`meshlint: 1`, in a folder that holds both, makes that one the boundary"
    )


def _reason(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, PermissionError):
        return "the file may not be read"
    if isinstance(error, IsADirectoryError):
        return "expected a file, found a folder"
    if error.errno == errno.ELOOP:
        return "the link leads in a circle"
    return f"the file cannot be read: {error.strerror or error}"


def _kind(mode: int) -> str:
    kinds = (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
    )
    return next((words for test, words in kinds if test(mode)), "something else")

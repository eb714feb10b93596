"""Where a file is to somebody who reads a report elsewhere: from the top of its repository.

Code review tools know a repository and not the folder that the check was run from.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path, PurePath
from typing import NamedTuple
from urllib.parse import quote

from meshlint.site.files import STANDARD_INPUT, followed, top_around


class FromTop(NamedTuple):
    """A path with forward slashes, and whether it is relative to the repository's top."""

    path: str
    is_inside: bool


def from_top(path: str) -> FromTop:
    """Return a file's path from the top of the repository that the current folder lies in.

    Without a repository the current folder stands for its top. What lies outside has its absolute
    path, and standard input the name `stdin`.
    """
    if path == STANDARD_INPUT:
        return FromTop("stdin", is_inside=False)
    return _from(str(Path.cwd()), path)


def uri_of(path: str) -> str:
    """Return a file's path as a URI reference, relative where `from_top` is.

    Every character but letters, digits and `/._-~` is percent-encoded: a colon in the first part of
    a relative reference would make it a scheme (RFC 3986, section 4.2).
    """
    found = from_top(path)
    quoted = quote(found.path, safe="/")
    if found.is_inside or path == STANDARD_INPUT:
        return quoted
    return f"file://{'' if quoted.startswith('/') else '/'}{quoted}"


@cache
def _top(here: str) -> Path:
    folder = followed(Path(here))
    return top_around(folder) or folder


def _from(here: str, path: str) -> FromTop:
    top = _top(here)
    # A link in the repository keeps its own name, by which a service looks for the file; one on
    # the way to the repository is followed.
    full = PurePath(os.path.normpath(Path(here, path)))
    whole = full if full.is_relative_to(top) else _folder_resolved(full)
    if whole.is_relative_to(top):
        return FromTop(whole.relative_to(top).as_posix(), is_inside=True)
    return FromTop(full.as_posix(), is_inside=False)


def _folder_resolved(path: PurePath) -> PurePath:
    try:
        return Path(path.parent).resolve() / path.name
    except (OSError, RuntimeError, ValueError):  # there can be no such folder
        return path

"""Which site files a call means: the named ones, and all in the named folders."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.site.files import STANDARD_INPUT

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

SUFFIXES = (".site.yaml", ".site.yml")


def site_files(paths: Iterable[str]) -> tuple[str, ...]:
    """Return the files to check, once each, sorted; folders are searched for `*.site.yaml`.

    A file named outright counts whatever it is called, and one that is not there stays in the
    list, so that reading it says so. Hidden folders and links to folders are not entered.
    """
    found: dict[str, None] = {}
    for path in paths:
        if path != STANDARD_INPUT and Path(path).is_dir():
            found.update(dict.fromkeys(_inside(path)))
        else:
            found[path] = None
    return tuple(sorted(found))


def _inside(folder: str) -> Iterator[str]:
    for here, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in files:
            if name.endswith(SUFFIXES):
                yield os.path.normpath(Path(here, name))

"""Results written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


class WholeFile:
    """A file written bit by bit beside its place, so that nobody ever sees half of it.

    Every method raises `OSError` where the text cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        handle, self._beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        self._file = os.fdopen(handle, "w", encoding="utf-8", newline="\n")

    def write(self, text: str) -> None:
        """Add to the text."""
        self._file.write(text)

    def keep(self) -> None:
        """Put the whole text in its place."""
        self._file.close()
        # A temporary file is its owner's alone; the result should be what any new file would be.
        mask = os.umask(0)
        os.umask(mask)
        Path(self._beside).chmod(0o666 & ~mask)
        Path(self._beside).replace(self._path)

    def drop(self) -> None:
        """Leave what was in its place as it was; nothing happens once the text is kept."""
        self._file.close()
        Path(self._beside).unlink(missing_ok=True)


def write_whole(path: Path, text: str) -> None:
    """Write a file at once, whole or not at all; raise `OSError`."""
    file = WholeFile(path)
    try:
        file.write(text)
        file.keep()
    finally:
        file.drop()

"""A site file written over at once, whole or not at all, and only where nobody else changed it."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from meshlint.output import sole_writer


class ChangedError(Exception):
    """The file is not what it was when it was read."""


def write_over(path: Path, before: bytes, after: bytes) -> Path | None:
    """Write a file over; return where its old bytes are kept, `None` where git keeps them.

    Raises `ChangedError` where the file no longer holds `before`, and `OSError`.
    """
    target = path.resolve()
    with sole_writer(target.parent):
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(after)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(target.stat().st_mode & 0o7777)
            if target.read_bytes() != before:
                raise ChangedError
            kept = None if _in_git(target) else _kept(target, before)
            Path(name).replace(target)
        finally:
            with suppress(FileNotFoundError):
                Path(name).unlink()
    return kept


def _in_git(path: Path) -> bool:
    return any((folder / ".git").exists() for folder in path.parents)


def _kept(path: Path, data: bytes) -> Path:
    """Write the old bytes next to the file, under a name that is free."""
    for number in range(1, 1000):
        kept = path.with_name(f"{path.name}.before{number if number > 1 else ''}")
        with suppress(FileExistsError), kept.open("xb") as file:
            file.write(data)
            return kept
    raise OSError(0, "a thousand old states stand next to it")

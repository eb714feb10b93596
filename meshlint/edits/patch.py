"""The difference of two states of a file as a patch that `git apply` takes."""

from __future__ import annotations

import os


def patch(before: bytes, after: bytes, path: str) -> bytes:
    """Return the patch from one state to the other, empty where they are the same.

    Paths in it are relative to the current folder, as `git apply` reads them.
    """
    from difflib import diff_bytes, unified_diff

    name = os.path.relpath(path).replace(os.sep, "/").encode()
    lines = diff_bytes(
        unified_diff, lines_of(before), lines_of(after), b"a/" + name, b"b/" + name, lineterm=b"\n"
    )
    return b"".join(
        line if line.endswith(b"\n") else line + b"\n\\ No newline at end of file\n"
        for line in lines
    )


def lines_of(data: bytes) -> list[bytes]:
    """Return the lines of a file as git counts them: a carriage return alone ends none."""
    found = [line + b"\n" for line in data.split(b"\n")]
    found[-1] = found[-1][:-1]
    return found if found[-1] else found[:-1]

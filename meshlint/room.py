"""Room in memory for the start of numpy.

The linear algebra that numpy brings along takes its memory when it is loaded, and ends the process
with status 1 where it gets none: the status that says that there are findings. So it is given no
more threads than one, since no array here is multiplied as a matrix, and under a limit of memory
what it takes is asked for beforehand.
"""

from __future__ import annotations

import os
import sys

_TAKES = 100 * 2**20
"""Bytes. Measured: 81 MiB of addresses with one thread, numpy 2.4 on x86-64 Linux."""


def be_sure_of_room() -> None:
    """Let numpy be loaded only where there is room for it, else `MemoryError` says so."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        import resource
    except ImportError:  # Windows knows no such limit
        return
    if resource.getrlimit(resource.RLIMIT_AS)[0] != resource.RLIM_INFINITY:
        sys.meta_path.insert(0, _Doorkeeper())


class _Doorkeeper:
    """Asked first when a module is looked for; finds none itself."""

    def find_spec(self, name: str, *_: object) -> None:
        if name == "numpy":
            _try_room()


def _try_room() -> None:
    import mmap

    try:
        mmap.mmap(-1, _TAKES).close()
    except OSError as error:
        message = f"less than {_TAKES // 2**20} MiB are left under the limit of memory (ulimit -v)"
        raise MemoryError(message) from error

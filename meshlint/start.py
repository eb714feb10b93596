"""Where the program starts and ends: what a short run need not wait for on either side."""

from __future__ import annotations

import gc
import os
import sys

_OBJECTS_BETWEEN_COLLECTIONS = 100_000
_REGULAR = (0, 1, 2)


def main() -> None:
    """Run the command line and end with its status."""
    # Starting makes things that stay. To look through them for garbage again and again takes a
    # twentieth of the time of one small site, so this comes before everything else is loaded.
    gc.set_threshold(_OBJECTS_BETWEEN_COLLECTIONS)
    from meshlint.cli import main as run

    status = 0
    try:
        run()
    except SystemExit as end:
        if end.code not in _REGULAR:
            raise
        status = int(end.code or 0)
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        sys.exit(status)  # the interpreter says what is lost
    # All is written and closed. To take two hundred modules apart first is another twentieth.
    os._exit(status)

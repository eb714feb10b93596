"""A line on the terminal that says how far a long run has come."""

from __future__ import annotations

import sys
from time import monotonic

_AFTER_S = 1.0
_EVERY_S = 0.1
_WIDTH = 30


class Progress:
    """A bar on standard error; nothing where that is no terminal or the work is short."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._done = 0
        self._next = monotonic() + _AFTER_S if sys.stderr.isatty() else float("inf")
        self._shown = False

    def step(self) -> None:
        """Count one file, and draw if it is time to."""
        # A report may tell of more than it was given: what follows costs no time.
        self._done = min(self._done + 1, self._total)
        now = monotonic()
        if now < self._next:
            return
        self._next = now + _EVERY_S
        filled = _WIDTH * self._done // self._total
        bar = "#" * filled + "." * (_WIDTH - filled)
        sys.stderr.write(f"\r\x1b[K[{bar}] {self._done} of {self._total} sites")
        sys.stderr.flush()
        self._shown = True

    def clear(self) -> None:
        """Take the bar away, so that other text can stand in its place."""
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
            self._shown = False

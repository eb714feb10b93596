"""Complete worked sites, invented: each a file of its own that people read and change."""

from __future__ import annotations

from pathlib import Path
from typing import Final

EXAMPLES: Final = ("house", "cafe", "office", "guesthouse", "warehouse", "school", "farm")

_FOLDER = Path(__file__).parent / "worked"


def example_text(kind: str) -> str:
    """Return the text of the worked site of a kind, one of `EXAMPLES`."""
    return (_FOLDER / f"{kind}.site.yaml").read_text(encoding="utf-8")

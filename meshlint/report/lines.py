"""Lines of a report for people: how wide, how painted, and how a text is broken into them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from meshlint.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

WIDTH = 96
"""Columns of a report that does not go to a terminal."""

LABEL = 8
"""Columns of the word that says what an entry of a finding is."""

Role = Literal["error", "warning", "note", "caution", "title", "subject", "place", "label", "dim"]
"""What a word is in a report, for whoever paints it."""


class Look(Struct, frozen=True):
    """How wide the text may be, and how to paint a word; `paint(text, role)` may return it bare.

    `quiet` asks for what fails, and for counts, and for nothing else; `explain` for the reasons and
    the sources of each finding, and for all that could not be judged.
    """

    width: int = WIDTH
    paint: Callable[[str, Role], str] = lambda text, _: text
    quiet: bool = False
    explain: bool = False


def entry(label: str, text: str, look: Look) -> Iterator[str]:
    """Yield the lines of an entry of a finding, after a word that says what it is."""
    indent = " " * (6 + LABEL + 2)
    first, *rest = wrapped(visible(text), look, indent)
    yield f"      {look.paint(label.ljust(LABEL), 'label')}  {first[len(indent) :]}"
    yield from rest


def wrapped(text: str, look: Look, indent: str) -> list[str]:
    """Return the text in lines no wider than the look, words whole.

    `textwrap` does the same at six times the cost, which a report over a fleet would notice.
    """
    lines = []
    left = " ".join(text.split())
    room = look.width - len(indent)
    while len(left) > room:
        cut = left.rfind(" ", 0, max(room, 0) + 1)
        if cut < 0:  # a word wider than the line has one of its own
            cut = left.find(" ")
            if cut < 0:
                break
        lines.append(indent + left[:cut])
        left = left[cut + 1 :]
    return [*lines, indent + left]

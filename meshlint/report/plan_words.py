"""Words on a drawing that keep off each other, off symbols and off lines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.report.svg_elements import MUTED, label

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.places import Metres

Box = tuple[float, float, float, float]

_BESIDE_LINES = 5.0
_WIDE = 0.56
"""How wide a letter is, as a share of its size; an average of proportional type."""
_ROOM_WORDS, _LEAST_WORDS = 11.0, 6.0
_MOST_ON_A_LINE, _PLACES_TRIED, _APART = 2, 48, 60.0
_TURNS_DEG = (35, 145, -35, -145, 70, 110, -70, -110, 10, 170)


class Taken:
    """What stands where on a level already, so that the next words find room beside it."""

    def __init__(self) -> None:
        self._boxes: list[Box] = []

    def block(self, middle: Metres, reach: float) -> None:
        """Keep words off a symbol."""
        x, y = middle
        self._boxes.append((x - reach, y - reach, x + reach, y + reach))

    def block_line(self, a: Metres, b: Metres) -> None:
        """Keep words off a line."""
        steps = max(int(math.dist(a, b) / (2 * _BESIDE_LINES)), 1)
        for step in range(steps + 1):
            share = step / steps
            middle = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
            self.block(middle, _BESIDE_LINES)

    def beside(self, at: Metres, words: str, size: float, off: float) -> str:
        """Return words near a place: above it, else below, to a side or aslant."""
        x, y = at
        choices = (
            (x, y - off, "middle"),
            (x, y + off + 0.75 * size, "middle"),
            (x + off, y + 0.35 * size, "start"),
            (x - off, y + 0.35 * size, "end"),
            (x + 0.6 * off, y - 0.6 * off, "start"),
            (x - 0.6 * off, y - 0.6 * off, "end"),
            (x + 0.6 * off, y + 0.6 * off + 0.75 * size, "start"),
            (x - 0.6 * off, y + 0.6 * off + 0.75 * size, "end"),
        )
        where, base, anchor = self._freest(choices, words, size)
        return label(where, base, words, size=size, anchor=anchor, weight=600)

    def within(self, middle: Metres, size: Metres, words: str) -> str:
        """Return words in a room of some pixels' size: in its middle, or where there is room.

        They are written as large as the room takes them, so that neighbours keep theirs.
        """
        x, y = middle
        wide, high = size
        letters = min(_ROOM_WORDS, max(_LEAST_WORDS, wide / (_WIDE * max(len(words), 1))))
        base, step = y + 0.35 * letters, max(high / 2 - letters, 0.0)
        choices = tuple((x, base + share * step, "middle") for share in (0, 0.5, -0.5, 0.9, -0.9))
        where, base, anchor = self._freest(choices, words, letters)
        return label(where, base, words, size=round(letters, 1), anchor=anchor, fill=MUTED)

    def on_a_line(self, words: str, places: Sequence[Metres], size: float) -> Iterator[str]:
        """Yield words on a line where nothing else stands, twice where it is long; else none."""
        wide = _WIDE * size * len(words)
        left = _MOST_ON_A_LINE
        for at in range(0, len(places), max(len(places) // _PLACES_TRIED, 1)):
            x, y = places[at]
            box = (x - wide / 2, y - size / 2, x + wide / 2, y + size / 2)
            if left and not any(_shared(box, other) for other in self._boxes):
                self.block((x, y), max(wide, _APART))
                left -= 1
                yield label(x, y + 0.35 * size, words, size=size, anchor="middle")

    def stub(self, start: Metres, long: float, words: str, size: float) -> tuple[Metres, str]:
        """Return where a short line from a place ends, and the words at its end."""
        ends = []
        for turn in _TURNS_DEG:
            turned = math.radians(turn)
            ends.append((start[0] + long * math.cos(turned), start[1] + long * math.sin(turned)))
        choices = tuple(
            (x + (6 if x > start[0] else -6), y + 0.4 * size, "start" if x > start[0] else "end")
            for x, y in ends
        )
        chosen = self._freest(choices, words, size)
        end = ends[choices.index(chosen)]
        self.block_line(start, end)
        where, base, anchor = chosen
        return end, label(where, base, words, size=size, anchor=anchor, style="italic")

    def _freest(
        self, choices: tuple[tuple[float, float, str], ...], words: str, size: float
    ) -> tuple[float, float, str]:
        wide = _WIDE * size * len(words)
        boxes: list[Box] = []
        for where, base, anchor in choices:
            left = where - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
            boxes.append((left, base - 0.8 * size, left + wide, base + 0.25 * size))
        covered = [sum(_shared(box, other) for other in self._boxes) for box in boxes]
        best = covered.index(min(covered))
        self._boxes.append(boxes[best])
        return choices[best]


def _shared(a: Box, b: Box) -> float:
    """Return the area that two boxes have in common."""
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    return wide * high if wide > 0 and high > 0 else 0.0

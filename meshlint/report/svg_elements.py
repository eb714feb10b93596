"""Pieces of SVG in the look of the drawing: dark ink on warm paper."""

from __future__ import annotations

from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING

from meshlint.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meshlint.site.places import Metres

PAPER, ROOM, INK, MUTED = "#f7f2e8", "#fffdf8", "#26221d", "#6d655a"
ALARM = "#c2410c"
CONCERN = "#1f5480"
BACKHAUL = "#e0a100"


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    weight: int = 400,
    fill: str = INK,
    anchor: str = "start",
) -> str:
    """Return a line of text; what is in it can never be read as markup."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" font-weight="{weight}" fill="{fill}" '
        f'text-anchor="{anchor}">{escape(visible(words))}</text>'
    )


def label(
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    weight: int = 400,
    anchor: str = "start",
    style: str = "normal",
    fill: str = INK,
) -> str:
    """Return text with paper round its letters, so that it reads on any ground."""
    placed = (
        f'x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" font-weight="{weight}" '
        f'font-style="{style}" text-anchor="{anchor}"'
    )
    shown = escape(visible(words))
    # Not every renderer knows `paint-order`, so what is behind the letters is a text of its own.
    return (
        f'<text {placed} fill="none" stroke="{ROOM}" stroke-width="3.6" '
        f'stroke-linejoin="round" aria-hidden="true">{shown}</text>'
        f'<text {placed} fill="{fill}">{shown}</text>'
    )


def line(
    a: Metres,
    b: Metres,
    *,
    stroke: str,
    width: float,
    dashes: str = "",
    cap: str = "butt",
    opacity: float = 1.0,
) -> str:
    """Return a straight line."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" '
        f'stroke="{stroke}" stroke-width="{width:.1f}" stroke-linecap="{cap}" '
        f'stroke-opacity="{opacity:g}"{dashed}/>'
    )


def circle(
    middle: Metres, radius: float, *, fill: str, stroke: str = "none", width: float = 0
) -> str:
    """Return a circle."""
    return (
        f'<circle cx="{middle[0]:.1f}" cy="{middle[1]:.1f}" r="{radius:g}" fill="{fill}" '
        f'stroke="{stroke}" stroke-width="{width:g}"/>'
    )


def rectangle(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str,
    stroke: str = "none",
    stroke_width: float = 0,
) -> str:
    """Return a rectangle."""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" '
        f'stroke="{stroke}" stroke-width="{stroke_width:g}"/>'
    )


def group(parts: Iterable[str], *, left: float) -> str:
    """Return pieces moved to the right together."""
    return f'<g transform="translate({left:.1f} 0)">{"".join(parts)}</g>'


def path_of_corners(outlines: Iterable[Sequence[Metres]]) -> str:
    """Return closed outlines as the data of one path.

    Steps from corner to corner, in whole tenths of a pixel so that no error adds up: half as long
    as places, and a drawing is mostly this.
    """
    return "".join(map(_closed, outlines))


def _closed(corners: Sequence[Metres]) -> str:
    tenths = [(round(10 * x), round(10 * y)) for x, y in corners]
    steps = (f"{(x2 - x1) / 10:g} {(y2 - y1) / 10:g}" for (x1, y1), (x2, y2) in pairwise(tenths))
    return f"M{tenths[0][0] / 10:g} {tenths[0][1] / 10:g}l{' '.join(steps)}z"


def wrapped(words: str, most: int) -> list[str]:
    """Return text in rows of so many characters at most, longer words cut."""
    rows = [""]
    for word in visible(words).split():
        shown = word if len(word) <= most else f"{word[: most - 1]}…"
        if rows[-1] and len(rows[-1]) + 1 + len(shown) > most:
            rows.append(shown)
        else:
            rows[-1] = f"{rows[-1]} {shown}".strip()
    return rows

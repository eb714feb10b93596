"""The colours of levels on a drawn plan: from the paper to deep indigo in even steps.

Weak is pale and strong is dark, with the lightness falling all the way, so the order can be read in
print, in grey and by people who confuse red and green or blue and yellow. The way between the
anchor colours is walked in equal distances of the OKLab space (Ottosson 2020, "A perceptual color
space for image processing"), which is made so that equal distances look equally different.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

# Three anchors of ours in OKLab's polar form: lightness, chroma, hue in degrees.
_PALE, _MIDDLE, _DEEP = (0.93, 0.045, 100.0), (0.68, 0.095, 195.0), (0.33, 0.115, 285.0)

_WALK = 400

Lab = tuple[float, float, float]


@cache
def colours(count: int) -> tuple[str, ...]:
    """Return so many colours as #rrggbb, palest first, equally far from one to the next."""
    way = [_along(step / _WALK) for step in range(_WALK + 1)]
    lengths = [0.0]
    for here, there in pairwise(way):
        lengths.append(lengths[-1] + math.dist(here, there))
    found = []
    for index in range(count):
        wanted = lengths[-1] * index / max(count - 1, 1)
        at = next(i for i, length in enumerate(lengths) if length >= wanted - 1e-12)
        found.append(_hex(way[at]))
    return tuple(found)


def _along(share: float) -> Lab:
    first, second = (_PALE, _MIDDLE) if share < 0.5 else (_MIDDLE, _DEEP)  # noqa: PLR2004
    part = share * 2 if share < 0.5 else share * 2 - 1  # noqa: PLR2004
    lightness, chroma, hue = (a + part * (b - a) for a, b in zip(first, second, strict=True))
    return (
        lightness,
        chroma * math.cos(math.radians(hue)),
        chroma * math.sin(math.radians(hue)),
    )


def _hex(lab: Lab) -> str:
    parts = (round(255 * _encoded(channel)) for channel in _linear(lab))
    return "#" + "".join(f"{part:02x}" for part in parts)


def _linear(lab: Lab) -> tuple[float, float, float]:
    """Return linear sRGB of an OKLab colour; the matrices are Ottosson's."""
    light, a, b = lab
    long = (light + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (light - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (light - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )


def _encoded(channel: float) -> float:
    """Return a channel as sRGB stores it (IEC 61966-2-1), held to what a screen can show."""
    held = min(max(channel, 0.0), 1.0)
    if held <= 0.0031308:  # noqa: PLR2004
        return 12.92 * held
    root: float = held ** (1 / 2.4)
    return 1.055 * root - 0.055

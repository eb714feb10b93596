"""Pictures of a page as SVG: the tree of units, airtime and channels.

They draw in the page's own colours, so that they are dark on light or light on dark as the page is,
and tell parts apart by pattern. The table next to each has the same numbers.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.report.plain import visible
from meshlint.workings.topology.tree import tree

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.page.figures import Figure, Told
    from meshlint.workings.topology.tree import Tree

_WIDE, _ROW, _LEFT = 720, 46, 14
_SHORT = 34


class Branch(Struct, frozen=True):
    """One unit of the tree: how deep it is, how it is joined, and what it gets."""

    unit: str
    depth: int
    parent: str
    link: str
    medium: str
    goodput: Figure | None
    gets: Figure
    held_by: Figure
    devices: Figure


class AirRow(Struct, frozen=True):
    """How one shared air's time is asked for."""

    name: str
    channel: Figure
    parts: tuple[Figure, ...]
    asked: Figure
    percents: tuple[float, ...] | None


AIR_PARTS = ("backhaul", "clients", "beacons", "networks of others")
_AIR_FACTS = tuple(f"air.{part}_percent" for part in ("backhaul", "clients", "beacons", "foreign"))


def branches(told: Told) -> tuple[Branch, ...]:
    """Return the units by depth first from the primary; units without a way come last."""
    ways: Tree = told.workings.once(tree)
    site = told.workings.site
    below: dict[str, list[str]] = {}
    for name in site.units:
        parent = ways.parent(name) if name in ways.uplink else None
        if parent is not None:
            below.setdefault(parent, []).append(name)
    found: list[Branch] = []
    stack = [(site.primary, 0)]
    while stack:
        name, depth = stack.pop()
        found.append(_branch(told, ways, name, depth))
        stack += [(child, depth + 1) for child in reversed(below.get(name, []))]
    seen = {branch.unit for branch in found}
    found += [_branch(told, ways, name, 0) for name in site.units if name not in seen]
    return tuple(found)


def _branch(told: Told, ways: Tree, name: str, depth: int) -> Branch:
    key = f"units/{name}"
    link = ways.uplink.get(name)
    return Branch(
        name,
        depth,
        "" if link is None else link.far_end(name),
        "" if link is None else link.name,
        "" if link is None else link.over,
        None if link is None else told.figure("link.goodput_mbps", f"backhaul/{link.name}"),
        told.figure("unit.internet_mbps", key),
        told.figure("unit.internet_held_by", key),
        told.figure("unit.clients_behind", key),
    )


def airs(told: Told) -> tuple[AirRow, ...]:
    """Return how the time of each shared air is asked for."""
    rows = []
    for key in told.keys("air"):
        numbers = [told.number(fact, key) for fact in _AIR_FACTS]
        known = [number for number in numbers if number is not None]
        rows.append(
            AirRow(
                told.label("air", key),
                told.figure("air.channel", key),
                tuple(told.figure(fact, key) for fact in _AIR_FACTS),
                told.figure("air.airtime_percent", key),
                tuple(known) if len(known) == len(numbers) else None,
            )
        )
    return tuple(rows)


def _opened(kind: str, title: str, description: str, high: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{kind}" role="img" '
        f'aria-labelledby="{kind}-title {kind}-desc" viewBox="0 0 {_WIDE} {high:.0f}" '
        f'width="{_WIDE}" height="{high:.0f}"><title id="{kind}-title">{title}</title>'
        f'<desc id="{kind}-desc">{description}</desc>'
    )


def _text(x: float, y: float, words: str, kind: str = "", most: int = 0) -> str:
    shown = visible(words)
    if most and len(shown) > most:
        shown = f"{shown[: most - 1]}…"
    style = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.0f}" y="{y:.0f}"{style}>{escape(shown)}</text>'


def tree_picture(rows: Sequence[Branch]) -> str:
    """Return the tree as a drawing: who is joined to whom, over what, and what arrives."""
    parts = [
        _opened(
            "tree",
            "Who is joined to whom",
            "The primary unit at the top, every other unit under its parent. A broken "
            "line is a radio link. The table below has the same numbers.",
            _ROW * len(rows) + 10,
        )
    ]
    at: dict[str, tuple[float, float]] = {}
    step = min(28.0, 220 / max((row.depth for row in rows), default=1) if rows else 28.0)
    for index, row in enumerate(rows):
        x, y = _LEFT + step * row.depth, 22.0 + _ROW * index
        at[row.unit] = (x, y)
        parent = at.get(row.parent)
        if parent is not None:
            kind = "radio" if row.medium == "radio" else "wired"
            parts.append(
                f'<path class="{kind}" d="M{parent[0]:.0f} {parent[1] + 7:.0f}V{y:.0f}'
                f'H{x - 7:.0f}"/>'
            )
        parts.append(f'<circle class="node" cx="{x:.0f}" cy="{y:.0f}" r="6"/>')
        parts.append(_text(x + 14, y + 1, row.unit, "name", _SHORT))
        parts.append(_text(x + 14, y + 17, _way(row), "small", 60))
        parts.append(_text(470, y + 1, f"internet: {_short(row.gets)}", "", 40))
        held = f"held by {row.held_by.text}" if row.held_by.is_known else ""
        parts.append(_text(470, y + 17, held, "small", 44))
    return "".join((*parts, "</svg>"))


def _short(figure: Figure) -> str:
    return figure.text if figure.is_known else "not known"


def _way(row: Branch) -> str:
    if row.goodput is None:
        return "the primary: the internet enters through it" if row.depth == 0 else ""
    return f"by {row.medium}, {_short(row.goodput)}"


def airtime_picture(rows: Sequence[AirRow]) -> str:
    """Return a bar for each shared air: what takes its time, and what is free."""
    drawn = [row for row in rows if row.percents is not None]
    parts = [
        _opened(
            "airtime",
            "How full each shared channel is",
            "One bar for each group of radios that take turns; the whole width is all of its "
            "time. Backhaul, clients, beacons and networks of others in this order, told apart "
            "by pattern; what is left blank is free. The table below has the same numbers.",
            40 + 34 * len(drawn),
        ),
        _PATTERNS,
    ]
    x = 250.0
    for part, name in enumerate(AIR_PARTS):
        parts.append(f'<rect class="box" x="{x:.0f}" y="6" width="14" height="12" {_fill(part)}/>')
        parts.append(_text(x + 19, 17, name, "small"))
        x += 34 + 7 * len(name)
    for index, row in enumerate(drawn):
        parts += _bar(row, 34.0 + 34 * index)
    return "".join((*parts, "</svg>"))


def _bar(row: AirRow, y: float) -> Iterator[str]:
    assert row.percents is not None
    yield _text(0, y + 15, row.name, "small", 36)
    scale = 4.2 * 100 / max(100.0, sum(row.percents))
    x = 250.0
    yield f'<rect class="free" x="250" y="{y:.0f}" width="420" height="20"/>'
    for part, percent in enumerate(row.percents):
        if percent:
            wide = percent * scale
            yield (
                f'<rect class="box" x="{x:.1f}" y="{y:.0f}" width="{wide:.1f}" height="20" '
                f"{_fill(part)}/>"
            )
            x += wide
    yield _text(676, y + 15, row.asked.text, "small")


_PATTERNS = (
    '<defs><pattern id="air1" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect class="ground" width="6" height="6"/>'
    '<path class="ink" d="M0 0V6"/></pattern>'
    '<pattern id="air2" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect class="ground" width="6" height="6"/><circle class="dot" cx="3" cy="3" r="1.2"/>'
    "</pattern>"
    '<pattern id="air3" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<rect class="ground" width="5" height="5"/><path class="ink" d="M0 2H5"/></pattern></defs>'
)


def _fill(part: int) -> str:
    return 'fill="currentColor"' if part == 0 else f'fill="url(#air{part})"'


class _Span(Struct, frozen=True):
    name: str
    low_mhz: float
    high_mhz: float
    shared_mhz: float


def channel_picture(told: Told) -> str:
    """Return one flat bar a radio at its exact place in the spectrum, band by band."""
    bands: dict[float, list[_Span]] = {}
    for key in told.keys("radio"):
        low, high = (told.number(f"radio.{end}_mhz", key) for end in ("low", "high"))
        band = told.number("radio.band_ghz", key)
        if low is not None and high is not None and band is not None:
            shared = told.number("radio.radar_shared_mhz", key) or 0.0
            bands.setdefault(band, []).append(_Span(told.label("radio", key), low, high, shared))
    high = sum(42 + 18 * len(rows) for rows in bands.values()) + 8
    parts = [
        _opened(
            "channels",
            "The channel of every radio",
            "One bar for each radio from the lower to the upper edge of its channel in MHz. A "
            "hatched bar is shared with radar. The table of channels has the same numbers.",
            high,
        ),
        _PATTERNS.replace('"air', '"chan'),
    ]
    y = 18.0
    for band, rows in sorted(bands.items()):
        low, top = min(r.low_mhz for r in rows), max(r.high_mhz for r in rows)
        scale = 420 / (top - low)
        parts.append(_text(0, y, f"{band:g} GHz", "name"))
        parts.append(_text(250, y, f"{low:g} MHz", "small"))
        parts.append(
            f'<text class="small" text-anchor="end" x="670" y="{y:.0f}">{top:g} MHz</text>'
        )
        y += 8
        for row in rows:
            fill = 'fill="url(#chan1)"' if row.shared_mhz else 'fill="currentColor"'
            x = 250 + (row.low_mhz - low) * scale
            wide = (row.high_mhz - row.low_mhz) * scale
            parts.append(_text(0, y + 11, row.name, "small", 36))
            parts.append(
                f'<rect class="box" x="{x:.1f}" y="{y + 2:.0f}" width="{wide:.1f}" height="10" '
                f"{fill}/>"
            )
            y += 18
        y += 34
    return "".join((*parts, "</svg>"))

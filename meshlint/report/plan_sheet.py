"""Where things stand on the sheet of a drawing: levels at one scale, and findings on them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.coverage.gaps import gap
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.lint.finding import Finding
    from meshlint.site.model import Site, Unit
    from meshlint.site.places import Level, Metres
    from meshlint.workings.site_workings import Workings

LEFT = 56.0
_WIDE, _HIGH = 880.0, 620.0  # room for the largest level, in pixels
_TOP, _BETWEEN_ROWS, _BETWEEN_LEVELS, _NARROWEST = 138.0, 92.0, 48.0, 120.0


class NothingToDraw(Exception):  # noqa: N818 - it is an answer, not a fault
    """No level of the site has an outline, or a unit with a place."""


class Frame(Struct, frozen=True):
    """A level's place on the sheet; metres grow upwards, pixels downwards.

    Where the file draws no outline, `outline_m` is a box around the level's units.
    """

    level: Level
    outline_m: tuple[Metres, ...]
    left: float
    top: float
    scale: float

    @property
    def is_outlined(self) -> bool:
        """Return whether the outline is the file's."""
        return self.level.outline_m is not None

    @property
    def low(self) -> Metres:
        """Return the corner of the outline's box that has the least of both coordinates."""
        return min(x for x, _ in self.outline_m), min(y for _, y in self.outline_m)

    @property
    def high(self) -> Metres:
        """Return the opposite corner."""
        return max(x for x, _ in self.outline_m), max(y for _, y in self.outline_m)

    @property
    def width(self) -> float:
        """Return how wide the level is on the sheet."""
        return (self.high[0] - self.low[0]) * self.scale

    @property
    def height(self) -> float:
        """Return how high the level is on the sheet."""
        return (self.high[1] - self.low[1]) * self.scale

    def at(self, place: Metres) -> Metres:
        """Return where a place of the plan is on the sheet."""
        return (
            self.left + (place[0] - self.low[0]) * self.scale,
            self.top + (self.high[1] - place[1]) * self.scale,
        )


def frames_of(site: Site) -> tuple[Frame, ...]:
    """Return the levels that can be drawn, side by side where they fit, all at one scale."""
    outlines = {
        level.name: outline_m
        for level in (site.levels or {}).values()
        if (outline_m := level.outline_m or _around_units(site, level))
    }
    if not outlines:
        raise NothingToDraw
    levels = [(site.levels or {})[name] for name in outlines]
    boxes = [
        (
            max(x for x, _ in outline_m) - min(x for x, _ in outline_m),
            max(y for _, y in outline_m) - min(y for _, y in outline_m),
        )
        for outline_m in outlines.values()
    ]
    widest, highest = max(wide for wide, _ in boxes), max(high for _, high in boxes)
    scale = min(_WIDE / max(widest, 0.1), _HIGH / max(highest, 0.1))
    frames: list[Frame] = []
    left, top, row_high = LEFT, _TOP, 0.0
    for level, (wide, high) in zip(levels, boxes, strict=True):
        if left > LEFT and left + wide * scale > LEFT + _WIDE + 1:
            left, top, row_high = LEFT, top + row_high + _BETWEEN_ROWS, 0.0
        frames.append(Frame(level, outlines[level.name], left, top, scale))
        left, row_high = (
            left + max(wide * scale, _NARROWEST) + _BETWEEN_LEVELS,
            max(row_high, high * scale),
        )
    return tuple(frames)


_AROUND_M = 3.0


def _around_units(site: Site, level: Level) -> tuple[Metres, ...]:
    """Return a box around the units of a level that has no outline; empty without any."""
    only = len(site.levels or {}) == 1
    places = [
        (unit.at.x_m, unit.at.y_m)
        for unit in site.units.values()
        if unit.at is not None and (unit.at.level == level.name or (only and unit.at.level is None))
    ]
    if not places:
        return ()
    low = min(x for x, _ in places) - _AROUND_M, min(y for _, y in places) - _AROUND_M
    high = max(x for x, _ in places) + _AROUND_M, max(y for _, y in places) + _AROUND_M
    return (low, (high[0], low[1]), high, (low[0], high[1]))


class Mark(Struct, frozen=True):
    """A finding with its number, and where on which level it is, if it is anywhere."""

    number: int
    finding: Finding
    level: str
    place: Metres | None


def marks_of(w: Workings, findings: Sequence[Finding]) -> Iterator[Mark]:
    """Yield the findings with their numbers and places."""
    for number, finding in enumerate(findings, 1):
        level, place = _whereabouts(w, finding.subject)
        yield Mark(number, finding, level, place)


def _whereabouts(w: Workings, key: str) -> tuple[str, Metres | None]:
    """Return the level and place of a finding's subject; no place for the site as a whole."""
    scope, _, name = key.partition("/")
    if scope == "areas":
        return _middle_of_gap(w, name)
    if scope == "pairs":
        named = [f"{u.name}" for u in w.site.units.values()]
        units = name.rpartition("/")[0]
        both = next(((a, b) for a in named for b in named if f"{a}+{b}" == units), ("", ""))
        return _between(w, both)
    links = (w.site.backhaul or {}).values() if scope == "backhaul" else ()
    link = next((link for link in links if "/".join(map(str, link.pointer)) == key), None)
    if link is not None:
        return _between(w, (link.from_unit, link.to_unit))
    unit = next(
        (u for u in w.site.units if scope == "units" and (name == u or name.startswith(f"{u}/"))),
        None,
    )
    return _between(w, (unit, unit)) if unit else ("", None)


def _middle_of_gap(w: Workings, name: str) -> tuple[str, Metres | None]:
    area = (w.site.areas or {}).get(name)
    if area is None:
        return "", None
    xs, ys = [x for x, _ in area.outline_m], [y for _, y in area.outline_m]
    middle = (sum(xs) / len(xs), sum(ys) / len(ys))
    try:
        found = gap(w, area).middle_m
    except Missing:
        found = None
    return area.level, found or middle


def _between(w: Workings, ends: tuple[str, str]) -> tuple[str, Metres | None]:
    try:
        one, other = (location_of(w, w.site.units[name]) for name in ends)
    except (Missing, KeyError):
        return "", None
    level = one.level or other.level
    return level.name if level else "", ((one.x_m + other.x_m) / 2, (one.y_m + other.y_m) / 2)


def level_name(w: Workings, unit: Unit) -> str:
    """Return the name of the level that a unit stands on, if it stands on one."""
    try:
        level = location_of(w, unit).level
    except Missing:
        return ""
    return level.name if level else ""

"""One level of a drawing: its cells, what is built, the units, the backhaul and the findings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.report.colour_scale import colours
from meshlint.report.plan_sheet import level_name
from meshlint.report.plan_words import Taken
from meshlint.report.svg_elements import (
    ALARM,
    BACKHAUL,
    CONCERN,
    INK,
    MUTED,
    PAPER,
    ROOM,
    circle,
    line,
    path_of_corners,
    rectangle,
    text,
)
from meshlint.workings.propagation.cells import TARGET_DBM
from meshlint.workings.propagation.coverage_map import over
from meshlint.workings.propagation.drawn_lines import middle_of
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.storeys import storeys
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.topology.tree import one_leg_each
from meshlint.workings.unknown import Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.report.plan_bands import Floats
    from meshlint.report.plan_sheet import Frame, Mark
    from meshlint.site.model import Link, Unit
    from meshlint.site.places import Metres
    from meshlint.workings.site_workings import Workings

    Contour = tuple[int, list[Metres]]
    """The level at which a band begins, and places along its edge on the sheet."""

BANDS_DBM = (-67, -60, -50, -40, -30)
"""Where a band of levels begins: at the target, and then in steps that show where a unit is near.
Below the first all is paper, hatched."""

_CONTOURS = ("", "9 4", "5 4", "3 3", "1 3")
"""How the edge of each band is drawn, so that they are told apart without colour."""

_BROKEN = ' stroke-dasharray="2 5"'

DASHES = {"radio": "1 6.5"}
_FINEST_M, _MOST_FIELDS = 0.12, 40_000
_FILL = {"error": ALARM, "warning": CONCERN, "note": MUTED, "caution": MUTED}


def level_of_plan(w: Workings, frame: Frame, band: float, marks: Sequence[Mark]) -> Iterator[str]:
    """Yield the pieces of one level, from the ground up."""
    name = frame.level.name
    units = [u for u in w.site.units.values() if level_name(w, u) == name]
    clip = f"level{frame.top:.0f}"
    corners = [frame.at(place) for place in frame.outline_m]
    wide_m, deep_m = (round(frame.high[axis] - frame.low[axis], 1) for axis in (0, 1))
    size = f"{wide_m:g} by {deep_m:g} m"
    if not frame.is_outlined:
        size += " around its units: no outline is drawn"
    yield text(frame.left, frame.top - 16, name, size=16, weight=600)
    yield text(frame.left + frame.width, frame.top - 16, size, size=11, fill=MUTED, anchor="end")
    yield f'<clipPath id="{clip}"><path d="{path_of_corners([corners])}"/></clipPath>'
    yield f'<path d="{path_of_corners([corners])}" fill="{ROOM}"/>'
    contours: list[Contour] = []
    yield f'<g clip-path="url(#{clip})">{"".join(_field(w, frame, band, contours))}</g>'
    yield f'<g clip-path="url(#{clip})">{"".join(_built(w, frame))}</g>'
    yield (
        f'<path d="{path_of_corners([corners])}" fill="none" stroke="{INK}" '
        f'stroke-width="{2.4 if frame.is_outlined else 1}" stroke-linejoin="round"'
        f"{'' if frame.is_outlined else _BROKEN}/>"
    )
    taken = Taken()
    for unit in units:
        spot = location_of(w, unit)
        taken.block(frame.at((spot.x_m, spot.y_m)), 8)
    links, stubs, middles = _backhaul(w, frame, taken)
    yield from links
    symbols = [piece for unit in units for piece in _unit(w, frame, unit, taken)]
    for stub in stubs:
        end, words = taken.stub(stub.start, 36, stub.words, 11)
        symbols = [*_strand(stub.start, end, stub.dashes), words, *symbols]
    symbols += [taken.beside(middle, words, 10, 10) for middle, words in middles]
    yield from _rooms(w, frame, taken)
    yield from symbols
    for threshold, places in contours:
        yield from taken.on_a_line(f"{threshold}", places, 10)
    for number, mark in enumerate(m for m in marks if m.level == name and m.place is not None):
        assert mark.place is not None
        yield flag(frame.at(mark.place), mark, number)


def _field(w: Workings, frame: Frame, band: float, contours: list[Contour]) -> Iterator[str]:
    """Yield the levels as filled bands, the hatching below the target and the edges of cells.

    Adds to `contours` where the edge of each band runs.
    """
    import numpy as np

    from meshlint.report.plan_bands import areas_above, lines_at, padded

    low, high = frame.low, frame.high
    box = (low, (high[0], low[1]), high, (low[0], high[1]))
    area_m2 = (high[0] - low[0]) * (high[1] - low[1])
    cover = over(w, frame.level, (box,), max(_FINEST_M, math.sqrt(area_m2 / _MOST_FIELDS)))
    heard = [
        (pointer, levels)
        for pointer, levels in cover.levels_dbm.items()
        if cover.radios[pointer].band == band
    ]
    if not heard:
        return
    shape = (int(cover.places.row.max()) + 1, int(cover.places.column.max()) + 1)
    every = np.array([levels.reshape(shape) for _, levels in heard])
    best, step_m = every.max(axis=0), cover.places.step_m
    grid = padded(np.maximum(best, -200.0))

    def sheet(corner: Metres) -> Metres:
        # A value stands in the middle of its field, and the padding adds one field before it.
        return frame.at((low[0] + (corner[0] - 0.5) * step_m, low[1] + (corner[1] - 0.5) * step_m))

    for threshold, shade in zip(BANDS_DBM, shades(), strict=True):
        outlines = [[sheet(c) for c in corners] for corners in areas_above(grid, threshold)]
        if outlines:
            yield (
                f'<path d="{path_of_corners(outlines)}" fill="{shade}" stroke="{shade}" '
                'stroke-width="0.8"/>'
            )
    for threshold, dashes in zip(BANDS_DBM, _CONTOURS, strict=True):
        pieces = [(sheet(a), sheet(b)) for a, b in lines_at(grid, threshold)]
        if pieces:
            contours.append((threshold, [a for a, _ in pieces if _is_well_inside(frame, a)]))
            yield _contour((c for piece in pieces for c in piece), dashes)
    below = [[sheet(c) for c in corners] for corners in areas_above(-grid, -TARGET_DBM)]
    if below:
        yield f'<path d="{path_of_corners(below)}" fill="url(#below)"/>'
    for index in range(len(every)):
        others = np.delete(every, index, axis=0)
        if len(others):
            ahead = padded(every[index] - others.max(axis=0))
            yield _edge(sheet(c) for piece in _held(ahead, grid) for c in piece)


def _held(ahead: Floats, best: Floats) -> Iterator[tuple[Metres, Metres]]:
    """Yield the edge of one unit's part of the plan, as far as anybody holds the target there."""
    from meshlint.report.plan_bands import lines_at

    for one, other in lines_at(ahead, 0.0):
        if best[int(one[1]), int(one[0])] >= TARGET_DBM:
            yield one, other


def _is_well_inside(frame: Frame, place: Metres) -> bool:
    """Return whether words at a place on the sheet keep off the outer walls."""
    return (
        frame.left + _OFF_WALLS < place[0] < frame.left + frame.width - _OFF_WALLS
        and frame.top + _OFF_WALLS < place[1] < frame.top + frame.height - _OFF_WALLS
    )


_OFF_WALLS = 18


def _contour(corners: Iterator[Metres], dashes: str) -> str:
    data = "".join(f"{'ML'[number % 2]}{x:.1f} {y:.1f}" for number, (x, y) in enumerate(corners))
    broken = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="{data}" fill="none" stroke="{INK}" stroke-width="0.8" stroke-opacity="0.55"'
        f"{broken}/>"
    )


def _edge(corners: Iterator[Metres]) -> str:
    data = "".join(f"{'ML'[number % 2]}{x:.1f} {y:.1f}" for number, (x, y) in enumerate(corners))
    return (
        f'<path d="{data}" fill="none" stroke="{ROOM}" stroke-width="1.4" stroke-opacity="0.75" '
        'stroke-linecap="round"/>'
    )


def shades() -> tuple[str, ...]:
    """Return the colour of each band, weakest first: none so dark that words on it are lost."""
    return colours(len(BANDS_DBM) + 2)[:-2]


def _built(w: Workings, frame: Frame) -> Iterator[str]:
    storey = w.once_a_building(storeys)[frame.level.name]
    for solid in storey.solids:
        corners = [frame.at(place) for place in solid.outline_m]
        yield (
            f'<path d="{path_of_corners([corners])}" fill="url(#solid)" stroke="{INK}" '
            'stroke-width="0.9" stroke-opacity="0.7"/>'
        )
    for core in (False, True):
        for piece in storey.pieces or ():
            thick_mm = piece.sheet.layer.thickness_mm if piece.sheet.layer else 0.0
            width = max(5.0, thick_mm / 1000 * frame.scale)
            yield line(
                frame.at(piece.start),
                frame.at(piece.end),
                stroke=ROOM if core else INK,
                width=width - 2.4 if core else width,
                cap="square",
            )


def _rooms(w: Workings, frame: Frame, taken: Taken) -> Iterator[str]:
    """Yield the names of the level's rooms and areas, each where it lies."""
    level = frame.level.name
    for name, area in (w.site.areas or {}).items():
        if area.level != level:
            continue
        corners = [frame.at(corner) for corner in area.outline_m]
        wide, high = (max(side) - min(side) for side in zip(*corners, strict=True))
        middle = frame.at(middle_of(area.outline_m))
        yield taken.within(middle, (wide, high), name.removeprefix(f"{level} "))


def _backhaul(
    w: Workings, frame: Frame, taken: Taken
) -> tuple[list[str], list[_Stub], list[tuple[Metres, str]]]:
    """Return the links inside a level, drawn, those that lead to another, and words for middles."""
    drawn, stubs, middles = [], [], []
    for link in one_leg_each((w.site.backhaul or {}).values()):
        ends = (link.from_unit, link.to_unit)
        levels = [level_name(w, w.site.units[name]) for name in ends]
        spots = [w.site.units[name].at for name in ends]
        if frame.level.name not in levels or None in spots:
            continue
        a, b = (frame.at((spot.x_m, spot.y_m)) for spot in spots if spot is not None)
        dashes = DASHES.get(link.over, "")
        if levels[0] == levels[1]:
            drawn += _strand(a, b, dashes)
            taken.block_line(a, b)
            if setting := _setting(w, link):
                middles.append((((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), setting))
        else:
            here, there = (0, 1) if levels[0] == frame.level.name else (1, 0)
            setting = _setting(w, link)
            words = f"to {ends[there]}, {levels[there] or 'elsewhere'}"
            words += f" ({setting})" if setting else ""
            stubs.append(_Stub((a, b)[here], words, dashes))
    return drawn, stubs, middles


def _setting(w: Workings, link: Link) -> str:
    """Return the channel and width of a radio link, as far as they are known: `36, 80 MHz`."""
    if link.over != "radio":
        return ""
    radio = answer(radio_of, w, link, link.from_unit)
    if isinstance(radio, Unknown) or radio.channel is None:
        return ""
    return f"{radio.channel}, {radio.width_mhz} MHz" if radio.width_mhz else f"{radio.channel}"


class _Stub(Struct, frozen=True):
    """The beginning of a link that goes on to another level, and where it goes."""

    start: Metres
    words: str
    dashes: str


def _strand(a: Metres, b: Metres, dashes: str) -> list[str]:
    return [
        line(a, b, stroke=PAPER, width=6.0, opacity=0.85),
        line(a, b, stroke=BACKHAUL, width=3.0, dashes=dashes, cap="round"),
    ]


def _unit(w: Workings, frame: Frame, unit: Unit, taken: Taken) -> Iterator[str]:
    spot = location_of(w, unit)
    x, y = frame.at((spot.x_m, spot.y_m))
    if unit.radios:
        yield circle((x, y), 8.5, fill=ROOM, stroke=INK, width=2.2)
        yield circle((x, y), 4.2 if unit.name == w.site.primary else 2.2, fill=INK)
    else:
        yield rectangle(x - 5.5, y - 5.5, 11, 11, fill=ROOM, stroke=INK, stroke_width=2)
    yield taken.beside((x, y), unit.name, 13 if unit.radios else 11, 14)


def flag(at: Metres, mark: Mark, order: int) -> str:
    """Return a numbered marker beside a place, each a little farther so that several show."""
    x, y = at[0] + 15 + 22 * (order % 2), at[1] + 14 + 5 * (order % 3)
    fill = _FILL[mark.finding.severity]
    return (
        f'<rect x="{x - 8:.1f}" y="{y - 8:.1f}" width="16" height="16" rx="3" '
        f'transform="rotate(45 {x:.1f} {y:.1f})" fill="{fill}" stroke="{PAPER}" stroke-width="2"/>'
        + text(x, y + 4, str(mark.number), size=11, weight=700, fill=PAPER, anchor="middle")
    )

"""The site as a drawing: each level with its cells, walls, units, backhaul and findings, as SVG.

One band is drawn, the 5 GHz one unless another is asked for or there is none. What is filled is
the strongest level that a device gets; below the target the plan is hatched. Nothing of the file
reaches the drawing but as text, with what could be read as markup escaped.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from meshlint.report.plain import visible
from meshlint.report.plan_level import (
    BANDS_DBM,
    DASHES,
    flag,
    level_of_plan,
    shades,
)
from meshlint.report.plan_sheet import LEFT, frames_of, marks_of
from meshlint.report.svg_elements import (
    ALARM,
    BACKHAUL,
    INK,
    MUTED,
    PAPER,
    ROOM,
    circle,
    group,
    line,
    rectangle,
    text,
    wrapped,
)
from meshlint.workings.propagation.antenna_pattern import SOURCE, beam_of
from meshlint.workings.propagation.cells import TARGET_DBM, client_radios, first_client_radios
from meshlint.workings.propagation.coverage_map import over
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.path_loss import distance_terms
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.lint.finding import Finding
    from meshlint.report.plan_sheet import Frame, Mark
    from meshlint.site.model import Site
    from meshlint.workings.site_workings import Workings

_SIDE = 296.0
_LONGEST_BAR = 240.0


def draw(w: Workings, findings: Sequence[Finding], band: float | None = None) -> str:
    """Return the drawing; raises `NothingToDraw` without an outline and units on a level."""
    site = w.site
    band = band or _usual_band(site)
    frames = frames_of(site)
    marks = tuple(marks_of(w, findings))
    body: list[str] = []
    for frame in frames:
        body += level_of_plan(w, frame, band, marks)
    bottom = max(frame.top + frame.height for frame in frames) + 70
    side, side_bottom = _side(w, frames, band, marks)
    height = max(bottom, side_bottom) + 40
    width = max(LEFT + 480, *(frame.left + frame.width for frame in frames)) + 56 + _SIDE
    title = [
        text(LEFT, 52, site.about.name, size=26, weight=600),
        text(LEFT, 76, f"{band:g} GHz as people get it, level by level", size=13, fill=MUTED),
    ]
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}" '
            f'viewBox="0 0 {width:.0f} {height:.0f}" font-family="Liberation Sans, Helvetica, '
            f'Arial, sans-serif" fill="{INK}">',
            f"<title>{escape(visible(site.about.name))}</title>",
            _PATTERNS,
            rectangle(0, 0, width, height, fill=PAPER),
            *title,
            *body,
            group(side, left=width - _SIDE - 24),
            "</svg>\n",
        )
    )


_PATTERNS = (
    '<defs><pattern id="below" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)">'
    f'<rect width="7" height="7" fill="{ROOM}" fill-opacity="0.55"/>'
    f'<line x1="0" y1="0" x2="0" y2="7" stroke="{ALARM}" stroke-width="1.1" '
    'stroke-opacity="0.55"/></pattern>'
    '<pattern id="solid" width="6" height="6" patternUnits="userSpaceOnUse">'
    f'<rect width="6" height="6" fill="{ROOM}" fill-opacity="0.35"/>'
    f'<path d="M0 6L6 0" stroke="{INK}" stroke-width="1" stroke-opacity="0.6"/></pattern></defs>'
)


def _usual_band(site: Site) -> float:
    served = {band for unit in site.units.values() for band in first_client_radios(unit)}
    return next((band for band in (5.0, 2.4, 6.0) if band in served), 5.0)


def _side(
    w: Workings, frames: Sequence[Frame], band: float, marks: Sequence[Mark]
) -> tuple[list[str], float]:
    parts = [text(0, 128, "Signal level", size=13, weight=600)]
    each = 272 / len(BANDS_DBM)
    for index, (threshold, shade) in enumerate(zip(BANDS_DBM, shades(), strict=True)):
        parts.append(rectangle(index * each, 140, each + 0.4, 16, fill=shade))
        place = "start" if index == 0 else "middle"
        parts.append(text(index * each, 172, f"{threshold}", size=10.5, anchor=place))
    words = "dBm from here on, darker is stronger; lines mark the edges"
    parts.append(text(272, 188, words, size=10.5, fill=MUTED, anchor="end"))
    y = 214.0
    for swatch, words in (
        ('<rect x="0" y="-11" width="26" height="14" fill="url(#below)"/>',
         f"below {TARGET_DBM:g} dBm, the target"),
        (line((0, -4), (26, -4), stroke=INK, width=5)
         + line((1.2, -4), (24.8, -4), stroke=ROOM, width=2.6), "wall"),
        (f'<rect x="0" y="-11" width="26" height="14" fill="url(#solid)" stroke="{INK}" '
         'stroke-width="0.8"/>', "obstacle"),
        (circle((13, -4), 7, fill=ROOM, stroke=INK, width=2) + circle((13, -4), 3.5, fill=INK),
         "primary unit; smaller dot: other units"),
        (line((1, -4), (25, -4), stroke=BACKHAUL, width=3), "backhaul by cable"),
        (line((2, -4), (25, -4), stroke=BACKHAUL, width=3, dashes=DASHES["radio"], cap="round"),
         "backhaul by radio"),
        (rectangle(0, -11, 26, 14, fill=shades()[1])
         + line((13, -11), (13, 3), stroke=ROOM, width=1.3), "edge between two cells"),
    ):  # fmt: skip
        parts.append(f'<g transform="translate(0 {y:.0f})">{swatch}</g>')
        parts.append(text(36, y, words, size=12))
        y += 23
    y = _scale_bar(parts, frames[0].scale, y + 8)
    y = _notes(w, parts, frames, band, y + 14)
    if marks:
        parts.append(text(0, y + 16, "Findings", size=13, weight=600))
        y += 44
    for mark in marks:
        found = mark.finding
        parts.append(flag((-5, y - 15), mark, 0))
        parts.append(text(28, y - 2, f"{found.severity}, {found.rule}", size=12, weight=600))
        for row in wrapped(found.label, 40):
            y += 15
            parts.append(text(28, y - 2, row, size=12, fill=MUTED))
        y += 26
    return parts, y


def _scale_bar(parts: list[str], scale: float, y: float) -> float:
    long_m = next(m for m in (100, 50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1) if m * scale <= _LONGEST_BAR)
    for part in range(4):
        fill = INK if part % 2 == 0 else ROOM
        parts.append(
            rectangle(
                part * long_m * scale / 4, y, long_m * scale / 4, 6, fill=fill, stroke=INK,
                stroke_width=1,
            )
        )  # fmt: skip
    parts.append(text(0, y + 20, "0", size=10.5, anchor="start"))
    parts.append(text(long_m * scale, y + 20, f"{long_m:g} m", size=10.5, anchor="middle"))
    return y + 34


def _notes(w: Workings, parts: list[str], frames: Sequence[Frame], band: float, y: float) -> float:
    """Add what the levels rest on, and what could not be drawn."""
    models = []
    has_beam = False
    for unit in w.site.units.values():
        for radio in (one for one in client_radios(unit) if one.band == band):
            try:
                spot = location_of(w, unit)
                term = distance_terms(w, spot, spot, NOMINAL_MHZ[band])[0]
                has_beam = has_beam or beam_of(radio) is not None
            except Missing:
                continue
            models.append(term.model.source)
    words = [
        f"Medians by {'; '.join(dict.fromkeys(models))}; a device of 0 dBi, 1 m above the floor."
        + (f" Beams of antennas by {SOURCE}." if has_beam else "")
        if models
        else "No unit's level could be worked out.",
        "Half of such places are worse than drawn; from place to place levels stray by 5 to 12 dB.",
    ]
    # A map takes all radios at once, so that each level's is made once, not for each radio again.
    covers = [over(w, frame.level, (frame.outline_m,), 5.0) for frame in frames]
    lacking = sorted(
        {
            wanted.key
            for unit in w.site.units.values()
            for radio in client_radios(unit)
            if radio.band == band
            for cover in covers
            for wanted in cover.lacking.get(radio.pointer, ())
        }
    )
    if lacking:
        words.append(f"Not drawn without {', '.join(lacking)}.")
    for paragraph in words:
        for row in wrapped(paragraph, 48):
            y += 14
            parts.append(text(0, y, row, size=10.5, fill=MUTED))
        y += 5
    return y + 8

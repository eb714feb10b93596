"""Numbers that cannot be so: slips of the pen that geometry gives away, or what is usual."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from meshlint.law.extents import extent
from meshlint.workings.fact import Kind, fact
from meshlint.workings.governance.usual_ranges import RANGES, THICKNESS_MM, range_of
from meshlint.workings.links.cables import cables
from meshlint.workings.propagation.drawn_lines import inside
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import ClientGroup, Pointer, Radio, Site
    from meshlint.site.places import Metres, Position
    from meshlint.workings.site_workings import Workings

GEOMETRY = "geometry; extents of countries from airportsdata; usual ranges (`meshlint usual`)"

_SLACK_M = 0.5
"""A plan is not drawn finer: a unit on a wall may lie as far outside, a cable be as much short."""


class Compared(NamedTuple):
    """One comparison that the file allows: what is wrong, or nothing, and where."""

    pointer: Pointer
    wrong: str


def comparisons(w: Workings) -> tuple[Compared, ...]:
    """Return every comparison that the stated numbers allow."""
    return (*_place(w.site), *_cables(w), *_units(w.site), *_equipment(w.site))


def _place(site: Site) -> Iterator[Compared]:
    about = site.about
    if about.place is None or about.country is None:
        return
    box = extent(about.country)
    if box is None:
        return
    latitude, longitude = about.place.latitude, about.place.longitude
    wrong = ""
    if not box.holds(latitude, longitude):
        swapped = abs(longitude) <= 90 and box.holds(longitude, latitude)
        turned = next((sign for sign in ((1, -1), (-1, 1), (-1, -1)) if _fits(site, sign)), None)
        hint = ", which the two swapped are not" if swapped else ""
        hint = hint or (", which it is not with a sign changed" if turned else "")
        wrong = f"{latitude:g}, {longitude:g} is far outside {about.country}{hint}"
    yield Compared(("site", "place"), wrong)


def _fits(site: Site, sign: tuple[int, int]) -> bool:
    place, box = site.about.place, extent(site.about.country or "")
    return bool(place and box and box.holds(place.latitude * sign[0], place.longitude * sign[1]))


def _cables(w: Workings) -> Iterator[Compared]:
    for cable in w.once(cables):
        one, other = (w.site.units[unit].at for unit in cable.ends)
        if cable.length_m is None or one is None or other is None:
            continue
        straight_m = _apart_m(w.site, one, other)
        wrong = ""
        if cable.length_m < straight_m - _SLACK_M:
            wrong = (
                f"{cable.label} is {cable.length_m:g} m long, and its ends are {straight_m:.1f} m "
                "apart in a straight line"
            )
        yield Compared((*cable.pointer, "length_m"), wrong)


def _apart_m(site: Site, one: Position, other: Position) -> float:
    """Return the straight distance; without both heights, that on the plan, which is no more."""
    heights = [_height_m(site, place) for place in (one, other)]
    rise = 0.0 if None in heights else heights[0] - heights[1]  # type: ignore[operator]
    return math.dist((one.x_m, one.y_m, rise), (other.x_m, other.y_m, 0.0))


def _height_m(site: Site, place: Position) -> float | None:
    level = (site.levels or {}).get(place.level or "")
    if place.height_m is None or level is None or level.base_m is None:
        return None
    return level.base_m + place.height_m


def _units(site: Site) -> Iterator[Compared]:
    for unit in site.units.values():
        level = (site.levels or {}).get(unit.at.level or "") if unit.at else None
        if unit.at is None or level is None:
            continue
        if level.outline_m is not None and not unit.outdoors:
            spot = (unit.at.x_m, unit.at.y_m)
            out = not inside(spot, level.outline_m) and _off_m(spot, level.outline_m) > _SLACK_M
            words = f"{unit.name} stands outside the outline of {level.name}"
            yield Compared((*unit.pointer, "at"), words if out else "")
        if level.ceiling_m is not None and unit.at.height_m is not None:
            above = unit.at.height_m > level.ceiling_m and not unit.outdoors
            words = (
                f"{unit.name} hangs at {unit.at.height_m:g} m under a ceiling "
                f"at {level.ceiling_m:g} m"
            )
            yield Compared((*unit.pointer, "at", "height_m"), words if above else "")


_FAR_DB = {"power_dbm": 10.0, "antenna_gain_dbi": 20.0, "transmit_dbm": 10.0}
"""So far outside its usual range a number is taken for a slip, such as milliwatts for dBm."""

_FAR_TIMES = 4.0
"""The same for the thickness of a wall."""


def _equipment(site: Site) -> Iterator[Compared]:
    """Yield what is stated of radios, devices and walls next to what is usual of it."""
    for unit in site.units.values():
        place = "outdoors" if unit.outdoors else "indoors"
        for radio in unit.radios.values():
            of = f"radio {radio.name} of {unit.name}"
            for key in ("power_dbm", "antenna_gain_dbi"):
                yield from _beside_usual(radio, key, of, place)
    for group in (site.clients or {}).values():
        yield from _beside_usual(group, "transmit_dbm", group.name, "")
    for level in (site.levels or {}).values():
        for at, wall in enumerate(level.walls or ()):
            usual_mm = THICKNESS_MM.get(wall.material or "")
            if usual_mm is None or wall.thickness_mm is None:
                continue
            thin, thick = usual_mm[0] / _FAR_TIMES, usual_mm[2] * _FAR_TIMES
            words = (
                f"a {wall.material} wall of {level.name} is {wall.thickness_mm:g} mm thick, where "
                f"{usual_mm[0]:g} to {usual_mm[2]:g} mm are usual"
            )
            right = thin <= wall.thickness_mm <= thick
            pointer = ("levels", level.name, "walls", at, "thickness_mm")
            yield Compared(pointer, "" if right else words)


def _beside_usual(of: Radio | ClientGroup, key: str, words: str, place: str) -> Iterator[Compared]:
    value, pointer = getattr(of, key), (*of.pointer, key)
    usual = range_of(RANGES, Input(pointer).key, of.band, place)
    if value is None or usual is None:
        return
    far = _FAR_DB[key]
    right = float(usual.low) - far <= value <= float(usual.high) + far
    name = "gain" if usual.unit == "dBi" else "power"
    wrong = f"the {name} of {words} is {value:g} {usual.unit}, where {usual.span} is usual"
    yield Compared(pointer, "" if right else wrong)


def _off_m(spot: Metres, outline_m: tuple[Metres, ...]) -> float:
    """Return the distance from a point to the nearest edge of an outline."""
    edges = zip(outline_m, (*outline_m[1:], outline_m[0]), strict=True)
    return min(_to_edge_m(spot, start, end) for start, end in edges)


def _to_edge_m(spot: Metres, start: Metres, end: Metres) -> float:
    along = (end[0] - start[0], end[1] - start[1])
    length = math.hypot(*along)
    if length**2 == 0:  # so short that its square is nought
        return math.dist(spot, start)
    share = (along[0] * (spot[0] - start[0]) + along[1] * (spot[1] - start[1])) / length**2
    share = min(1.0, max(0.0, share))
    return math.dist(spot, (start[0] + share * along[0], start[1] + share * along[1]))


def first_implausible(w: Workings) -> Pointer | None:
    """Return where the first number stands that cannot be so."""
    return next((found.pointer for found in w.once(comparisons) if found.wrong), None)


@fact("site.comparable", Kind.COUNT, "numbers that can be held against others", source=GEOMETRY)
def comparable(w: Workings, site: Site) -> float:
    placed = site.about.place is not None and site.about.country is not None
    return max(len(w.once(comparisons)), int(placed))


@fact("site.implausible", Kind.TEXTS, "numbers that cannot be so", source=GEOMETRY)
def implausible(w: Workings, site: Site) -> tuple[str, ...]:
    found = tuple(compared.wrong for compared in w.once(comparisons) if compared.wrong)
    country = site.about.country
    if not found and site.about.place is not None and country and extent(country) is None:
        raise Missing(Input(("site", "country"), "a country whose extent is known"))
    return found

"""Whether an outdoor radio link has a clear line: how near anything drawn comes to it.

A line of sight is not enough. Around it the first Fresnel zone has to be clear by 0.6 of its radius
for the loss to be that of free space (ITU-R P.530 and P.526). What stands in the way is what the
file draws: walls and obstacles of levels as high as the line, and the ground where heights are
stated. Trees, and whatever else nobody drew, are not seen.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.outdoors import fresnel_radius_m
from meshlint.physics.propagation import NEAREST_M
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.drawn_lines import crossed, on_line, through
from meshlint.workings.propagation.geometry import Location, height_m, location_of
from meshlint.workings.propagation.storeys import storeys
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Link
    from meshlint.site.places import Metres
    from meshlint.workings.propagation.storeys import Storey
    from meshlint.workings.site_workings import Workings

ZONE = "first Fresnel zone, ITU-R P.526-8 eq. (2); the clear share of P.530"


class Tightest(Struct, frozen=True):
    """The place where a line comes nearest to something, measured in radii of its zone.

    `clearance_m` is below nought where the line meets the thing.
    """

    clearance_m: float
    radius_m: float
    what: str
    from_end_m: float

    @property
    def share(self) -> float:
        """Return the clearance as a share of the zone's radius."""
        return self.clearance_m / self.radius_m


def tightest(w: Workings, link: Link) -> Tightest:
    """Return the tightest place of an outdoor link; raises `Missing` where nothing is drawn."""
    ends = tuple(location_of(w, w.site.units[unit]) for unit in (link.from_unit, link.to_unit))
    frequency = frequency_mhz(radios_of(w, link)[0])
    found = list(_things(w, ends, frequency))
    for unit, location in zip((link.from_unit, link.to_unit), ends, strict=True):
        need(
            location.height_m, ("units", unit, "at", "height_m"), "how high above ground it stands"
        )
    found.append(_ground(ends, frequency))
    return min(found, key=lambda place: place.share)


def _ground(ends: tuple[Location, ...], frequency: float) -> Tightest:
    """Return the clearance above level ground, tightest by a search along the line."""
    here, there = ends
    way_m = max(math.dist((here.x_m, here.y_m), (there.x_m, there.y_m)), NEAREST_M)
    low_m, high_m = height_m(here, there), height_m(there, here)
    steps = (step / 100 for step in range(1, 100))
    places = (
        Tightest(
            low_m + at * (high_m - low_m),
            fresnel_radius_m(at * way_m, (1 - at) * way_m, frequency),
            "the ground",
            at * way_m,
        )
        for at in steps
    )
    return min(places, key=lambda place: place.share)


def _things(w: Workings, ends: tuple[Location, ...], frequency: float) -> Iterator[Tightest]:
    here, there = ends
    a, b = here.eye_m, there.eye_m
    need(w.site.levels, ("levels",), "what stands on the ground between the two")
    for level in (here.level, there.level):
        if level is not None and level.walls is None:
            where = ("levels", level.name, "obstacles")
            need(level.obstacles, where, "what stands between the two; [] for nothing")
    for storey in w.once_a_building(storeys).values():
        if not _as_high(storey, here, there):
            continue
        for piece in storey.pieces or ():
            at = crossed(a, b, piece)
            yield _near(a, b, (piece.start, piece.end), at, piece.sheet.words, frequency)
        for solid in storey.solids:
            met = min(through(a, b, solid), default=None)
            yield _near(a, b, solid.outline_m, met, solid.sheet.words, frequency)


def _as_high(storey: Storey, here: Location, there: Location) -> bool:
    """Return whether a storey stands as high as the line; unstated heights are taken to."""
    if storey.level in (here.level, there.level):
        return True
    if None in (storey.low_m, here.floor_m, there.floor_m):
        return True
    ends = [
        (location.floor_m or 0.0) + height_m(location, other)
        for location, other in ((here, there), (there, here))
    ]
    top_m = storey.high_m
    if storey.level.ceiling_m is not None:
        top_m = min(top_m, (storey.low_m or 0.0) + storey.level.ceiling_m)
    return (storey.low_m or 0.0) <= max(ends) and min(ends) < top_m


def _near(
    a: Metres,
    b: Metres,
    corners: tuple[Metres, ...],
    met: float | None,
    words: str,
    frequency: float,
) -> Tightest:
    """Return how near an outline or piece of wall comes to a line, in radii of its zone."""
    way_m = max(math.dist(a, b), NEAREST_M)
    if met is not None:
        at_m = min(max(met * way_m, 1e-3), way_m - 1e-3)
        radius_m = fresnel_radius_m(at_m, way_m - at_m, frequency)
        return Tightest(-radius_m, radius_m, words, at_m)
    edges = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    places = []
    for step in range(1, 100):
        place = on_line(a, b, step / 100)
        at_m = step / 100 * way_m
        clearance_m = min(_apart_m(place, start, end) for start, end in edges)
        radius_m = fresnel_radius_m(at_m, way_m - at_m, frequency)
        places.append(Tightest(clearance_m, radius_m, words, at_m))
    return min(places, key=lambda place: place.share)


def _apart_m(place: Metres, start: Metres, end: Metres) -> float:
    """Return the distance from a place to a straight piece."""
    along = (end[0] - start[0], end[1] - start[1])
    squared = along[0] ** 2 + along[1] ** 2
    if squared == 0:
        return math.dist(place, start)
    share = ((place[0] - start[0]) * along[0] + (place[1] - start[1]) * along[1]) / squared
    return math.dist(place, on_line(start, end, min(max(share, 0.0), 1.0)))


@fact("link.outdoors", Kind.TRUTH, "whether both ends stand in the open", source=STATED)
def outdoors(w: Workings, link: Link) -> bool:
    """Return the stated word; a unit of which nothing is said stands as its level does."""
    for unit in (link.from_unit, link.to_unit):
        known = w.site.units[unit]
        if known.outdoors is None and known.at is None:
            return False
        if not (known.outdoors if known.outdoors is not None else location_of(w, known).outdoors):
            return False
    return True


@fact(
    "link.clear_radius_m",
    Kind.NUMBER,
    "radius of the first Fresnel zone where something comes nearest to the line",
    source=ZONE,
    unit="m",
    digits=2,
)
def clear_radius_m(w: Workings, link: Link) -> float:
    return tightest(w, link).radius_m


@fact(
    "link.clearance_m",
    Kind.NUMBER,
    "how far that thing stays from the line; below 0 where it is in it",
    source="the plan",
    unit="m",
    digits=2,
)
def clearance_m(w: Workings, link: Link) -> float:
    return tightest(w, link).clearance_m


@fact(
    "link.clear_percent",
    Kind.NUMBER,
    "that distance as a share of the radius",
    source=ZONE,
    unit="%",
)
def clear_percent(w: Workings, link: Link) -> float:
    return 100 * tightest(w, link).share


@fact("link.nearest_thing", Kind.TEXT, "what comes nearest to the line", source="the plan")
def nearest_thing(w: Workings, link: Link) -> str:
    return tightest(w, link).what


@fact(
    "link.nearest_thing_from_end_m",
    Kind.NUMBER,
    "how far from the `from` end that is",
    source="the plan",
    unit="m",
)
def nearest_thing_from_end_m(w: Workings, link: Link) -> float:
    return tightest(w, link).from_end_m

"""Buildings whose outline is drawn and whose outer walls nobody describes: every signal passes."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.link_facts import path
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.storeys import is_open_air, storeys
from meshlint.workings.unknown import as_known, raise_missing

if TYPE_CHECKING:
    from meshlint.site.model import Pointer, Site
    from meshlint.workings.propagation.storeys import Storey
    from meshlint.workings.site_workings import Workings

DOOR_M = 3.0
"""Gaps in the drawn walls up to this wide are taken for doors and gateways that stand open: a
convention of ours, about the width of a gate."""


def open_shells(w: Workings) -> tuple[str, ...]:
    """Return the levels through whose shell, of which nothing is said, signals of the site pass.

    They do where a radio link leads through it, or where people or units outdoors can hear units
    inside.
    """
    told = {s.level.name for s in w.once_a_building(storeys).values() if _is_open(s)}
    if not told:
        return ()
    radios = [unit for unit in w.site.units.values() if unit.radios]
    located, lacking = as_known(radios, partial(location_of, w))
    inside = {place.level.name for place in located if place.level and not place.outdoors}
    areas = (w.site.areas or {}).values()
    if any(place.outdoors for place in located) or any(
        is_open_air(w, (w.site.levels or {})[area.level]) for area in areas
    ):
        passed = told
    else:
        paths, _ = as_known((w.site.backhaul or {}).values(), partial(path, w))
        passed = told.intersection(name for found in paths for name in found.shells)
    found = tuple(name for name in w.site.levels or {} if name in passed and name in inside)
    if not found:
        raise_missing(lacking)
    return found


def _is_open(storey: Storey) -> bool:
    return any(
        piece.sheet.is_open and math.dist(piece.start, piece.end) > DOOR_M for piece in storey.shell
    )


def first_open_shell(w: Workings) -> Pointer | None:
    """Return where the first of these levels stands in the file."""
    names = w.once(open_shells)
    return ("levels", names[0]) if names else None


@fact(
    "site.open_shells",
    Kind.TEXTS,
    "levels through whose outline signals pass without a loss, since no wall is drawn along it and "
    "nothing is said of the shell",
    source=f"the plan; gaps up to {DOOR_M:g} m are taken for doors",
)
def site_open_shells(w: Workings, _: Site) -> tuple[str, ...]:
    return w.once(open_shells)

"""Units added to a site that has a file, every other byte of it kept."""

from __future__ import annotations

from itertools import chain, count
from typing import TYPE_CHECKING, Any

from meshlint.edits.rewriting import Append, Edit, Set, rewritten
from meshlint.site.limits import LIMITS, Limits
from meshlint.starter.answers import Ground, Spot
from meshlint.starter.questions import Question
from meshlint.starter.reading import UnclearError
from meshlint.starter.units import joins, radios_of, units
from meshlint.starter.writing import links_of, routes_of, unit_entry
from meshlint.workings.propagation.drawn_lines import middle_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.model import Site
    from meshlint.starter.answers import Answers, Joins, NewUnit


def questions_of(site: Site) -> tuple[Question, ...]:
    """Return what is asked of units to add: which they are, and how they are joined."""
    ground = Ground(tuple(site.levels or ()), _middles(site))
    there = {
        name: {key: radio.band for key, radio in unit.radios.items() if radio.band is not None}
        for name, unit in site.units.items()
    }

    def read_units(text: str, _: Answers) -> tuple[NewUnit, ...]:
        found = units(text, ground)
        for unit in found:
            if unit.name in site.units:
                raise UnclearError(f"'{unit.name}' is a unit of this site already")
        return found

    def read_joins(text: str, answers: Answers) -> Joins:
        added = radios_of(answers.units or ())
        return joins(text, {**there, **added}, first=site.primary, others=added)

    return (
        Question(
            "units",
            "Which units are added, where, and of what kind?",
            "loft on first at 6, 4: three bands, 802.11ax, 2 streams",
            lambda _: next(n for n in map("unit-{}".format, count(1)) if n not in site.units),
            read_units,
            least="--units loft",
        ),
        Question(
            "backhaul",
            "How are they joined, and between which is cable laid or could be?",
            f"loft to {site.primary} by radio at 5 GHz; loft to {site.primary} possible",
            lambda answers: "; ".join(
                f"{unit.name} to {site.primary} by radio" for unit in answers.units or ()
            ),
            read_joins,
        ),
    )


def with_units(data: bytes, site: Site, answers: Answers, limits: Limits = LIMITS) -> bytes:
    """Return the bytes of a site's file with units and what joins them.

    Where the file tells of scans, nobody is taken to have scanned at the new ones. Raises
    `RefusedError` where the file is laid out so that they cannot be put in alone.
    """
    edits: list[Edit] = []
    for unit in answers.units or ():
        entry = unit_entry(unit)
        if site.neighbours is not None:
            entry["scan_made"] = False
        edits.append(Set(("units", unit.name), entry))
    if answers.backhaul is not None:
        edits += _joined(site, answers.backhaul)
    return rewritten(data, edits, limits)


def _joined(site: Site, new: Joins) -> Sequence[Edit]:
    names = {link.name for link in (site.backhaul or {}).values()}
    edits: list[Edit] = []
    for name, link in links_of(new):
        free = next(n for n in chain((name,), _numbered(name)) if n not in names)
        names.add(free)
        edits.append(Set(("backhaul", free), link))
    routes: list[Any] = list(routes_of(new))
    if site.cable_routes:
        edits += (Append(("cable_routes",), route) for route in routes)
    elif routes or (new.nowhere_else and site.cable_routes is None):
        edits.append(Set(("cable_routes",), routes))
    return edits


def _numbered(name: str) -> Iterator[str]:
    return (f"{name} {number}" for number in count(2))


def _middles(site: Site) -> dict[str, Spot]:
    """Return a point well inside each area, by the area's name."""
    found: dict[str, Spot] = {}
    for name, area in (site.areas or {}).items():
        x, y = middle_of(area.outline_m)
        found[name] = Spot(round(x, 2), round(y, 2), area.level)
    return found

"""Cables: what runs between two units, how far it carries its rate, and what it passes on its way.

A cable is a backhaul link over Ethernet cable, coax or telephone wire, or a route of
`cable_routes`. A laid route between the ends of an Ethernet link is taken for its cable, and fills
in what the link does not say.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct

from meshlint.physics import cabling
from meshlint.site.model import Link
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.ports import has_no_port_for, joined_mbps
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import (
        CablePath,
        CableRoute,
        Hazard,
        OutdoorRun,
        Pointer,
        Protectors,
        Unit,
    )
    from meshlint.workings.site_workings import Workings

T = TypeVar("T")

_WIRES = ("cable", "coax", "phone-line")
"""What is laid for the link; data over mains takes the wires that are there."""

_PLACES: dict[Hazard, str] = {"riser": "a riser", "air space": "an air space"}

REACH = "IEEE 802.3 clauses 25, 38, 40, 52, 55; TIA TSB-155 and TSB-5021"


class Cable(Struct, frozen=True):
    """One cable: its ends, and the entries of the file that speak of it, the chief one first."""

    label: str
    ends: tuple[str, str]
    entries: tuple[tuple[Pointer, Link | CableRoute], ...]

    @property
    def pointer(self) -> Pointer:
        """Return where the cable stands in the file."""
        return self.entries[0][0]

    @property
    def key(self) -> str:
        """Return the name that findings about it have as their subject."""
        return "/".join(map(str, self.pointer))

    @property
    def link(self) -> Link | None:
        """Return the backhaul link that runs over it, if one does."""
        entry = self.entries[0][1]
        return entry if isinstance(entry, Link) else None

    @property
    def medium(self) -> str | None:
        """Return copper or fibre, by whichever entry says so."""
        return _first(entry.medium for _, entry in self.entries)

    @property
    def category(self) -> str | None:
        """Return the category or grade, by whichever entry says so."""
        return _first(entry.category for _, entry in self.entries)

    @property
    def length_m(self) -> float | None:
        """Return the length, by whichever entry says so."""
        return _first(entry.length_m for _, entry in self.entries)

    @property
    def path(self) -> CablePath | None:
        """Return whether it runs outdoors, by whichever entry says so."""
        return _first(entry.path for _, entry in self.entries)

    @property
    def run(self) -> OutdoorRun | None:
        """Return how the part outdoors runs, by whichever entry says so."""
        return _first(entry.run for _, entry in self.entries)

    @property
    def surge_protectors(self) -> Protectors | None:
        """Return at which ends it has surge protectors, by whichever entry says so."""
        return _first(entry.surge_protectors for _, entry in self.entries)

    @property
    def through(self) -> tuple[Hazard, ...] | None:
        """Return what it runs through, by whichever entry says so."""
        return _first(entry.through for _, entry in self.entries)

    @property
    def fire_rating(self) -> str | None:
        """Return the mark on its jacket, by whichever entry says so."""
        return _first(entry.fire_rating for _, entry in self.entries)


def _first(values: Iterable[T | None]) -> T | None:
    return next((value for value in values if value is not None), None)


def cables(w: Workings) -> tuple[Cable, ...]:
    """Return every cable of which the file tells, links first."""
    routes = dict(enumerate(w.site.cable_routes or ()))
    found = []
    for link in (w.site.backhaul or {}).values():
        if link.over not in _WIRES:
            continue
        ends = (link.from_unit, link.to_unit)
        entries: list[tuple[Pointer, Link | CableRoute]] = [(link.pointer, link)]
        for position, route in routes.items() if link.over == "cable" else ():
            if route.state == "laid" and set(route.between) == set(ends):
                entries.append((("cable_routes", position), route))
                del routes[position]
                break
        found.append(Cable(link.name, ends, tuple(entries)))
    for position, route in routes.items():
        label = f"{route.state} cable route from {route.between[0]} to {route.between[1]}"
        found.append(Cable(label, route.between, ((("cable_routes", position), route),)))
    return tuple(found)


def is_copper(cable: Cable) -> bool:
    """Return whether the cable is copper, by its kind, its medium or its category."""
    if cable.link is not None and cable.link.over != "cable":
        return True
    if cable.medium is not None:
        return cable.medium == "copper"
    wanted = "whether the cable is copper or fibre"
    return not cabling.is_fibre(need(cable.category, (*cable.pointer, "medium"), wanted))


def rate_mbps(w: Workings, cable: Cable) -> float:
    """Return the rate that a link's ends speak over it, in Mb/s.

    As stated, else the fastest that both ends have a port for, which is what they agree on by
    themselves (auto-negotiation, IEEE 802.3 clause 28).
    """
    if cable.link is not None and cable.link.rate_mbps is not None:
        return cable.link.rate_mbps
    return _agreed_mbps(w, cable, math.inf)


def carried_mbps(w: Workings, cable: Cable) -> float:
    """Return what a cable carries: what its ends agree on, or less where the run allows no more.

    A run too long for any rate is not held against the rate here; `cable-reach` tells of it.
    """
    link = cable.link
    if cable.category is None or cable.length_m is None:
        return _agreed_mbps(w, cable, math.inf)
    sure_mbps = cabling.fastest_mbps(cable.category, cable.length_m, link.optics if link else None)
    tested_mbps = (link.tested_mbps or 0.0) if link else 0.0
    return _agreed_mbps(w, cable, max(sure_mbps, tested_mbps) if sure_mbps else math.inf)


def _agreed_mbps(w: Workings, cable: Cable, most_mbps: float) -> float:
    medium = "copper" if is_copper(cable) else "fibre"
    units = [w.site.units[unit] for unit in cable.ends]
    try:
        return joined_mbps(units, medium, most_mbps)
    except Missing as missing:
        lacking = [unit.name for unit in units if has_no_port_for(unit, medium)]
        why = f", since {lacking[0]} has no {medium} port" if lacking else ""
        wanted = f"the rate of the link{why}"
        raise Missing(Input((*cable.pointer, "rate_mbps"), wanted)) from missing


def _category(cable: Cable) -> str:
    return need(cable.category, (*cable.pointer, "category"), "the cable's category")


def _reach(w: Workings, cable: Cable) -> cabling.Reach:
    optics = cable.link.optics if cable.link else None
    found = cabling.reach(_category(cable), rate_mbps(w, cable), optics)
    wanted = "a category with a published reach"
    return need(found, (*cable.pointer, "category"), wanted)


def _sure_rate_mbps(cable: Cable) -> float | None:
    optics = cable.link.optics if cable.link else None
    return cabling.fastest_mbps(_category(cable), _length_m(cable), optics)


def _length_m(cable: Cable) -> float:
    return need(cable.length_m, (*cable.pointer, "length_m"), "the cable's length")


@fact("cable.name", Kind.TEXT, "the link or the route in words", source=STATED)
def name(_: Workings, cable: Cable) -> str:
    return cable.label


@fact("cable.ends", Kind.TEXTS, "the two units that it joins", source=STATED)
def ends(_: Workings, cable: Cable) -> tuple[str, ...]:
    return cable.ends


@fact("cable.carries_ethernet", Kind.TRUTH, "whether an Ethernet link is on it", source=STATED)
def carries_ethernet(_: Workings, cable: Cable) -> bool:
    return cable.link is not None and cable.link.over == "cable"


@fact("cable.copper", Kind.TRUTH, "whether it is copper", source=STATED)
def copper(_: Workings, cable: Cable) -> bool:
    return is_copper(cable)


@fact("cable.category", Kind.TEXT, "category or grade, as people write it", source=STATED)
def category(_: Workings, cable: Cable) -> str:
    text = _category(cable).upper()
    return text if cabling.is_fibre(text.lower()) else f"category {text.replace('5E', '5e')}"


@fact("cable.length_m", Kind.NUMBER, "length of the whole run", source=STATED, unit="m", digits=1)
def length_m(_: Workings, cable: Cable) -> float:
    return _length_m(cable)


@fact(
    "cable.rate_mbps",
    Kind.NUMBER,
    "rate as stated, or else the fastest that both ends have a port for",
    source="IEEE 802.3 clause 28 (auto-negotiation)",
    unit="Mb/s",
)
def rate(w: Workings, cable: Cable) -> float:
    return rate_mbps(w, cable)


@fact(
    "cable.sure_m",
    Kind.NUMBER,
    "longest run that carries the rate without a test; 0 if none does",
    source=REACH,
    unit="m",
)
def sure_m(w: Workings, cable: Cable) -> float:
    return _reach(w, cable).sure_m


@fact(
    "cable.reach_if_tested_m",
    Kind.NUMBER,
    "longest run that may carry the rate if it passes a test; 0 if none may",
    source=REACH,
    unit="m",
)
def reach_if_tested_m(w: Workings, cable: Cable) -> float:
    return _reach(w, cable).tested_m


@fact(
    "cable.sure_rate_mbps",
    Kind.NUMBER,
    "fastest rate to count on over this length without a test",
    source=REACH,
    unit="Mb/s",
)
def sure_rate_mbps(_: Workings, cable: Cable) -> float:
    found = _sure_rate_mbps(cable)
    return need(found, (*cable.pointer, "category"), "a category with a published reach")


@fact(
    "cable.reach_remedy",
    Kind.TEXT,
    "what makes sure of a rate over this run: a test where it can be passed, a slower rate where "
    "one is sure, and what to lay instead",
    source=REACH,
)
def reach_remedy(w: Workings, cable: Cable) -> str:
    length, rate = _length_m(cable), rate_mbps(w, cable)
    slower = need(_sure_rate_mbps(cable), (*cable.pointer, "category"), "a published reach")
    ways = []
    if length <= _reach(w, cable).tested_m:
        ways.append(f"have the run tested for {rate:g} Mb/s and state it under `tested_mbps`")
    if 0 < slower < rate:
        ways.append(f"set both ends to {slower:g} Mb/s")
    if not is_copper(cable):
        ways.append("use optics or a grade of fibre that are made for the rate and the length")
    elif length > cabling.CHANNEL_M:
        # No category carries anything further, so that a better one does not help.
        ways.append("lay fibre, or put a switch half way")
    else:
        ways.append("lay a cable of a category that carries the rate so far")
    return ", or ".join(ways)


@fact(
    "cable.tested_mbps",
    Kind.NUMBER,
    "fastest rate that this run passed a test for; 0 if no test is recorded",
    source=STATED,
    unit="Mb/s",
)
def tested_mbps(_: Workings, cable: Cable) -> float:
    return (cable.link.tested_mbps or 0.0) if cable.link else 0.0


# --- where it runs --------------------------------------------------------------------------------


def _outdoors(w: Workings, cable: Cable) -> bool:
    if cable.path is not None:
        return cable.path == "outdoors"
    if any(w.site.units[unit].outdoors for unit in cable.ends):
        return True
    raise Missing(Input((*cable.pointer, "path"), "whether any of the run is outdoors"))


def building_of(w: Workings, unit: Unit) -> str | None:
    """Return the building that a unit stands in, where the file tells."""
    level = (w.site.levels or {}).get(unit.at.level or "") if unit.at else None
    stated = unit.building or (level.building if level else None)
    if stated is None and w.site.buildings and len(w.site.buildings) == 1:
        return next(iter(w.site.buildings))
    return stated


def _in_one_building(w: Workings, cable: Cable) -> bool:
    """Return whether the cable stays in one building, known even where that has no name."""
    places = [w.site.units[unit].at for unit in cable.ends]
    levels = [place.level for place in places if place and place.level]
    outdoors = any(w.site.units[unit].outdoors for unit in cable.ends)
    same_level = len(levels) == 2 and levels[0] == levels[1] and not outdoors
    return cable.path == "indoors" or same_level


def _buildings(w: Workings, cable: Cable) -> tuple[str, ...]:
    """Return the two buildings that the cable joins; one name, or none, where it joins no two."""
    named = [building_of(w, w.site.units[unit]) for unit in cable.ends]
    if None not in named:
        return tuple(dict.fromkeys(building for building in named if building))
    if _in_one_building(w, cable):
        return tuple(building for building in named if building)[:1]
    raise Missing(
        *(
            Input(("units", unit, "building"), "the building that the unit stands in")
            for unit, building in zip(cable.ends, named, strict=True)
            if building is None
        )
    )


@fact("cable.outdoors", Kind.TRUTH, "whether any of the run is outdoors", source=STATED)
def outdoors(w: Workings, cable: Cable) -> bool:
    """Return the stated path; a cable to a unit that stands outdoors is outdoors at that end."""
    return _outdoors(w, cable)


@fact(
    "cable.run",
    Kind.TEXT,
    "how the part outdoors runs: buried, overhead, along walls, or unstated",
    source=STATED,
)
def run(_: Workings, cable: Cable) -> str:
    return cable.run or "unstated"


@fact(
    "cable.surge_protectors",
    Kind.TEXT,
    "at which ends it has surge protectors: both ends, one end, none, or unstated",
    source=STATED,
)
def surge_protectors(_: Workings, cable: Cable) -> str:
    return cable.surge_protectors or "unstated"


@fact("cable.buildings", Kind.TEXTS, "the buildings that it joins", source=STATED)
def buildings(w: Workings, cable: Cable) -> tuple[str, ...]:
    return _buildings(w, cable)


@fact(
    "cable.electrical_services",
    Kind.TEXTS,
    "the electrical services of the buildings that it joins, as far as they are stated",
    source=STATED,
)
def electrical_services(w: Workings, cable: Cable) -> tuple[str, ...]:
    known = w.site.buildings or {}
    services = (known[b].electrical_service for b in _buildings(w, cable) if b in known)
    return tuple(dict.fromkeys(service for service in services if service))


@fact("cable.fire_paths", Kind.TEXTS, "risers and air spaces that it runs through", source=STATED)
def fire_paths(_: Workings, cable: Cable) -> tuple[str, ...]:
    wanted = "whether it runs through a riser or an air space"
    through = need(cable.through, (*cable.pointer, "through"), wanted)
    return tuple(_PLACES[place] for place in through)


@fact(
    "cable.fire_rating", Kind.TEXT, "the mark on its jacket; none if none is known", source=STATED
)
def fire_rating(_: Workings, cable: Cable) -> str:
    return cable.fire_rating or "none"


@fact(
    "cable.below_rating",
    Kind.TEXTS,
    "what the US code would have it marked, where its US mark is a lesser one",
    source="NEC 800.113, 800.179 and Table 800.154; 770 for fibre",
)
def below_rating(_: Workings, cable: Cable) -> tuple[str, ...]:
    """Return `CMP for an air space`, say, for a cable marked CMR; European classes are not ranked.

    CMP may stand in for CMR and CMR for CM, never the other way round.
    """
    mark = cable.fire_rating or "none"
    if not mark.startswith(("CM", "OF")):
        return ()
    stem = mark[:2] if mark.startswith("CM") else mark[:3]
    wanted: dict[Hazard, tuple[str, ...]] = {"riser": ("R", "P"), "air space": ("P",)}
    return tuple(
        f"{stem}{wanted[place][0]} for {_PLACES[place]}"
        for place in cable.through or ()
        if mark[len(stem) :] not in wanted[place]
    )

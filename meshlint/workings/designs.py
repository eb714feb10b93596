"""Better designs seen in passing: another parent, another band, a cable on a known route."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.airs import HEARING, Spot, conflicting, link_spot
from meshlint.workings.airtime import beacons, foreign, traffic
from meshlint.workings.budgets import link_budget
from meshlint.workings.delivery import PATH, Way, links_of, way_of, way_over
from meshlint.workings.facts import Input, Kind, Missing, Workings, fact, need
from meshlint.workings.goodput import fastest_port_mbps, goodput_mbps
from meshlint.workings.links import route_beside, route_mbps
from meshlint.workings.reach import (
    METRIC,
    Chance,
    by_radio,
    cabled,
    invented,
    joined_spot,
    known_links,
    metric_of,
)
from meshlint.workings.topology import lower_end, tree

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.site.model import Link, Unit

BETTER = f"least {METRIC} over every unit in reach that does not hang on this one"
BANDS = f"goodput times the time that others leave of its air; {HEARING}"


class Parent(Struct, frozen=True):
    """A parent for a unit, and what the way through it would carry."""

    name: str
    metric: float
    way: Way


def over_chances(w: Workings, chances: Sequence[Chance]) -> Way:
    """Return what the way over new links, one after the other, and on from the last would carry."""
    made = {c.link.name: joined_spot(w, c.link) for c in chances if c.link.over == "radio"}
    links = [chance.link for chance in chances]
    return way_over(w, (*links, *links_of(w, chances[-1].parent)), made)


def path_metric(w: Workings, unit: str) -> float:
    """Return the sum of the airtime metric over the way of a unit."""
    return math.fsum(metric_of(w, link) for link in links_of(w, unit))


def best_parent(w: Workings, unit: Unit) -> Parent:
    """Return the parent of the least metric to the primary: today's where no other is better.

    Raises `Missing` where today's is the best of those that can be told but others cannot be.
    """
    known = w.once(_parents)
    if unit.name not in known:
        known[unit.name] = _best_parent(w, unit)
    return known[unit.name]


def _parents(_: Workings) -> dict[str, Parent]:
    return {}


def _best_parent(w: Workings, unit: Unit) -> Parent:
    ways = w.once(tree)
    today = need(ways.parent(unit.name), ("backhaul",), f"a link that joins {unit.name}")
    below = set(ways.below(unit.name))
    missing: list[Input] = []
    best = Parent(today, path_metric(w, unit.name), way_of(w, unit.name))
    chance_of_best: Chance | None = None
    reached = by_radio(w, unit)
    able = set(ways.order) - below - {today}
    missing.extend(i for name, inputs in reached.unsure.items() if name in able for i in inputs)
    for chance in (*_declared(w, unit, missing), *reached.chances):
        if chance.parent not in able:
            continue
        metric = chance.metric + path_metric(w, chance.parent)
        if metric < best.metric:
            best, chance_of_best = Parent(chance.parent, metric, best.way), chance
    if chance_of_best is None:
        if missing:
            raise Missing(*dict.fromkeys(missing))
        return best
    return Parent(best.name, best.metric, over_chances(w, [chance_of_best]))


def _declared(w: Workings, unit: Unit, missing: list[Input]) -> Iterator[Chance]:
    try:
        yield from known_links(w, unit.name)
    except Missing as error:
        missing.extend(error.inputs)


@fact(
    "unit.best_parent",
    Kind.TEXT,
    "the unit in reach through which its way to the primary takes least air",
    source=BETTER,
)
def best_parent_name(w: Workings, unit: Unit) -> str:
    return best_parent(w, unit).name


@fact(
    "unit.best_parent_mbps",
    Kind.NUMBER,
    "the most that it would get from the primary through that unit",
    source=BETTER,
    unit="Mb/s",
)
def best_parent_mbps(w: Workings, unit: Unit) -> float:
    return best_parent(w, unit).way.ceiling_mbps


@fact(
    "unit.airtime_metric",
    Kind.NUMBER,
    "sum of the airtime metric over its way, in units of 10.24 us",
    source=METRIC,
    digits=1,
)
def airtime_metric(w: Workings, unit: Unit) -> float:
    return path_metric(w, unit.name)


@fact(
    "unit.best_airtime_metric",
    Kind.NUMBER,
    "the same through the best parent",
    source=METRIC,
    digits=1,
)
def best_airtime_metric(w: Workings, unit: Unit) -> float:
    return best_parent(w, unit).metric


class BandChoice(Struct, frozen=True):
    """A band that both ends of a link have: what it would carry, and what others take of it."""

    band: float
    goodput_mbps: float
    others_percent: float

    @property
    def left_mbps(self) -> float:
        """Return the goodput that the others leave."""
        return self.goodput_mbps * max(0.0, 1 - self.others_percent / 100)

    def __str__(self) -> str:
        return (
            f"{self.band:g} GHz: {self.goodput_mbps:.0f} Mb/s alone, others take "
            f"{self.others_percent:.0f} %"
        )


def band_choices(w: Workings, link: Link) -> tuple[BandChoice, ...]:
    """Return what each band that both ends have would give, today's first."""
    known = w.once(_choices)
    if link.name not in known:
        known[link.name] = tuple(_band_choices(w, link))
    return known[link.name]


def _choices(_: Workings) -> dict[str, tuple[BandChoice, ...]]:
    return {}


def _band_choices(w: Workings, link: Link) -> Iterator[BandChoice]:
    today = link_spot(w, link)
    band = need(today.radios[0].band, (*today.radios[0].pointer, "band"), "the radio's band")
    yield BandChoice(band, goodput_mbps(w, link), others_percent(w, today, link))
    ours, theirs = (w.site.units[name] for name in (link.from_unit, link.to_unit))
    for other in sorted({r.band for r in ours.radios.values() if r.band is not None} - {band}):
        made = [
            invented(w, a, b)
            for a in ours.radios.values()
            for b in theirs.radios.values()
            if a.band == b.band == other
        ]
        held = [candidate for candidate in made if link_budget(w, candidate).held is not None]
        if held:
            best = max(held, key=lambda candidate: goodput_mbps(w, candidate))
            spot = joined_spot(w, best)
            yield BandChoice(other, goodput_mbps(w, best), others_percent(w, spot, link))


def others_percent(w: Workings, spot: Spot, link: Link) -> float:
    """Return what all but a link take of the air of a spot."""
    percents = [entry.percent for entry in foreign(w, spot.radios)]
    for other in conflicting(w, spot, link):
        percents += _percents(w, other)
    return math.fsum(percents)


def _percents(w: Workings, spot: Spot) -> tuple[float, ...]:
    known = w.once(_taken)
    if spot.key not in known:
        known[spot.key] = tuple(e.percent for part in (traffic, beacons) for e in part(w, spot))
    return known[spot.key]


def _taken(_: Workings) -> dict[str, tuple[float, ...]]:
    return {}


def best_band(choices: Sequence[BandChoice]) -> BandChoice:
    """Return the choice that leaves most, today's of equals."""
    return max(choices, key=lambda choice: choice.left_mbps)


@fact("link.band_choices", Kind.TEXTS, "each band that both ends have, today's first", source=BANDS)
def band_choices_words(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(map(str, band_choices(w, link)))


@fact(
    "link.others_on_air_percent",
    Kind.NUMBER,
    "what clients, names and neighbours take of the air that it uses",
    source=BANDS,
    unit="%",
)
def others_on_air_percent(w: Workings, link: Link) -> float:
    return band_choices(w, link)[0].others_percent


@fact(
    "link.left_mbps",
    Kind.NUMBER,
    "what they leave of its goodput",
    source=BANDS,
    unit="Mb/s",
)
def left_mbps(w: Workings, link: Link) -> float:
    return band_choices(w, link)[0].left_mbps


@fact(
    "link.best_band_ghz",
    Kind.NUMBER,
    "the band of both ends that would leave it most",
    source=BANDS,
    unit="GHz",
    digits=1,
)
def best_band_ghz(w: Workings, link: Link) -> float:
    return best_band(band_choices(w, link)).band


@fact(
    "link.best_band_left_mbps",
    Kind.NUMBER,
    "what it would have left on that band",
    source=BANDS,
    unit="Mb/s",
)
def best_band_left_mbps(w: Workings, link: Link) -> float:
    return best_band(band_choices(w, link)).left_mbps


@fact(
    "link.best_band_others_percent",
    Kind.NUMBER,
    "what others take of the air on that band",
    source=BANDS,
    unit="%",
)
def best_band_others_percent(w: Workings, link: Link) -> float:
    return best_band(band_choices(w, link)).others_percent


@fact(
    "link.with_cable_mbps",
    Kind.NUMBER,
    "the most that the unit behind it would get from the primary over the known cable route",
    source=f"Ethernet framing at the rate of route and ports; {PATH}",
    unit="Mb/s",
)
def with_cable_mbps(w: Workings, link: Link) -> float:
    if route_beside(w, link) is None:
        raise Missing(Input(("cable_routes",), "a cable route between the two units"))
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    rates = [
        need(fastest_port_mbps(w, unit), ("units", unit, "ports"), "the rate of its ports")
        for unit in (link.from_unit, link.to_unit)
    ]
    cable = cabled(w, link, min(route_mbps(w, link), *rates))
    return way_over(w, (cable, *links_of(w, link.far_end(lower)))).ceiling_mbps


@fact(
    "link.path_mbps",
    Kind.NUMBER,
    "the most that the unit behind it gets from the primary as it is",
    source=PATH,
    unit="Mb/s",
)
def path_of_lower_end_mbps(w: Workings, link: Link) -> float:
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return way_of(w, lower).ceiling_mbps


FACTS = (
    best_parent_name,
    best_parent_mbps,
    airtime_metric,
    best_airtime_metric,
    band_choices_words,
    others_on_air_percent,
    left_mbps,
    best_band_ghz,
    best_band_left_mbps,
    best_band_others_percent,
    with_cable_mbps,
    path_of_lower_end_mbps,
)

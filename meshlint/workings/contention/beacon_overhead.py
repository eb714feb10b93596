"""What network names take of the air where they hit hardest: radios that all hear each other.

Beacons of radios that hear each other go out one after the other, so their times add up for
everybody there. An air's other radios may announce at the same time as some of these.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.capacity import heavy_clique
from meshlint.workings.contention.airtime import BEACONS, beacons, ssids_on
from meshlint.workings.contention.domains import HEARING, conflict_graph, widest_domain
from meshlint.workings.fact import Kind, fact
from meshlint.workings.unknown import raise_missing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Radio
    from meshlint.workings.contention.domains import ContentionDomain
    from meshlint.workings.site_workings import Workings

IN_TURN = f"greedy heaviest clique; {BEACONS}; {HEARING}"


class InTurn(Struct, frozen=True):
    """Radios of one air that all hear each other, and what their beacons take of it together."""

    radios: tuple[Radio, ...]
    percent: float


def in_turn(w: Workings, air: ContentionDomain) -> InTurn:
    """Return those radios of an air whose beacons take most while all wait for each other."""
    return w.once(_heaviest, air.key, air)


def _hearing(w: Workings) -> Mapping[str, frozenset[str]]:
    """Return for each contender those that it shares air with, quick to ask for one of them."""
    return {key: frozenset(near) for key, near in w.once(conflict_graph).near.items()}


def _heaviest(w: Workings, air: ContentionDomain) -> InTurn:
    """Return the heaviest of the cliques grown from each radio, the most promising first.

    What a radio and all that it hears take bounds every clique with it, so most need no growing.
    """
    raise_missing(air.lacks)
    w.once(conflict_graph).need_among(x.key for x in air.contenders if x.link is None)
    around = w.once(_hearing)
    radios = {
        contender.key: contender.radios[0] for contender in air.contenders if contender.link is None
    }
    percents = {
        contender.key: math.fsum(entry.percent for entry in beacons(w, contender))
        for contender in air.contenders
        if contender.link is None
    }
    near = {
        key: [
            other
            for other, takes in percents.items()
            if takes and other != key and other in around[key]
        ]
        for key, percent in percents.items()
        if percent
    }
    bounds = {
        key: percents[key] + math.fsum(percents[other] for other in others)
        for key, others in near.items()
    }
    best = InTurn((), 0.0)
    for key in sorted(bounds, key=lambda key: -bounds[key]):
        if bounds[key] <= best.percent:
            break
        clique = (key, *heavy_clique(near[key], percents, around))
        percent = math.fsum(percents[member] for member in clique)
        if percent > best.percent:
            best = InTurn(tuple(radio for at, radio in radios.items() if at in clique), percent)
    return best


@fact(
    "air.beacons_in_turn_percent",
    Kind.NUMBER,
    "what the beacons of those of its radios take that all hear each other, where that is most",
    source=IN_TURN,
    unit="%",
    digits=1,
)
def beacons_in_turn_percent(w: Workings, air: ContentionDomain) -> float:
    return in_turn(w, air).percent


@fact(
    "air.most_beacons_percent",
    Kind.NUMBER,
    "what the beacons of all that may share it take, as if they did and all heard each other",
    source=BEACONS,
    unit="%",
    digits=1,
)
def most_beacons_percent(w: Workings, air: ContentionDomain) -> float:
    widest = widest_domain(w, air.centre)
    return math.fsum(entry.percent for x in widest.contenders for entry in beacons(w, x))


@fact("air.announcing_in_turn", Kind.TEXTS, "which radios these are", source=IN_TURN)
def announcing_in_turn(w: Workings, air: ContentionDomain) -> tuple[str, ...]:
    return tuple(f"radio {radio.name} of {radio.unit}" for radio in in_turn(w, air).radios)


@fact(
    "air.names_in_turn",
    Kind.COUNT,
    "beacons in each interval on these radios, one for each name",
    source=IN_TURN,
)
def names_in_turn(w: Workings, air: ContentionDomain) -> float:
    return sum(len(ssids_on(w, radio)) for radio in in_turn(w, air).radios)


@fact(
    "air.beacon_cause",
    Kind.TEXT,
    "the names on these radios and the slowest rate that announces them",
    source=IN_TURN,
)
def beacon_cause(w: Workings, air: ContentionDomain) -> str:
    radios = in_turn(w, air).radios
    told = sorted({network.key for radio in radios for network in ssids_on(w, radio)})
    rates = [radio.lowest_basic_mbps for radio in radios if radio.lowest_basic_mbps is not None]
    return f"{', '.join(told)} at {min(rates, default=0):g} Mb/s"

"""Who shares whose air: every spot where somebody takes turns, and the airs that they make up.

A *spot* is a radio with its clients and the names that it announces, or a radio link between two
units. Two spots conflict when either end of one hears either end of the other
(`meshlint.workings.contention.must_defer`); clients are taken to hear what their radio hears.

An *air* is a spot and all that it conflicts with. Airs overlap each other; of airs with the same
spots, and of one that lies whole within another, only the larger is told.
"""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.contention.must_defer import in_hearing, settled_span
from meshlint.workings.spectrum.channel import in_words
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.tree import backhaul, lower_end
from meshlint.workings.unknown import Input, Missing, known_of_any, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.site.model import Link, Pointer, Radio
    from meshlint.workings.site_workings import Workings

HEARING = "who hears whom by carrier sense, or by declared radio links where levels lack"


class Spot(Struct, frozen=True):
    """A radio with its clients (`link` is None), or a radio link; `radios` are its unit ends."""

    key: str
    label: str
    pointer: Pointer
    radios: tuple[Radio, ...]
    link: Link | None = None


class Air(Struct, frozen=True):
    """A spot and every spot that it shares air with, itself among them, in the file's order."""

    centre: Spot
    spots: tuple[Spot, ...]

    @property
    def radios(self) -> tuple[Radio, ...]:
        """Return the radios that take part, once each."""
        found = {radio.pointer: radio for spot in self.spots for radio in spot.radios}
        return tuple(found.values())

    @property
    def key(self) -> str:
        """Return what reports call it: by the radio or the link in its centre."""
        return f"airs/{self.centre.key.partition('/')[2]}"


def serves_clients(radio: Radio) -> bool:
    """Return whether clients may be on a radio; unstated use counts."""
    return radio.carries is None or "clients" in radio.carries


def spots(w: Workings) -> Mapping[str, Spot]:
    """Return every spot by key: radios with clients in the file's order, then radio links.

    Links that carry no traffic as the site stands take no turns. A link whose radio is left open
    raises `Missing`.
    """
    found = [
        Spot(f"radio/{radio.unit}/{radio.name}", _label(radio), radio.pointer, (radio,))
        for unit in w.site.units.values()
        for radio in unit.radios.values()
        if serves_clients(radio)
    ]
    found += [link_spot(w, link) for link in backhaul(w).values() if _takes_turns(w, link)]
    return {spot.key: spot for spot in found}


def _label(radio: Radio) -> str:
    return f"clients at {radio.unit}, {in_words(radio)}"


def _takes_turns(w: Workings, link: Link) -> bool:
    return link.over == "radio" and lower_end(w, link) is not None


def link_spot(w: Workings, link: Link) -> Spot:
    """Return the spot of a radio link."""
    return Spot(f"link/{link.name}", link.name, link.pointer, radios_of(w, link), link)


def radio_spot(w: Workings, radio: Radio) -> Spot:
    """Return the spot of a radio with its clients."""
    return w.once(spots)[f"radio/{radio.unit}/{radio.name}"]


def conflict(w: Workings, one: Spot, other: Spot) -> bool:
    """Return whether two spots cannot be on the air at once; raises `Missing` if none can tell."""
    ends = product(one.radios, other.radios)
    return known_of_any(ends, lambda pair: in_hearing(w, *pair))


def domains(w: Workings) -> Mapping[str, tuple[str, ...]]:
    """Return for each spot the spots that it shares air with, itself among them.

    Raises `Missing` with every input without which some pair could not be told.
    """
    return _domains(w, list(w.once(spots).values()))


def domains_on(w: Workings, band: float) -> Mapping[str, tuple[str, ...]]:
    """Return the domains of the spots on one band, which what another band lacks does not touch."""
    return w.once_for(_domains_on, band, band)


def _domains_on(w: Workings, band: float) -> Mapping[str, tuple[str, ...]]:
    try:
        return w.once(domains)
    except Missing:
        here = (spot for spot in w.once(spots).values() if spot.radios[0].band in (band, None))
        return _domains(w, list(here))


def _domains(w: Workings, found: list[Spot]) -> Mapping[str, tuple[str, ...]]:
    beside: dict[str, set[str]] = {spot.key: {spot.key} for spot in found}
    missing: list[Input] = []
    for one, other in _close(w, found):
        try:
            together = conflict(w, one, other)
        except Missing as error:
            missing.extend(error.inputs)
            continue
        if together:
            beside[one.key].add(other.key)
            beside[other.key].add(one.key)
    if missing:
        raise Missing(*dict.fromkeys(missing))
    rank = {spot.key: position for position, spot in enumerate(found)}
    return {key: tuple(sorted(near, key=rank.__getitem__)) for key, near in beside.items()}


def _close(w: Workings, found: list[Spot]) -> Iterator[tuple[Spot, Spot]]:
    """Return the pairs of spots on spectrum that may overlap, each once.

    Spots are walked in the order of their lowest edge, so that far channels never meet.
    """
    edged = sorted(((*_edges(w, spot), spot) for spot in found), key=lambda entry: entry[:2])
    open_: list[tuple[float, Spot]] = []
    for low, high, spot in edged:
        open_ = [entry for entry in open_ if entry[0] > low]
        for _, other in open_:
            yield other, spot
        open_.append((high, spot))


def _edges(w: Workings, spot: Spot) -> tuple[float, float]:
    """Return the lowest and highest MHz of a spot; of one that is unsettled, all there is."""
    try:
        spans = [settled_span(w, radio) for radio in spot.radios]
    except Missing:
        return 0.0, math.inf  # it may meet any other
    return min(s.low_mhz for s in spans), max(s.high_mhz for s in spans)


def conflicting(w: Workings, spot: Spot, but: Link | None = None) -> Iterator[Spot]:
    """Return the spots of the site that conflict with one, which need not be among them.

    The spot of the link `but` is left out.
    """
    low, high = _edges(w, spot)
    for other_low, other_high, other in w.once(_edged):
        meet = other_low < high and low < other_high
        if meet and (but is None or other.link is not but) and conflict(w, spot, other):
            yield other


def _edged(w: Workings) -> tuple[tuple[float, float, Spot], ...]:
    return tuple((*_edges(w, spot), spot) for spot in w.once(spots).values())


def airs(w: Workings) -> tuple[Air, ...]:
    """Return every air that lies in no other, in the order of their centres in the file."""
    known = w.once(spots)
    around = w.once(domains)
    rank = {key: position for position, key in enumerate(around)}
    sets = {key: frozenset(near) for key, near in around.items()}
    told = []
    for key, near in around.items():
        mine = sets[key]
        if not any(
            mine < sets[other] or (mine == sets[other] and rank[other] < rank[key])
            for other in near
            if other != key
        ):
            told.append(Air(known[key], tuple(known[name] for name in near)))
    return tuple(told)


def air_around(w: Workings, spot: str) -> Air:
    """Return the told air that a spot's own lies whole within."""
    mine = set(w.once(domains)[spot])
    return next(air for air in w.once(airs) if mine <= {other.key for other in air.spots})


def channel_of(radios: Iterable[Radio]) -> str:
    """Return the channels of radios in words, once each."""
    return " and ".join(dict.fromkeys(in_words(radio) for radio in radios))


def lower_radio(w: Workings, link: Link) -> Radio:
    """Return the radio that a link uses at the end farther from the primary."""
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return radio_of(w, link, lower)

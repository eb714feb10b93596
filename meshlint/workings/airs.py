"""Who shares whose air: every spot where somebody takes turns, and the airs that they make up.

A *spot* is a radio with its clients and the names that it announces, or a radio link between two
units. Two spots conflict when either end of one hears either end of the other; clients are taken to
hear what their radio hears. Who hears whom comes from levels where they can be worked out. Where
not, units that radio links join are taken to hear each other wherever their spectrum overlaps, and
of units that nothing but cable joins nobody can tell. A radio that chooses its channel by itself
shares it with all that radio links join it to, and with others of its band nobody can tell.

An *air* is a spot and all that it conflicts with. Airs overlap each other; of airs with the same
spots, and of one that lies whole within another, only the larger is told.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.channels import overlap_mhz
from meshlint.physics.noise import PREAMBLE_DETECT_20_DBM
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.building import spot_of
from meshlint.workings.cells import effective_dbm
from meshlint.workings.ends import radio_of, radios_of
from meshlint.workings.facts import Input, Missing, Workings, need
from meshlint.workings.hearing import hear_each_other
from meshlint.workings.levels import distance_terms, frequency_mhz, hears
from meshlint.workings.spectrum import in_words, span
from meshlint.workings.topology import backhaul, live_links, lower_end, parts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.physics.channels import Channel
    from meshlint.site.model import Link, Pointer, Radio

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
    open_: list[Input] = []
    for ours in one.radios:
        for theirs in other.radios:
            try:
                if in_hearing(w, ours, theirs):
                    return True
            except Missing as missing:
                open_.extend(missing.inputs)
    if open_:
        raise Missing(*dict.fromkeys(open_))
    return False


def in_hearing(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either of two radios must hold its air for the other."""
    if one.pointer == other.pointer:
        return True
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    if not (isinstance(one.channel, int) and isinstance(other.channel, int)):
        return _by_choice(w, one, other)
    if overlap_mhz(_span(w, one), _span(w, other)) == 0:
        return False
    return one.unit == other.unit or _hear_each_other(w, one, other)


def _by_choice(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios share air of which one does not say its channel.

    A link that is up is proof that its two ends hear each other. Where nobody can tell whether
    channels overlap, radios that are surely out of hearing hold nothing up.
    """
    try:
        shared = spectrum_shared(w, one, other)
    except Missing:
        if one.unit != other.unit and _out_of_hearing(w, one, other):
            return False
        raise
    if not shared or one.unit == other.unit:
        return shared
    return (one.pointer, other.pointer) in w.once(_linked) or _in_reach(w, one, other)


def spectrum_shared(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether the channels of two radios overlap, wherever the two stand.

    Radios that links join are on one channel, whoever chose it and whether or not the file states
    it; what any other radio that chooses by itself shares with those of its band hangs on the
    choice, so that nobody can tell.
    """
    if one.pointer == other.pointer:
        return True
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    if not (isinstance(one.channel, int) and isinstance(other.channel, int)):
        joined = w.once(_together)
        if one.pointer in joined and joined[one.pointer] == joined.get(other.pointer):
            return True
    choosing = [radio for radio in (one, other) if radio.channel == "auto"]
    if choosing:
        wanted = "a fixed channel in place of auto"
        raise Missing(*(Input((*radio.pointer, "channel"), wanted) for radio in choosing))
    return overlap_mhz(_span(w, one), _span(w, other)) > 0


def _out_of_hearing(w: Workings, one: Radio, other: Radio) -> bool:
    try:
        return _far_apart(w, one, other) or not hear_each_other(w, one, other)
    except Missing:
        return False


def _hear_each_other(w: Workings, one: Radio, other: Radio) -> bool:
    try:
        return not _far_apart(w, one, other) and _heard(w, one, other)
    except Missing:
        islands = w.once(radio_islands)
        if islands[one.unit] == islands[other.unit]:
            return True
        raise


def _in_reach(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios that links join, if over others, hear each other; yes if unknown.

    As everywhere where levels lack.
    """
    try:
        return not _far_apart(w, one, other) and hear_each_other(w, one, other)
    except Missing:
        return True


def _far_apart(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios surely do not hear each other. It only spares work."""
    here, there = (w.site.units[radio.unit].at for radio in (one, other))
    if here is None or there is None:
        return False
    apart_m = math.hypot(here.x_m - there.x_m, here.y_m - there.y_m)
    return apart_m > max(_hearing_limit_m(w, one), _hearing_limit_m(w, other))


def _hearing_limit_m(w: Workings, radio: Radio) -> float:
    """Return a distance beyond which nobody on site hears a radio, walls left out.

    By the surroundings at its own end, which the other end can only add loss to; infinite where
    that cannot be told.
    """
    return w.once_for(_limit_m, radio.pointer, radio)


def _limit_m(w: Workings, radio: Radio) -> float:
    try:
        spot = spot_of(w, w.site.units[radio.unit])
        if spot.outdoors:
            return math.inf
        spare_db = effective_dbm(w, radio) + w.once(_most_gain_dbi) - PREAMBLE_DETECT_20_DBM
        terms = distance_terms(w, spot, spot, frequency_mhz(radio))
        return max(term.reach_m(spare_db) for term in terms)
    except (Missing, OutsideModel):
        return math.inf


def _most_gain_dbi(w: Workings) -> float:
    gains = [r.antenna_gain_dbi for u in w.site.units.values() for r in u.radios.values()]
    return max((gain for gain in gains if gain is not None), default=0.0)


def _heard(w: Workings, one: Radio, other: Radio) -> bool:
    ours, theirs = one.pointer, other.pointer
    key = (ours, theirs) if ours < theirs else (theirs, ours)
    return w.once_for(hears, key, one, other)


def _span(w: Workings, radio: Radio) -> Channel:
    known = w.once(_spans)
    if radio.pointer not in known:
        known[radio.pointer] = span(radio)
    return known[radio.pointer]


def _spans(_: Workings) -> dict[Pointer, Channel]:
    return {}


def _linked(w: Workings) -> frozenset[tuple[Pointer, Pointer]]:
    """Return the pairs of radios that a link joins, either way round."""
    joined = set()
    for link in w.once(live_links).values():
        if link.over == "radio":
            ours, theirs = radios_of(w, link)
            joined |= {(ours.pointer, theirs.pointer), (theirs.pointer, ours.pointer)}
    return frozenset(joined)


def _together(w: Workings) -> Mapping[Pointer, Pointer]:
    """Return for each radio of a radio link one that stands for all that links join it to."""
    head: dict[Pointer, Pointer] = {}

    def top(pointer: Pointer) -> Pointer:
        while (above := head.setdefault(pointer, pointer)) != pointer:
            pointer = above
        return pointer

    for one, other in w.once(_linked):
        head[top(one)] = top(other)
    return {pointer: top(pointer) for pointer in tuple(head)}


def radio_islands(w: Workings) -> Mapping[str, str]:
    """Return for each unit the first unit of those that radio links join it to."""
    radio = (link for link in w.once(live_links).values() if link.over == "radio")
    return parts(w.site.units, radio)


def domains(w: Workings) -> Mapping[str, tuple[str, ...]]:
    """Return for each spot the spots that it shares air with, itself among them.

    Raises `Missing` with every input without which some pair could not be told.
    """
    found = list(w.once(spots).values())
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
        spans = [_span(w, radio) for radio in spot.radios]
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


def channel_of(radios: Iterable[Radio]) -> str:
    """Return the channels of radios in words, once each."""
    return " and ".join(dict.fromkeys(in_words(radio) for radio in radios))


def lower_radio(w: Workings, link: Link) -> Radio:
    """Return the radio that a link uses at the end farther from the primary."""
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return radio_of(w, link, lower)

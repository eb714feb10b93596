"""Which two radios share air: whose channels overlap, and who hears whom.

Who hears whom comes from levels where they can be worked out. Where not, units that radio links
join are taken to hear each other wherever their spectrum overlaps, and of units that nothing but
cable joins nobody can tell. A radio that chooses its channel by itself shares it with all that
radio links join it to, and with others of its band nobody can tell.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

from meshlint.physics.channels import overlap_mhz
from meshlint.physics.noise import PREAMBLE_DETECT_20_DBM
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.path_loss import farthest_m
from meshlint.workings.propagation.received_level import senses_busy
from meshlint.workings.spectrum.channel import frequency_mhz, possible_spans, span
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import live_links, parts
from meshlint.workings.unknown import Input, Missing, Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.physics.channels import Channel
    from meshlint.site.model import Pointer, Radio
    from meshlint.workings.site_workings import Workings


def must_defer(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either of two radios must hold its air for the other.

    Where nobody can tell whether channels overlap, radios that are surely out of hearing hold
    nothing up. A link that is up is proof that its two ends hear each other.
    """
    if one.pointer == other.pointer:
        return True
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    try:
        shared = spectrum_shared(w, one, other)
    except Missing:
        if one.unit != other.unit and _beyond_carrier_sense(w, one, other):
            return False
        raise
    if not shared or one.unit == other.unit:
        return shared
    if isinstance(one.channel, int) and isinstance(other.channel, int):
        return _defer_by_level(w, one, other)
    return (one.pointer, other.pointer) in w.once(_linked) or _within_reach_or_unknown(
        w, one, other
    )


def spectrum_shared(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether the channels of two radios overlap, wherever the two stand.

    Radios that links join are on one channel, whoever chose it and whether or not the file states
    it; what any other radio that chooses by itself shares with those of its band hangs on the
    choice, so that nobody can tell. Nobody need, where no span that a radio may be on meets any of
    the other's, or each meets each.
    """
    if one.pointer == other.pointer:
        return True
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    mine, theirs = answer(settled_span, w, one), answer(settled_span, w, other)
    if not isinstance(mine, Unknown) and not isinstance(theirs, Unknown):
        return overlap_mhz(mine, theirs) > 0
    meet = spans_meet(possible_spans(one), possible_spans(other))
    if meet is not None:
        return meet
    if not (isinstance(one.channel, int) and isinstance(other.channel, int)):
        joined = w.once(together)
        if one.pointer in joined and joined[one.pointer] == joined.get(other.pointer):
            return True
    raise Missing(*(x for radio in (one, other) for x in _open_of_channel(w, radio)))


@cache
def spans_meet(ours: tuple[Channel, ...], theirs: tuple[Channel, ...]) -> bool | None:
    """Return whether one of some spans meets one of others; None where that hangs on which."""
    meet = {overlap_mhz(mine, other) > 0 for mine in ours for other in theirs}
    return meet.pop() if len(meet) == 1 else None


def _open_of_channel(w: Workings, radio: Radio) -> tuple[Input, ...]:
    """Return what would settle which span a radio is on; nothing where that is settled."""
    if radio.channel == "auto":
        return (Input((*radio.pointer, "channel"), "a fixed channel instead of auto"),)
    found = answer(settled_span, w, radio)
    return found.inputs if isinstance(found, Unknown) else ()


def _beyond_carrier_sense(w: Workings, one: Radio, other: Radio) -> bool:
    try:
        return _far_apart(w, one, other) or not within_carrier_sense(w, one, other)
    except Missing:
        return False


def _defer_by_level(w: Workings, one: Radio, other: Radio) -> bool:
    try:
        return not _far_apart(w, one, other) and _heard(w, one, other)
    except Missing:
        islands = w.once(radio_components)
        if islands[one.unit] == islands[other.unit]:
            return True
        raise


def _within_reach_or_unknown(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios that links join, if over others, hear each other; yes if unknown.

    As everywhere where levels lack.
    """
    try:
        return not _far_apart(w, one, other) and within_carrier_sense(w, one, other)
    except Missing:
        return True


def _far_apart(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios surely do not hear each other. It only spares work."""
    here, there = (w.site.units[radio.unit].at for radio in (one, other))
    if here is None or there is None:
        return False
    apart_m = math.hypot(here.x_m - there.x_m, here.y_m - there.y_m)
    return apart_m > max(hearing_limit_m(w, one), hearing_limit_m(w, other))


def hearing_limit_m(w: Workings, radio: Radio) -> float:
    """Return a distance beyond which nobody on site hears a radio, walls left out.

    By the surroundings at its own end, which the other end can only add loss to; infinite where
    that cannot be told.
    """
    return w.once(_limit_m, radio.pointer, radio)


def _limit_m(w: Workings, radio: Radio) -> float:
    try:
        location = location_of(w, w.site.units[radio.unit])
        spare_db = effective_dbm(w, radio) + w.once(_most_gain_dbi) - PREAMBLE_DETECT_20_DBM
        return farthest_m(w, location, frequency_mhz(radio), spare_db)
    except (Missing, OutsideModel):
        return math.inf


def _most_gain_dbi(w: Workings) -> float:
    gains = [r.antenna_gain_dbi for u in w.site.units.values() for r in u.radios.values()]
    return max((gain for gain in gains if gain is not None), default=0.0)


def _heard(w: Workings, one: Radio, other: Radio) -> bool:
    ours, theirs = one.pointer, other.pointer
    key = (ours, theirs) if ours < theirs else (theirs, ours)
    return w.once(senses_busy, key, one, other)


def settled_span(w: Workings, radio: Radio) -> Channel:
    """Return the one span of a radio's channel, looked up once."""
    return w.once(_span_of, radio.pointer, radio)


def _span_of(_: Workings, radio: Radio) -> Channel:
    return span(radio)


def _linked(w: Workings) -> frozenset[tuple[Pointer, Pointer]]:
    """Return the pairs of radios that a link joins, as far as it says which; either way round."""
    joined = set()
    for link in w.once(live_links).values():
        ends = answer(radios_of, w, link) if link.over == "radio" else ()
        if isinstance(ends, tuple) and ends:
            ours, theirs = ends
            joined |= {(ours.pointer, theirs.pointer), (theirs.pointer, ours.pointer)}
    return frozenset(joined)


def together(w: Workings) -> Mapping[Pointer, Pointer]:
    """Return for each radio of a radio link one that stands for all that links join it to.

    They are on one channel, and cannot change it but all at once.
    """
    head: dict[Pointer, Pointer] = {}

    def top(pointer: Pointer) -> Pointer:
        while (above := head.setdefault(pointer, pointer)) != pointer:
            pointer = above
        return pointer

    for one, other in sorted(w.once(_linked)):
        head[top(one)] = top(other)
    return {pointer: top(pointer) for pointer in tuple(head)}


def radio_components(w: Workings) -> Mapping[str, str]:
    """Return for each unit the first unit of those that radio links join it to."""
    radio = (link for link in w.once(live_links).values() if link.over == "radio")
    return parts(w.site.units, radio)

"""Which units a unit could join: by links that the file has, or by radio where the level holds one.

A unit that hangs on a radio link joins others with the radio that it uses now; any other unit of
the mesh, and one that has lost its way, with any that may carry backhaul. At the far end any radio
of that band that may do so will do; where the two are on different channels the joining radio is
taken to follow. A radio that is stated to serve clients alone, or nobody, joins nothing; one of
which the file does not say what it carries may. Two radios whose declared link carries nothing, by
measurement or because its ends cannot meet, are no way. Of the units with such a radio the nearest
24 on the plan are tried.
"""

from __future__ import annotations

import math
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.capacity import airtime_metric, overhead_us
from meshlint.site.model import Link
from meshlint.workings.contention.domains import Contender, link_contender
from meshlint.workings.links.budget import link_budget, unstated
from meshlint.workings.links.goodput import carrying_legs, goodput_mbps, measured_mbps
from meshlint.workings.spectrum.channel import CHANNEL_KEYS, can_follow
from meshlint.workings.topology.link_radios import cannot_come_up, radio_of, radios_of
from meshlint.workings.topology.tree import backhaul, joined_legs, live_links, tree
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.site.model import Radio, Unit
    from meshlint.workings.site_workings import Workings

METRIC = "airtime link metric (IEEE 802.11-2020 14.9)"

MOST_TRIED: Final = 24


def mark(w: Workings) -> str:
    """Return what names of links that are not in the file begin with: as no link of it does."""
    found = "\0"
    while any(name.startswith(found) for name in w.site.backhaul or ()):
        found += "\0"
    return found


class CandidateLink(Struct, frozen=True):
    """A unit that could be the parent, over which link, and what that link costs by itself."""

    parent: str
    link: Link
    metric: float


def known_links(w: Workings, unit: str) -> Iterator[CandidateLink]:
    """Return the unit's links of the file that may carry something, its uplink among them."""
    for link in w.once(links_of_units).get(unit, ()):
        yield CandidateLink(link.far_end(unit), link, metric_of(w, link))


def links_of_units(w: Workings) -> Mapping[str, tuple[Link, ...]]:
    """Return the links that may carry something by the units that they join."""
    found: dict[str, list[Link]] = {}
    for link in w.once(live_links).values():
        if measured_mbps(w, link) != 0:
            found.setdefault(link.from_unit, []).append(link)
            found.setdefault(link.to_unit, []).append(link)
    return {name: tuple(links) for name, links in found.items()}


def metric_of(w: Workings, link: Link) -> float:
    """Return a link's airtime metric: the time that a test frame takes, all told.

    Without end where nothing gets through, so that every other way is better.
    """
    return w.once(_metric_of, link.name, link)


def _metric_of(w: Workings, link: Link) -> float:
    carried_mbps = goodput_mbps(w, link)
    if not carried_mbps:
        return math.inf
    rate_mbps = carried_mbps
    if link.over == "radio" and link.measured_mbps is None:
        rate_mbps = max(carried_mbps, _rate_mbps(w, link) or carried_mbps)
    return airtime_metric(rate_mbps, overhead_us(rate_mbps, carried_mbps))


def _rate_mbps(w: Workings, link: Link) -> float | None:
    """Return the rate that a link holds, all its legs together; None where that is not known."""
    try:
        held = [link_budget(w, leg).held for leg in carrying_legs(w, link)]
    except Missing:
        return None
    return math.fsum(setting.rate_mbps for setting in held if setting) or None


class Reached(Struct, frozen=True):
    """Whom a unit could join by radio, and what is missing to tell of others, by their name."""

    candidates: tuple[CandidateLink, ...]
    unsure: Mapping[str, tuple[Input, ...]]


def by_radio(w: Workings, unit: Unit, *, in_need: bool = False) -> Reached:
    """Return the units that a unit could join by radio, each over the radios that cost least.

    One that has lost its way (`in_need`) tries every radio that may carry backhaul.
    """
    return w.once(_by_radio, (unit.name, in_need), unit, in_need=in_need)


def _by_radio(w: Workings, unit: Unit, *, in_need: bool) -> Reached:
    return _found(w, unit, joining_radios(w, unit, in_need=in_need))


def without_radio(w: Workings, unit: Unit, lost: Radio) -> Reached:
    """Return the units that a unit could join by radio once one of its radios is lost."""
    radios = joining_radios(w, unit, in_need=True)
    return _found(w, unit, tuple(radio for radio in radios if radio is not lost))


def joining_radios(w: Workings, unit: Unit, *, in_need: bool) -> tuple[Radio, ...]:
    """Return the radios with which a unit would join another."""
    radios = [radio for radio in unit.radios.values() if may_carry_backhaul(radio)]
    if in_need:
        return tuple(radios)
    uplink = w.once(tree).uplink.get(unit.name)
    if uplink is not None and uplink.over == "radio":
        with suppress(Missing):  # which radio it is may be left open; then any will do
            return tuple(radio_of(w, leg, unit.name) for leg in joined_legs(w, uplink))
    carrying = [radio for radio in radios if radio.carries is not None]
    return tuple(carrying or radios)


def may_carry_backhaul(radio: Radio) -> bool:
    """Return whether backhaul may go over a radio; unstated use counts."""
    return radio.carries is None or "backhaul" in radio.carries


def _in_vain(w: Workings, radio: Radio, theirs: Radio) -> bool:
    """Return whether the file knows that nothing gets through between two radios."""
    tried = w.once(_dead_links).get(frozenset((radio.unit, theirs.unit)), ())
    return any(_may_use(w, link, radio) and _may_use(w, link, theirs) for link in tried)


def _dead_links(w: Workings) -> Mapping[frozenset[str], tuple[Link, ...]]:
    """Return the declared radio links that carry nothing, by the units that they should join."""
    found: dict[frozenset[str], tuple[Link, ...]] = {}
    for link in backhaul(w).values():
        if link.over == "radio" and (measured_mbps(w, link) == 0 or cannot_come_up(w, link)):
            ends = frozenset((link.from_unit, link.to_unit))
            found[ends] = (*found.get(ends, ()), link)
    return found


def _may_use(w: Workings, link: Link, radio: Radio) -> bool:
    """Return whether a link uses a radio of its unit, or leaves open which one it uses."""
    try:
        return radio_of(w, link, radio.unit).pointer == radio.pointer
    except Missing:
        return True


def _found(w: Workings, unit: Unit, ours: tuple[Radio, ...]) -> Reached:
    best: dict[str, CandidateLink] = {}
    unsure: dict[str, tuple[Input, ...]] = {}
    for radio in ours:
        lacking = unstated(radio)
        for theirs in partners(w, unit, radio):
            if _in_vain(w, radio, theirs):
                continue
            if lacking:  # without trying: a radio of a bare site lacks it for each of its partners
                unsure[theirs.unit] = unsure.get(theirs.unit, ()) + lacking
                continue
            link = invented(w, radio, theirs)
            try:
                if link_budget(w, link).held is None:
                    continue
                candidate = CandidateLink(theirs.unit, link, metric_of(w, link))
            except Missing as error:
                unsure[theirs.unit] = unsure.get(theirs.unit, ()) + error.inputs
                continue
            other = best.get(theirs.unit)
            if other is None or candidate.metric < other.metric:
                best[theirs.unit] = candidate
    return Reached(tuple(best.values()), unsure)


def invented(w: Workings, radio: Radio, theirs: Radio) -> Link:
    """Return the link that two radios could make, under a name that no link of the file has."""
    ends = (radio.unit, radio.name, theirs.unit, theirs.name)
    name = f"{w.once(mark)}{ends}"
    return Link(
        name=name,
        from_unit=radio.unit,
        to_unit=theirs.unit,
        over="radio",
        from_radio=radio.name,
        to_radio=theirs.name,
    )


def cabled(w: Workings, ends: tuple[str, str], rate_mbps: float) -> Link:
    """Return the cable link that could join two units."""
    name = f"{w.once(mark)}{ends}"
    return Link(name=name, from_unit=ends[0], to_unit=ends[1], over="cable", rate_mbps=rate_mbps)


def partners(w: Workings, unit: Unit, radio: Radio) -> Iterator[Radio]:
    """Return the radios that a radio of a unit could join, those of the nearest units."""
    tried = 0
    for other in _nearest_first(w, unit):
        fitting = [
            theirs
            for theirs in other.radios.values()
            if theirs.band == radio.band
            and may_carry_backhaul(theirs)
            and can_follow(radio, theirs)
        ]
        yield from fitting
        tried += bool(fitting)
        if tried == MOST_TRIED:
            return


def _nearest_first(w: Workings, unit: Unit) -> list[Unit]:
    """Return the other units, those of unknown place first, then by distance on the plan."""
    here = unit.at
    others = [other for other in w.site.units.values() if other is not unit and other.radios]
    if here is None:
        return others

    def apart_m(other: Unit) -> float:
        there = other.at
        return -1.0 if there is None else math.hypot(here.x_m - there.x_m, here.y_m - there.y_m)

    return sorted(others, key=apart_m)


def joined_contender(w: Workings, link: Link) -> Contender:
    """Return the contender of a link that could be, its joining radio on its partner's channel."""
    ours, theirs = radios_of(w, link)
    if all(getattr(ours, key) == getattr(theirs, key) for key in CHANNEL_KEYS):
        return link_contender(w, link)
    from msgspec.structs import replace

    follows = replace(
        ours,
        name=f"{w.once(mark)}{(ours.name, theirs.unit, theirs.name)}",
        channel=theirs.channel,
        width_mhz=theirs.width_mhz,
        second_channel=theirs.second_channel,
        block=theirs.block,
    )
    return Contender(f"link/{link.name}", link.name, link.pointer, (follows, theirs), link)

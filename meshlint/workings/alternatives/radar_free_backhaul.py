"""What radar costs a backhaul link, and which ways there are off radar-shared spectrum.

The ways out are lawful for the radios at both ends where they stand, and for those that further
links join to them; they keep off the channels of other radios of these units, and are ranked: a
laid cable, a spare link off radar, a clear channel of the same width, another band that both units
have a radio for, a cable that could be laid, a clear channel that is narrower or where the radios
must be turned down and the link still holds, and last another channel that a radar costs less than
the present one.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.law import radar_duty
from meshlint.law.choices import best_clear
from meshlint.physics.channels import overlap_mhz
from meshlint.workings.alternatives.candidate_links import mark
from meshlint.workings.contention.external_networks import heard_at, own_channels_near_all
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links import cable_routes
from meshlint.workings.links.budget import budget_between
from meshlint.workings.spectrum import channel
from meshlint.workings.spectrum.permission import (
    BY_CHOICE,
    GAP,
    choices_at,
    power_in_words,
    sender,
)
from meshlint.workings.spectrum.radar_duty import (
    TIMES,
    events_a_year,
    in_words,
    outage_s,
    shared_with_radar_mhz,
    start_check_s,
)
from meshlint.workings.spectrum.scans import is_scanned
from meshlint.workings.topology.link_radios import joined, radios_of
from meshlint.workings.topology.radio_use import serves_clients
from meshlint.workings.topology.tree import backhaul, joined_legs, lower_end, units_behind
from meshlint.workings.unknown import Missing, Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.law.choices import ChannelChoice, ClearChoice, Heard
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings

WAYS = "channels by the regulatory table, cable by the file's routes; ranked by what they cost"


def _deciding(w: Workings, link: Link) -> tuple[Radio, ...]:
    """Return the ends that settle the link's channel: those with a fixed one, else both."""
    ends = radios_of(w, link)
    return tuple(radio for radio in ends if radio.channel != "auto") or ends


@fact(
    "link.radar_shared_mhz",
    Kind.NUMBER,
    "how much of the backhaul's span is shared with radar, or may come to be",
    source=BY_CHOICE,
    unit="MHz",
)
def radar_shared_mhz(w: Workings, link: Link) -> float:
    return radar_shared_mhz_of(w, link)


def radar_shared_mhz_of(w: Workings, link: Link) -> float:
    """Return how much of a radio link's span is shared with radar, or may come to be."""
    return max(shared_with_radar_mhz(w, radio) for radio in _deciding(w, link))


@fact(
    "link.chooses_channel",
    Kind.TRUTH,
    "whether the units choose the backhaul's channel themselves",
    source=STATED,
)
def chooses_channel(w: Workings, link: Link) -> bool:
    return all(radio.channel == "auto" for radio in radios_of(w, link))


def _outage_s(w: Workings, link: Link) -> tuple[float, float]:
    spells = [outage_s(w, radio) for radio in _deciding(w, link)]
    return max(least for least, _ in spells), max(most for _, most in spells)


@fact(
    "link.radar_outage_s",
    Kind.NUMBER,
    "longest silence after a radar is heard: leaving, then checking another channel of its width",
    source=TIMES,
    unit="s",
)
def radar_outage_s(w: Workings, link: Link) -> float:
    return _outage_s(w, link)[1]


@fact("link.radar_outage", Kind.TEXT, "the silence after a radar, in words", source=TIMES)
def radar_outage(w: Workings, link: Link) -> str:
    return in_words(*_outage_s(w, link))


@fact(
    "link.radar_start_s",
    Kind.NUMBER,
    "how long the link stays down for the radar check whenever a unit starts",
    source=TIMES,
    unit="s",
)
def radar_start_s(w: Workings, link: Link) -> float:
    return max(start_check_s(w, radio) for radio in _deciding(w, link))


@fact(
    "link.radar_stay_off_min",
    Kind.NUMBER,
    "how long the channel must not be used again",
    source=TIMES,
    unit="min",
)
def radar_stay_off_min(w: Workings, _: Link) -> float:
    return radar_duty.non_occupancy_s(w.once(channel.law)) / 60


@fact(
    "link.radar_minutes_a_year",
    Kind.NUMBER,
    "longest outage times the radars heard in a year, as declared or assumed",
    source="events a year of the site file, else twelve, an assumption of ours",
    unit="min",
)
def radar_minutes_a_year(w: Workings, link: Link) -> float:
    return events_a_year(w)[0] * _outage_s(w, link)[1] / 60


@fact(
    "link.radar_year",
    Kind.TEXT,
    "the same in words, with the rate it rests on",
    source="events a year of the site file, else twelve, an assumption of ours",
)
def radar_year(w: Workings, link: Link) -> str:
    rate, stated = events_a_year(w)
    minutes = rate * _outage_s(w, link)[1] / 60
    lasts = f"{minutes / 60:.1f} hours" if minutes >= 60 else f"{minutes:.0f} minutes"
    rests = "as the file states" if stated else "an assumption, the file states no rate"
    return f"up to {lasts} a year at {rate:g} radars heard a year ({rests})"


@fact(
    "link.radar_events_stated",
    Kind.TRUTH,
    "whether the file says how often a radar is heard in a year",
    source="the site file",
)
def radar_events_stated(w: Workings, _: Link) -> bool:
    return events_a_year(w)[1]


def _moving(w: Workings, ends: tuple[Radio, ...]) -> tuple[Radio, ...]:
    """Return all radios that change channel when these do, since radio links join them."""
    found = {radio.pointer: radio for end in ends for radio in (end, *joined(w, end))}
    return tuple(found.values())


def _taken(w: Workings, moving: tuple[Radio, ...], band: float) -> frozenset[Channel]:
    """Return the spectrum of the other radios in the cases of some units."""
    theirs = {radio.pointer for radio in moving}
    found: set[Channel] = set()
    for unit in {radio.unit for radio in moving}:
        for other in w.site.units[unit].radios.values():
            settled = isinstance(other.channel, int) and other.width_mhz and other.carries != ()
            if other.pointer not in theirs and other.band == band and settled:
                with suppress(Missing):
                    found.update(channel.spans(other))
    return frozenset(found)


def _free(taken: frozenset[Channel], channel: Channel) -> bool:
    return not any(overlap_mhz(channel, span) > 0 for span in taken)


def _heard(w: Workings, moving: tuple[Radio, ...], band: float) -> tuple[Heard, ...]:
    """Return what the radios hear: foreign networks if a scan is given, and own radios."""
    own = own_channels_near_all(w, moving)
    found: list[Heard] = [(channel, float(times)) for channel, times in own.items()]
    for radio in moving:
        if is_scanned(w, radio.unit):
            heard = heard_at(w, radio.unit, band)
            found += [(span, h.load or 1.0) for h in heard for span in h.spans]
    return tuple(found)


def _best(w: Workings, ends: tuple[Radio, ...], band: float, width_mhz: int) -> ClearChoice | None:
    """Return the best clear channel for all that must move; what links share is worked out once."""
    moving = _moving(w, ends)
    key = (frozenset(radio.pointer for radio in moving), band, width_mhz)
    return w.once(_best_for, key, moving, band, width_mhz)


def _best_for(
    w: Workings, moving: tuple[Radio, ...], band: float, width_mhz: int
) -> ClearChoice | None:
    taken = _taken(w, moving, band)
    return best_clear(
        w.once(channel.law),
        band,
        width_mhz,
        [sender(w, radio) for radio in moving],
        heard=_heard(w, moving, band),
        usable=lambda channel: _free(taken, channel),
    )


def _own_best(w: Workings, link: Link) -> ClearChoice | None:
    band, width_mhz = channel.band_and_width(_deciding(w, link)[0])
    return _best(w, radios_of(w, link), band, width_mhz)


@fact(
    "link.clear_channel",
    Kind.TEXT,
    "the best channel of the same band and width that is lawful at both ends and free of radar",
    source=WAYS,
)
def clear_channel(w: Workings, link: Link) -> str:
    best = _own_best(w, link)
    return "" if best is None or best.narrower_by_mhz else _named(best.choice)


@fact(
    "link.clear_width_lost_percent",
    Kind.NUMBER,
    "how much of its width the link gives up for the best radar-free channel of its band",
    source=WAYS,
    unit="%",
)
def clear_width_lost_percent(w: Workings, link: Link) -> float:
    best = _own_best(w, link)
    if best is None:
        return 100.0
    return 100 * best.narrower_by_mhz / (best.choice.channel.width_mhz + best.narrower_by_mhz)


@fact("link.ways_off_radar", Kind.TEXT, "what the link could do instead, best first", source=WAYS)
def ways_off_radar(w: Workings, link: Link) -> str:
    return "; ".join(f"{n}) {way}" for n, way in enumerate(_ways(w, link), 1))


@fact(
    "link.radar_avoidable",
    Kind.TRUTH,
    "whether a cable, a spare link, another channel or another band would keep it off radar",
    source=WAYS,
)
def radar_avoidable(w: Workings, link: Link) -> bool:
    return next(_clear_ways(w, link), None) is not None


@fact(
    "link.radar_remedy",
    Kind.TEXT,
    "what to do about radar: nothing that the country, the radios or the way forbid",
    source=WAYS,
)
def radar_remedy(w: Workings, link: Link) -> str:
    if answer(radar_avoidable.compute, w, link) is False:
        # It has no cable route, or nobody has looked for one.
        first = "keep it" if w.site.cable_routes is not None else "lay a cable, or keep it"
        return f"{first}: radar shares every channel on which the link would hold"
    return "use a channel free of radar at both ends, a narrower one if need be, or a cable"


def _ways(w: Workings, link: Link) -> Iterator[str]:
    yield from _clear_ways(w, link)
    best = _own_best(w, link)
    if best is not None and _comes_up(w, link, best.choice):
        return
    least = _least_bad(w, link)
    if least is not None and least.radar_shared_mhz > 0:
        yield (
            f"{_named(least)}, {least.radar_shared_mhz:.0f} MHz of it shared with radar and "
            f"{least.check_s} s to start: the least bad channel of the band"
        )
    elif least is not None:
        yield f"{_named(least)}, {GAP}"
    elif not radar_avoidable.compute(w, link):
        yield "keep the channel, since radar shares every one on which the link would hold"


def _clear_ways(w: Workings, link: Link) -> Iterator[str]:
    best = _own_best(w, link)
    other_band = _other_band(w, link)
    route = _route(w, link)
    if route == "laid":
        yield _cable(w, link)
    yield from _spares(w, link)
    if best is not None and not best.narrower_by_mhz and not best.choice.turn_down_db:
        switch = "`avoid_radar_channels: true` at both ends, or "
        at_choice = chooses_channel.compute(w, link)
        yield f"{switch if at_choice else ''}{_named(best.choice)}{_further(w, link)}"
    if other_band:
        yield other_band
    if route == "possible":
        yield _cable(w, link)
    if best is None or not (best.narrower_by_mhz or best.choice.turn_down_db):
        return
    if not _comes_up(w, link, best.choice):
        return
    lost = clear_width_lost_percent.compute(w, link)
    narrower = f", {lost:.0f} % narrower" if best.narrower_by_mhz else ""
    yield f"{_named(best.choice)}{narrower}{_further(w, link)}"


def _comes_up(w: Workings, link: Link, choice: ChannelChoice) -> bool:
    """Return whether a link would hold a rate where its radios must be turned down.

    True where they need not be, and where it cannot be told.
    """
    if choice.turn_down_db == 0:
        return True
    ends = [
        replace(
            radio,
            name=f"{w.once(mark)}{(radio.name, choice.channel.number, choice.turn_down_db)}",
            channel=choice.channel.number,
            width_mhz=choice.channel.width_mhz,
            power_dbm=None if radio.power_dbm is None else radio.power_dbm - choice.turn_down_db,
            radiated_dbm=None
            if radio.radiated_dbm is None
            else radio.radiated_dbm - choice.turn_down_db,
        )
        for radio in radios_of(w, link)
    ]
    budget = answer(budget_between, w, *ends)
    return isinstance(budget, Unknown) or budget.held is not None


def _further(w: Workings, link: Link) -> str:
    """Return which radios beyond the link's two must move with them."""
    ends = radios_of(w, link)
    others = [radio for radio in _moving(w, ends) if radio not in ends]
    if not others:
        return ""
    names = ", ".join(f"radio {radio.name} of {radio.unit}" for radio in others)
    return f" (also at {names}, which other links join to it)"


def _spares(w: Workings, link: Link) -> Iterator[str]:
    """Yield links that nothing runs over today, free of radar, round this one to its lower end."""
    lower = lower_end(w, link)
    if lower is None:
        return
    behind = units_behind(w, link)
    for other in backhaul(w).values():
        if lower_end(w, other) is not None or (other.from_unit in behind) == (
            other.to_unit in behind
        ):
            continue
        try:
            clear = other.over != "radio" or radar_shared_mhz_of(w, other) == 0
        except Missing:
            continue
        if clear:
            yield f"the link {other.name}, which no radar shares, in its place"


def _route(w: Workings, link: Link) -> str:
    """Return the state of a cable route beside the link, empty where none is known."""
    if w.site.cable_routes is None:
        return ""
    way = cable_routes.cable_way(w, link)
    return way.route.state if way else ""


def _cable(w: Workings, link: Link) -> str:
    way = cable_routes.cable_way(w, link)
    if way is None:
        return ""
    own = {way.near, way.far} == {link.from_unit, link.to_unit}
    leads = "" if own else f" from {way.near} to {way.far}"
    words = f"the {way.route.state} cable route{leads}, {cable_routes.route_words_of(way)}"
    try:
        return f"{words}, {cable_routes.route_mbps(w, link):.0f} Mb/s"
    except Missing:
        return words


def _other_band(w: Workings, link: Link) -> str:
    """Return a radar-free channel of a band that both units have another radio for."""
    ends = radios_of(w, link)
    width_mhz = channel.band_and_width(ends[0])[1]
    legs = {r.pointer for leg in joined_legs(w, link) for r in radios_of(w, leg)}
    theirs = [
        {
            r.band: r
            for r in w.site.units[end.unit].radios.values()
            if r.band != end.band and r.pointer not in legs
        }
        for end in ends
    ]
    for band in (6.0, 5.0):
        both = tuple(radios[band] for radios in theirs if band in radios)
        if len(both) < len(ends):
            continue
        widest = min(radio.max_width_mhz or radio.width_mhz or width_mhz for radio in both)
        found = _best(w, both, band, min(width_mhz, widest))
        if found is not None:
            busy = any(answer(serves_clients, w, radio) is True for radio in both)
            shared = ", which then serve clients as well" if busy else ""
            names = " and ".join(radio.name for radio in both)
            return f"{_named(found.choice)} on the radios {names}{shared}"
    return ""


def _least_bad(w: Workings, link: Link) -> ChannelChoice | None:
    """Return the channel that a radar costs least, if that is less than the present one costs."""
    ends = _deciding(w, link)
    moving = _moving(w, radios_of(w, link))
    band, width_mhz = channel.band_and_width(ends[0])
    found = choices_at(w, moving, band, width_mhz, _heard(w, moving, band))
    taken = _taken(w, moving, band)
    best = min(
        (c for c in found if not c.clear and not c.turn_down_db and _free(taken, c.channel)),
        key=lambda c: (*_cost(c), -c.limit.eirp_dbm),
        default=None,
    )
    if best is None or chooses_channel.compute(w, link):
        return best
    present = [c for c in found for end in ends if c.channel in channel.spans(end)]
    return None if any(_cost(c) <= _cost(best) for c in present) else best


def _cost(choice: ChannelChoice) -> tuple[bool, int, float]:
    """Return what a radar costs on a channel; more than any where the table may lack its duty."""
    return choice.unflagged_mhz > 0, choice.check_s or 0, choice.radar_shared_mhz


def _named(choice: ChannelChoice) -> str:
    channel = choice.channel
    return (
        f"{channel.band:g} GHz channel {channel.number} at {channel.width_mhz} MHz, "
        f"{power_in_words(choice)}"
    )

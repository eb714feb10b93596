"""Other people's networks on a radio's channel, and whether a quieter channel is to be had.

A foreign network counts from the level at which a receiver must hold its signal for a busy air
(IEEE 802.11-2020 17.3.10.6: -82 dBm at 20 MHz, 3 dB more for each doubling of the width); from
there on the radio waits while it sends.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.choices import widths_mhz
from meshlint.physics.channels import PIECE_MHZ, ChannelError, channels, overlap_mhz
from meshlint.physics.noise import carrier_sense_dbm, sum_dbm, thermal_noise_dbm
from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.contention.range_index import RangeIndex, range_index
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.channel import REGULATORY, THREE_PLAN, band_and_width, span, spans
from meshlint.workings.spectrum.permission import GAP, choices_at, power_in_words
from meshlint.workings.spectrum.scans import scan_at
from meshlint.workings.topology.link_radios import along_with, joined
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Container, Mapping

    from meshlint.law.choices import ChannelChoice
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Neighbour, Pointer, Radio
    from meshlint.workings.site_workings import Workings

HEARD = "the file's scan against carrier sense, IEEE 802.11-2020 17.3.10.6"
SILENT_DBM = thermal_noise_dbm(PIECE_MHZ)
"""The level of a channel on which nothing is heard: thermal noise in 20 MHz, -101 dBm."""


class Heard(Struct, frozen=True):
    """A foreign network at carrier sense or above, with every span that its entry can mean."""

    spans: tuple[Channel, ...]
    level_dbm: float
    load: float | None
    position: int

    def on(self, channel: Channel) -> bool:
        """Return whether it takes any spectrum of a channel."""
        return any(overlap_mhz(span, channel) > 0 for span in self.spans)


def heard_at(w: Workings, unit: str, band: float) -> tuple[Heard, ...]:
    """Return what a scan heard at a unit on a band; unknown where the file tells of no scan."""
    found = []
    for position, entry in scan_at(w, unit):
        if entry.band == band:
            taken = _spans(entry, position)
            if entry.level_dbm >= carrier_sense_dbm(taken[0].width_mhz):
                found.append(Heard(taken, entry.level_dbm, entry.load, position))
    return tuple(found)


def _spans(entry: Neighbour, position: int) -> tuple[Channel, ...]:
    """Return its spans; one of which no width is stated is taken as 20 MHz, the least it can be."""
    try:
        return channels(entry.band, entry.channel, entry.width_mhz or PIECE_MHZ)
    except ChannelError as error:
        raise Missing(Input(("neighbours", position, "channel"), str(error))) from error


def level_on_dbm(heard: tuple[Heard, ...], channel: Channel) -> float:
    """Return the level of all foreign networks on a channel together, at least thermal noise."""
    return max(SILENT_DBM, sum_dbm(h.level_dbm for h in heard if h.on(channel)))


def load_on(heard: tuple[Heard, ...], channel: Channel) -> float:
    """Return the share of time that the networks on a channel take, at most all of it."""
    return min(
        1.0,
        sum(
            need(h.load, ("neighbours", h.position, "load"), "the share of time it is on the air")
            for h in heard
            if h.on(channel)
        ),
    )


def own_channels_near(
    w: Workings, radio: Radio, but: Container[Pointer] = ()
) -> tuple[Channel, ...]:
    """Return the channels of the site's other radios in use that this one hears, or may hear.

    Those in `but` are left out, as the other end of a link is.
    """
    found: list[Channel] = []
    for other in _in_use(w, radio.band).near(radio):
        if other.pointer in but:
            continue
        try:
            if other.unit == radio.unit or within_carrier_sense(w, radio, other):
                found += spans(other)
        except Missing:
            # What is not known to be out of hearing is kept clear of, if its channel is known.
            found += spans(other) if isinstance(other.channel, int) and other.width_mhz else ()
    return tuple(found)


def own_channels_near_all(w: Workings, radios: tuple[Radio, ...]) -> Mapping[Channel, int]:
    """Return what any of some radios hears of the site's others, and how many times in all.

    Radios that radio links join have it in common, and there may be hundreds of them.
    """
    together = frozenset(radio.pointer for radio in radios)
    return w.once(_own_near_all, together, radios, together)


def _own_near_all(
    w: Workings, radios: tuple[Radio, ...], together: frozenset[Pointer]
) -> Counter[Channel]:
    return Counter(taken for radio in radios for taken in own_channels_near(w, radio, together))


def _in_use(w: Workings, band: float | None) -> RangeIndex:
    """Return the radios of a band that something uses."""
    return w.once(_in_use_on, band, band)


def _in_use_on(w: Workings, band: float | None) -> RangeIndex:
    radios = (radio for unit in w.site.units.values() for radio in unit.radios.values())
    return range_index(w, tuple(r for r in radios if r.band == band and r.carries != ()))


def _alternatives(w: Workings, radio: Radio) -> tuple[ChannelChoice, ...]:
    """Return channels of the radio's width, lawful at its power and not taken in hearing.

    That holds for all radios that must move with it.

    Free of radar duty, unless the radio's own channel is not; at 2.4 GHz only those of the plan of
    three, since a channel between them disturbs two.
    """
    here = span(radio)
    together = joined(w, radio)
    own = own_channels_near_all(w, together)
    found = choices_at(w, together, here.band, here.width_mhz)
    on_radar = any(not c.clear for c in found if c.channel.span == here.span)
    return tuple(
        choice
        for choice in found
        if overlap_mhz(choice.channel, here) == 0
        and choice.turn_down_db == 0
        and (choice.clear or (on_radar and choice.unflagged_mhz == 0))
        and (here.band != 2.4 or choice.channel.number in THREE_PLAN)
        and not any(overlap_mhz(choice.channel, taken) > 0 for taken in own)
    )


def _quietest(w: Workings, radio: Radio) -> ChannelChoice | None:
    """Return the quietest at the radio that is no louder at the far ends of its backhaul."""
    here = span(radio)
    heard = heard_at(w, radio.unit, here.band)
    theirs = [heard_at(w, other.unit, here.band) for other in joined(w, radio)[1:]]
    return min(
        (
            choice
            for choice in _alternatives(w, radio)
            if all(level_on_dbm(h, choice.channel) <= level_on_dbm(h, here) for h in theirs)
        ),
        key=lambda c: (level_on_dbm(heard, c.channel), not c.clear, -c.limit.eirp_dbm),
        default=None,
    )


@fact(
    "radio.foreign_networks",
    Kind.COUNT,
    "foreign networks on the radio's spectrum at carrier sense or above",
    source=HEARD,
)
def foreign_networks(w: Workings, radio: Radio) -> float:
    here = span(radio)
    return sum(h.on(here) for h in heard_at(w, radio.unit, here.band))


@fact(
    "radio.foreign_level_dbm",
    Kind.NUMBER,
    "the level of all of them together, thermal noise where there is none",
    source=HEARD,
    unit="dBm",
)
def foreign_level_dbm(w: Workings, radio: Radio) -> float:
    here = span(radio)
    return level_on_dbm(heard_at(w, radio.unit, here.band), here)


@fact(
    "radio.foreign_airtime_percent",
    Kind.NUMBER,
    "the share of time that they take",
    source="the loads that the scan tells, added",
    unit="%",
)
def foreign_airtime_percent(w: Workings, radio: Radio) -> float:
    here = span(radio)
    return 100 * load_on(heard_at(w, radio.unit, here.band), here)


@fact(
    "radio.quieter_channel",
    Kind.TEXT,
    "the quietest permitted channel of this width that no own radio in hearing takes",
    source=f"{REGULATORY}; {HEARD}",
)
def quieter_channel(w: Workings, radio: Radio) -> str:
    best = _quietest(w, radio)
    return "" if best is None else f"channel {best.channel.number}"


@fact(
    "radio.quieter_move",
    Kind.TEXT,
    "which radios go to which channel: this one alone, or all that its backhaul joins to it",
    source=STATED,
)
def quieter_move(w: Workings, radio: Radio) -> str:
    return f"radio {radio.name} of {radio.unit} to {quieter_channel.compute(w, radio)}" + (
        along_with(w, radio)
    )


@fact(
    "radio.quieter_by_db",
    Kind.NUMBER,
    "by how much foreign networks are weaker there",
    source=HEARD,
    unit="dB",
)
def quieter_by_db(w: Workings, radio: Radio) -> float:
    best = _quietest(w, radio)
    if best is None:
        return 0.0
    heard = heard_at(w, radio.unit, best.channel.band)
    return round(level_on_dbm(heard, span(radio)) - level_on_dbm(heard, best.channel), 6)


@fact(
    "radio.airtime_gained_percent",
    Kind.NUMBER,
    "how much more of the time the air is free there",
    source="the loads that the scan tells",
    unit="%",
)
def airtime_gained_percent(w: Workings, radio: Radio) -> float:
    best = _quietest(w, radio)
    if best is None:
        return 0.0
    heard = heard_at(w, radio.unit, best.channel.band)
    gained = load_on(heard, span(radio)) - load_on(heard, best.channel)
    return round(100 * gained, 6)


def _permitted(w: Workings, radio: Radio, width_mhz: int) -> tuple[ChannelChoice, ...]:
    return choices_at(w, joined(w, radio), band_and_width(radio)[0], width_mhz)


@fact(
    "radio.clear_channels",
    Kind.COUNT,
    "channels of this width that are permitted where the unit stands, free of radar duty and quiet",
    source=f"{REGULATORY}; {HEARD}",
)
def clear_channels(w: Workings, radio: Radio) -> float:
    """Return the count; nought wherever law alone leaves none, whatever a scan would say."""
    band, width_mhz = band_and_width(radio)
    lawful = _permitted(w, radio, width_mhz)
    if not any(choice.clear for choice in lawful):
        return 0.0
    heard = heard_at(w, radio.unit, band)
    return sum(c.clear and not any(h.on(c.channel) for h in heard) for c in lawful)


@fact(
    "radio.lawful_clear_channels",
    Kind.COUNT,
    "channels of this width that are permitted where the unit stands and free of radar duty",
    source=REGULATORY,
)
def lawful_clear_channels(w: Workings, radio: Radio) -> float:
    return sum(choice.clear for choice in _permitted(w, radio, band_and_width(radio)[1]))


@fact(
    "radio.next_best",
    Kind.TEXT,
    "what is left where no channel of this width is lawful, free of radar and quiet, best first",
    source=f"{REGULATORY}; {HEARD}",
)
def next_best(w: Workings, radio: Radio) -> str:
    band, width_mhz = band_and_width(radio)
    try:
        heard = heard_at(w, radio.unit, band)
    except Missing:
        heard = ()  # what nobody scanned for cannot be ranked by; the card's condition says so
    told = []
    for narrower in reversed(widths_mhz(band)):
        quiet = [
            c
            for c in _permitted(w, radio, narrower)
            if c.clear and not any(h.on(c.channel) for h in heard)
        ]
        if narrower < width_mhz and quiet:
            told.append(
                f"channel {quiet[0].channel.number} at {narrower} MHz, with "
                f"{100 * narrower / width_mhz:.0f} % of the width"
            )
            break
    same = _permitted(w, radio, width_mhz)
    loud = [c for c in same if c.clear]
    if loud:
        best = min(loud, key=lambda c: level_on_dbm(heard, c.channel))
        count = sum(h.on(best.channel) for h in heard)
        told.append(
            f"channel {best.channel.number} at {width_mhz} MHz, shared with {count} foreign "
            f"network{'s' * (count != 1)} at {level_on_dbm(heard, best.channel):.0f} dBm"
        )
    shared = [c for c in same if c.radar_shared_mhz > 0]
    if shared:
        best = min(shared, key=lambda c: (c.check_s or 0, level_on_dbm(heard, c.channel)))
        told.append(
            f"channel {best.channel.number} at {width_mhz} MHz, {best.radar_shared_mhz:.0f} MHz of "
            f"it shared with radar and {best.check_s} s of listening before use"
        )
    if unflagged := [c for c in same if c.unflagged_mhz > 0]:
        told.append(f"channel {unflagged[0].channel.number} at {width_mhz} MHz, {GAP}")
    return ("; ".join(told) or "nothing in this band") + along_with(w, radio)


@fact(
    "radio.next_clear",
    Kind.TEXT,
    "what keeps the radio off radar: the best radar-free channel, or the setting",
    source=REGULATORY,
)
def next_clear(w: Workings, radio: Radio) -> str:
    """Return it at the radio's width or the widest narrower one, off own channels if it can be."""
    band, width_mhz = band_and_width(radio)
    own = own_channels_near(w, radio)
    for narrower in reversed(widths_mhz(band)):
        clear = [c for c in _permitted(w, radio, narrower) if c.clear and narrower <= width_mhz]
        if clear:
            best = min(
                clear,
                key=lambda c: (
                    c.turn_down_db > 0,
                    sum(overlap_mhz(c.channel, taken) for taken in own),
                ),
            )
            if radio.channel == "auto" and narrower == width_mhz:
                return "set `avoid_radar_channels: true`"
            return (
                f"use channel {best.channel.number} at {narrower} MHz, "
                f"{power_in_words(best)}{along_with(w, radio)}"
            )
    return "use another band, since no channel of this one is free of radar there"

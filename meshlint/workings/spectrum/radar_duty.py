"""What radar duty costs a radio: spectrum shared, and how long a radar keeps it off the air.

A unit that hears a radar leaves within the move time and goes to another channel, which one being
its own affair. Where that one has radar duty too, it listens first. So an outage has a shortest
form (the quickest channel that the country leaves, at this width or a narrower one) and a longest
(the slowest of its own width).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.law import radar_duty, regulatory
from meshlint.law.choices import widths_mhz
from meshlint.physics.channels import all_channels, common_span, overlap_mhz
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.channel import can_tune, law, possible_spans, span
from meshlint.workings.spectrum.permission import BY_CHOICE, may_be_on, stands_outdoors
from meshlint.workings.unknown import (
    Input,
    Missing,
    Unknown,
    answer,
    as_known,
    must_know,
    need,
    raise_missing,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio, Site
    from meshlint.workings.site_workings import Workings

TIMES = "ETSI EN 301 893 Table D.1; 47 CFR 15.407(h)(2)"

ASSUMED_EVENTS_A_YEAR = 12.0
"""How often a radio is taken to hear a radar, or to believe so, where the file does not say: once a
month. An assumption that stands beside every figure made from it; no published rate exists, and
sites differ from never to daily."""


def shared_with_radar_mhz(w: Workings, radio: Radio) -> float:
    """Return the overlap of the radio's span with spans of radar duty.

    The greatest that a radio which chooses for itself may come to. Unknown where there is none and
    the table may lack the duty.
    """
    rules = w.once(law)
    shared = _of_channels(w, radio, lambda channel: radar_duty.radar_shared_mhz(rules, channel))
    most_mhz = max(shared, default=0.0)
    if most_mhz == 0:
        _must_not_lack_duty(w, radio)
    return most_mhz


def _of_channels(w: Workings, radio: Radio, of: Callable[[Channel], float]) -> set[float]:
    """Return what holds of the channels that a radio is on or may choose, each value once.

    What the file leaves open matters only where not all that it can mean have the same.
    """
    settled = answer(may_be_on, w, radio)
    found = {of(x) for x in _channels(w, radio)}
    if len(found) > 1:
        must_know(settled)
        if radio.channel != "auto":
            span(radio)
    return found


def _channels(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    """Return the channels that a radio is on or may choose, or that the file can mean."""
    settled = answer(may_be_on, w, radio)
    return possible_spans(radio) if isinstance(settled, Unknown) else settled


def _must_not_lack_duty(w: Workings, radio: Radio) -> None:
    """Raise `Missing` where the table may lack the radar duty of what a radio may be on."""
    rules = w.once(law)
    for channel in _channels(w, radio):
        if radar_duty.radar_unflagged_mhz(rules, channel) > 0:
            may_be_on(w, radio)
            wanted = (
                f"a channel that the table tells of: for {_named(channel)} it asks for no radar "
                f"check in {rules.code}, though weather radars send at 5600 to 5650 MHz"
            )
            raise Missing(Input((*radio.pointer, "channel"), wanted))


def _named(channel: Channel) -> str:
    return f"{channel.band:g} GHz channel {channel.number} at {channel.width_mhz} MHz"


def outage_s(w: Workings, radio: Radio) -> tuple[float, float]:
    """Return the shortest and the longest silence once a radar is heard; noughts without duty."""
    rules = w.once(law)
    spells = [
        spell
        for channel in may_be_on(w, radio)
        if radar_duty.radar_shared_mhz(rules, channel) > 0
        for spell in _spells_s(w, radio, channel)
    ]
    return min(spells, default=0.0), max(spells, default=0.0)


def _spells_s(w: Workings, radio: Radio, channel: Channel) -> tuple[float, float]:
    rules = w.once(law)
    move_s = radar_duty.move_time_s(rules)
    checks = [
        [radar_duty.availability_check_s(rules, other) or 0 for other in others]
        for others in _other_channels(w, radio, channel)
    ]
    if not checks:
        # Nowhere to go: it waits until its own channel may be used again, and checks that.
        own_check = radar_duty.availability_check_s(rules, channel) or 0
        back_s = float(max(move_s, radar_duty.non_occupancy_s(rules)) + own_check)
        return back_s, back_s
    return float(move_s + min(map(min, checks))), float(move_s + max(checks[0]))


def _other_channels(w: Workings, radio: Radio, left: Channel) -> Iterator[tuple[Channel, ...]]:
    """Yield where a radio may go, by width, widest first; barred spectrum is left out."""
    rules = w.once(law)
    barred = [shared for x in radar_duty.radar_spans(rules) if (shared := common_span(x, left))]
    for width_mhz in reversed(widths_mhz(left.band)):
        if width_mhz > left.width_mhz:
            continue
        found = tuple(
            channel
            for channel in all_channels(left.band, width_mhz)
            if not any(overlap_mhz(channel, x) > 0 for x in barred)
            and can_tune(radio, channel)
            and regulatory.permission(
                rules, channel, stands_outdoors(w, radio), radio.power_class, radio.registered
            ).allowed
        )
        if found:
            yield found


def start_check_s(w: Workings, radio: Radio) -> float:
    """Return how long a radio listens in silence whenever it starts, the longest it may come to."""
    rules = w.once(law)
    checks = _of_channels(w, radio, lambda x: radar_duty.availability_check_s(rules, x) or 0)
    longest_s = float(max(checks, default=0))
    if longest_s == 0:
        _must_not_lack_duty(w, radio)
    return longest_s


def in_words(least_s: float, most_s: float) -> str:
    """Return a range of outages as people say it."""
    if least_s == most_s:
        return f"{most_s:.0f} s"
    return f"{least_s:.0f} s to {most_s:.0f} s, depending on where it goes"


def events_a_year(w: Workings) -> tuple[float, bool]:
    """Return how often a radar is heard in a year, and whether the file says so."""
    stated = w.site.about.radar_events_a_year
    return (ASSUMED_EVENTS_A_YEAR, False) if stated is None else (stated, True)


@fact(
    "radio.radar_shared_mhz",
    Kind.NUMBER,
    "how much of the span is shared with radar",
    source=BY_CHOICE,
    unit="MHz",
)
def radio_radar_shared_mhz(w: Workings, radio: Radio) -> float:
    return shared_with_radar_mhz(w, radio)


@fact(
    "radio.radar_outage_s",
    Kind.NUMBER,
    "longest silence after a radar is heard: leaving, then checking another channel of its width",
    source=TIMES,
    unit="s",
)
def radio_radar_outage_s(w: Workings, radio: Radio) -> float:
    return outage_s(w, radio)[1]


@fact("radio.radar_outage", Kind.TEXT, "the silence after a radar, in words", source=TIMES)
def radio_radar_outage(w: Workings, radio: Radio) -> str:
    return in_words(*outage_s(w, radio))


@fact(
    "radio.start_check_s",
    Kind.NUMBER,
    "how long the radio must listen for radar before it sends, after every start",
    source=TIMES,
    unit="s",
)
def radio_start_check_s(w: Workings, radio: Radio) -> float:
    return start_check_s(w, radio)


@fact(
    "radio.in_use",
    Kind.TRUTH,
    "whether anything uses the radio: `carries` not empty",
    source=STATED,
)
def in_use(_: Workings, radio: Radio) -> bool:
    return radio.carries != ()


@fact("radio.only_clients", Kind.TRUTH, "whether clients alone use the radio", source=STATED)
def only_clients(_: Workings, radio: Radio) -> bool:
    return need(radio.carries, (*radio.pointer, "carries"), "what the radio carries") == (
        "clients",
    )


@fact("radio.carries_backhaul", Kind.TRUTH, "whether backhaul uses the radio", source=STATED)
def carries_backhaul(w: Workings, radio: Radio) -> bool:
    """Return what it carries, or, where that is not stated, whether a link names the radio."""
    if radio.carries is not None:
        return "backhaul" in radio.carries
    for link in (w.site.backhaul or {}).values():
        if link.over == "radio" and radio.unit in (link.from_unit, link.to_unit):
            named = link.radio_at(radio.unit)
            if named == radio.name:
                return True
            if named is None:
                need(radio.carries, (*radio.pointer, "carries"), "what the radio carries")
    return False


def by_radar(w: Workings) -> tuple[Radio, ...]:
    """Return the radios in use that share spectrum with radar; unknown if none is known to."""
    found, lacking = w.once(known_by_radar)
    if not found:
        raise_missing(lacking)
    return found


def known_by_radar(w: Workings) -> tuple[tuple[Radio, ...], tuple[Input, ...]]:
    """Return the radios in use that are known to do so, and what is missing to tell of others."""
    used = (r for unit in w.site.units.values() for r in unit.radios.values() if r.carries != ())
    shared, lacking = as_known(used, lambda radio: (radio, shared_with_radar_mhz(w, radio)))
    return tuple(radio for radio, mhz in shared if mhz > 0), lacking


@fact(
    "site.radios_by_radar",
    Kind.TEXTS,
    "radios on spectrum that is shared with radar, or that may choose it",
    source=BY_CHOICE,
)
def radios_by_radar(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(f"{radio.unit} ({radio.name})" for radio in w.once(by_radar))

"""What a radio's channel is: the span that it occupies, and the country whose rules hold there."""

from __future__ import annotations

from contextlib import suppress
from functools import cache
from typing import TYPE_CHECKING, Final, Literal

from meshlint.law import regulatory
from meshlint.physics.channels import (
    CENTRES,
    PIECE_MHZ,
    Channel,
    ChannelError,
    all_channels,
    channels,
    overlap_mhz,
    tuned,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.scans import is_scanned, scan_at
from meshlint.workings.unknown import Input, Missing, Unknown, answer, need

if TYPE_CHECKING:
    from meshlint.law.regulatory import Country
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

REGULATORY = "Linux wireless regulatory database, judged by the kernel's rules for whole spans"
NUMBERING = "IEEE 802.11 channel numbering"

THREE_PLAN = (1, 6, 11)
"""The three 20 MHz channels of 2.4 GHz that do not overlap: common practice everywhere."""

CHANNEL_KEYS: Final = ("channel", "width_mhz", "second_channel", "block")
"""What sets a radio's channel within its band."""

NOMINAL_MHZ = {2.4: 2437.0, 5.0: 5210.0, 6.0: 6135.0}
"""The frequency that stands for a band where a channel is not settled: the middle of channel 6,
the middle of 36-48, and a channel in the lower part of 6 GHz. A cell's radius changes by under
six per cent over the 5 GHz band."""


def spans(radio: Radio) -> tuple[Channel, ...]:
    """Return every span that the radio's channel and width can mean, usually one."""
    band, number, width_mhz = radio.band, radio.channel, radio.width_mhz
    if band is None or width_mhz is None or not isinstance(number, int):
        band, number, width_mhz = _stated(radio)  # says what is missing
    try:
        return channels(band, number, width_mhz, second=radio.second_channel, block=radio.block)
    except ChannelError as error:
        wanted = "a channel that exists at that width"
        raise Missing(Input((*radio.pointer, "channel"), wanted)) from error


def span(radio: Radio) -> Channel:
    """Return the one span of the radio's channel, or say which key would settle it."""
    found = spans(radio)
    if len(found) == 1:
        return found[0]
    key = "block" if radio.band == 6 else "second_channel"
    raise Missing(Input((*radio.pointer, key), "which of the spans is meant"))


def possible_spans(radio: Radio) -> tuple[Channel, ...]:
    """Return every span that a radio may be on, whatever the file leaves open of its channel.

    One that names no channel there is may be on any of its band and width. Empty only where what
    is stated fits no channel at all.
    """
    number = radio.channel if isinstance(radio.channel, int) else None
    setting = (radio.band, number, radio.width_mhz, radio.second_channel, radio.block)
    found = _possible(*setting) or _possible(radio.band, None, radio.width_mhz, None, None)
    if number is None and radio.tunes is not None:
        found = tuple(channel for channel in found if can_tune(radio, channel))
    return found or _possible(radio.band, None, None, None, None)


@cache
def _possible(
    band: float | None,
    number: int | None,
    width_mhz: int | None,
    second: Literal["above", "below"] | None,
    block: Literal[1, 2] | None,
) -> tuple[Channel, ...]:
    bands = CENTRES if band is None else (band,)
    widths = [(b, w) for b in bands for w in CENTRES[b] if width_mhz in (None, w)]
    if number is None:
        return tuple(channel for b, w in widths for channel in all_channels(b, w))
    found: list[Channel] = []
    for b, w in widths:
        with suppress(ChannelError):
            found += channels(b, number, w, second=second, block=block)
    return tuple(found)


def tunes(radio: Radio) -> frozenset[int] | None:
    """Return the 20 MHz channels that a radio can be set to; None where no limit is stated."""
    if radio.tunes is None or radio.band is None:
        return None
    return tuned(radio.band, radio.tunes)


def can_tune(radio: Radio, channel: Channel) -> bool:
    """Return whether a radio can be set to a channel, to every 20 MHz piece of it."""
    numbers = tunes(radio)
    return numbers is None or numbers.issuperset(channel.members)


def can_follow(radio: Radio, other: Radio) -> bool:
    """Return whether a radio can be set to another's channel, or to one that both can tune.

    True where that cannot be told.
    """
    if other.channel == "auto" or other.channel is None:
        mine, theirs = tunes(radio), tunes(other)
        return mine is None or theirs is None or not mine.isdisjoint(theirs)
    found = answer(spans, other)
    return isinstance(found, Unknown) or any(can_tune(radio, channel) for channel in found)


def law(w: Workings) -> Country:
    """Return the rules of the site's country."""
    code = need(w.site.about.country, ("site", "country"), "the country, as ISO 3166-1 writes it")
    found = regulatory.country(code)
    if found is None:
        wanted = f"a country that the regulatory table knows; it has no {code}"
        raise Missing(Input(("site", "country"), wanted))
    return found


def band_and_width(radio: Radio) -> tuple[float, int]:
    """Return band and width, which a radio has whether or not its channel is settled."""
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    return band, need(radio.width_mhz, (*radio.pointer, "width_mhz"), "the channel's width")


def _stated(radio: Radio) -> tuple[float, int, int]:
    band, width_mhz = band_and_width(radio)
    number = need(radio.channel, (*radio.pointer, "channel"), "the radio's channel")
    if not isinstance(number, int):
        raise Missing(Input((*radio.pointer, "channel"), "a fixed channel instead of auto"))
    return band, number, width_mhz


def in_words(radio: Radio) -> str:
    """Return the setting as people say it: `5 GHz channel 36 at 80 MHz`."""
    channel = "an unstated channel" if radio.channel is None else f"channel {radio.channel}"
    if radio.channel == "auto":
        channel = "a channel of its own choice"
    width = "" if radio.width_mhz is None else f" at {radio.width_mhz} MHz"
    if radio.band is None:
        return f"{channel}{width} of an unstated band"
    if not isinstance(radio.channel, int):
        return f"{channel}{width} in the {radio.band:g} GHz band"
    return f"{radio.band:g} GHz {channel}{width}"


@fact("radio.unit", Kind.TEXT, "the unit that the radio is part of", source=STATED)
def radio_unit(_: Workings, radio: Radio) -> str:
    return radio.unit


@fact("radio.band_ghz", Kind.NUMBER, "the radio's band", source=STATED, unit="GHz", digits=1)
def band_ghz(_: Workings, radio: Radio) -> float:
    return need(radio.band, (*radio.pointer, "band"), "the radio's band")


@fact("radio.width_mhz", Kind.NUMBER, "the channel's width", source=STATED, unit="MHz")
def width_mhz(_: Workings, radio: Radio) -> float:
    return need(radio.width_mhz, (*radio.pointer, "width_mhz"), "the channel's width")


@fact("radio.channel", Kind.TEXT, "band, channel and width in words", source=STATED)
def channel(_: Workings, radio: Radio) -> str:
    return in_words(radio)


@fact("radio.is_auto", Kind.TRUTH, "whether the unit chooses the channel itself", source=STATED)
def is_auto(_: Workings, radio: Radio) -> bool:
    return need(radio.channel, (*radio.pointer, "channel"), "the radio's channel") == "auto"


@fact("radio.channel_problem", Kind.TEXT, "why the channel does not exist", source=NUMBERING)
def channel_problem(_: Workings, radio: Radio) -> str:
    """Return why band, number and width name no channel of the radio's; nothing if they do."""
    if radio.channel == "auto":
        if radio.width_mhz is None:
            return ""
        # Any number will do to learn whether the band has the width.
        band, width = band_and_width(radio)
        number = CENTRES[band][PIECE_MHZ][0]
        second, block = None, None
    else:
        band, number, width = _stated(radio)
        second, block = radio.second_channel, radio.block
    try:
        found = channels(band, number, width, second=second, block=block)
    except ChannelError as error:
        return str(error)
    offered = all_channels(band, width) if radio.channel == "auto" else found
    if any(can_tune(radio, channel) for channel in offered):
        return ""
    able = ", ".join(map(str, radio.tunes or ()))
    wanted = f"{width} MHz channel" if radio.channel == "auto" else f"{in_words(radio)}"
    return (
        f"the radio tunes {able} only, and {'no ' if radio.channel == 'auto' else 'not '}{wanted}"
    )


@fact("radio.low_mhz", Kind.NUMBER, "lower edge of the occupied span", source=NUMBERING, unit="MHz")
def low_mhz(_: Workings, radio: Radio) -> float:
    return span(radio).low_mhz


@fact(
    "radio.high_mhz", Kind.NUMBER, "upper edge of the occupied span", source=NUMBERING, unit="MHz"
)
def high_mhz(_: Workings, radio: Radio) -> float:
    return span(radio).high_mhz


@fact("radio.country", Kind.TEXT, "the country whose rules hold", source=STATED)
def radio_country(w: Workings, _: Radio) -> str:
    return w.once(law).code


@fact(
    "radio.three_plan_taken",
    Kind.COUNT,
    "how many of the three channels 1, 6 and 11 the span reaches into",
    source="spans by IEEE 802.11 numbering; the three-channel plan is common practice",
)
def three_plan_taken(_: Workings, radio: Radio) -> float:
    """Return the count for the span that touches fewest, where the file leaves the span open."""
    plan = [channels(2.4, number, 20)[0] for number in THREE_PLAN]
    return min(sum(overlap_mhz(mine, other) > 0 for other in plan) for mine in spans(radio))


@fact(
    "radio.others_at_two_four",
    Kind.COUNT,
    "sensors and foreign networks that the file declares at 2.4 GHz",
    source=STATED,
)
def others_at_two_four(w: Workings, radio: Radio) -> float:
    site = w.site
    scanned = is_scanned(w, radio.unit)
    if site.clients is None and not scanned:
        raise Missing(
            Input(("clients",), "who uses the site"),
            Input(("neighbours",), "foreign networks heard"),
        )
    sensors = sum(
        group.count
        for group in (site.clients or {}).values()
        if group.use == "sensor" and group.band in (None, 2.4)
    )
    heard = scan_at(w, radio.unit) if scanned else ()
    foreign = sum(network.band == 2.4 for _, network in heard)
    return sensors + foreign


def frequency_mhz(radio: Radio) -> float:
    """Return the middle of the radio's span, or what stands for its band while that is open."""
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    try:
        return span(radio).centre_mhz
    except Missing:
        return NOMINAL_MHZ[band]

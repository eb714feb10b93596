"""What the country says of a radio's channel, whole span by whole span.

A radio on `auto` is judged by what its choice may become. Equipment knows its country and keeps to
the channels that are open there, so the choice lies among those; it does not know whether it stands
outdoors, nor does it keep off radar unless it is told to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.law import radar_duty, regulatory
from meshlint.law.choices import Sender, common_choices
from meshlint.physics.channels import SIX_GHZ, all_channels
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.channel import (
    REGULATORY,
    band_and_width,
    can_tune,
    law,
    span,
    spans,
    tunes,
)
from meshlint.workings.spectrum.radiated_power import conducted_dbm, radiated_dbm
from meshlint.workings.topology.link_radios import along_with, joined
from meshlint.workings.unknown import Input, Unknown, answer, raise_missing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.law.choices import ChannelChoice, Heard
    from meshlint.law.regulatory import Permission, Unsettled
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

BY_CHOICE = f"{REGULATORY}; `auto` by every channel that it may become"


def stands_outdoors(w: Workings, radio: Radio) -> bool:
    """Return whether the radio's unit stands outdoors; one of which nothing is said does not."""
    return bool(w.site.units[radio.unit].outdoors)


def may_be_on(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    """Return the channel that the radio is on, or every one that its own choice may become.

    Several as well where number and width leave a span open. None where no channel of its band and
    width is open to it.
    """
    if radio.channel != "auto":
        return spans(radio)
    open_channels = _open_at_its_width(w, radio)
    return _off_radar(w, open_channels) if radio.avoid_radar_channels else open_channels


def _off_radar(w: Workings, found: tuple[Channel, ...]) -> tuple[Channel, ...]:
    """Return the channels left when equipment leaves out those of radar, by the table or not."""
    rules = w.once(law)
    return tuple(
        channel
        for channel in found
        if radar_duty.radar_shared_mhz(rules, channel) == 0
        and radar_duty.radar_unflagged_mhz(rules, channel) == 0
    )


def _open_at_its_width(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    return w.once(_opened, radio, radio)


def _opened(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    return tuple(
        channel
        for channel in all_channels(*band_and_width(radio))
        if can_tune(radio, channel)
        and (verdict := _verdict(w, radio, channel)).allowed
        and not _is_for_others(w, radio, verdict)
    )


def _is_for_others(w: Workings, radio: Radio, verdict: Permission) -> bool:
    """Return whether a unit that stands outdoors would not offer a channel for its own choice.

    At 5 GHz a span may be open to indoor access points alone (47 CFR 15.407(a)(3)(ii)). Equipment
    is approved as one or not, so that a unit made for outdoors does not come upon such a channel.
    """
    return (
        radio.band != SIX_GHZ
        and verdict.only_for == "low-indoor"
        and radio.power_class != "low-indoor"
        and stands_outdoors(w, radio)
    )


def _verdict(w: Workings, radio: Radio, channel: Channel, *, outdoors: bool = False) -> Permission:
    return regulatory.permission(
        w.once(law), channel, outdoors, radio.power_class, radio.registered
    )


@fact("radio.permitted", Kind.TRUTH, "whether the country allows the span", source=BY_CHOICE)
def permitted(w: Workings, radio: Radio) -> bool:
    """Return the answer wherever the unit stands; `indoor_only` says where it matters.

    A radio on `auto` is permitted where any channel of its band and width is that its settings
    leave.
    """
    if radio.channel == "auto":
        return bool(may_be_on(w, radio))
    allowed = {_verdict(w, radio, channel).allowed for channel in spans(radio)}
    if len(allowed) > 1:
        span(radio)
    return allowed.pop()


@fact(
    "radio.settings_leave_no_channel",
    Kind.TRUTH,
    "whether channels of its width are open to it, and every one is shared with radar and avoided",
    source=BY_CHOICE,
)
def settings_leave_no_channel(w: Workings, radio: Radio) -> bool:
    return (
        radio.channel == "auto"
        and bool(radio.avoid_radar_channels)
        and bool(_open_at_its_width(w, radio))
        and not may_be_on(w, radio)
    )


@fact(
    "radio.lawful_at_reduced_power",
    Kind.TRUTH,
    "whether the table leaves the span out though it is lawful at reduced power",
    source="47 CFR 15.205 and 15.247(d); FCC laboratory notice of July 2013 (second-hand)",
)
def lawful_at_reduced_power(w: Workings, radio: Radio) -> bool:
    return radio.channel != "auto" and all(
        _verdict(w, radio, channel).at_reduced_power for channel in spans(radio)
    )


@fact("radio.not_permitted_why", Kind.TEXT, "what speaks against the span", source=BY_CHOICE)
def not_permitted_why(w: Workings, radio: Radio) -> str:
    if radio.channel != "auto":
        return "; ".join(_verdict(w, radio, spans(radio)[0]).reasons)
    if permitted.compute(w, radio):
        return ""
    band, width_mhz = band_and_width(radio)
    if settings_leave_no_channel.compute(w, radio):
        return (
            f"`width_mhz: {width_mhz}` and `avoid_radar_channels: true` leave no channel, since "
            f"every {width_mhz} MHz channel at {band:g} GHz that it may use is shared with radar"
        )
    return f"no {width_mhz} MHz channel at {band:g} GHz is open to access points there"


@fact("radio.permitted_choice", Kind.TEXT, "the nearest that the country allows", source=REGULATORY)
def permitted_choice(w: Workings, radio: Radio) -> str:
    """Return the channel nearest to the one set, at its width or the widest narrower one."""
    band, width_mhz = band_and_width(radio)
    here = None if radio.channel == "auto" else spans(radio)[0].centre_mhz
    for narrower in (x for x in (320, 160, 80, 40, 20) if x <= width_mhz):
        everything = choices_at(w, joined(w, radio), band, narrower)
        found = [choice for choice in everything if choice.clear]
        if not (found or radio.avoid_radar_channels):
            found = [*everything]
        if found:
            best = found[0]
            if here is not None:
                best = min(
                    found,
                    key=lambda c: (c.turn_down_db > 0, abs(c.channel.centre_mhz - here)),
                )
            return _said(best) + along_with(w, radio)
    return ""


def sender(w: Workings, radio: Radio) -> Sender:
    """Return what the law asks of a radio besides its channel, and what the radio can do.

    Its power is what is set, or what is lawful on the channel that it is on if that is less: that a
    radio is too strong already is told by another rule. A radio on `auto` caps its power by itself,
    channel by channel, so that its power bars it from none.
    """
    return w.once(_sender, radio, radio)


def _sender(w: Workings, radio: Radio) -> Sender:
    mute = Sender(
        stands_outdoors(w, radio),
        radio.power_class,
        radio.power_control,
        radio.registered,
        tunes(radio),
    )
    radiated = answer(radiated_dbm, radio)
    if radio.channel == "auto" or isinstance(radiated, Unknown):
        return mute
    conducted = answer(conducted_dbm, radio)
    known = None if isinstance(conducted, Unknown) else conducted
    as_set = replace(mute, radiated_dbm=radiated, conducted_dbm=known)
    found = answer(spans, radio)
    limits = [] if isinstance(found, Unknown) else [mute.limit(w.once(law), c) for c in found]
    over_db = max((as_set.turn_down_db(limit) for limit in limits if limit), default=0.0)
    if over_db == 0:
        return as_set
    lower = None if known is None else known - over_db
    return replace(as_set, radiated_dbm=radiated - over_db, conducted_dbm=lower)


def choices_at(
    w: Workings,
    radios: tuple[Radio, ...],
    band: float,
    width_mhz: int,
    heard: Sequence[Heard] = (),
) -> tuple[ChannelChoice, ...]:
    """Return the channels that are lawful for every one of some radios where it stands."""
    senders = [sender(w, radio) for radio in radios]
    return common_choices(w.once(law), band, width_mhz, senders, heard)


def power_in_words(choice: ChannelChoice) -> str:
    """Return what a radio may radiate on a channel, and whether it must be turned down for it."""
    if choice.turn_down_db == 0:
        return f"up to {choice.limit.eirp_dbm:.0f} dBm radiated"
    return f"turned down to what is lawful there, {choice.limit.eirp_dbm:.0f} dBm radiated at most"


def duty_in_words(choice: ChannelChoice) -> str:
    """Return what radar has to do with a channel, as words to put after it; nothing if clear."""
    if choice.radar_shared_mhz > 0:
        return f", shared with radar, {choice.check_s} s check"
    if choice.unflagged_mhz > 0:
        return f", {GAP}"
    return ""


GAP = (
    "where the table asks for no radar check although weather radars send at 5600 to 5650 MHz, a "
    "gap of the table: ask the regulator"
)
"""What is said of a channel for which the table may lack the radar duty."""


def _said(choice: ChannelChoice) -> str:
    return (
        f"channel {choice.channel.number} at {choice.channel.width_mhz} MHz "
        f"({power_in_words(choice)}{duty_in_words(choice)})"
    )


@fact("radio.outdoors", Kind.TRUTH, "whether the radio's unit stands outdoors", source=STATED)
def outdoors(w: Workings, radio: Radio) -> bool:
    return stands_outdoors(w, radio)


@fact(
    "radio.indoor_only",
    Kind.TRUTH,
    "whether the span, or one that the unit may choose, is open indoors only",
    source=BY_CHOICE,
)
def indoor_only(w: Workings, radio: Radio) -> bool:
    verdicts = [_verdict(w, radio, channel) for channel in may_be_on(w, radio)]
    answers = {verdict.indoor_only for verdict in verdicts if verdict.unsettled is None}
    unsettled = {verdict.unsettled: None for verdict in verdicts if verdict.unsettled is not None}
    if len(answers) + bool(unsettled) > 1 and radio.channel != "auto":
        span(radio)
    if True not in answers:
        raise_missing(_settling(radio, one) for one in unsettled)
    return True in answers


def _settling(radio: Radio, unsettled: Unsettled) -> Input:
    """Return what would settle whether a span is open outdoors."""
    if unsettled.hangs_on == "registered":
        wanted = f"whether it is registered with the regulator; {unsettled.why}"
    else:
        wanted = f"what the unit is approved as, where something is on record; {unsettled.why}"
    return Input((*radio.pointer, unsettled.hangs_on), wanted)


@fact(
    "radio.may_choose_outdoor_channel",
    Kind.TRUTH,
    "whether a unit that chooses for itself may also land on a channel that is open outdoors",
    source=BY_CHOICE,
)
def may_choose_outdoor_channel(w: Workings, radio: Radio) -> bool:
    return radio.channel == "auto" and not all(
        _verdict(w, radio, channel).indoor_only for channel in may_be_on(w, radio)
    )


@fact("radio.indoor_only_why", Kind.TEXT, "what keeps the span indoors", source=BY_CHOICE)
def indoor_only_why(w: Workings, radio: Radio) -> str:
    for channel in may_be_on(w, radio):
        told = _verdict(w, radio, channel, outdoors=True).reasons
        added = [r for r in told if r not in _verdict(w, radio, channel).reasons]
        if added:
            return "; ".join(added)
    return ""


@fact(
    "radio.outdoor_choice",
    Kind.TEXT,
    "the best that is open where it stands",
    source=REGULATORY,
)
def outdoor_choice(w: Workings, radio: Radio) -> str:
    """Return it at the radio's width or the widest narrower one, clear of radar before shared."""
    band, width_mhz = band_and_width(radio)
    for narrower in (x for x in (320, 160, 80, 40, 20) if x <= width_mhz):
        found = choices_at(w, joined(w, radio), band, narrower)
        if found:
            return _said(found[0]) + along_with(w, radio)
    return ""

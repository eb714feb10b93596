"""What the country says of a radio's channel, whole span by whole span.

A radio on `auto` is judged by what its choice may become. Equipment knows its country and keeps to
the channels that are open there, so the choice lies among those; it does not know whether it stands
outdoors, nor does it keep off radar unless it is told to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.law import radar_duty, regulatory
from meshlint.law.choices import Sender, common_choices
from meshlint.physics.channels import all_channels
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.channel import REGULATORY, band_and_width, law, span, spans
from meshlint.workings.topology.link_radios import along_with, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.law.choices import ChannelChoice, Heard
    from meshlint.law.regulatory import Permission
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
    rules = w.once(law)
    open_channels = _open_at_its_width(w, radio)
    if not radio.avoid_radar_channels:
        return open_channels
    return tuple(c for c in open_channels if radar_duty.radar_shared_mhz(rules, c) == 0)


def _open_at_its_width(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    return tuple(
        channel
        for channel in all_channels(*band_and_width(radio))
        if _verdict(w, radio, channel).allowed
    )


def _verdict(w: Workings, radio: Radio, channel: Channel, *, outdoors: bool = False) -> Permission:
    return regulatory.permission(w.once(law), channel, outdoors, radio.power_class)


@fact("radio.permitted", Kind.TRUTH, "whether the country allows the span", source=BY_CHOICE)
def permitted(w: Workings, radio: Radio) -> bool:
    """Return the answer wherever the unit stands; `indoor_only` says where it matters.

    A radio on `auto` is permitted where any channel of its band and width is.
    """
    if radio.channel == "auto":
        return bool(_open_at_its_width(w, radio))
    allowed = {_verdict(w, radio, channel).allowed for channel in spans(radio)}
    if len(allowed) > 1:
        span(radio)
    return allowed.pop()


@fact("radio.not_permitted_why", Kind.TEXT, "what speaks against the span", source=BY_CHOICE)
def not_permitted_why(w: Workings, radio: Radio) -> str:
    if radio.channel != "auto":
        return "; ".join(_verdict(w, radio, spans(radio)[0]).reasons)
    if permitted.compute(w, radio):
        return ""
    band, width_mhz = band_and_width(radio)
    return f"no {width_mhz} MHz channel at {band:g} GHz is open to access points there"


@fact("radio.permitted_choice", Kind.TEXT, "the nearest that the country allows", source=REGULATORY)
def permitted_choice(w: Workings, radio: Radio) -> str:
    """Return the channel nearest to the one set, at its width or the widest narrower one."""
    band, width_mhz = band_and_width(radio)
    here = None if radio.channel == "auto" else spans(radio)[0].centre_mhz
    for narrower in (x for x in (320, 160, 80, 40, 20) if x <= width_mhz):
        everything = choices_at(w, joined(w, radio), band, narrower)
        found = [choice for choice in everything if choice.clear] or [*everything]
        if found:
            best = found[0]
            if here is not None:
                best = min(found, key=lambda c: abs(c.channel.centre_mhz - here))
            return _said(best) + along_with(w, radio)
    return ""


def sender(w: Workings, radio: Radio) -> Sender:
    """Return what the law asks of a radio besides its channel."""
    return Sender(stands_outdoors(w, radio), radio.power_class, radio.power_control)


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


def _said(choice: ChannelChoice) -> str:
    duty = "" if choice.clear else f", shared with radar, {choice.check_s} s check"
    return (
        f"channel {choice.channel.number} at {choice.channel.width_mhz} MHz "
        f"(up to {choice.limit.eirp_dbm:.0f} dBm radiated{duty})"
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
    answers = {_verdict(w, radio, channel).indoor_only for channel in may_be_on(w, radio)}
    if len(answers) > 1 and radio.channel != "auto":
        span(radio)
    return True in answers


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

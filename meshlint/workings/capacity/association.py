"""Whether a group's devices can join: each radio near them that offers their network, and why not.

A radio is ruled out by what is stated on both sides; one that nothing stated rules out and of which
something is left unsaid leaves the answer open, unless another radio lets the devices in for sure.
"""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import units_of
from meshlint.workings.security.networks import AKMS_OF, akm_of, unit_offers
from meshlint.workings.spectrum import radar_duty
from meshlint.workings.unknown import Input, Missing, as_known, need

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.site.model import ClientGroup, Network, Radio
    from meshlint.workings.site_workings import Workings

STANDARD = "IEEE 802.11: both ends must speak the band, the key management and the basic rates"

_BANDS = {
    "802.11b": (2.4,),
    "802.11g": (2.4,),
    "802.11a": (5,),
    "802.11n": (2.4, 5),
    "802.11ac": (2.4, 5),
    "802.11ax": (2.4, 5, 6),
    "802.11be": (2.4, 5, 6),
}
"""Bands that an amendment is of; a device of 802.11ac speaks 802.11n at 2.4 GHz."""

_SURE_BAND = {"802.11b": 2.4, "802.11g": 2.4, "802.11a": 5, "802.11ac": 5}
"""The band that a device of the amendment has for sure."""

_DSSS_MBPS = (1.0, 2.0, 5.5, 11.0)
"""IEEE 802.11b; every later amendment speaks 6, 12 and 24 Mb/s, and 5 and 6 GHz know no slower."""


class Offer(Struct, frozen=True):
    """One radio that offers the network: what rules it out, and what would have to be known."""

    radio: Radio
    against: tuple[str, ...]
    unsure: tuple[Input, ...]


def offers(w: Workings, group: ClientGroup) -> tuple[Offer, ...]:
    """Return the radios at the group's units that offer its network."""
    pointer = (*group.pointer, "network")
    key = need(group.network, pointer, "the network that the devices join")
    network = (w.site.networks or {})[key]
    units = (w.site.units[name] for name in units_of(w, group))
    return tuple(
        _offer(w, group, network, r) for unit in units for r in unit_offers(w, network, unit)
    )


def _offer(w: Workings, group: ClientGroup, network: Network, radio: Radio) -> Offer:
    checks: tuple[Callable[[], Iterator[str]], ...] = (
        lambda: _band(group, radio),
        lambda: _security(group, network),
        lambda: _management(group, network),
        lambda: _rate(group, radio),
        lambda: _radar(w, group, radio),
    )
    against, unsure = as_known(checks, lambda check: tuple(check()))
    return Offer(radio, tuple(chain.from_iterable(against)), unsure)


def _band(group: ClientGroup, radio: Radio) -> Iterator[str]:
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    if group.band is not None:
        if group.band != band:
            yield f"they use {group.band:g} GHz only"
        return
    wanted = "the band that the devices use"
    generation = need(group.generation, (*group.pointer, "band"), wanted)
    if band not in _BANDS[generation]:
        yield f"{generation} knows no {band:g} GHz"
    elif _SURE_BAND.get(generation) != band and band != 2.4:
        # Most devices since 802.11n have both bands and many have not; 2.4 GHz is in nearly all.
        raise Missing(Input((*group.pointer, "band"), wanted))


def _security(group: ClientGroup, network: Network) -> Iterator[str]:
    akm = akm_of(network)
    if akm == "open":
        return
    if group.akms is None and akm in ("psk", "psk-sae") and group.generation in _WITH_CCMP:
        return
    wanted = "the key management that the devices speak"
    spoken = need(group.akms, (*group.pointer, "akms"), wanted)
    if not set(spoken) & set(AKMS_OF[akm]):
        listing = ", ".join(spoken) or "nothing"
        yield f"it wants {' or '.join(AKMS_OF[akm])} and they speak {listing}"


_WITH_CCMP = ("802.11n", "802.11ac", "802.11ax", "802.11be")
"""Amendments whose rates need CCMP, so that their devices speak a network's psk."""


def _management(group: ClientGroup, network: Network) -> Iterator[str]:
    # `sae` and `owe` cannot be spoken without protected management frames.
    akm = akm_of(network)
    if network.pmf != "required" or akm in ("sae", "owe", "open"):
        return
    wanted = "whether the devices protect management frames"
    if not need(group.protects_management, (*group.pointer, "protects_management"), wanted):
        yield "it requires protected management frames and they have none"


def _rate(group: ClientGroup, radio: Radio) -> Iterator[str]:
    if radio.band != 2.4:
        return
    lowest = radio.lowest_basic_mbps
    if lowest in _DSSS_MBPS:
        return
    wanted = "the devices' 802.11 generation"
    if lowest is None and group.generation is None:
        # Radios whose lowest rate nobody set still take 802.11b as they come.
        return
    generation = need(group.generation, (*group.pointer, "generation"), wanted)
    if generation == "802.11b":
        pointer = (*radio.pointer, "lowest_basic_mbps")
        need(lowest, pointer, "the slowest rate that every client must speak")
        yield f"its lowest rate is {lowest:g} Mb/s and 802.11b knows 1, 2, 5.5 and 11 only"


def _radar(w: Workings, group: ClientGroup, radio: Radio) -> Iterator[str]:
    if radio.band != 5 or group.radar_channels:
        return
    if radio.channel == "auto" and radio.avoid_radar_channels:
        return
    if radar_duty.shared_with_radar_mhz(w, radio) == 0:
        return
    wanted = "whether the devices use channels shared with radar"
    need(group.radar_channels, (*group.pointer, "radar_channels"), wanted)
    yield "its channel is shared with radar and they leave those out"


def _settled(w: Workings, group: ClientGroup) -> tuple[Offer, ...]:
    """Return the chances if they settle the question, or say what would."""
    found = offers(w, group)
    if any(not chance.against and not chance.unsure for chance in found):
        return found
    unsure = [i for chance in found if not chance.against for i in chance.unsure]
    if unsure:
        raise Missing(*dict.fromkeys(unsure))
    return found


@fact("group.count", Kind.COUNT, "how many devices there are", source=STATED)
def count(_: Workings, group: ClientGroup) -> float:
    return group.count


@fact("group.wired", Kind.TRUTH, "whether they are on a cable", source=STATED)
def wired(_: Workings, group: ClientGroup) -> bool:
    return group.wired_to is not None


@fact("group.network_name", Kind.TEXT, "the network that they join", source=STATED)
def network_name(w: Workings, group: ClientGroup) -> str:
    pointer = (*group.pointer, "network")
    key = need(group.network, pointer, "the network that the devices join")
    return (w.site.networks or {})[key].name or key


@fact("group.ways_in", Kind.COUNT, "radios there that let them in", source=STANDARD)
def ways_in(w: Workings, group: ClientGroup) -> float:
    return sum(not chance.against for chance in _settled(w, group))


@fact("group.kept_out_by", Kind.TEXTS, "what keeps them out, radio by radio", source=STANDARD)
def kept_out_by(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    return tuple(
        f"radio {chance.radio.name}: {'; '.join(chance.against)}"
        for chance in _settled(w, group)
        if chance.against
    ) or (() if offers(w, group) else ("no radio there offers it",))


@fact(
    "group.kept_out_of",
    Kind.TEXT,
    "the network and what its devices lack for it: one cause, whichever unit they are at",
    source=STANDARD,
)
def kept_out_of(w: Workings, group: ClientGroup) -> str:
    reasons = {reason for chance in _settled(w, group) for reason in chance.against}
    return f"{group.network}: {'; '.join(sorted(reasons)) or 'not offered'}"

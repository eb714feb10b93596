"""What each link carries with nobody else on its air.

A measured throughput stands above any computed one: the newest reading of the link, a quiet one
before a busy one, else its `measured_mbps`. Without one, a cable carries its Ethernet rate less
framing, and a radio link the goodput of the rate that holds in nine places of ten. Powerline and
coax carry what was measured and nothing else, since what is printed on the box is no throughput.
A link that was measured to carry nothing carries nought; its share of an air and its delay are no
numbers, and facts that need them say that they want a throughput above 0.
"""

from __future__ import annotations

import math
from datetime import date
from functools import cache, partial
from typing import TYPE_CHECKING, Final

from meshlint.physics.capacity import ETHERNET_EFFICIENCY, Hop, frame_latency_us
from meshlint.physics.mac import exchange
from meshlint.physics.phy import GENERATIONS, LEGACY_RATES_MBPS, Mode
from meshlint.physics.sensitivity import settings
from meshlint.physics.traffic import BULK
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links import cables
from meshlint.workings.links.budget import link_budget
from meshlint.workings.links.demand import asked_mbps
from meshlint.workings.links.last_hop import frames_each_way, hop_of
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.tree import joined_legs, links_of
from meshlint.workings.unknown import Input, Missing, Unknown, answer, gather, need

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.physics.mac import Exchange
    from meshlint.physics.sensitivity import RateSetting
    from meshlint.physics.traffic import Frames
    from meshlint.site.model import Link, Radio, Reading, Unit
    from meshlint.workings.links.attachment import Devices
    from meshlint.workings.site_workings import Workings

GOODPUT = (
    "a measured throughput; else Ethernet framing, or the rate held in nine places of ten times "
    "MAC efficiency (timing of IEEE 802.11-2020 10.23)"
)
FASTEST = "fastest rate of generation, streams and width, times MAC efficiency"
TIMING = "one frame of 1500 octets on an idle air, timing of IEEE 802.11-2020 10.23"

_WIRE_LATENCY_MS = 0.0

LEAST_MBPS: Final = 1e-6
"""A bit a second: whatever carries less than that carries nothing."""


def measured_mbps(w: Workings, link: Link) -> float | None:
    """Return what was measured over a link: the newest quiet reading, else busy, else stated."""
    readings = [r for r in w.site.readings or () if r.link == link.in_file]
    known = [r for r in readings if r.throughput_mbps is not None]
    found = max(known, key=_trust).throughput_mbps if known else link.measured_mbps
    return None if found is None else _or_nought(found)


def _or_nought(mbps: float) -> float:
    return mbps if mbps >= LEAST_MBPS else 0.0


def _trust(reading: Reading) -> tuple[bool, date]:
    return reading.when == "quiet", reading.taken or date.min


def goodput_mbps(w: Workings, link: Link) -> float:
    """Return what a link carries with nobody else on its air, in each direction alone."""
    found = measured_mbps(w, link)
    if found is not None:
        return found
    if link.over == "radio":
        return radio_hop(w, link).goodput_mbps
    if link.over == "cable":
        return _or_nought(cable_rate_mbps(w, link) * ETHERNET_EFFICIENCY)
    raise Missing(Input((*link.pointer, "measured_mbps"), "a measured throughput"))


def carried_mbps(w: Workings, link: Link) -> float:
    """Return the goodput of a link of which something is to be a share; raise `Missing` at nought.

    A load over a link that carries nothing is no share of its air, and waits for ever.
    """
    found = goodput_mbps(w, link)
    key = "rate_mbps" if measured_mbps(w, link) is None else "measured_mbps"
    return need(found or None, ("backhaul", link.in_file, key), "a throughput above 0")


def airtime_share(w: Workings, link: Link, devices: Iterable[Devices]) -> float:
    """Return the share of a radio link's air that what devices ask for takes, both ways.

    Each flow goes in frames of its own length, and only those that wait are put together. A leg
    that stands by takes none.
    """
    if link not in carrying_legs(w, link):
        return 0.0
    return math.fsum(
        mbps / framed_mbps(w, link, frames)
        for one in devices
        for mbps, frames in zip(asked_mbps(one), frames_each_way(one.group), strict=True)
        if mbps
    )


def framed_mbps(w: Workings, link: Link, frames: Frames) -> float:
    """Return what a link carries in frames of a kind, something at least.

    Of a radio link that was measured only whole packets are known: short frames are held against
    the rate that the level would hold, or where that is not known a usual one, and never carry
    more than was measured.
    """
    carried = carried_mbps(w, link)
    if frames == BULK or link.over != "radio":
        return carried
    legs = answer(carrying_legs, w, link)
    settings_held = () if isinstance(legs, Unknown) else _held_settings(w, legs)
    if not settings_held:
        turn = exchange(
            USUAL, 5, payload_octets=frames.payload_octets, most_frames=frames.most_frames
        )
        return min(carried, turn.goodput_mbps)
    return min(
        carried, math.fsum(hop_of(held, band, frames).goodput_mbps for held, band in settings_held)
    )


def _held_settings(w: Workings, legs: Iterable[Link]) -> tuple[tuple[RateSetting, float], ...]:
    """Return how each of some legs sends, and on which band, as far as that can be told."""
    found = []
    for leg in legs:
        budget = answer(link_budget, w, leg)
        if not isinstance(budget, Unknown) and budget.held is not None:
            band = need(radio_of(w, leg, leg.from_unit).band, leg.pointer)
            found.append((budget.held, band))
    return tuple(found)


def share_of_hop(hop: Hop, devices: Iterable[Devices]) -> float:
    """Return the share of the air that what devices ask for takes over a hop, both ways.

    As `airtime_share` has it, for a hop that no link of the file makes as it stands.
    """
    return math.fsum(
        mbps / _framed_over(hop, frames)
        for one in devices
        for mbps, frames in zip(asked_mbps(one), frames_each_way(one.group), strict=True)
        if mbps
    )


def _framed_over(hop: Hop, frames: Frames) -> float:
    if frames == BULK:
        return hop.goodput_mbps
    turn = exchange(
        hop.mode or USUAL,
        hop.band or 5,
        payload_octets=frames.payload_octets,
        most_frames=frames.most_frames,
    )
    return min(hop.goodput_mbps, turn.goodput_mbps)


def radio_hop(w: Workings, link: Link) -> Hop:
    """Return a radio link as a hop: measured, or worked out from the rate that it holds.

    Each leg of a link is a hop that carries what all of them do together. What goes over the link
    is shared in proportion to what each leg carries, so that a Mb/s of the whole takes as much time
    of each leg: 1 / (sum of the legs' goodput).
    """
    return w.once(_radio_hop, link.name, link)


def _radio_hop(w: Workings, link: Link) -> Hop:
    measured = measured_mbps(w, link)
    if measured is not None:
        return Hop(measured, usual_turn())
    if link.whole is None:
        return leg_hop(w, link)
    legs = carrying_legs(w, link)
    own = leg_hop(w, link if link in legs else legs[0])
    return Hop(math.fsum(leg_hop(w, leg).goodput_mbps for leg in legs), own.exchange)


def leg_hop(w: Workings, link: Link) -> Hop:
    """Return a leg of a radio link by itself as a hop, by the rate that it holds."""
    setting = link_budget(w, link).held
    if setting is None:
        wanted = "a measured throughput, since no rate is held at the level worked out"
        raise Missing(Input((*link.pointer, "measured_mbps"), wanted))
    return hop_of(setting, need(radio_of(w, link, link.from_unit).band, link.pointer))


def all_at_once(w: Workings, link: Link) -> bool:
    """Return whether a link uses all its legs at once.

    Units of 802.11be do, unless the file says that they cannot send over one radio while they hear
    over another. Others cannot join by several radios as one, and use one of them at a time.
    """
    if link.simultaneous is False:
        return False
    return not gather(joined_legs(w, link), partial(too_old, w)).count(True)


def too_old(w: Workings, link: Link) -> bool:
    """Return whether an end of a leg speaks no amendment that joins several radios."""
    spoken = (
        need(end.generation, (*end.pointer, "generation"), "the 802.11 amendment it speaks")
        for end in radios_of(w, link)
    )
    return any(generation not in JOINING for generation in spoken)


JOINING: Final = frozenset({"802.11be"})
"""The amendments whose units join by several radios at once: IEEE 802.11be-2024, 35.3 (memory)."""


def carrying_legs(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return the legs that carry what goes over a link; a link of one radio carries it itself.

    All that hold a rate, or the best where only one can send at a time. Where a throughput was
    measured and the levels are not known, all that can come up.
    """
    if link.whole is None:
        return (link,)
    return w.once(_carrying_legs, link.whole, link)


def _carrying_legs(w: Workings, link: Link) -> tuple[Link, ...]:
    legs = joined_legs(w, link)
    held = answer(_held_legs, w, legs)
    if isinstance(held, Unknown):
        if measured_mbps(w, link) is None or not all_at_once(w, link):
            raise Missing(*held.inputs)
        return legs
    if not held:
        wanted = "a measured throughput, since no leg holds a rate at the level worked out"
        raise Missing(Input(("backhaul", link.in_file, "measured_mbps"), wanted))
    if all_at_once(w, link):
        return held
    return (max(held, key=lambda leg: leg_hop(w, leg).goodput_mbps),)


def _held_legs(w: Workings, legs: tuple[Link, ...]) -> tuple[Link, ...]:
    budgets = gather(legs, partial(link_budget, w))
    return tuple(leg for leg, found in zip(legs, budgets, strict=True) if found.held is not None)


def other_legs(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return the legs that stand when one leg of a link is lost, as far as the file tells.

    Those that can come up, but for any whose level is known to hold no rate.
    """
    others = (leg for leg in joined_legs(w, link) if leg is not link)
    budgets = ((leg, answer(link_budget, w, leg)) for leg in others)
    return tuple(leg for leg, found in budgets if isinstance(found, Unknown) or found.held)


def left_mbps(w: Workings, link: Link, legs: tuple[Link, ...]) -> float:
    """Return what some legs of a link carry when the others are gone; nought without any.

    What was measured was measured over all legs, and bounds what fewer carry.
    """
    if not legs:
        return 0.0
    each = gather(legs, lambda leg: leg_hop(w, leg).goodput_mbps)
    computed = math.fsum(each) if all_at_once(w, link) else max(each)
    measured = measured_mbps(w, link)
    return computed if measured is None else min(measured, computed)


def measured_link(w: Workings, name: str) -> Link:
    """Return the link that a reading names as the file does, of several legs the first."""
    return next(link for link in (w.site.backhaul or {}).values() if link.in_file == name)


def legs_of_way(w: Workings, unit: str) -> tuple[Link, ...]:
    """Return the links from a unit to the primary, of each all the legs that carry something."""
    return with_legs(w, links_of(w, unit))


def with_legs(w: Workings, links: Iterable[Link]) -> tuple[Link, ...]:
    """Return links one after the other, of each all the legs that carry something."""
    return tuple(leg for link in links for leg in carrying_legs(w, link))


USUAL: Final = Mode("802.11ac", 7, 80, 2)
"""How a radio link is taken to send of which only the throughput is known."""


@cache
def usual_turn() -> Exchange:
    """Return the turns taken for a radio link of which only the throughput is known.

    They matter for contention alone, which is much the same for all long turns.
    """
    return exchange(USUAL, 5)


def cable_rate_mbps(w: Workings, link: Link) -> float:
    """Return a cable link's Ethernet rate: as agreed, or the most that ports and cable allow."""
    if link.rate_mbps is not None:
        return link.rate_mbps
    return cables.carried_mbps(w, next(c for c in w.once(cables.cables) if c.link is link))


def used_radios(unit: Unit) -> tuple[Radio, ...]:
    """Return the radios of a unit that something uses, as far as the file tells."""
    return tuple(radio for radio in unit.radios.values() if radio.carries != ())


def best_hop(radio: Radio) -> Hop:
    """Return a radio's hop at the fastest rate that its settings allow, next to the unit."""
    pointer = radio.pointer
    band = need(radio.band, (*pointer, "band"), "the radio's band")
    generation = need(radio.generation, (*pointer, "generation"), "the amendment it speaks")
    width_mhz = need(radio.width_mhz, (*pointer, "width_mhz"), "the channel's width")
    streams = need(radio.streams, (*pointer, "streams"), "how many streams it sends")
    most = GENERATIONS[generation].most_streams if generation in GENERATIONS else 1
    if generation in LEGACY_RATES_MBPS:
        width_mhz = 20
    ways = settings(generation, width_mhz, min(streams, most))
    return hop_of(ways[0], band)


@fact(
    "link.goodput_mbps",
    Kind.NUMBER,
    "what it carries with nobody else on its air, all its legs together",
    source=GOODPUT,
    unit="Mb/s",
)
def link_goodput_mbps(w: Workings, link: Link) -> float:
    return goodput_mbps(w, link)


@fact("link.is_measured", Kind.TRUTH, "whether a throughput was measured", source=STATED)
def is_measured(w: Workings, link: Link) -> bool:
    return measured_mbps(w, link) is not None


@fact(
    "link.mac_efficiency_percent",
    Kind.NUMBER,
    "what waiting, preambles and acknowledgements leave of the rate",
    source="timing of IEEE 802.11-2020 10.23, one sender",
    unit="%",
)
def mac_efficiency_percent(w: Workings, link: Link) -> float:
    _only_radio(link)
    setting = link_budget(w, link).held
    if setting is None:
        raise Missing(Input((*link.pointer, "over"), "a level that holds a rate"))
    band = need(radio_of(w, link, link.from_unit).band, link.pointer)
    return 100 * hop_of(setting, band).goodput_mbps / setting.rate_mbps


@fact(
    "link.latency_ms",
    Kind.NUMBER,
    "what it adds to each frame when nobody else sends",
    source=TIMING,
    unit="ms",
    digits=2,
)
def link_latency_ms(w: Workings, link: Link) -> float:
    return latency_ms(w, link)


def latency_ms(w: Workings, link: Link) -> float:
    """Return a link's delay on an idle air; a cable's is far below a tenth of a millisecond.

    A frame may go over any of its legs, so that the slowest counts.
    """
    if measured_mbps(w, link) == 0:
        carried_mbps(w, link)
    if link.over == "cable":
        return _WIRE_LATENCY_MS
    _only_radio(link)
    legs = (link,) if link.whole is None else joined_legs(w, link)
    held = _held_settings(w, gather(legs, lambda leg: _with_budget(w, leg)))
    if not held:
        raise Missing(Input((*link.pointer, "over"), "a level that holds a rate"))
    return max(frame_latency_us(setting.mode, band) for setting, band in held) / 1000


def _with_budget(w: Workings, leg: Link) -> Link:
    link_budget(w, leg)
    return leg


def _only_radio(link: Link) -> None:
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a radio link"))

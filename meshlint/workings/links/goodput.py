"""What each hop carries with nobody else on its air: links between units, and clients' last hop.

A measured throughput stands above any computed one: the newest reading of the link, a quiet one
before a busy one, else its `measured_mbps`. Without one, a cable carries its Ethernet rate less
framing, and a radio link the goodput of the rate that holds in nine places of ten. Powerline and
coax carry what was measured and nothing else, since what is printed on the box is no throughput.
A link that was measured to carry nothing carries nought; its share of an air and its delay are no
numbers, and facts that need them say that they want a throughput above nought.

Clients are taken to stand at the edge of their cell, at the target level (-67 dBm, or what their
area says), and to hold the rate of that level by the standard's minimum sensitivities.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Final

from meshlint.physics.capacity import ETHERNET_EFFICIENCY, Hop, frame_latency_us
from meshlint.physics.mac import exchange
from meshlint.physics.phy import GENERATIONS, LEGACY_RATES_MBPS, Mode, common_generation
from meshlint.physics.sensitivity import best_setting, settings
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links import cables
from meshlint.workings.links.budget import link_budget
from meshlint.workings.propagation.cells import TARGET_DBM
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.topology.radio_use import fitting_radios, serves_clients
from meshlint.workings.topology.tree import unit_of
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.physics.mac import Exchange
    from meshlint.physics.sensitivity import RateSetting
    from meshlint.site.model import ClientGroup, Link, Radio, Reading, Unit
    from meshlint.workings.site_workings import Workings

GOODPUT = (
    "a measured throughput; else Ethernet framing, or the rate held in nine places of ten times "
    "MAC efficiency (timing of IEEE 802.11-2020 10.23)"
)
LAST_HOP = (
    "clients at the target level, the standard's minimum sensitivities, MAC efficiency from the "
    "timing of IEEE 802.11-2020 10.23"
)
FASTEST = "fastest rate of generation, streams and width, times MAC efficiency"
TIMING = "one frame of 1500 octets on an idle air, timing of IEEE 802.11-2020 10.23"

_WIRE_LATENCY_MS = 0.0

LEAST_MBPS: Final = 1e-6
"""A bit a second: whatever carries less than that carries nothing."""


def measured_mbps(w: Workings, link: Link) -> float | None:
    """Return what was measured over a link: the newest quiet reading, else busy, else stated."""
    readings = [r for r in w.site.readings or () if r.link == link.name]
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
    return need(found or None, (*link.pointer, key), "a throughput above nought")


def radio_hop(w: Workings, link: Link) -> Hop:
    """Return a radio link as a hop: measured, or worked out from the rate that it holds."""
    return w.once(_radio_hop, link.name, link)


def _radio_hop(w: Workings, link: Link) -> Hop:
    measured = measured_mbps(w, link)
    if measured is not None:
        return Hop(measured, usual_turn())
    setting = link_budget(w, link).held
    if setting is None:
        wanted = "a measured throughput, since no rate is held at the level worked out"
        raise Missing(Input((*link.pointer, "measured_mbps"), wanted))
    return hop_of(setting, need(radio_of(w, link, link.from_unit).band, link.pointer))


@cache
def usual_turn() -> Exchange:
    """Return the turns taken for a radio link of which only the throughput is known.

    They matter for contention alone, which is much the same for all long turns.
    """
    return exchange(Mode("802.11ac", 7, 80, 2), 5)


def hop_of(setting: RateSetting, band: float) -> Hop:
    """Return the hop that a way to send makes."""
    turn = exchange(setting.mode, band)
    return Hop(turn.goodput_mbps, turn)


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
    if not ways:
        raise Missing(Input((*pointer, "generation"), "802.11g or newer"))
    return hop_of(ways[0], band)


def group_radio(w: Workings, group: ClientGroup) -> Radio:
    """Return the radio that serves a group: of its band and network, the one that gives it most."""
    return _served(w, group)[0]


def group_hop(w: Workings, group: ClientGroup) -> Hop:
    """Return the last hop, between a group's devices and the radio that serves them."""
    radio, hop = _served(w, group)
    return hop or w.once(_group_hop, group.name, group, radio)


def _served(w: Workings, group: ClientGroup) -> tuple[Radio, Hop | None]:
    return w.once(_best_served, group.name, group)


def _best_served(w: Workings, group: ClientGroup) -> tuple[Radio, Hop | None]:
    """Return the radio and, where it took working out which one it is, the hop.

    Devices that know several bands are taken to use the one that gives them most at the edge of
    their cell; a radio that speaks nothing they know is passed over.
    """
    unit = w.site.units[unit_of(w, group)]
    fitting = fitting_radios(w.site, group, unit)
    if not fitting:
        wanted = f"a radio of {unit.name} that serves {group.name}"
        raise Missing(Input((*unit.pointer, "radios"), wanted))
    if len({radio.band for radio in fitting}) == 1:
        serves_clients(w, fitting[0])
        return fitting[0], None
    able = [(radio, hop) for radio in fitting if (hop := _hop_or_none(w, group, radio)) is not None]
    if not able:
        raise Missing(Input((*group.pointer, "generation"), "an amendment that the radios speak"))
    best = max(able, key=lambda pair: pair[1].goodput_mbps)
    serves_clients(w, best[0])
    return best


def target_dbm(w: Workings, group: ClientGroup) -> float:
    """Return the level at which the group's cell ends."""
    area = (w.site.areas or {}).get(group.area or "")
    if area is not None and area.target_dbm is not None:
        return area.target_dbm
    return TARGET_DBM


def _group_hop(w: Workings, group: ClientGroup, radio: Radio) -> Hop:
    hop = _hop_or_none(w, group, radio)
    return need(hop, (*group.pointer, "generation"), "an amendment that the radio speaks")


def _hop_or_none(w: Workings, group: ClientGroup, radio: Radio) -> Hop | None:
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    ours = need(radio.generation, (*radio.pointer, "generation"), "the 802.11 amendment it speaks")
    theirs = need(group.generation, (*group.pointer, "generation"), "the amendment they speak")
    generation = common_generation(ours, theirs, band)
    if generation is None:
        return None
    most = GENERATIONS[generation].most_streams if generation in GENERATIONS else 1
    streams = min(
        most,
        need(radio.streams, (*radio.pointer, "streams"), "how many streams it sends"),
        need(group.streams, (*group.pointer, "streams"), "how many streams they send"),
    )
    width_mhz = need(radio.width_mhz, (*radio.pointer, "width_mhz"), "the channel's width")
    setting = best_setting(settings(generation, width_mhz, streams), target_dbm(w, group))
    return None if setting is None else hop_of(setting, band)


@fact(
    "link.goodput_mbps",
    Kind.NUMBER,
    "what it carries with nobody else on its air",
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
    """Return a link's delay on an idle air; a cable's is far below a tenth of a millisecond."""
    if measured_mbps(w, link) == 0:
        carried_mbps(w, link)
    if link.over == "cable":
        return _WIRE_LATENCY_MS
    _only_radio(link)
    setting = link_budget(w, link).held
    if setting is None:
        raise Missing(Input((*link.pointer, "over"), "a level that holds a rate"))
    band = need(radio_of(w, link, link.from_unit).band, link.pointer)
    return frame_latency_us(setting.mode, band) / 1000


def _only_radio(link: Link) -> None:
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a radio link"))


@fact(
    "group.goodput_mbps",
    Kind.NUMBER,
    "what one device gets on its last hop with nobody else on the air",
    source=LAST_HOP,
    unit="Mb/s",
)
def group_goodput_mbps(w: Workings, group: ClientGroup) -> float:
    if group.wired_to is not None:
        raise Missing(Input((*group.pointer, "wired_to"), "a group on the air"))
    return group_hop(w, group).goodput_mbps

"""The ledger of each air: who takes which share of its time, to the last per cent.

Entries are client groups down and up, each radio link carrying what hangs behind it, the beacons of
every network name, and foreign networks' declared load. Load is down plus up, since both are on the
air; an entry's share is its load over the goodput of its hop with nobody else on the air.
"""

from __future__ import annotations

import math
from functools import partial
from itertools import chain
from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from meshlint.physics.capacity import heavy_clique
from meshlint.physics.channels import ChannelError, channels, overlap_mhz
from meshlint.physics.mac import beacon_us
from meshlint.physics.noise import carrier_sense_dbm
from meshlint.workings.contention.domain_load import DomainLoad, Load, Turns, domain_load
from meshlint.workings.contention.domains import (
    HEARING,
    Contender,
    ContentionDomain,
    channel_of,
    conflict_graph,
)
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.demand import active, asked_mbps, behind_mbps, devices_behind
from meshlint.workings.links.goodput import airtime_share, carried_mbps, radio_hop
from meshlint.workings.links.last_hop import devices_on, frames_each_way
from meshlint.workings.spectrum.channel import span
from meshlint.workings.spectrum.scans import scan_at
from meshlint.workings.topology.radio_use import announces, serves_clients
from meshlint.workings.unknown import Input, Missing, gather, need

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.physics.mac import Exchange
    from meshlint.site.model import Neighbour, Network, Radio
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

BEACON_OCTETS: Final = 300
"""Length of a beacon to plan with: captures run from 191 to 400 octets and more (practice)."""
BEACON_INTERVAL_US: Final = 102_400  # 100 time units, the usual setting; IEEE 802.11 9.4.1.3

SHARES = f"load over goodput of each hop; {HEARING}"
BEACONS = (
    "one beacon of 300 octets for each name every 102.4 ms at the lowest basic rate, with the wait "
    "before it; IEEE 802.11 clauses 15 to 17"
)

EntryKind = Literal["clients", "backhaul", "beacons", "foreign"]


class LedgerEntry(Struct, frozen=True):
    """One line of a ledger: who, how, and which share of the air's time, in per cent."""

    who: str
    kind: EntryKind
    percent: float

    def __str__(self) -> str:
        return f"{self.who}: {self.percent:.1f} %"


def ledger(w: Workings, air: ContentionDomain) -> tuple[LedgerEntry, ...]:
    """Return an air's entries, largest first; raises `Missing` where one cannot be told."""
    return w.once(_ledger, air.centre.key, air)


def _ledger(w: Workings, air: ContentionDomain) -> tuple[LedgerEntry, ...]:
    asked: list[Callable[[], tuple[LedgerEntry, ...]]] = [
        partial(part, w, contender) for contender in air.contenders for part in (traffic, beacons)
    ]
    asked.append(partial(external, w, air.radios))
    entries = chain.from_iterable(gather(asked, lambda part: part()))
    return tuple(sorted(entries, key=lambda entry: -entry.percent))


def traffic(w: Workings, contender: Contender) -> tuple[LedgerEntry, ...]:
    """Return what a contender's clients, or what hangs behind its link, take of the air."""
    if contender.link is not None:
        if behind_mbps(w, contender.link) == (0.0, 0.0):
            return ()
        carried_mbps(w, contender.link)
        share = airtime_share(w, contender.link, devices_behind(w, contender.link))
        return (LedgerEntry(f"backhaul {contender.link.name}", "backhaul", 100 * share),)
    radio = contender.radios[0]
    return tuple(
        entry
        for found in devices_on(w, radio)
        for way in (0, 1)
        if (entry := _clients(found, way)) is not None
    )


def _clients(found: OnAir, way: int) -> LedgerEntry | None:
    """Return what devices ask for one way; those that hold no rate send nothing."""
    asked = asked_mbps(found.devices)[way]
    if not asked:
        return None
    hop = found.hop(frames_each_way(found.devices.group)[way])
    if hop is None:
        return None
    group = found.devices.group
    where = "" if found.devices.part == 1.0 else f" at {found.devices.unit}"
    who = f"{group.name}{where} {('down', 'up')[way]}"
    return LedgerEntry(who, "clients", 100 * asked * found.served_part / hop.goodput_mbps)


def beacons(w: Workings, contender: Contender) -> tuple[LedgerEntry, ...]:
    """Return what the network names of a contender's client radio take of the air."""
    if contender.link is not None:
        return ()
    radio = contender.radios[0]
    names = len(ssids_on(w, radio))
    if not names:
        return ()
    who = f"beacons of {names} name{'s' if names > 1 else ''} at {radio.unit}"
    return (LedgerEntry(who, "beacons", 100 * names * beacon_share(radio)),)


def ssids_on(w: Workings, radio: Radio) -> tuple[Network, ...]:
    """Return the networks that a client radio announces."""
    networks = need(w.site.networks, ("networks",), "the network names on the air")
    return tuple(
        network
        for network in networks.values()
        if announces(network, radio) and serves_clients(w, radio)
    )


def beacon_share(radio: Radio) -> float:
    """Return the share (0 to 1) of the air that one name's beacons take."""
    pointer = (*radio.pointer, "lowest_basic_mbps")
    rate_mbps = need(radio.lowest_basic_mbps, pointer, "the rate that its beacons go out at")
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    return beacon_us(BEACON_OCTETS, rate_mbps, band) / BEACON_INTERVAL_US


def external(w: Workings, radios: tuple[Radio, ...]) -> tuple[LedgerEntry, ...]:
    """Return what other people's networks take: at the radio of an air that hears most of it.

    The same network may be in the scans of several units, so that loads are added up for each
    radio and the largest sum counts.
    """
    sums = {radio.pointer: external_load(w, radio) for radio in radios}
    worst = max(sums.values(), default=0.0)
    if not worst:
        return ()
    unit = next(radio.unit for radio in radios if sums[radio.pointer] == worst)
    return (LedgerEntry(f"other people's networks at {unit}", "foreign", 100 * worst),)


def external_load(w: Workings, radio: Radio) -> float:
    """Return the share (0 to 1) of a radio's air that networks in its unit's scan take."""
    loads = [
        need(neighbour.load, ("neighbours", at, "load"), "how busy its channel is")
        for at, neighbour in scan_at(w, radio.unit)
        if _disturbs(at, neighbour, radio)
    ]
    return min(1.0, math.fsum(loads))


def _disturbs(at: int, neighbour: Neighbour, radio: Radio) -> bool:
    if neighbour.band != radio.band:
        return False
    width_mhz = neighbour.width_mhz or 20
    if neighbour.level_dbm < carrier_sense_dbm(width_mhz):
        return False
    if radio.channel == "auto":
        raise Missing(Input((*radio.pointer, "channel"), "a fixed channel in place of auto"))
    try:
        theirs = channels(neighbour.band, neighbour.channel, width_mhz)
    except ChannelError as error:
        wanted = "a channel that exists at that width"
        raise Missing(Input(("neighbours", at, "channel"), wanted)) from error
    return any(overlap_mhz(span(radio), channel) > 0 for channel in theirs)


def contender_percent(w: Workings, contender: Contender) -> float:
    """Return what a contender's own traffic and beacons take of the air, in per cent."""
    return math.fsum(e.percent for part in (traffic, beacons) for e in part(w, contender))


def _sum(w: Workings, air: ContentionDomain, *kinds: EntryKind) -> float:
    return math.fsum(entry.percent for entry in ledger(w, air) if entry.kind in kinds)


def names_share(w: Workings, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that a contender's beacons take."""
    return w.once(_names_share, contender.key, contender)


def _names_share(w: Workings, contender: Contender) -> float:
    return math.fsum(entry.percent for entry in beacons(w, contender)) / 100


def foreign_share(w: Workings, contender: Contender) -> float:
    """Return the share (0 to 1) that other people's networks take where a contender hears most."""
    return max(w.once(external_load, radio.pointer, radio) for radio in contender.radios)


def turns_of(w: Workings, contender: Contender) -> Turns:
    """Return who contends on a contender's part: how many senders, and the turns that they take.

    One for each radio link and each client radio that sends, and one for each active device that
    does.
    """
    return w.once(_turns_of, contender.key, contender)


def _turns_of(w: Workings, contender: Contender) -> Turns:
    if contender.link is not None:
        link = contender.link
        return ((1.0, radio_hop(w, link).exchange),) if sum(behind_mbps(w, link)) else ()
    found: list[tuple[float, Exchange]] = []
    sends = 1.0  # the radio itself, with the first turns that it takes
    for part in devices_on(w, contender.radios[0]):
        down_mbps, up_mbps = asked_mbps(part.devices)
        down, up = map(part.hop, frames_each_way(part.devices.group))
        if down_mbps and down is not None:
            found.append((sends, down.exchange))
            sends = 0.0
        if up_mbps and up is not None:
            found.append((active(part.devices) * part.served_part, up.exchange))
    return tuple(found)


def standing(w: Workings, air: ContentionDomain) -> DomainLoad:
    """Return the account of an air without what is asked of it: what there is for traffic."""
    return domain_load(
        Load(0.0, names_share(w, x), foreign_share(w, x), turns_of(w, x)) for x in air.contenders
    )


@fact("air.channel", Kind.TEXT, "the channels that its radios use", source="the site file")
def channel(_: Workings, air: ContentionDomain) -> str:
    return channel_of(air.centre.radios)


@fact("air.units", Kind.TEXTS, "units that take turns on it", source=HEARING)
def units(_: Workings, air: ContentionDomain) -> tuple[str, ...]:
    return tuple(dict.fromkeys(radio.unit for radio in air.radios))


@fact("air.ledger", Kind.TEXTS, "who takes which share of its time, largest first", source=SHARES)
def air_ledger(w: Workings, air: ContentionDomain) -> tuple[str, ...]:
    return tuple(map(str, ledger(w, air)))


@fact(
    "air.airtime_percent",
    Kind.NUMBER,
    "how much of its time is asked for: the sum of its ledger",
    source=SHARES,
    unit="%",
)
def airtime_percent(w: Workings, air: ContentionDomain) -> float:
    return _sum(w, air, "clients", "backhaul", "beacons", "foreign")


@fact("air.clients_percent", Kind.NUMBER, "what clients take", source=SHARES, unit="%", digits=1)
def clients_percent(w: Workings, air: ContentionDomain) -> float:
    return _sum(w, air, "clients")


@fact("air.backhaul_percent", Kind.NUMBER, "what backhaul takes", source=SHARES, unit="%", digits=1)
def backhaul_percent(w: Workings, air: ContentionDomain) -> float:
    return _sum(w, air, "backhaul")


@fact(
    "air.foreign_percent",
    Kind.NUMBER,
    "what other people's networks take",
    source="their declared load, where a scan heard them above carrier sense",
    unit="%",
    digits=1,
)
def foreign_percent(w: Workings, air: ContentionDomain) -> float:
    return math.fsum(entry.percent for entry in external(w, air.radios))


@fact(
    "air.beacons_percent",
    Kind.NUMBER,
    "what the beacons of all names take, where all of it is heard",
    source=BEACONS,
    unit="%",
    digits=1,
)
def beacons_percent(w: Workings, air: ContentionDomain) -> float:
    return math.fsum(
        entry.percent for contender in air.contenders for entry in beacons(w, contender)
    )


@fact(
    "air.clique_percent",
    Kind.NUMBER,
    "what those of it that can never send at once ask for: a bound that no reuse of air gets round",
    source=f"greedy heaviest clique; {SHARES}",
    unit="%",
)
def clique_percent(w: Workings, air: ContentionDomain) -> float:
    weights = {contender.key: contender_percent(w, contender) for contender in air.contenders}
    return math.fsum(weights[key] for key in heavy_clique(weights, weights, w.once(conflict_graph)))


@fact(
    "air.room_percent",
    Kind.NUMBER,
    "how much of its time contention leaves for use when all have something to send",
    source="Bianchi 2000, one contender for each link, client radio and active device that sends",
    unit="%",
)
def room_percent(w: Workings, air: ContentionDomain) -> float:
    return 100 * domain_load(Load(turns=turns_of(w, x)) for x in air.contenders).kept


@fact("air.biggest", Kind.TEXT, "the largest entry of its ledger", source=SHARES)
def biggest(w: Workings, air: ContentionDomain) -> str:
    entries = ledger(w, air)
    return str(entries[0]) if entries else ""

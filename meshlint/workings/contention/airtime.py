"""The ledger of each air: who takes which share of its time, to the last per cent.

Entries are client groups down and up, each radio link carrying what hangs behind it, the beacons of
every network name, and foreign networks' declared load. Load is down plus up, since both are on the
air; an entry's share is its load over the goodput of its hop with nobody else on the air.
"""

from __future__ import annotations

import math
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
    widest_domain,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import devices_of, groups_about
from meshlint.workings.links.demand import active, asked_mbps, behind_mbps, devices_behind
from meshlint.workings.links.goodput import airtime_share, carrying_legs, radio_hop
from meshlint.workings.links.last_hop import devices_on, frames_each_way, on_radio
from meshlint.workings.spectrum.channel import span
from meshlint.workings.spectrum.scans import scan_at
from meshlint.workings.topology.radio_use import announces, serves_clients
from meshlint.workings.topology.tree import units_behind
from meshlint.workings.unknown import Input, Missing, Unknown, answer, as_known, need, raise_missing

if TYPE_CHECKING:
    from meshlint.physics.mac import Exchange
    from meshlint.site.model import ClientGroup, Link, Neighbour, Network, Radio
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
    entries, lacking = known_ledger(w, air)
    raise_missing(lacking)
    return entries


Ledger = tuple[tuple[LedgerEntry, ...], tuple[Input, ...]]


def known_ledger(w: Workings, air: ContentionDomain) -> Ledger:
    """Return the entries of an air that are known, largest first, and what the others lack.

    An entry that is not known can only add to the air, so that their sum is a lower bound.
    """
    return w.once(_known_ledger, (air.centre.key, len(air.contenders)), air)


def _known_ledger(w: Workings, air: ContentionDomain) -> Ledger:
    parts = [_known_traffic(w, contender) for contender in air.contenders]
    parts += [as_known((x,), lambda x: beacons(w, x)) for x in air.contenders]
    parts.append(_known_external(w, air.radios))
    entries = [entry for found, _ in parts for several in found for entry in several]
    lacking = dict.fromkeys((*air.lacks, *(x for _, inputs in parts for x in inputs)))
    return tuple(sorted(entries, key=lambda entry: -entry.percent)), tuple(lacking)


Known = tuple[list[tuple[LedgerEntry, ...]], tuple[Input, ...]]


def traffic(w: Workings, contender: Contender) -> tuple[LedgerEntry, ...]:
    """Return what a contender's clients, or what hangs behind its link, take of the air."""
    found, lacking = _known_traffic(w, contender)
    raise_missing(lacking)
    return tuple(chain.from_iterable(found))


def _known_traffic(w: Workings, contender: Contender) -> Known:
    """Return the same as far as it is known, once for each contender of the file."""
    return w.once(_worked_out, contender.key, contender)


def _worked_out(w: Workings, contender: Contender) -> Known:
    link = contender.link
    behind = frozenset((contender.radios[0].unit,) if link is None else units_behind(w, link))
    groups = answer(groups_about, w, behind)
    if isinstance(groups, Unknown):
        return [], groups.inputs
    if link is None:
        return as_known(groups, lambda group: _of_group(w, group, contender.radios[0]))
    shares, lacking = as_known(groups, lambda group: _share_behind(w, group, link, behind))
    share = math.fsum(shares)
    entry = LedgerEntry(f"backhaul {link.name}", "backhaul", 100 * share)
    return [(entry,)] if share else [], lacking


def _share_behind(w: Workings, group: ClientGroup, link: Link, behind: frozenset[str]) -> float:
    """Return the share (0 to 1) of a radio link's air that a group asks for on units behind it."""
    devices = [one for one in devices_of(w, group) if one.unit in behind and any(asked_mbps(one))]
    return airtime_share(w, link, devices)


def share_behind(w: Workings, link: Link) -> float:
    """Return the share (0 to 1) of a radio link's air that all that hangs on it asks for."""
    return airtime_share(w, link, devices_behind(w, link))


def _of_group(w: Workings, group: ClientGroup, radio: Radio) -> tuple[LedgerEntry, ...]:
    entries = (_clients(found, way) for found in on_radio(w, group, radio) for way in (0, 1))
    return tuple(entry for entry in entries if entry is not None)


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
    found, lacking = _known_external(w, radios)
    raise_missing(lacking)
    return tuple(chain.from_iterable(found))


def _known_external(w: Workings, radios: tuple[Radio, ...]) -> Known:
    loads = [_known_loads(w, radio) for radio in radios]
    sums = [min(1.0, math.fsum(known)) for known, _ in loads]
    lacking = tuple(dict.fromkeys(wanted for _, inputs in loads for wanted in inputs))
    worst = max(sums, default=0.0)
    if not worst:
        return [], lacking
    unit = radios[sums.index(worst)].unit
    entry = LedgerEntry(f"other people's networks at {unit}", "foreign", 100 * worst)
    return [(entry,)], lacking


def external_load(w: Workings, radio: Radio) -> float:
    """Return the share (0 to 1) of a radio's air that networks in its unit's scan take."""
    loads, lacking = _known_loads(w, radio)
    raise_missing(lacking)
    return min(1.0, math.fsum(loads))


def _known_loads(w: Workings, radio: Radio) -> tuple[list[float], tuple[Input, ...]]:
    scan = answer(scan_at, w, radio.unit)
    if isinstance(scan, Unknown):
        return [], scan.inputs
    return as_known(scan, lambda heard: _load_at(*heard, radio))


def _load_at(at: int, neighbour: Neighbour, radio: Radio) -> float:
    if not _disturbs(at, neighbour, radio):
        return 0.0
    return need(neighbour.load, ("neighbours", at, "load"), "how busy its channel is")


def _disturbs(at: int, neighbour: Neighbour, radio: Radio) -> bool:
    if neighbour.band != radio.band:
        return False
    width_mhz = neighbour.width_mhz or 20
    if neighbour.level_dbm < carrier_sense_dbm(width_mhz):
        return False
    if radio.channel == "auto":
        raise Missing(Input((*radio.pointer, "channel"), "a fixed channel instead of auto"))
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
    raise_missing(contender.lacks)
    return max(w.once(external_load, radio.pointer, radio) for radio in contender.radios)


def known_foreign_share(w: Workings, contender: Contender) -> float:
    """Return what they are known to take there: the networks in a scan that states their load."""
    return max(
        (min(1.0, math.fsum(_known_loads(w, radio)[0])) for radio in contender.radios), default=0.0
    )


def turns_of(w: Workings, contender: Contender) -> Turns:
    """Return who contends on a contender's part: how many senders, and the turns that they take.

    One for each radio link and each client radio that sends, and one for each active device that
    does.
    """
    return w.once(_turns_of, contender.key, contender)


def _turns_of(w: Workings, contender: Contender) -> Turns:
    if contender.link is not None:
        link = contender.link
        sends = sum(behind_mbps(w, link)) and link in carrying_legs(w, link)
        return ((1.0, radio_hop(w, link).exchange),) if sends else ()
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
    """Return the account of an air without what is asked of it: what there is for traffic.

    Raises `Missing` where it is open who shares it.
    """
    raise_missing(air.lacks)
    return domain_load(
        Load(0.0, names_share(w, x), foreign_share(w, x), turns_of(w, x)) for x in air.contenders
    )


@fact("air.channel", Kind.TEXT, "the channels that its radios use", source="the site file")
def channel(_: Workings, air: ContentionDomain) -> str:
    return channel_of(air.centre.radios or air.centre.may_use)


@fact("air.units", Kind.TEXTS, "units that are known to take turns on it", source=HEARING)
def units(_: Workings, air: ContentionDomain) -> tuple[str, ...]:
    return tuple(dict.fromkeys(chain.from_iterable(x.units for x in air.contenders)))


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


@fact(
    "air.least_percent",
    Kind.NUMBER,
    "how much of its time is asked for at least: the entries of its ledger that are known",
    source=SHARES,
    unit="%",
)
def least_percent(w: Workings, air: ContentionDomain) -> float:
    return math.fsum(entry.percent for entry in known_ledger(w, air)[0])


@fact(
    "air.most_percent",
    Kind.NUMBER,
    "how much of its time is asked for at most: all that may share it, as if they did",
    source=SHARES,
    unit="%",
)
def most_percent(w: Workings, air: ContentionDomain) -> float:
    return _sum(w, widest_domain(w, air.centre), "clients", "backhaul", "beacons", "foreign")


@fact("air.left_out", Kind.TEXTS, "what the rest of its ledger lacks", source=STATED)
def left_out(w: Workings, air: ContentionDomain) -> tuple[str, ...]:
    return tuple(dict.fromkeys(x.wanted or x.key for x in known_ledger(w, air)[1]))


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
    found = external(w, air.radios)
    raise_missing(air.lacks)
    return math.fsum(entry.percent for entry in found)


@fact(
    "air.beacons_percent",
    Kind.NUMBER,
    "what the beacons of all names take, where all of it is heard",
    source=BEACONS,
    unit="%",
    digits=1,
)
def beacons_percent(w: Workings, air: ContentionDomain) -> float:
    raise_missing(air.lacks)
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
    raise_missing(air.lacks)
    weights = {contender.key: contender_percent(w, contender) for contender in air.contenders}
    graph = w.once(conflict_graph)
    graph.need_among(weights)
    return math.fsum(weights[key] for key in heavy_clique(weights, weights, graph.near))


@fact(
    "air.room_percent",
    Kind.NUMBER,
    "how much of its time contention leaves for use when all have something to send",
    source="Bianchi 2000, one contender for each link, client radio and active device that sends",
    unit="%",
)
def room_percent(w: Workings, air: ContentionDomain) -> float:
    raise_missing(air.lacks)
    return 100 * domain_load(Load(turns=turns_of(w, x)) for x in air.contenders).kept


@fact("air.biggest", Kind.TEXT, "the largest entry of its ledger that is known", source=SHARES)
def biggest(w: Workings, air: ContentionDomain) -> str:
    entries, _ = known_ledger(w, air)
    return str(entries[0]) if entries else ""

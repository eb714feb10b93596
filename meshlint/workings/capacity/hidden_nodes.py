"""Who crowds a radio: children that do not hear each other, many clients, sensors, slow beacons."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, Final

from meshlint.physics.mac import beacon_us
from meshlint.physics.phy import LEGACY_RATES_MBPS
from meshlint.workings.contention.airtime import (
    BEACON_INTERVAL_US,
    BEACON_OCTETS,
    BEACONS,
    SHARES,
    beacon_share,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import groups_about
from meshlint.workings.links.demand import active, behind_mbps, devices_at
from meshlint.workings.links.goodput import carried_mbps, used_radios
from meshlint.workings.links.last_hop import devices_on, on_radio
from meshlint.workings.propagation.received_level import senses_busy
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.topology.radio_use import announces, may_serve_clients, serves_clients
from meshlint.workings.topology.tree import backhaul, lower_end
from meshlint.workings.unknown import Unknown, answer, need

if TYPE_CHECKING:
    from meshlint.site.model import Link, Network, Radio, Unit
    from meshlint.workings.site_workings import Workings

DSSS_RATES_MBPS: Final = LEGACY_RATES_MBPS["802.11b"]


def hidden_pairs(w: Workings, unit: Unit) -> tuple[tuple[Link, Link], ...]:
    """Return the pairs of children on one radio of a parent that do not hear each other."""
    children = [
        link
        for link in backhaul(w).values()
        if link.over == "radio"
        and (lower := lower_end(w, link)) is not None
        and link.far_end(lower) == unit.name
    ]
    found = []
    for one, other in combinations(children, 2):
        if radio_of(w, one, unit.name) is not radio_of(w, other, unit.name):
            continue
        ends = [radio_of(w, link, link.far_end(unit.name)) for link in (one, other)]
        if not senses_busy(w, ends[0], ends[1]):
            found.append((one, other))
    return tuple(found)


@fact(
    "unit.radio_children",
    Kind.COUNT,
    "units joined to it by radio",
    source=STATED,
)
def radio_children(w: Workings, unit: Unit) -> float:
    lower = {
        below
        for link in backhaul(w).values()
        if link.over == "radio"
        and (below := lower_end(w, link)) is not None
        and link.far_end(below) == unit.name
    }
    return len(lower)


@fact(
    "unit.hidden_children",
    Kind.TEXTS,
    "units that reach it on one channel and do not hear each other",
    source="carrier sense of IEEE 802.11 from the levels",
)
def hidden_children(w: Workings, unit: Unit) -> tuple[str, ...]:
    names = [link.far_end(unit.name) for pair in hidden_pairs(w, unit) for link in pair]
    return tuple(dict.fromkeys(names))


@fact(
    "unit.collided_percent",
    Kind.NUMBER,
    "share of the air that frames of hidden children spoil, at what is asked for",
    source="chance that one sends within a frame's length of the other, twice over (Abramson's "
    f"vulnerable period of two frames, 1970), no RTS; {SHARES}",
    unit="%",
    digits=1,
)
def collided_percent(w: Workings, unit: Unit) -> float:
    lost = 0.0
    for one, other in hidden_pairs(w, unit):
        a, b = (min(1.0, behind_mbps(w, link)[1] / carried_mbps(w, link)) for link in (one, other))
        lost += a * (1 - (1 - b) ** 2) + b * (1 - (1 - a) ** 2)
    return min(100.0, 100 * lost)


@fact(
    "radio.active_clients",
    Kind.COUNT,
    "active devices on it that ask for 0.1 Mb/s each or more",
    source=STATED,
)
def active_clients(w: Workings, radio: Radio) -> float:
    count = 0.0
    for part in devices_on(w, radio):
        group = part.devices.group
        asked = need(group.down_mbps, (*group.pointer, "down_mbps"), "what one device needs")
        asked += need(group.up_mbps, (*group.pointer, "up_mbps"), "what one device sends")
        count += active(part.devices) if asked >= 0.1 else 0.0
    return count


@fact(
    "radio.least_active_clients",
    Kind.COUNT,
    "those of them that are known: groups that say where they are and ask for that much",
    source=STATED,
)
def least_active_clients(w: Workings, radio: Radio) -> float:
    count = 0.0
    for group in groups_about(w, (radio.unit,)):
        parts = answer(on_radio, w, group, radio)
        if (
            not isinstance(parts, Unknown)
            and (group.down_mbps or 0.0) + (group.up_mbps or 0.0) >= 0.1
        ):
            count += math.fsum(active(part.devices) for part in parts)
    return count


@fact("radio.serves_clients", Kind.TRUTH, "whether clients may be on it", source=STATED)
def radio_serves_clients(w: Workings, radio: Radio) -> bool:
    return serves_clients(w, radio)


@fact(
    "radio.low_band_devices",
    Kind.COUNT,
    "devices on it that have 2.4 GHz only",
    source="clients whose `band` is 2.4 in the site file",
)
def low_band_devices(w: Workings, radio: Radio) -> float:
    found = (x.devices for x in devices_on(w, radio))
    return math.fsum(devices.count for devices in found if devices.group.band == 2.4)


@fact(
    "network.slow_radios",
    Kind.TEXTS,
    "radios that announce it at a rate of 802.11b although no such client is declared there",
    source=STATED,
)
def slow_radios(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(
        f"radio {radio.name} of {radio.unit}"
        for radio in announcing(w, network)
        if is_slow(radio) and not _needed(w, radio)
    )


def announcing(w: Workings, network: Network) -> tuple[Radio, ...]:
    """Return the client radios that a network is announced on."""
    return tuple(
        radio
        for unit in w.site.units.values()
        for radio in used_radios(unit)
        if may_serve_clients(radio) and announces(network, radio) and serves_clients(w, radio)
    )


def is_slow(radio: Radio) -> bool:
    """Return whether beacons go out at a rate of 802.11b, where the band has such rates."""
    if radio.band is not None and radio.band != 2.4:
        return False
    pointer = (*radio.pointer, "lowest_basic_mbps")
    basic = need(radio.lowest_basic_mbps, pointer, "the rate that its beacons go out at")
    return basic in DSSS_RATES_MBPS


def _needed(w: Workings, radio: Radio) -> bool:
    return any(x.group.generation == "802.11b" for x in devices_at(w, radio.unit))


@fact(
    "network.slow_beacons_percent",
    Kind.NUMBER,
    "share of the air that its beacons take at the slowest of those radios",
    source=BEACONS,
    unit="%",
    digits=1,
)
def slow_beacons_percent(w: Workings, network: Network) -> float:
    return max((100 * beacon_share(r) for r in announcing(w, network) if is_slow(r)), default=0.0)


@fact(
    "network.beacons_at_six_percent",
    Kind.NUMBER,
    "what they would take at 6 Mb/s",
    source=BEACONS,
    unit="%",
    digits=1,
)
def beacons_at_six_percent(_: Workings, __: Network) -> float:
    return 100 * beacon_us(BEACON_OCTETS, 6.0, 2.4) / BEACON_INTERVAL_US

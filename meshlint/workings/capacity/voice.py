"""What a call needs of the site: a second unit in hearing, few hops, free air, roaming aids.

A group that is used in an area is looked at in the area's middle; one that is only near a unit,
half way between that unit and each of its neighbours, where people would be handed over. Devices
are held 1 m above the floor and have 0 dBi of antenna gain.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.workings.contention.airtime import SHARES, known_ledger, ledger
from meshlint.workings.contention.domains import (
    domain_of,
    radio_contender,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import units_of
from meshlint.workings.links.last_hop import on_air_at_all
from meshlint.workings.propagation.antenna_pattern import off_boresight_db
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, Location, location_of
from meshlint.workings.propagation.path_loss import path_of
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.topology.radio_use import announces, may_serve_clients, serves_clients
from meshlint.workings.topology.tree import GRAPH, links_of
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import ClientGroup, Network, Radio
    from meshlint.workings.site_workings import Workings

LEVELS = "median levels of the site's path model; device 1 m high with 0 dBi of gain"


def second_level_dbm(w: Workings, group: ClientGroup) -> float:
    """Return the level of the second-best unit where a group's devices are handed over.

    Minus infinity where no second unit serves them.
    """
    serving = max(on_air_at_all(w, group), key=lambda part: part.devices.part).radio
    others = [
        radio
        for unit in w.site.units.values()
        if unit.name != serving.unit
        for radio in unit.radios.values()
        if radio.band == serving.band and may_serve_clients(radio) and _announces(w, group, radio)
    ]
    area = (w.site.areas or {}).get(group.area or "")
    home = location_of(w, w.site.units[serving.unit])
    if area is None:
        return max(
            (level_at_dbm(w, radio, contender) for radio, contender in _halves(w, home, others)),
            default=-math.inf,
        )
    middle = Location(
        sum(x for x, _ in area.outline_m) / len(area.outline_m),
        sum(y for _, y in area.outline_m) / len(area.outline_m),
        CLIENT_HEIGHT_M,
        (w.site.levels or {}).get(area.level),
        outdoors=home.outdoors,
    )
    levels = sorted(level_at_dbm(w, radio, middle) for radio in [serving, *others])
    return levels[-2] if len(levels) > 1 else -math.inf


def _halves(w: Workings, home: Location, others: list[Radio]) -> Iterator[tuple[Radio, Location]]:
    """Return each other radio with the place half way to it."""
    for radio in others:
        there = location_of(w, w.site.units[radio.unit])
        middle = replace(
            home,
            x_m=(home.x_m + there.x_m) / 2,
            y_m=(home.y_m + there.y_m) / 2,
            height_m=CLIENT_HEIGHT_M,
        )
        yield radio, middle


def _announces(w: Workings, group: ClientGroup, radio: Radio) -> bool:
    network = (w.site.networks or {}).get(group.network or "")
    return network is None or announces(network, radio)


def level_at_dbm(w: Workings, radio: Radio, place: Location) -> float:
    serves_clients(w, radio)
    here = location_of(w, w.site.units[radio.unit])
    loss_db = path_of(w, here, place, frequency_mhz(radio)).loss_db
    return effective_dbm(w, radio) - off_boresight_db(w, radio, place) - loss_db


@fact("group.use", Kind.TEXT, "what it is declared for", source=STATED)
def use(_: Workings, group: ClientGroup) -> str:
    return need(group.use, (*group.pointer, "use"), "what they are for")


@fact(
    "group.on_air", Kind.TRUTH, "whether its devices are on the air, not on a cable", source=STATED
)
def is_on_air(_: Workings, group: ClientGroup) -> bool:
    return group.wired_to is None


@fact("group.roams", Kind.TRUTH, "whether people carry it about while in use", source=STATED)
def roams(_: Workings, group: ClientGroup) -> bool:
    return need(group.roams, (*group.pointer, "roams"), "whether they are carried about")


@fact(
    "group.radio_hops",
    Kind.COUNT,
    "radio links on its way to the primary, on the longest",
    source=GRAPH,
)
def radio_hops(w: Workings, group: ClientGroup) -> float:
    return max(
        sum(link.over == "radio" for link in links_of(w, unit)) for unit in units_of(w, group)
    )


@fact(
    "group.second_level_dbm",
    Kind.NUMBER,
    "level of the second-best unit where it is handed over",
    source=LEVELS,
    unit="dBm",
)
def second_level(w: Workings, group: ClientGroup) -> float:
    return max(second_level_dbm(w, group), NO_SIGNAL_DBM)


NO_SIGNAL_DBM = -200.0
"""Stands for no second unit at all."""


@fact(
    "group.airtime_percent",
    Kind.NUMBER,
    "how much is asked for of the air that serves it, of several the fullest",
    source=SHARES,
    unit="%",
)
def airtime_percent(w: Workings, group: ClientGroup) -> float:
    return max(_air_percent(w, part.radio) for part in on_air_at_all(w, group))


@fact(
    "group.least_airtime_percent",
    Kind.NUMBER,
    "the same, counting what is known alone: there may be more",
    source=SHARES,
    unit="%",
)
def least_airtime_percent(w: Workings, group: ClientGroup) -> float:
    airs = (domain_of(w, radio_contender(w, part.radio)) for part in on_air_at_all(w, group))
    return max(math.fsum(entry.percent for entry in known_ledger(w, air)[0]) for air in airs)


def _air_percent(w: Workings, radio: Radio) -> float:
    return math.fsum(entry.percent for entry in ledger(w, domain_of(w, radio_contender(w, radio))))


@fact(
    "group.aids_missing",
    Kind.TEXTS,
    "roaming aids that its network has switched off",
    source="IEEE 802.11-2020 9.4.2.36, 11.21.7, 13 (neighbour reports, transition advice, fast "
    "transition)",
)
def aids_missing(w: Workings, group: ClientGroup) -> tuple[str, ...]:
    name = need(group.network, (*group.pointer, "network"), "the network that they join")
    network = need(w.site.networks, ("networks",), "the networks on the air")[name]
    words = (
        ("neighbour_reports", "neighbour reports"),
        ("transition_advice", "transition advice"),
    )
    off = tuple(
        said
        for key, said in words
        if not need(getattr(network, key), (*network.pointer, key), said)
    )
    return (*off, "fast transition") if _logs_in_anew(network, enough=bool(off)) else off


def _logs_in_anew(network: Network, *, enough: bool) -> bool:
    """Return whether each change of unit is a new login with the server, as 802.1X without 11r is.

    Where there is `enough` to say already, what is not stated is not asked for.
    """
    if network.fast_transition or (enough and None in (network.akm, network.fast_transition)):
        return False
    akm = need(network.akm, (*network.pointer, "akm"), "how devices prove themselves")
    pointer = (*network.pointer, "fast_transition")
    return akm == "dot1x" and not need(network.fast_transition, pointer, "fast transition")

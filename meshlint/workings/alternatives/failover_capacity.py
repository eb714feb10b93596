"""How much of what clients ask for the way that is left after a loss would carry.

Air and wires of that way are shared out as `meshlint.workings.contention.airtime` has it: what
others ask for there, what their backhaul, names and foreign networks take comes off first, and what
is left goes to the clients that came round, in frames of their size over each hop, over the links
among their units and on their own radios, with every collision domain within its time (Jun and
Sichitiu 2003). A radio that joins follows its new partner's channel, and with it go its clients,
its names and the links on it. Other units that the same loss sends another way are left where they
were.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.workings.alternatives.candidate_links import CHANNEL_KEYS, joined_contender
from meshlint.workings.alternatives.failures import LOSS, fallback
from meshlint.workings.contention.airtime import foreign_share, names_share, traffic, turns_of
from meshlint.workings.contention.domain_load import Load, domain_load
from meshlint.workings.contention.domains import (
    conflict,
    conflicting,
    contenders,
    link_contender,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import behind_mbps, devices_at, total_mbps
from meshlint.workings.links.goodput import airtime_share, goodput_mbps, radio_hop
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import GRAPH, links_of, tree, units_behind
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from meshlint.site.model import Link, Pointer, Radio, Unit
    from meshlint.workings.alternatives.failures import Fallback
    from meshlint.workings.contention.domain_load import Turns
    from meshlint.workings.contention.domains import Contender
    from meshlint.workings.links.attachment import Devices
    from meshlint.workings.site_workings import Workings

LEFT = f"{LOSS}; collision domains (Jun and Sichitiu 2003) less what others ask for there"


def share_carried(w: Workings, unit: Unit) -> float:
    """Return how many times over the detour would carry what its clients ask for.

    Infinite where they ask for nothing, nought where there is no way. Raises `Missing` where the
    file does not tell.
    """
    return w.once(_share_carried, unit.name, unit)


def _share_carried(w: Workings, unit: Unit) -> float:
    asked = _asked_mbps(w, unit)
    found = fallback(w, unit)
    if not found.way:
        return 0.0
    if not any(asked):
        return math.inf
    links = (*(candidate.link for candidate in found.way), *links_of(w, found.way[-1].parent))
    wired = (_over_wire(w, unit, link, asked) for link in links if link.over != "radio")
    return min((*wired, *_over_air(w, unit, found, links)))


def _asked_mbps(w: Workings, unit: Unit) -> tuple[float, float]:
    return total_mbps(g for name in w.once(tree).below(unit.name) for g in devices_at(w, name))


def _over_wire(w: Workings, unit: Unit, link: Link, asked: tuple[float, float]) -> float:
    """Return how many times over a wire would carry what is asked, beside the others on it."""
    carried_mbps = goodput_mbps(w, link)
    others = _others_mbps(w, unit, link)
    if link.over != "cable":
        return max(0.0, carried_mbps - sum(others)) / sum(asked)
    return min(
        max(0.0, carried_mbps - there) / mine
        for mine, there in zip(asked, others, strict=True)
        if mine
    )


def _others_mbps(w: Workings, unit: Unit, link: Link) -> tuple[float, float]:
    """Return what others than those behind a unit ask of a link, down and up."""
    if not any(link is mine for mine in w.once(tree).way(unit.name)):
        return behind_mbps(w, link)
    return total_mbps(_others(w, unit, link))


def _others(w: Workings, unit: Unit, link: Link) -> tuple[Devices, ...]:
    """Return the devices behind a link that are not at a unit or behind it."""
    below = set(w.once(tree).below(unit.name))
    others = (name for name in units_behind(w, link) if name not in below)
    return tuple(group for name in others for group in devices_at(w, name))


def _over_air(w: Workings, unit: Unit, found: Fallback, links: tuple[Link, ...]) -> Iterator[float]:
    """Return how many times over each air that the radio hops are in would carry what is asked."""
    made = {candidate.link.name for candidate in found.way}
    radio = [link for link in links if link.over == "radio"]
    way = [
        joined_contender(w, link) if link.name in made else link_contender(w, link)
        for link in radio
    ]
    followers = _followers(w, way)
    below = w.once(tree).below(unit.name)
    mine = [group for name in below for group in devices_at(w, name)]
    # A hop fills the air of whoever waits for it as well, and the fullest of all these decides.
    around = {one.key: one for hop in way for one in _around(w, found, hop, way, followers)}
    for contender in (*way, *around.values()):
        hops = [other for other in way if other is contender or conflict(w, contender, other)]
        others = list(_around(w, found, contender, way, followers))
        inside = [other for other in others if _is_below(other, below)]
        needed = math.fsum(
            airtime_share(w, near.link, mine) for near in hops if near.link is not None
        )
        needed += math.fsum(_all_asked(w, other) for other in inside)
        loads = [
            Load(_others_asked(w, unit, x), 0.0, foreign_share(w, x), _turn(w, x)) for x in hops
        ]
        loads += [
            Load(
                0.0 if other in inside else _others_asked(w, unit, other),
                names_share(w, _as_stated(w, other)),
                foreign_share(w, other),
                turns_of(w, _as_stated(w, other)) if _stays_busy(w, unit, other, inside) else (),
            )
            for other in others
        ]
        if needed:
            yield domain_load(loads).spare / needed


def _stays_busy(w: Workings, unit: Unit, other: Contender, inside: list[Contender]) -> bool:
    """Return whether somebody still sends on a contender once a unit has gone another way.

    An idle link still waits for the networks that its ends hear, as in the account of every air.
    """
    return other.link is None or other in inside or any(_others_mbps(w, unit, other.link))


def _followers(w: Workings, way: Sequence[Contender]) -> Mapping[Pointer, Radio]:
    """Return the radios that a new way sets to another channel, by their place in the file."""
    return {
        stated.pointer: radio
        for contender in way
        if contender.link is not None
        for stated, radio in zip(radios_of(w, contender.link), contender.radios, strict=True)
        if stated is not radio
    }


def _around(
    w: Workings,
    found: Fallback,
    contender: Contender,
    way: Sequence[Contender],
    followers: Mapping[Pointer, Radio],
) -> Iterator[Contender]:
    """Return who else is in the air of a hop after the loss, radios that follow where they are."""
    taken = {other.key for other in way}
    for other in conflicting(w, contender):
        follows = any(radio.pointer in followers for radio in other.radios)
        if other.key not in taken and not found.lost.silences(other) and not follows:
            yield other
    for other in w.once(contenders).values() if followers else ():
        ends = tuple(followers.get(radio.pointer, radio) for radio in other.radios)
        if other.key in taken or ends == other.radios or found.lost.silences(other):
            continue
        anew = replace(other, radios=_on_one_channel(ends, followers))
        if conflict(w, contender, anew):
            yield anew


def _on_one_channel(
    ends: tuple[Radio, ...], followers: Mapping[Pointer, Radio]
) -> tuple[Radio, ...]:
    """Return the ends of a link on the channel of the one that moves: the other goes along."""
    lead = next(radio for radio in ends if radio in followers.values())
    keys = {key: getattr(lead, key) for key in CHANNEL_KEYS}
    return tuple(radio if radio is lead else replace(radio, **keys) for radio in ends)


def _is_below(contender: Contender, below: Collection[str]) -> bool:
    """Return whether a contender carries only what is asked for at some units that hang together.

    That is a radio of one of them with its clients, or a link among them.
    """
    if contender.link is None:
        return contender.radios[0].unit in below
    return all(radio.unit in below for radio in contender.radios)


def _as_stated(w: Workings, contender: Contender) -> Contender:
    """Return a contender as the file has it: clients and names stay when its channel changes."""
    return w.once(contenders)[contender.key]


def _turn(w: Workings, contender: Contender) -> Turns:
    link = contender.link
    return () if link is None else ((1.0, radio_hop(w, link).exchange),)


def _all_asked(w: Workings, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that all ask of a contender."""
    return math.fsum(entry.percent for entry in traffic(w, _as_stated(w, contender))) / 100


def _others_asked(w: Workings, unit: Unit, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that others than those behind a unit ask for."""
    if contender.link is None:
        return _all_asked(w, contender)
    return airtime_share(w, contender.link, _others(w, unit, contender.link))


@fact(
    "unit.groups_behind",
    Kind.TEXTS,
    "the client groups at this unit and behind",
    source=GRAPH,
)
def groups_behind(w: Workings, unit: Unit) -> tuple[str, ...]:
    below = w.once(tree).below(unit.name)
    return tuple(dict.fromkeys(x.group.name for name in below for x in devices_at(w, name)))


@fact(
    "unit.fallback_demand_known",
    Kind.TRUTH,
    "whether the file tells what clients behind it ask for, and who else uses the way left to them",
    source=STATED,
)
def fallback_demand_known(w: Workings, unit: Unit) -> bool:
    try:
        share_carried(w, unit)
    except Missing:
        return False
    return True


@fact(
    "unit.fallback_demand_percent",
    Kind.NUMBER,
    "how much of what its clients ask for the way left after the worse loss would carry",
    source=LEFT,
    unit="%",
)
def fallback_demand_percent(w: Workings, unit: Unit) -> float:
    return 100 * min(1.0, share_carried(w, unit))


@fact(
    "unit.fallback_spare_mbps",
    Kind.NUMBER,
    "what that way has left beyond what they ask for",
    source=LEFT,
    unit="Mb/s",
)
def fallback_spare_mbps(w: Workings, unit: Unit) -> float:
    share = share_carried(w, unit)
    asked_mbps = sum(_asked_mbps(w, unit))
    if not asked_mbps:
        raise Missing(Input(("clients",), f"clients at {unit.name} that ask for something"))
    return max(0.0, share - 1) * asked_mbps

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

from meshlint.workings.alternatives.candidate_links import joined_contender
from meshlint.workings.alternatives.failures import LOSS, fallback
from meshlint.workings.contention.airtime import (
    foreign_share,
    names_share,
    share_behind,
    traffic,
    turns_of,
)
from meshlint.workings.contention.domain_load import Load, domain_load
from meshlint.workings.contention.domains import (
    conflict,
    conflicting_keys,
    contenders,
    link_contender,
)
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import behind_mbps, devices_at, total_mbps
from meshlint.workings.links.goodput import (
    airtime_share,
    goodput_mbps,
    legs_of_way,
    radio_hop,
    with_legs,
)
from meshlint.workings.spectrum.channel import CHANNEL_KEYS
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import GRAPH, tree, units_behind
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from meshlint.site.model import Link, Pointer, Radio, Unit
    from meshlint.workings.alternatives.failures import Failure, Fallback
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
    links = with_legs(w, (c.link for c in found.way)) + legs_of_way(w, found.way[-1].parent)
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
    if not any(link.is_leg_of(mine) for mine in w.once(tree).way(unit.name)):
        return behind_mbps(w, link)
    return total_mbps(_others(w, unit, link))


def _others(w: Workings, unit: Unit, link: Link) -> tuple[Devices, ...]:
    """Return the devices behind a link that are not at a unit or behind it."""
    below = set(w.once(tree).below(unit.name))
    others = (name for name in units_behind(w, link) if name not in below)
    return tuple(group for name in others for group in devices_at(w, name))


def _over_air(w: Workings, unit: Unit, found: Fallback, links: tuple[Link, ...]) -> Iterator[float]:
    """Return how many times over each air that the radio hops are in would carry what is asked.

    Nothing follows an air that carries nothing at all: no other could carry less.
    """
    made = {candidate.link.name for candidate in found.way}
    radio = [link for link in links if link.over == "radio"]
    if not radio:
        return
    way = [
        joined_contender(w, link) if link.name in made else link_contender(w, link)
        for link in radio
    ]
    below = w.once(tree).below(unit.name)
    mine = [group for name in below for group in devices_at(w, name)]
    after = _Afterwards(w, found.lost, way)
    airs = list(after.airs())
    known = {key: one for _, others in airs for key, one in others.items()}
    inside = {key: one for key, one in known.items() if _is_below(one, below)}
    needs = {hop.key: airtime_share(w, hop.link, mine) for hop in way if hop.link is not None}
    needs |= {key: _all_asked(w, one) for key, one in inside.items()}
    loads = {
        hop.key: Load(_others_asked(w, unit, hop), 0.0, foreign_share(w, hop), _turn(w, hop))
        for hop in way
    }
    stated = w.once(contenders)
    for key, one in known.items():
        busy = one.link is None or key in inside or any(_others_mbps(w, unit, one.link))
        loads[key] = Load(
            0.0 if key in inside else _others_asked(w, unit, one),
            names_share(w, stated[key]),  # clients and names stay when the channel changes
            foreign_share(w, one),
            # An idle link still waits for the networks that its ends hear, as in every account.
            turns_of(w, stated[key]) if busy else (),
        )
    told: set[frozenset[str]] = set()
    for hops, others in airs:
        keys = frozenset((*(hop.key for hop in hops), *others))
        needed = math.fsum(need for key, need in needs.items() if key in keys)
        if needed and keys not in told:
            told.add(keys)
            spare = domain_load([loads[key] for key in keys]).spare
            yield spare / needed
            if not spare:
                return


class _Afterwards:
    """Who shares whose air after a loss, with the radios that the new way sets elsewhere."""

    def __init__(self, w: Workings, lost: Failure, way: Sequence[Contender]) -> None:
        self.w = w
        self.way = way
        self.known = w.once(contenders)
        followers = _followers(w, way)
        taken = {hop.key for hop in way}
        self.out = taken | _silenced(w, lost)
        """Contenders that are in no air as they stand: hops, what is lost, and what moves."""
        self.moved: list[Contender] = []
        for key in dict.fromkeys(k for at in followers for k in w.once(_keys_by_radio).get(at, ())):
            other = self.known[key]
            ends = tuple(followers.get(radio.pointer, radio) for radio in other.radios)
            if key not in self.out and ends != other.radios:
                self.moved.append(replace(other, radios=_on_one_channel(ends, followers)))
            self.out = self.out | {key}

    def airs(self) -> Iterator[tuple[list[Contender], Mapping[str, Contender]]]:
        """Return the hops of a way in each air that they are in, and who else is in it.

        A hop fills the air of all who wait for it as well, and the fullest of all these decides.
        An air that lies in that of a hop, with no other hops in it, is never the fullest.
        """
        around = [self._around(hop) for hop in self.way]
        beside = [[x for x in self.way if x is hop or conflict(self.w, hop, x)] for hop in self.way]
        yield from zip(beside, around, strict=True)
        names = [{hop.key for hop in hops} for hops in beside]
        centres = {key: one for others in around for key, one in others.items()}
        for key, centre in centres.items():
            hops = [hop for hop, others in zip(self.way, around, strict=True) if key in others]
            mine = {hop.key for hop in hops}
            others = self._around(centre)
            if not any(
                mine <= more and others.keys() <= all_.keys()
                for more, all_ in zip(names, around, strict=True)
            ):
                yield hops, others

    def _around(self, contender: Contender) -> Mapping[str, Contender]:
        """Return who else is in the air of a contender, radios that follow where they are."""
        known, out = self.known, self.out
        near = conflicting_keys(self.w, contender)
        found = {key: known[key] for key in near if key not in out}
        found.update((one.key, one) for one in self.moved if conflict(self.w, contender, one))
        return found


def _silenced(w: Workings, lost: Failure) -> frozenset[str]:
    """Return the keys of the contenders that nobody is on any more."""
    key = lost.unit if lost.link is None else ("link", lost.link.name)
    return w.once(_silenced_by, key, lost)


def _silenced_by(w: Workings, lost: Failure) -> frozenset[str]:
    return frozenset(key for key, one in w.once(contenders).items() if lost.silences(one))


def _keys_by_radio(w: Workings) -> Mapping[Pointer, tuple[str, ...]]:
    """Return the contenders that each radio takes part in, by its place in the file."""
    found: dict[Pointer, list[str]] = {}
    for key, one in w.once(contenders).items():
        for radio in one.radios:
            found.setdefault(radio.pointer, []).append(key)
    return {pointer: tuple(keys) for pointer, keys in found.items()}


def _followers(w: Workings, way: Sequence[Contender]) -> Mapping[Pointer, Radio]:
    """Return the radios that a new way sets to another channel, by their place in the file."""
    return {
        stated.pointer: radio
        for contender in way
        if contender.link is not None
        for stated, radio in zip(radios_of(w, contender.link), contender.radios, strict=True)
        if stated is not radio
    }


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
    return all(unit in below for unit in contender.units)


def _turn(w: Workings, contender: Contender) -> Turns:
    link = contender.link
    return () if link is None else ((1.0, radio_hop(w, link).exchange),)


def _all_asked(w: Workings, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that all ask of a contender."""
    return w.once(_asked_in_all, contender.key, contender.key)


def _asked_in_all(w: Workings, key: str) -> float:
    return math.fsum(entry.percent for entry in traffic(w, w.once(contenders)[key])) / 100


def _others_asked(w: Workings, unit: Unit, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that others than those behind a unit ask for."""
    link = contender.link
    if link is None:
        return _all_asked(w, contender)
    if not any(link is mine for mine in w.once(tree).way(unit.name)):
        return w.once(share_behind, link.name, link)
    return airtime_share(w, link, _others(w, unit, link))


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

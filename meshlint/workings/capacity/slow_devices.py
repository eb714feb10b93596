"""What slow devices of a radio cost the others on it.

The standard gives each sender equal turns, not equal time (IEEE 802.11-2020 10.23), so that a slow
device takes more of the air than the others, and brings all down to its own rate when all have
something to send: the performance anomaly (Heusse, Rousseau, Berger-Sabbatel, Duda, INFOCOM 2003).
A unit with airtime fairness shares out the time that it sends in by device, and so spares the
others what it sends to slow ones; what those send takes its time as before. Where devices of
802.11b are on a radio, a frame that they hear goes before each turn of the others, too.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.traffic import BULK
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import active, asked_mbps
from meshlint.workings.links.last_hop import LAST_HOP, devices_on, frames_each_way
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import stated_clients

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.physics.traffic import Frames
    from meshlint.site.model import Radio
    from meshlint.workings.links.last_hop import OnAir
    from meshlint.workings.site_workings import Workings

ANOMALY = f"equal turns of all that send (Heusse et al., INFOCOM 2003); {LAST_HOP}"

SLOW: Final = 1 / 3
"""Slow is who has less than a third of the fastest group's rate on a radio, where no more devices
are slow than are not: our convention."""


class _Group(Struct, frozen=True):
    """The devices of a group on a radio, and what they get alone and with full frames."""

    part: OnAir
    mbps: float

    @property
    def active(self) -> float:
        """Return how many of them are active and hold a rate."""
        return active(self.part.devices) * self.part.served_part

    @property
    def name(self) -> str:
        """Return the group's name."""
        return self.part.devices.group.name


class _Mix(Struct, frozen=True):
    """The groups on a radio, the slow ones apart; `fastest` is the measure of them all."""

    slow: tuple[_Group, ...]
    others: tuple[_Group, ...]
    fastest: _Group


def _mix(w: Workings, radio: Radio) -> _Mix | None:
    """Return the groups of a radio; None where fewer than two are on it."""
    return w.once(_mixed, radio.pointer, radio)


def _mixed(w: Workings, radio: Radio) -> _Mix | None:
    if not may_serve_clients(radio) or not _may_have_two(w, radio):
        return None
    found = [
        _Group(part, hop.goodput_mbps)
        for part in devices_on(w, radio)
        if active(part.devices) and (hop := part.unprotected.hop()) is not None
    ]
    if len(found) < 2:
        return None
    fastest = max(found, key=lambda group: group.mbps)
    slow = tuple(group for group in found if group.mbps < SLOW * fastest.mbps)
    others = tuple(group for group in found if group not in slow)
    if math.fsum(x.active for x in slow) > math.fsum(x.active for x in others):
        # Where most are as slow nobody holds the others up: a few are near, and the rest are not.
        return _Mix((), tuple(found), fastest)
    return _Mix(slow, others, fastest)


def _may_have_two(w: Workings, radio: Radio) -> bool:
    """Return whether two groups could be on a radio, as far as the file tells without levels."""
    groups = [
        group
        for group in stated_clients(w.site)
        if group.count
        and group.active_share != 0
        and group.wired_to is None
        and group.near in (None, radio.unit)
        and group.band in (None, radio.band)
    ]
    return len(groups) > 1


def _rate(part: OnAir, frames: Frames, *, protected: bool = True) -> float:
    hop = (part if protected else part.unprotected).hop(frames)
    return math.inf if hop is None else hop.goodput_mbps


def _ways(part: OnAir) -> list[tuple[float, Frames]]:
    """Return what devices that hold a rate ask for, down and up, and in which frames."""
    asked = (mbps * part.served_part for mbps in asked_mbps(part.devices))
    return list(zip(asked, frames_each_way(part.devices.group), strict=True))


def _beyond(slow: OnAir, fastest: OnAir, *, only_up: bool) -> float:
    """Return what a slow group asks of the air beyond the same traffic at the fastest's rate."""
    return math.fsum(
        mbps / _rate(slow, frames) - mbps / _rate(fastest, frames, protected=False)
        for mbps, frames in _ways(slow)[1 if only_up else 0 :]
    )


def _protection(mix: _Mix) -> float:
    """Return what the frame before each turn of those who are not slow takes of the air."""
    return math.fsum(
        mbps / _rate(group.part, frames) - mbps / _rate(group.part, frames, protected=False)
        for group in mix.others
        for mbps, frames in _ways(group.part)
    )


@fact(
    "radio.airtime_fairness",
    Kind.TRUTH,
    "whether the file says that the radio shares out the time that it sends in by device",
    source=STATED,
)
def airtime_fairness(_: Workings, radio: Radio) -> bool:
    return radio.airtime_fairness is True


@fact(
    "radio.slow_groups",
    Kind.TEXTS,
    "groups on it that have less than a third of the fastest group's rate",
    source=LAST_HOP,
)
def slow_groups(w: Workings, radio: Radio) -> tuple[str, ...]:
    mix = _mix(w, radio)
    return () if mix is None else tuple(dict.fromkeys(group.name for group in mix.slow))


@fact(
    "radio.slow_cost_percent",
    Kind.NUMBER,
    "what these take of the air from the others: beyond the same traffic at the fastest group's "
    "rate, and the protection that 802.11b makes the others send; only what they send themselves "
    "where the radio shares out its time by device",
    source=ANOMALY,
    unit="%",
)
def slow_cost_percent(w: Workings, radio: Radio) -> float:
    mix = _mix(w, radio)
    if mix is None or not mix.slow:
        return 0.0
    fair = radio.airtime_fairness is True
    beyond = (_beyond(group.part, mix.fastest.part, only_up=fair) for group in mix.slow)
    return 100 * (math.fsum(beyond) + _protection(mix))


@fact(
    "radio.slow_protection_percent",
    Kind.NUMBER,
    "the part of that which protection takes",
    source="CTS-to-self of IEEE 802.11-2020 10.3.2.8 before each turn, at the lowest basic rate",
    unit="%",
)
def slow_protection_percent(w: Workings, radio: Radio) -> float:
    mix = _mix(w, radio)
    return 0.0 if mix is None or not mix.slow else 100 * _protection(mix)


def _equal_mbps(groups: Iterable[_Group], *, protected: bool = True) -> float:
    """Return what each device gets when all always send and have equal rates."""
    return 1 / math.fsum(
        group.active / _rate(group.part, BULK, protected=protected) for group in groups
    )


@fact(
    "radio.slow_takes_percent",
    Kind.NUMBER,
    "what the slow ones take of the air when all always have something to send",
    source=ANOMALY,
    unit="%",
)
def slow_takes_percent(w: Workings, radio: Radio) -> float:
    mix = _mix(w, radio)
    if mix is None or not mix.slow:
        return 0.0
    each = _equal_mbps((*mix.slow, *mix.others))
    return 100 * each * math.fsum(group.active / _rate(group.part, BULK) for group in mix.slow)


@fact(
    "radio.with_slow_mbps",
    Kind.NUMBER,
    "what each device on it gets then",
    source=ANOMALY,
    unit="Mb/s",
    digits=1,
)
def with_slow_mbps(w: Workings, radio: Radio) -> float:
    mix = _mix(w, radio)
    return 0.0 if mix is None else _equal_mbps((*mix.slow, *mix.others))


@fact(
    "radio.without_slow_mbps",
    Kind.NUMBER,
    "what each of the others would get without the slow ones",
    source=ANOMALY,
    unit="Mb/s",
    digits=1,
)
def without_slow_mbps(w: Workings, radio: Radio) -> float:
    mix = _mix(w, radio)
    return 0.0 if mix is None else _equal_mbps(mix.others, protected=False)

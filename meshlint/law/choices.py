"""Which channels a site could use instead, and which is best.

Law decides what is permitted, radar duty and what is heard decide the order.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from meshlint.law.power import PowerLimit, excess_db, power_limit
from meshlint.law.radar_duty import availability_check_s, radar_shared_mhz, radar_unflagged_mhz
from meshlint.law.regulatory import permission
from meshlint.physics.channels import CENTRES, Channel, SpanLike, all_channels, overlap_mhz

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meshlint.law.classes import PowerClass
    from meshlint.law.regulatory import Country

# Something on the air and how much it matters, in any one unit (airtime share, number of networks).
Heard: TypeAlias = tuple[SpanLike, float]


class ChannelChoice(Struct, frozen=True):
    """A permitted channel and what speaks for and against it.

    `heard` is the sum of weight x overlap in MHz over everything heard; `check_s` None without
    radar duty; `indoor_only` matters where it is not known whether the unit stands outdoors.
    `unflagged_mhz` is how much of it lies where the table may lack the radar duty, and
    `turn_down_db` by how much a radio would have to be turned down to be lawful there, 0 where its
    power is lawful, not stated, or capped by itself.
    """

    channel: Channel
    radar_shared_mhz: float
    check_s: int | None
    limit: PowerLimit
    heard: float
    indoor_only: bool
    unflagged_mhz: float = 0.0
    turn_down_db: float = 0.0

    @property
    def clear(self) -> bool:
        """Free of radar duty, and known to be."""
        return self.radar_shared_mhz == 0 and self.unflagged_mhz == 0


class Sender(Struct, frozen=True):
    """What the law asks of an access point's radio besides its channel, and what it can do.

    `tunes` are the 20 MHz channels of its band that it can be set to, None where it is not known to
    be held to any. Power is stated as radiated power alone, or with what leaves the radio itself.
    """

    outdoors: bool | None
    power_class: PowerClass | None = None
    power_control: bool | None = None
    registered: bool | None = None
    tunes: frozenset[int] | None = None
    radiated_dbm: float | None = None
    conducted_dbm: float | None = None

    def can_tune(self, channel: Channel) -> bool:
        """Return whether it can be set to a channel: to every 20 MHz piece of it."""
        return self.tunes is None or self.tunes.issuperset(channel.members)

    def limit(self, law: Country, channel: Channel) -> PowerLimit | None:
        """Return its limit on a channel, None where it may start no network there."""
        return power_limit(
            law, channel, self.outdoors, self.power_class, self.power_control, self.registered
        )

    def turn_down_db(self, limit: PowerLimit) -> float:
        """Return by how many dB its power is above a limit; 0 where it is not known to be."""
        if self.radiated_dbm is None:
            return 0.0
        if self.conducted_dbm is None:
            excess = self.radiated_dbm - limit.eirp_dbm
        else:
            gain_dbi = self.radiated_dbm - self.conducted_dbm
            excess = excess_db(limit, self.conducted_dbm, gain_dbi)
        return max(0.0, round(excess, 6))


class ClearChoice(Struct, frozen=True):
    """The best clear channel, and how much narrower it is than the width asked for."""

    choice: ChannelChoice
    narrower_by_mhz: int


def widths_mhz(band: float) -> tuple[int, ...]:
    """Return the widths that a band has, narrowest first."""
    return tuple(sorted(CENTRES[band]))


def choices(
    law: Country,
    band: float,
    width_mhz: int,
    *,
    outdoors: bool | None,
    heard: Sequence[Heard] = (),
    power_class: PowerClass | None = None,
    power_control: bool | None = None,
) -> tuple[ChannelChoice, ...]:
    """Return the channels that an access point may use here at a width, best first.

    Clear of radar duty comes first, then radar duty that is known, then where the table may lack
    it; of these where a radio need not be turned down, then the least heard, then the higher power
    limit, then the lower frequency. With `outdoors=None` channels that are open indoors are listed
    and marked.
    """
    found = lawful(law, band, width_mhz, Sender(outdoors, power_class, power_control))
    return _weighed(found, heard) if heard else found


def _weighed(found: Sequence[ChannelChoice], heard: Sequence[Heard]) -> tuple[ChannelChoice, ...]:
    """Return choices with what is heard on each, best first."""
    with_heard = (
        replace(c, heard=sum((w * overlap_mhz(span, c.channel) for span, w in heard), 0.0))
        for c in found
    )
    return tuple(sorted(with_heard, key=_order))


def _order(choice: ChannelChoice) -> tuple[bool, bool, bool, float, float, float]:
    return (
        choice.unflagged_mhz > 0,
        not choice.clear,
        choice.turn_down_db > 0,
        choice.heard,
        -choice.limit.eirp_dbm,
        choice.channel.low_mhz,
    )


@cache
def lawful(law: Country, band: float, width_mhz: int, sender: Sender) -> tuple[ChannelChoice, ...]:
    """Return the channels that an access point may use here at a width, nothing heard on any."""
    found = []
    for channel in all_channels(band, width_mhz):
        if not sender.can_tune(channel):
            continue
        verdict = permission(law, channel, sender.outdoors, sender.power_class, sender.registered)
        limit = sender.limit(law, channel)
        if verdict.allowed and limit is not None:
            found.append(
                ChannelChoice(
                    channel=channel,
                    radar_shared_mhz=radar_shared_mhz(law, channel),
                    check_s=availability_check_s(law, channel),
                    limit=limit,
                    heard=0.0,
                    indoor_only=verdict.indoor_only,
                    unflagged_mhz=radar_unflagged_mhz(law, channel),
                    turn_down_db=sender.turn_down_db(limit),
                )
            )
    return tuple(sorted(found, key=_order))


def common_choices(
    law: Country,
    band: float,
    width_mhz: int,
    senders: Sequence[Sender],
    heard: Sequence[Heard] = (),
) -> tuple[ChannelChoice, ...]:
    """Return the channels that every one of some radios may use where it stands, best first.

    The power limit of each is the lowest of theirs, and `turn_down_db` that of the radio that must
    be turned down most. Raises `ValueError` without a radio.
    """
    if not senders:
        raise ValueError("no radio to find a channel for")
    shared = _in_common(law, band, width_mhz, tuple(dict.fromkeys(senders)))
    return _weighed(shared, heard) if heard else shared


@cache
def _in_common(
    law: Country, band: float, width_mhz: int, senders: tuple[Sender, ...]
) -> tuple[ChannelChoice, ...]:
    found = [
        {choice.channel: choice for choice in lawful(law, band, width_mhz, sender)}
        for sender in senders
    ]
    shared = [
        _for_all([theirs[channel] for theirs in found])
        for channel in found[0]
        if all(channel in theirs for theirs in found)
    ]
    return tuple(sorted(shared, key=_order))


def _for_all(theirs: list[ChannelChoice]) -> ChannelChoice:
    """Return one channel as several radios have it: the lowest limit, the most to turn down by."""
    lowest = min(theirs, key=lambda choice: choice.limit.eirp_dbm)
    most_db = max(choice.turn_down_db for choice in theirs)
    return replace(lowest, turn_down_db=most_db) if most_db else lowest


def best_clear(
    law: Country,
    band: float,
    width_mhz: int,
    senders: Sequence[Sender],
    *,
    heard: Sequence[Heard] = (),
    usable: Callable[[Channel], bool] = lambda _: True,
) -> ClearChoice | None:
    """Return the best channel clear of radar duty that all may use, as wide as a width allows.

    `usable` leaves channels out (those of the site's other radios, say). None where the band has no
    clear channel at any width up to the one asked for.
    """
    for width in reversed(widths_mhz(band)):
        if width > width_mhz:
            continue
        for choice in common_choices(law, band, width, senders, heard):
            if choice.clear and usable(choice.channel):
                return ClearChoice(choice, width_mhz - width)
    return None

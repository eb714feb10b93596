"""The one account of an air's time: what is asked of it, what is gone before, and what is left.

Beacons and other people's networks come off first. Of the rest contention leaves a share that falls
with every sender and depends on how their turns are made. Ledger, fair shares, scenarios and the
ways left after a loss all keep this account, each with the loads that it is about.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.capacity import contention

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meshlint.physics.mac import Exchange


Turns = tuple[tuple[float, "Exchange"], ...]
"""How many senders take turns of a kind; none where turns only add a kind of another's."""


class Load(Struct, frozen=True):
    """What a contender takes of an air's time (shares, 0 to 1), and the turns of its senders.

    `foreign` is what other people's networks take at its radios: that is one thing for all who
    hear them, and does not add up.
    """

    share: float = 0.0
    names: float = 0.0
    foreign: float = 0.0
    turns: Turns = ()


class DomainLoad(Struct, frozen=True):
    """What all ask of an air, what names and foreign networks take of it, and who takes turns."""

    asked: float
    names: float
    foreign: float
    count: float
    turns: frozenset[Exchange]

    @property
    def kept(self) -> float:
        """Return the share that contention leaves when all have something to send."""
        return min((contention(max(1.0, self.count), x) for x in self.turns), default=1.0)

    @property
    def room(self) -> float:
        """Return the share of the air's time that there is for traffic."""
        return max(0.0, 1 - self.names - self.foreign) * self.kept

    @property
    def spare(self) -> float:
        """Return the share that is left when all have what they ask for."""
        return max(0.0, self.room - self.asked)

    @property
    def fullness(self) -> float:
        """Return what is asked as a share of what there is."""
        if self.asked <= 0:
            return 0.0
        return self.asked / self.room if self.room > 0 else math.inf

    def with_others(self, less: Sequence[Load], more: Sequence[Load]) -> DomainLoad:
        """Return the air once some have left it and others come; at least as full as it is then.

        Turns and foreign networks that nobody of it has any more still count.
        """
        asked = math.fsum((self.asked, *(x.share for x in more), *(-x.share for x in less)))
        foreign = max((self.foreign, *(load.foreign for load in more)))
        come = frozenset(turn for load in more for _, turn in load.turns)
        count = math.fsum((self.count, _senders(more), -_senders(less)))
        return DomainLoad(asked, self.names, foreign, count, self.turns | come)


def domain_load(loads: Iterable[Load]) -> DomainLoad:
    """Return what contenders that share one air take of it together."""
    loads = tuple(loads)
    return DomainLoad(
        math.fsum(load.share for load in loads),
        math.fsum(load.names for load in loads),
        max((load.foreign for load in loads), default=0.0),
        _senders(loads),
        frozenset(turn for load in loads for _, turn in load.turns),
    )


def _senders(loads: Iterable[Load]) -> float:
    return math.fsum(count for load in loads for count, _ in load.turns)

"""How full an air is, and how full it would be with some of those on it gone and others come."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.capacity import contention

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.physics.mac import Exchange


class Load(Struct, frozen=True):
    """What a contender asks of an air, as a share (0 to 1) of its time, and how it takes turns.

    `foreign` is what other people's networks take of the air at its radios.
    """

    share: float
    turns: tuple[Exchange, ...]
    foreign: float


class DomainLoad(Struct, frozen=True):
    """What all ask of an air, what names and foreign networks take of it, and who takes turns."""

    asked: float
    names: float
    foreign: float
    count: int
    turns: frozenset[Exchange]

    @property
    def fullness(self) -> float:
        """Return what is asked as a share of what there is."""
        if self.asked <= 0:
            return 0.0
        kept = min((contention(self.count, turn) for turn in self.turns), default=1.0)
        there = (1 - self.names - self.foreign) * kept
        return self.asked / there if there > 0 else math.inf

    def with_others(self, less: Sequence[Load], more: Sequence[Load]) -> DomainLoad:
        """Return the air once some have left it and others come; at least as full as it is then.

        Turns and foreign networks that nobody of it has any more still count.
        """
        come = [turn for load in more for turn in load.turns]
        left = sum(len(load.turns) for load in less)
        asked = math.fsum((self.asked, *(x.share for x in more), *(-x.share for x in less)))
        foreign = max((self.foreign, *(load.foreign for load in more)))
        count = self.count - left + len(come)
        return DomainLoad(asked, self.names, foreign, count, self.turns | {*come})

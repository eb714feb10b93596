"""Max-min fair shares of what clients use together.

Progressive filling (Bertsekas and Gallager, "Data Networks", 1992, 6.5.2): all clients' rates rise
together, each by its weight; a client stops when it has what it wants, and all that need a resource
stop when that is full. Nobody could be given more without taking from somebody who has no more.
"""

from __future__ import annotations

import heapq
import math
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

_CANCELLED = 1e-9
"""Below this part of its first value a difference of sums is worked out anew."""
_SAME = 1 - 1e-12


class Flow(NamedTuple):
    """What each of so many like clients wants one way, and what a Mb/s of it takes where.

    ``uses`` gives for each resource the share of it that one Mb/s takes: 1 / goodput for each hop.
    ``weight`` is how fast its rate rises next to others' (1): where time is shared out by device,
    and not rates, those who send faster have more in the same time.
    """

    count: float  # type: ignore[assignment]
    wanted_mbps: float
    uses: Mapping[str, float]
    weight: float = 1.0


class Share(NamedTuple):
    """What each client of a flow gets, and the resource that stops it there, if one does."""

    rate_mbps: float
    bottleneck: str | None


def max_min(flows: Sequence[Flow], room: Mapping[str, float]) -> tuple[Share, ...]:
    """Return the max-min fair shares of the clients of each flow, none above what it wants.

    ``room`` says how much there is of each resource that a flow names. Cost grows as the sum of
    all uses, times its logarithm.
    """
    filling = _Filling(flows, room)
    filling.run()
    return tuple(share for share in filling.shares if share is not None)


class _Filling:
    """The rates on their way up."""

    def __init__(self, flows: Sequence[Flow], room: Mapping[str, float]) -> None:
        self.flows = flows
        self.room = room
        self.shares: list[Share | None] = [None] * len(flows)
        self.users: dict[str, list[int]] = {}
        for at, flow in enumerate(flows):
            for name in _used(flow):
                self.users.setdefault(name, []).append(at)
        self.speed = {name: self._speed(name) for name in self.users}
        self.first = dict(self.speed)
        self.settled = dict.fromkeys(self.users, 0.0)
        # Entries are (level, is a resource, its name, the flow): a want before a resource at the
        # same level, so that a client that has all it wants has no bottleneck.
        self.queue = [(flow.wanted_mbps / flow.weight, 0, "", at) for at, flow in enumerate(flows)]
        self.queue += [(self._full_at(name), 1, name, -1) for name in self.users]
        heapq.heapify(self.queue)

    def run(self) -> None:
        while self.queue:
            level, is_resource, name, at = heapq.heappop(self.queue)
            if not is_resource:
                self._stop([at], level, None)
            elif self.speed[name] > 0 and level >= self._full_at(name) * _SAME:
                self._stop(self.users[name], max(0.0, level), name)

    def _stop(self, rising: Iterable[int], level: float, cause: str | None) -> None:
        for at in rising:
            if self.shares[at] is None:
                flow = self.flows[at]
                self.shares[at] = Share(_rate_mbps(flow, level, cause), cause)
                for name in _used(flow):
                    self._settle(name, flow, level)

    def _settle(self, name: str, flow: Flow, level: float) -> None:
        use = flow.count * flow.uses[name] * flow.weight
        self.settled[name] += use * level
        self.speed[name] -= use
        if self.speed[name] < self.first[name] * _CANCELLED:
            self.speed[name] = self._speed(name)
        if self.speed[name] > 0:
            heapq.heappush(self.queue, (max(level, self._full_at(name)), 1, name, -1))

    def _full_at(self, name: str) -> float:
        return (self.room[name] - self.settled[name]) / self.speed[name]

    def _speed(self, name: str) -> float:
        """Return how fast a resource fills as the rates of its clients that still rise do."""
        flows = (self.flows[at] for at in self.users[name] if self.shares[at] is None)
        return math.fsum(flow.count * flow.uses[name] * flow.weight for flow in flows)


def _rate_mbps(flow: Flow, level: float, cause: str | None) -> float:
    """Return the rate of a flow that stops at a level; what it wants where nothing stops it."""
    return flow.wanted_mbps if cause is None else level * flow.weight


def _used(flow: Flow) -> Iterable[str]:
    return (name for name, use in flow.uses.items() if use > 0 and flow.count > 0)

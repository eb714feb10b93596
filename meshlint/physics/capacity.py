"""How transmissions that take turns share their air: collision domains, cliques, paths.

Nothing here knows a site. A *taker* is whoever takes turns on some air; two takers conflict when
either end of one hears either end of the other.

* The *collision domain* of a taker is itself and every taker that it conflicts with. What all of
  them need together must fit into the time there is (Jun and Sichitiu, "The Nominal Capacity of
  Wireless Mesh Networks", IEEE Wireless Communications 10(5), 2003). The domain's members need not
  all conflict with each other, so the sum asks for too much where air can be used twice at once:
  a rate that fits is safe, and more may be possible.
* A *clique* is a set of takers that all conflict with each other: they can never overlap, so no
  schedule delivers more than a clique allows. Any clique gives a ceiling, the heaviest the lowest.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple, TypeVar

from meshlint.physics.bianchi import contention_share, saturation_mbps, taking_turns_mbps
from meshlint.physics.mac import exchange

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from meshlint.physics.mac import Exchange
    from meshlint.physics.phy import LegacyMode, Mode

Taker = TypeVar("Taker", bound=str)

TEST_FRAME_BITS: Final = 8192  # IEEE 802.11-2020 14.9, airtime link metric
_METRIC_UNIT_US: Final = 10.24  # 0.01 of a time unit of 1024 us, the same clause

# MTU 1500: 1472 octets of UDP payload in 1538 on the wire (header 14, check 4, preamble 8, gap 12).
ETHERNET_EFFICIENCY: Final = 1472 / 1538  # IEEE 802.3 clauses 3 and 4


class Hop(NamedTuple):
    """One transmission: what it carries with nobody else on the air, and the shape of its turns.

    `mode` is how it sends and `band` where, None where only its goodput is known.
    """

    goodput_mbps: float
    exchange: Exchange
    mode: Mode | LegacyMode | None = None
    band: float | None = None


@cache
def contention(contenders: int, turn: Exchange) -> float:
    """Return the share (0 to 1) of the air's use that is left when so many senders contend for it.

    Bianchi's saturation throughput against one sender's; no credit where short turns would gain.
    """
    return min(1.0, contention_share(contenders, turn))


def in_turn_mbps(hops: Sequence[Hop]) -> float:
    """Return what one flow gets over hops that all take turns, contention counted, in Mb/s.

    As `bianchi.path_goodput_mbps`, for hops of which the goodput may be measured.
    """
    bound_mbps = taking_turns_mbps(hop.goodput_mbps for hop in hops)
    return bound_mbps * min(contention(len(hops), hop.exchange) for hop in hops)


CAREFUL_ALONE: Final = 0.75
CAREFUL_IN_TURN: Final = 0.7
"""What a careful estimate keeps of the model's figure: for a hop that waits for no other of its
path, and for hops that take turns.

Below every row of full frames that we hold. ns-3 3.44 over one hop: 0.84 (802.11ac) and 0.85
(802.11ax) of the model's figure with TCP, whose answers use the same air, and 0.94 and 0.76 where
equipment sends at most 64 KiB in a turn. Hops that take turns: 0.82 and 0.81 with TCP over
two and three, 0.79 and 0.81 over three and four of 802.11ax with a source that sends without
restraint, 0.91 on average and 0.74 in the worst run over five of which some are hidden from each
other. The rest is for what these runs may be off by, 3 to 10 %."""


def path_mbps(
    hops: Sequence[Hop], conflicts: Collection[tuple[int, int]], taken: Sequence[float] = ()
) -> tuple[float, float]:
    """Return (floor, ceiling) in Mb/s of one flow end to end over radio hops.

    ``conflicts`` holds pairs (i, j), i < j, of hops that cannot be used at once. The ceiling lets
    each hop wait only for those that conflict with each other (the worst clique found). The floor
    lets it wait for every hop that it conflicts with (its collision domain), and keeps of that what
    `CAREFUL_ALONE` and `CAREFUL_IN_TURN` say; a hop of which only a measurement is known keeps all
    of it while it waits for no other. ``taken`` is the share of the time (0 to 1) that others take
    on each hop's air, none by default; hops that take turns have what the busiest of them leaves.
    Raises ValueError without hops.
    """
    beside = _beside(len(hops), conflicts)

    def mbps(members: Collection[int]) -> float:
        left = 1 - max((taken[j] for j in members), default=0.0) if taken else 1.0
        return max(0.0, left) * in_turn_mbps([hops[j] for j in sorted(members)])

    floor_mbps = min(_careful(hops, domain) * mbps(domain) for domain in beside)
    return floor_mbps, min(mbps(clique) for clique in cliques_along(beside))


def _careful(hops: Sequence[Hop], domain: Collection[int]) -> float:
    """Return which part of the model's figure for a collision domain a careful estimate keeps."""
    if len(domain) > 1:
        return CAREFUL_IN_TURN
    (alone,) = domain
    return 1.0 if hops[alone].mode is None else CAREFUL_ALONE


def most_in_turn(count: int, conflicts: Collection[tuple[int, int]]) -> int:
    """Return how many of so many hops on a path can never be used at once, where it is worst."""
    return max(map(len, cliques_along(_beside(count, conflicts))), default=0)


def _beside(count: int, conflicts: Collection[tuple[int, int]]) -> list[set[int]]:
    return [
        {j for j in range(count) if j == i or (min(i, j), max(i, j)) in conflicts}
        for i in range(count)
    ]


def cliques_along(beside: Sequence[Collection[int]]) -> tuple[tuple[int, ...], ...]:
    """Return a clique around each hop of a path, grown in the order of the path.

    ``beside`` gives for each hop those that it conflicts with, itself among them. In a chain, where
    hops conflict up to so many hops apart, the largest clique is among them. The order makes sure
    that a further hop at the end takes no clique away, so that it never helps.
    """
    found = []
    for seed in range(len(beside)):
        taken = [seed]
        for hop in sorted(beside[seed]):
            if hop != seed and all(hop in beside[other] for other in taken):
                taken.append(hop)
        found.append(tuple(sorted(taken)))
    return tuple(dict.fromkeys(found))


def heavy_clique(
    members: Iterable[Taker],
    weights: Mapping[Taker, float],
    domains: Mapping[Taker, Collection[Taker]],
) -> tuple[Taker, ...]:
    """Return a heavy set of members that all conflict with each other, heaviest first.

    Greedy: each in turn, heaviest first, if it conflicts with all taken so far. The heaviest
    clique of all is costly to find; any clique is a valid ceiling.
    """
    taken: list[Taker] = []
    for taker in sorted(members, key=lambda taker: (-weights[taker], taker)):
        if all(other in domains[taker] for other in taken):
            taken.append(taker)
    return tuple(taken)


def bottleneck(
    loads: Mapping[Taker, float], domains: Mapping[Taker, Collection[Taker]]
) -> tuple[Taker, float]:
    """Return the taker with the fullest collision domain, and what that domain's members need.

    The first of equals. Raises ValueError where nobody takes turns.
    """
    sums = {
        taker: math.fsum(loads[other] for other in sorted(domain))
        for taker, domain in domains.items()
    }
    worst = max(sums, key=lambda taker: sums[taker])
    return worst, sums[worst]


def airtime_metric(rate_mbps: float, overhead_us: float, frame_error: float = 0.0) -> float:
    """Return the airtime link metric of IEEE 802.11-2020 14.9, in units of 0.01 TU (10.24 us).

    c = (O + Bt / r) / (1 - e): the airtime of a test frame of 8192 bits; ``frame_error`` is the
    share of frames lost, below 1. The overhead is the implementation's own. Clause from memory,
    formula and unit also in ns-3 (`airtime-metric.h`).
    """
    if not (rate_mbps > 0 and 0 <= frame_error < 1):
        message = f"a rate is above 0 and a loss below 1, not {rate_mbps}, {frame_error}"
        raise ValueError(message)
    return (overhead_us + TEST_FRAME_BITS / rate_mbps) / (1 - frame_error) / _METRIC_UNIT_US


def overhead_us(rate_mbps: float, goodput_mbps: float) -> float:
    """Return what a test frame costs beyond its bits at the data rate, aggregation counted in.

    The share of preambles, waiting and acknowledgement that falls on 8192 bits of payload, so that
    the metric of a link is the airtime that its payload really takes.
    """
    return TEST_FRAME_BITS * (1 / goodput_mbps - 1 / rate_mbps)


def frame_latency_us(mode: Mode | LegacyMode, band: float) -> float:
    """Return the time in microseconds from a frame's arrival at a sender until it is acknowledged.

    One frame of 1500 octets on an idle air: the wait, the mean first backoff, the frame, its
    acknowledgement.
    """
    alone = exchange(mode, band, most_frames=1)
    return alone.success_us + (alone.window - 1) / 2 * alone.slot_us


def turn_us(contenders: int, turn: Exchange) -> float:
    """Return the mean time in microseconds between two turns of one of so many busy senders."""
    return contenders * turn.payload_bits / saturation_mbps(contenders, turn)

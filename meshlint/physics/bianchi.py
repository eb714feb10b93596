"""What several senders that always have something to send get out of one shared air.

Giuseppe Bianchi, "Performance Analysis of the IEEE 802.11 Distributed Coordination Function",
IEEE Journal on Selected Areas in Communications 18(3), 2000: every sender tries in a slot with a
probability tau, and finds it taken with a probability p that follows from everybody's tau. All
senders hear each other and nothing else is lost. Equation numbers from memory.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.mac import LARGEST_WINDOW

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meshlint.physics.mac import Exchange


class Turn(Struct, frozen=True):
    """How long each outcome of a slot lasts, in microseconds, and what a success carries.

    Bits over microseconds give Mb/s; a payload given in microseconds gives the share of the air.
    """

    payload: float
    success_us: float
    collision_us: float
    slot_us: float


def attempt_probability(contenders: int, window: int, doublings: int) -> tuple[float, float]:
    """Return tau and p: how often a sender tries in a slot, and how often it then collides.

    Solves eqs (7) and (9): tau = 2 / (1 + W + p W sum (2p)^i, i = 0 .. m-1), p = 1 - (1 -
    tau)^(n-1), W the first window in slots, m how often it doubles. The sum form has no gap at p
    = 1/2. tau falls as p grows and p grows with tau, so there is one solution; bisection finds it.
    """
    if contenders < 1:
        message = f"at least one sender contends, not {contenders}"
        raise ValueError(message)

    def reply(tau: float) -> tuple[float, float]:
        collided = 1 - (1 - tau) ** (contenders - 1)
        series = math.fsum((2 * collided) ** stage for stage in range(doublings))
        return 2 / (1 + window + collided * window * series), collided

    low, high = 0.0, 1.0
    while low < (middle := (low + high) / 2) < high:
        if reply(middle)[0] > middle:
            low = middle
        else:
            high = middle
    return high, reply(high)[1]


def saturation(contenders: int, turn: Turn, window: int, doublings: int) -> float:
    """Return what all senders together carry, payload over time (eq. (13))."""
    tau, _ = attempt_probability(contenders, window, doublings)
    idle = (1 - tau) ** contenders
    success = contenders * tau * (1 - tau) ** (contenders - 1)
    collision = max(0.0, 1 - idle - success)
    mean_us = idle * turn.slot_us + success * turn.success_us + collision * turn.collision_us
    return success * turn.payload / mean_us


def saturation_mbps(contenders: int, exchange: Exchange) -> float:
    """Return what so many equal best-effort senders carry together, in Mb/s of payload.

    A collision is taken to last as long as a success, since the losers wait out the
    acknowledgement that does not come (EIFS). One sender alone gets the exchange's own goodput.
    """
    turn = Turn(exchange.payload_bits, exchange.success_us, exchange.success_us, exchange.slot_us)
    doublings = round(math.log2(LARGEST_WINDOW / exchange.window))
    return saturation(contenders, turn, exchange.window, doublings)


def contention_share(contenders: int, exchange: Exchange) -> float:
    """Return what collisions and waiting leave of one sender's goodput, S(n) / S(1)."""
    return saturation_mbps(contenders, exchange) / saturation_mbps(1, exchange)


def taking_turns_mbps(goodputs_mbps: Iterable[float]) -> float:
    """Return what one flow gets end to end over hops that take turns, contention left out.

    1 / sum (1 / goodput): each bit needs the air once at every hop. The upper bound for hops that
    share one air; with h equal hops it is 1/h, and nothing where one carries nothing. Raises
    ValueError without hops.
    """
    hops_mbps = tuple(goodputs_mbps)
    if not hops_mbps:
        message = "a path over radio has at least one hop"
        raise ValueError(message)
    if not all(hops_mbps):
        return 0.0
    return 1 / math.fsum(1 / goodput_mbps for goodput_mbps in hops_mbps)


def path_goodput_mbps(hops: Sequence[Exchange]) -> float:
    """Return what one flow gets end to end over radio hops that all share one air, in Mb/s.

    Equal hops: S(h) / h, with as many contenders as hops. Unequal hops take turns by airtime and
    keep the contention share of the hop that loses most (our reading; Bianchi's senders are
    equal). With very short turns contenders waste fewer idle slots than one sender does, and S(h)
    exceeds S(1): no credit is given for that, so `taking_turns_mbps` stays the bound.

    ns-3 3.44 chains of 2 to 4 hops peak 1 to 9 % below it, and an unthrottled source loses up to
    15 % more. Hops beyond each other's carrier sense, or on separate air, do not share: give each
    group that does on its own, and take the smallest.
    """
    bound_mbps = taking_turns_mbps(hop.goodput_mbps for hop in hops)
    return bound_mbps * min(1.0, *(contention_share(len(hops), hop) for hop in hops))

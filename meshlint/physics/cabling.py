"""What a cable carries over a length: copper by category, fibre by grade and optics.

Lengths are of the whole channel, end to end. A copper run beyond the length that is sure may still
carry a rate if the installed run passes a test; both lengths stand in the table.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Optics = Literal["short-wave", "long-wave"]

CHANNEL_M = 100.0
"""Longest channel of balanced copper below category 8: ISO/IEC 11801-1; ANSI/TIA-568.2-D."""


class Reach(NamedTuple):
    """How far a rate is carried without a test, and at most with one, in metres; 0 is never."""

    sure_m: float
    tested_m: float


_NEVER = Reach(0, 0)
_WHOLE = Reach(CHANNEL_M, CHANNEL_M)
_IF_TESTED = Reach(0, CHANNEL_M)

# Category -> (Mb/s, reach), slowest first. A category carries nothing faster than its last row.
_COPPER: dict[str, tuple[tuple[float, Reach], ...]] = {
    # 100BASE-TX, IEEE 802.3 clause 25; 1000BASE-T on old category 5 after a test, TIA TSB-95 (from
    # memory).
    "5": ((100, _WHOLE), (1000, _IF_TESTED)),
    # 1000BASE-T, IEEE 802.3 clause 40. 2.5GBASE-T and 5GBASE-T run on it in "defined use cases and
    # configurations" (IEEE 802.3bz-2016), so the run is assessed by TIA TSB-5021; 10GBASE-T is not
    # supported (TIA TSB-155).
    "5e": ((1000, _WHOLE), (2500, _IF_TESTED), (5000, _IF_TESTED)),
    # 5GBASE-T to the 100 m objective of IEEE 802.3bz (detail from memory); 10GBASE-T to 37 m where
    # alien crosstalk is not controlled, 55 m at best: TIA TSB-155, ISO/IEC TR 24750.
    "6": ((5000, _WHOLE), (10000, Reach(37, 55))),
    # 10GBASE-T, IEEE 802.3an-2006, clause 55.
    "6a": ((10000, _WHOLE),),
    # No rate of IEEE 802.3 needs more than category 6A below category 8.
    "7": ((10000, _WHOLE),),
    "7a": ((10000, _WHOLE),),
    # 25GBASE-T and 40GBASE-T to 30 m, IEEE 802.3bq; clause 113 from memory.
    "8": ((10000, _WHOLE), (40000, Reach(30, 30))),
}

# Grade -> optics -> (Mb/s, longest metres). 1000BASE-SX and -LX: IEEE 802.3 clause 38; 10GBASE-SR
# and -LR: clause 52. The shorter figure where a grade has two. Long wave on multimode at 1 Gb/s
# needs a mode-conditioning cord; at 10 Gb/s it has no specified reach, and short wave on
# single-mode has none at all (from memory).
_FIBRE: dict[str, dict[Optics, tuple[tuple[float, float], ...]]] = {
    "om1": {"short-wave": ((1000, 220), (10000, 26)), "long-wave": ((1000, 550),)},
    "om2": {"short-wave": ((1000, 550), (10000, 82)), "long-wave": ((1000, 550),)},
    "om3": {"short-wave": ((1000, 550), (10000, 300)), "long-wave": ((1000, 550),)},
    "om4": {"short-wave": ((1000, 550), (10000, 400)), "long-wave": ((1000, 550),)},
    # As OM4 at 850 nm (from memory).
    "om5": {"short-wave": ((1000, 550), (10000, 400)), "long-wave": ((1000, 550),)},
    # 5 km is the standard's own figure at 1 Gb/s; 10 km is common of optics, not of the standard.
    "os1": {"short-wave": (), "long-wave": ((1000, 5000), (10000, 10000))},
    "os2": {"short-wave": (), "long-wave": ((1000, 5000), (10000, 10000))},
}


def is_fibre(category: str) -> bool:
    """Return whether a category is a grade of fibre."""
    return category in _FIBRE


def suiting_optics(category: str) -> Optics:
    """Return the optics made for a grade of fibre: short wave for multimode."""
    return "long-wave" if category.startswith("os") else "short-wave"


def reach(category: str, rate_mbps: float, optics: Optics | None = None) -> Reach | None:
    """Return how far the category carries a rate; `None` where nothing is published of it.

    A rate between two of Ethernet's is judged as the next faster one. `optics` counts on fibre
    alone; by default they suit it.
    """
    if category in _COPPER:
        rows = _COPPER[category]
        return next((found for fastest, found in rows if rate_mbps <= fastest), _NEVER)
    if category in _FIBRE:
        spans = _FIBRE[category][optics or suiting_optics(category)]
        longest = next((metres for fastest, metres in spans if rate_mbps <= fastest), 0.0)
        return Reach(longest, longest)
    return None


def fastest_mbps(category: str, length_m: float, optics: Optics | None = None) -> float | None:
    """Return the fastest Ethernet rate to count on without a test, in Mb/s, over a length.

    0 where the run is longer than any rate allows; `None` where nothing is published.
    """
    if category in _COPPER:
        sure = [(rate, found.sure_m) for rate, found in _COPPER[category] if found.sure_m]
        rates = [rate for rate, sure_m in sure if length_m <= sure_m]
    elif category in _FIBRE:
        spans = _FIBRE[category][optics or suiting_optics(category)]
        rates = [rate for rate, longest_m in spans if length_m <= longest_m]
    else:
        return None
    return max(rates, default=0.0)

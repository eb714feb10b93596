"""What a copper category carries over a length."""

from __future__ import annotations

CHANNEL_M = 100.0
"""Longest channel of balanced copper below category 8: ISO/IEC 11801-1; ANSI/TIA-568.2-D."""

# (category, longest channel in metres) -> Mb/s, fastest first.
_CARRIES: dict[str, tuple[tuple[float, float], ...]] = {
    # IEEE 802.3 clause 25; clause number from memory.
    "5": ((CHANNEL_M, 100.0),),
    # 1000BASE-T, IEEE 802.3 clause 40. 2.5GBASE-T needs a test of the installed run (TIA TSB-5021),
    # so it is not counted on.
    "5e": ((CHANNEL_M, 1000.0),),
    # 10GBASE-T to 37 m where alien crosstalk is not controlled, TIA TSB-155; beyond that
    # 5GBASE-T, the objective of IEEE 802.3bz.
    "6": ((37.0, 10000.0), (CHANNEL_M, 5000.0)),
    # IEEE 802.3an-2006, clause 55.
    "6a": ((CHANNEL_M, 10000.0),),
    "7": ((CHANNEL_M, 10000.0),),
    "7a": ((CHANNEL_M, 10000.0),),
    # IEEE 802.3bq to 30 m; clause 113 from memory.
    "8": ((30.0, 40000.0), (CHANNEL_M, 10000.0)),
}


def fastest_copper_mbps(category: str, length_m: float) -> float | None:
    """Return the fastest Ethernet rate to count on, in Mb/s, for a category and a length in metres.

    0 where the run is longer than any rate of the category allows; `None` where the category is
    not copper. Sources stand beside each row.
    """
    rows = _CARRIES.get(category)
    if rows is None:
        return None
    return next((rate for longest_m, rate in rows if length_m <= longest_m), 0.0)

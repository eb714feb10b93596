"""Which data rate a received level carries.

Two published tables answer it. The minimum input sensitivities of IEEE 802.11 are conformance
floors that a receiver must meet (noise figure 10 dB and implementation loss 5 dB assumed), 10 to
15 dB worse than good receivers manage: the default, since it promises nothing that a device may
not keep. Signal-to-noise tables with the receiver's stated noise figure are nearer to real
devices, and hold for a steady channel (AWGN): indoor fading asks for several dB more, which is
what the fade margin is for.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.noise import noise_floor_dbm
from meshlint.physics.phy import LEGACY_RATES_MBPS, LegacyMode, Mode, modes

if TYPE_CHECKING:
    from collections.abc import Iterable

# By MCS at 20 MHz; 10 % of 4096-octet frames lost. MCS 0-7: IEEE 802.11-2020 Table 19-23
# (802.11n); 0-9: Table 21-25 (802.11ac); 0-11: 802.11ax-2021 Table 27-51, also printed in a
# national radio-equipment regulation (docs.cntd.ru 902238635); 12 and 13: 802.11be-2024 36.3,
# where copies differ by 1 dB at MCS 13 (-46 or -47): the stricter for the receiver's user stands.
MINIMUM_SENSITIVITY_20_DBM: Final = (
    *(-82.0, -79.0, -77.0, -74.0, -70.0, -66.0, -65.0, -64.0),
    *(-59.0, -57.0, -54.0, -52.0, -49.0, -46.0),
)
_PER_DOUBLING_DB: Final = 3.0  # the same tables, all widths

# 10 % of 1000-octet frames lost. IEEE 802.11-2020 Table 17-18, from memory.
LEGACY_SENSITIVITY_DBM: Final[dict[float, float]] = {
    # 802.11b: 2 and 11 Mb/s of clauses 15.4.8.2 and 16.3.8.2 (8 % of 1024-octet frames; 11 Mb/s
    # second-hand, 2 from memory). The standard has no figure for 1 and 5.5 Mb/s: these stand as far
    # from 2 Mb/s as the signal to noise that they need does (0, 3 and 5 dB, from memory).
    1.0: -83.0,
    2.0: -80.0,
    5.5: -78.0,
    11.0: -76.0,
    6.0: -82.0,
    9.0: -81.0,
    12.0: -79.0,
    18.0: -77.0,
    24.0: -74.0,
    36.0: -70.0,
    48.0: -66.0,
    54.0: -65.0,
}

# Signal to noise in dB for 10 % of 1458-octet frames lost in a steady channel, by MCS, read off
# the error-rate tables of ns-3 3.44. Convolutional code (802.11n, 802.11ac) and LDPC (802.11ax on).
SNR_CONVOLUTIONAL_DB: Final = (0.86, 3.89, 6.37, 9.63, 12.72, 17.02, 18.31, 19.58, 23.65, 25.10)
SNR_LDPC_DB: Final = (
    *(-0.67, 2.34, 4.81, 7.87, 10.89, 15.08, 16.46, 17.99),
    *(21.64, 23.47, 26.78, 28.86),
)

_NARROWEST_MHZ = 20
_CONVOLUTIONAL = frozenset({"802.11n", "802.11ac"})


class RateSetting(Struct, frozen=True):
    """A way to send, its data rate and the level it needs at the receiver."""

    mode: Mode | LegacyMode
    rate_mbps: float
    needed_dbm: float


def needed_level_dbm(mode: Mode, noise_figure_db: float | None = None) -> float:
    """Return the level in dBm that a mode needs.

    Without a noise figure the standard's minimum sensitivity; with one, thermal noise plus noise
    figure plus the signal-to-noise table. That ends at MCS 11; what 12 and 13 need above it is what
    the standard asks for above it. The figures are for one stream and used for any number, the
    level being the sum over the receiver's antennas.
    """
    if noise_figure_db is None:
        doublings = math.log2(mode.width_mhz / _NARROWEST_MHZ)
        return MINIMUM_SENSITIVITY_20_DBM[mode.mcs] + _PER_DOUBLING_DB * doublings
    table = SNR_CONVOLUTIONAL_DB if mode.generation in _CONVOLUTIONAL else SNR_LDPC_DB
    last = min(mode.mcs, len(table) - 1)
    more_db = MINIMUM_SENSITIVITY_20_DBM[mode.mcs] - MINIMUM_SENSITIVITY_20_DBM[last]
    return noise_floor_dbm(mode.width_mhz, noise_figure_db) + table[last] + more_db


@cache
def settings(
    generation: str, width_mhz: int, streams: int, noise_figure_db: float | None = None
) -> tuple[RateSetting, ...]:
    """Return every way to send on a channel of this width, fastest first.

    Generation, width and streams are those common to both ends. A sender may use any narrower
    width of its generation on the same primary channel, so a level too weak for the whole channel
    still carries something; where the law limits power by the megahertz (6 GHz indoors) the
    narrower width is weaker and the narrow settings are too hopeful. Guard interval 0.8 us, the
    one every device has. Legacy generations have 20 MHz, one stream and the standard's table
    only.
    """
    if generation in LEGACY_RATES_MBPS:
        found = [
            RateSetting(LegacyMode(generation, rate), rate, LEGACY_SENSITIVITY_DBM[rate])
            for rate in LEGACY_RATES_MBPS[generation]
            if rate in LEGACY_SENSITIVITY_DBM
        ]
    else:
        found = [
            RateSetting(mode, mode.rate_mbps, needed_level_dbm(mode, noise_figure_db))
            for mode in modes(generation, width_mhz, streams)
        ]
    return tuple(sorted(found, key=lambda way: (-way.rate_mbps, way.needed_dbm)))


def best_setting(
    ways: Iterable[RateSetting], level_dbm: float, margin_db: float = 0.0
) -> RateSetting | None:
    """Return the fastest way to send whose needed level is cleared by the fade margin.

    ``ways`` is what `settings` gives for the link; None when not even the slowest is held.
    """
    held = (way for way in ways if level_dbm - margin_db >= way.needed_dbm)
    return max(held, key=lambda way: way.rate_mbps, default=None)


def lowest_level_dbm(ways: Iterable[RateSetting]) -> float | None:
    """Return the level in dBm below which not even the slowest rate is held; None without rates."""
    return min((way.needed_dbm for way in ways), default=None)

"""How far from an antenna the published limit for people is kept.

Far-field power density of an isotropic-equivalent source, S = EIRP / (4 pi r^2): FCC OET
Bulletin 65, edition 97-01, equation (4) (number from memory, equation seen in public filings). It
overstates close to a large antenna, and takes the radio to send all the time.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

PUBLIC_LIMIT_W_M2: Final = 10.0
"""Power density for the general public, W/m^2, averaged over 30 minutes.

47 CFR 1.1310 Table 1, 1.5 to 100 GHz (1.0 mW/cm^2); ICNIRP 2020 Table 5, 2 to 300 GHz, whole body
(from memory), has the same.
"""

CUSTOMARY_M: Final = 0.2
"""Distance that is kept from a fixed or mobile radio as a matter of course: 47 CFR 2.1091(b)."""


def total_dbm(levels_dbm: Iterable[float]) -> float:
    """Return the sum of powers given in dBm; minus infinity for none."""
    total_mw = sum(10 ** (level / 10) for level in levels_dbm)
    return 10 * math.log10(total_mw) if total_mw > 0 else -math.inf


def power_density_w_m2(radiated_dbm: float, distance_m: float) -> float:
    """Return the power density in W/m^2 at a distance in metres, above 0, from an EIRP in dBm."""
    watts = 10 ** (radiated_dbm / 10) / 1000
    return float(watts / (4 * math.pi * distance_m**2))


def separation_m(radiated_dbm: float, limit_w_m2: float = PUBLIC_LIMIT_W_M2) -> float:
    """Return the distance in metres at which the power density has fallen to the limit."""
    watts = 10 ** (radiated_dbm / 10) / 1000
    return math.sqrt(watts / (4 * math.pi * limit_w_m2))

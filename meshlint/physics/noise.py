"""Noise in a receiver, and the levels at which it holds the air for busy."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

BOLTZMANN_J_K: Final = 1.380649e-23  # exact (SI)
REFERENCE_K: Final = 290.0  # the temperature noise figures refer to

# IEEE 802.11-2020 17.3.10.6, 20 MHz (figures seen as defaults of ns-3 3.44, clause second-hand);
# 3 dB more for each doubling of the width of the signal heard (from memory).
PREAMBLE_DETECT_20_DBM: Final = -82.0
ENERGY_DETECT_DBM: Final = -62.0
# IEEE 802.11-2020 21.3.18.5: a signal on the part of a wide channel that is not the primary, by
# the width of that signal (figures seen in ns-3 3.44, clause from memory).
SECONDARY_DETECT_DBM: Final[dict[int, float]] = {20: -72.0, 40: -72.0, 80: -69.0}

_NARROWEST_MHZ = 20
_CLOSE_ENOUGH = 1e-12  # standard deviations


def thermal_noise_dbm(width_mhz: float) -> float:
    """Return the thermal noise kTB in dBm at 290 K; -101.0 dBm in 20 MHz."""
    if not width_mhz > 0:
        message = f"a width is above 0 MHz, not {width_mhz}"
        raise ValueError(message)
    return 10 * math.log10(BOLTZMANN_J_K * REFERENCE_K * width_mhz * 1e6 * 1000)


def noise_floor_dbm(width_mhz: float, noise_figure_db: float) -> float:
    """Return the noise in dBm that a receiver of this noise figure sees in its channel."""
    return thermal_noise_dbm(width_mhz) + noise_figure_db


def snr_db(level_dbm: float, width_mhz: float, noise_figure_db: float) -> float:
    """Return how far in dB a level stands above the receiver's noise, interference left out."""
    return level_dbm - noise_floor_dbm(width_mhz, noise_figure_db)


def carrier_sense_dbm(width_mhz: int) -> float:
    """Return the level in dBm from which a receiver must hold a Wi-Fi signal for a busy air.

    The signal (preamble) detection of the primary channel, by the width of the signal heard: -82
    dBm at 20 MHz and 3 dB more per doubling. Good receivers hear weaker signals too.
    """
    return PREAMBLE_DETECT_20_DBM + 3 * math.log2(width_mhz / _NARROWEST_MHZ)


def sum_dbm(levels_dbm: Iterable[float]) -> float:
    """Return the level in dBm of several signals together, their powers added; -inf for none."""
    milliwatts = math.fsum(10 ** (level_dbm / 10) for level_dbm in levels_dbm)
    return 10 * math.log10(milliwatts) if milliwatts > 0 else -math.inf


def fade_margin_db(sigma_db: float, share_of_places: float) -> float:
    """Return the margin in dB that holds in a share of places.

    The level in dB varies from place to place about its median by a normal law of spread
    ``sigma_db`` (log-normal shadowing, as ITU-R P.1238 publishes it), so the margin is the normal
    quantile times the spread: 1.28 sigma for nine places in ten, 0 for half of them, negative
    below half.
    """
    if not (sigma_db >= 0 and 0 < share_of_places < 1):
        message = (
            f"a spread is at least 0 dB and a share lies between 0 and 1, "
            f"not {sigma_db}, {share_of_places}"
        )
        raise ValueError(message)
    return _normal_quantile(share_of_places) * sigma_db


def _normal_quantile(share: float) -> float:
    """Return the place below which a share of the normal law lies, in standard deviations.

    Newton's method on the tail, whose steps from the median never pass the root. The standard
    library's own (`statistics`) takes longer to load than most sites take to be judged.
    """
    tail, at, step = min(share, 1 - share), 0.0, math.inf
    while step > _CLOSE_ENOUGH:
        density = math.exp(-(at**2) / 2) / math.sqrt(math.tau)
        step = (math.erfc(at / math.sqrt(2)) / 2 - tail) / density
        at += step
    return math.copysign(at, share - 0.5)


def share_of_places(margin_db: float, sigma_db: float) -> float:
    """Return the share of places (0 to 1) in which a margin in dB over the median holds.

    The inverse of `fade_margin_db`; ``sigma_db`` above 0.
    """
    return math.erfc(-margin_db / sigma_db / math.sqrt(2)) / 2

"""Data rates of IEEE 802.11, from the first OFDM rates to 802.11be.

R = N_SD x N_BPSCS x coding rate x N_SS / (T_DFT + T_GI); IEEE 802.11-2020 19.5 (802.11n), 21.5
(802.11ac), 802.11ax-2021 27.5, 802.11be-2024 36.5. The standards were not read: subcarrier
counts, symbol times and the modulation table were seen in ns-3 3.44, a general packet-level
network simulator; the stream counts 5 to 16 and the exclusions that name them are from memory.

Generations carry the name of the amendment. MCS counts from 0 within one stream also for 802.11n
(whose own index is 8 (streams - 1) + MCS). The duplicated MCS 14 and 15 of 802.11be are left out.
"""

from __future__ import annotations

from typing import Final

from msgspec import Struct


class NoSuchRateError(ValueError):
    """The standard has no data rate for this combination."""


class Modulation(Struct, frozen=True):
    """Bits carried by one subcarrier in one symbol, and the share of them that is data."""

    name: str
    bits: int
    data_parts: int
    coded_parts: int


MODULATIONS: Final[tuple[Modulation, ...]] = tuple(
    Modulation(name, bits, data_parts, coded_parts)
    for name, bits, data_parts, coded_parts in (
        ("BPSK", 1, 1, 2),
        ("QPSK", 2, 1, 2),
        ("QPSK", 2, 3, 4),
        ("16-QAM", 4, 1, 2),
        ("16-QAM", 4, 3, 4),
        ("64-QAM", 6, 2, 3),
        ("64-QAM", 6, 3, 4),
        ("64-QAM", 6, 5, 6),
        ("256-QAM", 8, 3, 4),
        ("256-QAM", 8, 5, 6),
        ("1024-QAM", 10, 3, 4),
        ("1024-QAM", 10, 5, 6),
        ("4096-QAM", 12, 3, 4),
        ("4096-QAM", 12, 5, 6),
    )
)  # by MCS


class Generation(Struct, frozen=True):
    """What one amendment offers: data subcarriers by width, symbol and guard times, limits."""

    name: str
    data_subcarriers: tuple[tuple[int, int], ...]  # width in MHz, count
    symbol_us: float
    guards_us: tuple[float, ...]  # the first is the one every device has
    highest_mcs: int
    most_streams: int
    excluded: frozenset[tuple[int, int, int]] = frozenset()  # MCS, width in MHz, streams

    @property
    def widths_mhz(self) -> tuple[int, ...]:
        """The channel widths, narrowest first."""
        return tuple(width for width, _ in self.data_subcarriers)


_NARROW_TONES = ((20, 52), (40, 108))
_VHT_TONES = (*_NARROW_TONES, (80, 234), (160, 468))
_HE_TONES = ((20, 234), (40, 468), (80, 980), (160, 1960))

# IEEE 802.11-2020 21.5: the coded bits do not fill whole blocks. Rows of up to 4 streams seen in
# ns-3, the others from memory.
_VHT_EXCLUDED = frozenset(
    {(9, 20, streams) for streams in (1, 2, 4, 5, 7, 8)}
    | {(6, 80, 3), (6, 80, 7), (9, 80, 6), (9, 160, 3)}
)

GENERATIONS: Final[dict[str, Generation]] = {
    generation.name: generation
    for generation in (
        Generation("802.11n", _NARROW_TONES, 3.2, (0.8, 0.4), 7, 4),
        Generation("802.11ac", _VHT_TONES, 3.2, (0.8, 0.4), 9, 8, _VHT_EXCLUDED),
        Generation("802.11ax", _HE_TONES, 12.8, (0.8, 1.6, 3.2), 11, 8),
        Generation("802.11be", (*_HE_TONES, (320, 3920)), 12.8, (0.8, 1.6, 3.2), 13, 16),
    )
}

_OFDM_RATES_MBPS = (6.0, 9.0, 12.0, 18.0, 24.0, 36.0, 48.0, 54.0)

# 20 MHz, one stream. IEEE 802.11-2020 clauses 16 (DSSS, HR/DSSS), 17 (OFDM) and 18 (ERP).
LEGACY_RATES_MBPS: Final[dict[str, tuple[float, ...]]] = {
    "802.11b": (1.0, 2.0, 5.5, 11.0),
    "802.11a": _OFDM_RATES_MBPS,
    "802.11g": _OFDM_RATES_MBPS,
}

# Oldest first. A device of an amendment that a band does not have falls back to the one before.
_LADDERS: Final[dict[float, tuple[str, ...]]] = {
    2.4: ("802.11b", "802.11g", "802.11n", "802.11ax", "802.11be"),
    5: ("802.11a", "802.11n", "802.11ac", "802.11ax", "802.11be"),
    6: ("802.11ax", "802.11be"),
}
BY_AGE: Final = ("802.11b", "802.11a", "802.11g", "802.11n", "802.11ac", "802.11ax", "802.11be")
"""Amendments, oldest first."""


class Mode(Struct, frozen=True):
    """One way to send, from 802.11n on: what the data rate follows from."""

    generation: str
    mcs: int
    width_mhz: int
    streams: int = 1
    guard_us: float = 0.8

    @property
    def rate_mbps(self) -> float:
        """The data rate in Mb/s; raises NoSuchRateError where the standard has none."""
        return data_rate_mbps(
            self.generation, self.mcs, self.width_mhz, self.streams, self.guard_us
        )


class LegacyMode(Struct, frozen=True):
    """One way to send before 802.11n: a rate of its own, 20 MHz wide, in one stream."""

    generation: str
    rate_mbps: float


def data_rate_mbps(
    generation: str, mcs: int, width_mhz: int, streams: int = 1, guard_us: float = 0.8
) -> float:
    """Return the data rate in Mb/s, unrounded (the standard's tables round to 0.1).

    Raises NoSuchRateError where the standard has no such rate.
    """
    coded_bits, modulation = _coded_bits(generation, mcs, width_mhz, streams)
    found = GENERATIONS[generation]
    if guard_us not in found.guards_us:
        message = f"{generation} has no guard interval of {guard_us:g} us"
        raise NoSuchRateError(message)
    data_bits = coded_bits * modulation.data_parts / modulation.coded_parts
    return data_bits / (found.symbol_us + guard_us)


def data_bits_per_symbol(generation: str, mcs: int, width_mhz: int, streams: int = 1) -> int:
    """Return the data bits that one OFDM symbol carries (the standard's N_DBPS).

    Rounded down where 802.11ax and later leave no whole number; the data rate is not. Raises
    NoSuchRateError where the standard has no such rate.
    """
    coded_bits, modulation = _coded_bits(generation, mcs, width_mhz, streams)
    return coded_bits * modulation.data_parts // modulation.coded_parts


def modes(generation: str, widest_mhz: int, streams: int) -> tuple[Mode, ...]:
    """Return every mode of so many streams up to a width, with the guard interval all devices have.

    Widths that the generation lacks and combinations it leaves out are passed over. Raises
    NoSuchRateError for an unknown generation or more streams than it has.
    """
    known = _known(generation, streams)
    return tuple(
        Mode(generation, mcs, width_mhz, streams)
        for width_mhz in known.widths_mhz
        if width_mhz <= widest_mhz
        for mcs in range(known.highest_mcs + 1)
        if (mcs, width_mhz, streams) not in known.excluded
    )


def common_generation(first: str, second: str, band: float) -> str | None:
    """Return the newest amendment that two devices share in a band (2.4, 5 or 6 GHz).

    Each amendment includes the older ones of its band. 802.11ac does not exist at 2.4 GHz, where
    its devices speak 802.11n; at 6 GHz nothing is older than 802.11ax. None when the devices have
    nothing in common there.
    """
    ladder = _LADDERS[band]
    rungs = [_rung(device, ladder) for device in (first, second)]
    known = [rung for rung in rungs if rung is not None]
    return ladder[min(known)] if len(known) == len(rungs) else None


def amendments_before(generation: str, band: float) -> int | None:
    """Return how many amendments of a band came before the newest that a device speaks there.

    None where it speaks none: nothing older than 802.11ax exists at 6 GHz.
    """
    return _rung(generation, _LADDERS[band])


def _rung(device: str, ladder: tuple[str, ...]) -> int | None:
    """Return the highest place on a band's ladder that a device reaches."""
    other_band_only = {"802.11b", "802.11g", "802.11a"} - set(ladder)
    if device in other_band_only:
        return None
    reached = [
        rung for rung, name in enumerate(ladder) if BY_AGE.index(name) <= BY_AGE.index(device)
    ]
    return reached[-1] if reached else None


def _known(generation: str, streams: int) -> Generation:
    found = GENERATIONS.get(generation)
    if found is None:
        message = f"{generation!r} is none of {', '.join(GENERATIONS)}"
        raise NoSuchRateError(message)
    if not 1 <= streams <= found.most_streams:
        message = f"{generation} has 1 to {found.most_streams} streams, not {streams}"
        raise NoSuchRateError(message)
    return found


def _coded_bits(generation: str, mcs: int, width_mhz: int, streams: int) -> tuple[int, Modulation]:
    found = _known(generation, streams)
    tones = dict(found.data_subcarriers).get(width_mhz)
    if tones is None:
        message = f"{generation} has no {width_mhz} MHz channels"
        raise NoSuchRateError(message)
    if not 0 <= mcs <= found.highest_mcs:
        message = f"{generation} has MCS 0 to {found.highest_mcs}, not {mcs}"
        raise NoSuchRateError(message)
    if (mcs, width_mhz, streams) in found.excluded:
        message = f"{generation} leaves out MCS {mcs} at {width_mhz} MHz with {streams} streams"
        raise NoSuchRateError(message)
    modulation = MODULATIONS[mcs]
    return tones * modulation.bits * streams, modulation

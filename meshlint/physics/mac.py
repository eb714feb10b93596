"""What a frame exchange costs in airtime, and what is left of the data rate.

Contention-free goodput of one sender that always has something to send (AC_BE, one aggregate a
turn, nobody else on the air):

    G = n x payload / (AIFS + mean backoff + T_PPDU(n) + SIFS + T_acknowledgement)

The closed form lies within 1.4 % of 52 runs of ns-3 3.44, a general packet-level simulator. What
it takes for granted, all in this place:

* best-effort access category, contention window 15 (31 for 1 to 11 Mb/s), aggregate as long as
  the standard allows, no protection frames, no losses, no retries, no rate changes;
* an IPv4/UDP payload of 1472 octets: 1500 octets of IP in a frame of 1538, 1544 in an aggregate;
* preambles of the standard (with VHT SIG-B, training fields by guard interval), 5.484 ms at most;
* (block) acknowledgements at 24 Mb/s; for the legacy rates the highest of 6, 12 and 24 Mb/s that
  is not above the data rate, and 1 Mb/s for the rates of 802.11b;
* one encoder's tail in 802.11n and 802.11ac (each further one is 6 bits);
* no packet extension after 802.11ax and 802.11be frames (at most 16 us).

Clauses are IEEE 802.11-2020's and second-hand; the values were seen in ns-3 3.44 unless marked.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import cache
from typing import Final

from msgspec import Struct, structs

from meshlint.physics.phy import GENERATIONS, LegacyMode, Mode, data_bits_per_symbol

SLOT_US: Final = 9.0  # 17.4.4, short slot of 18.4.5 included
_LONG_SLOT_US: Final = 20.0  # 18.4.5
_SIFS_US: Final[dict[float, float]] = {2.4: 10.0, 5: 16.0, 6: 16.0}  # 18.4.5; 17.4.4
BEST_EFFORT_AIFSN: Final = 3  # Table 9-155
BEST_EFFORT_WINDOW: Final = 16  # slots to choose from at first: CWmin 15, Table 9-155
LARGEST_WINDOW: Final = 1024  # CWmax 1023, the same table
_DSSS_WINDOW = 32  # CWmin 31, 15.3.3 and 16.3.3, from memory
LONGEST_PPDU_US: Final = 5484.0  # aPPDUMaxTime, Tables 19-25, 21-28 and 27-54

IP_PAYLOAD_OCTETS: Final = 1472  # with 8 of UDP and 20 of IPv4: the 1500 of Ethernet
# UDP 8, IPv4 20, LLC/SNAP 8, QoS header 26, frame check 4: 9.2
_AROUND_PAYLOAD_OCTETS = 8 + 20 + 8 + 26 + 4
_DELIMITER_OCTETS = 4  # before each frame of an aggregate, and padding to a multiple of 4: 9.7
_ACK_OCTETS = 14

_SYMBOL_US = 4.0  # legacy OFDM, and HT/VHT with the long guard interval
_LEGACY_PREAMBLE_US = 20.0  # 17.3, L-SIG included
_DSSS_LONG_PREAMBLE_US = 192.0  # clause 15, from memory
_LEGACY_BITS_AROUND = 16 + 6  # SERVICE and tail
_SERVICE_BITS = 16
_TAIL_BITS = 6
_ACK_RATES_MBPS = (24.0, 12.0, 6.0)
_SLOWEST_MBPS = 1.0
_DSSS_RATES_MBPS = frozenset({1.0, 2.0, 5.5, 11.0})
_SHORT_GUARD_US = 0.4
_BITMAP_SIZES = (64, 256, 512, 1024)  # frames a block acknowledgement can tell of

# Long training fields by streams, 1 to 16 (19.3.9.4.6, 21.3.8.3.5; beyond 8 from memory).
_TRAINING_FIELDS: Final = (1, 2, 4, 4, 6, 6, 8, 8, 12, 12, 12, 12, 16, 16, 16, 16)


class _Aggregation(Struct, frozen=True):
    """How much of an aggregate's length each amendment allows, and its preamble without training.

    ``most_octets`` (9.4.2), ``most_frames`` (block acknowledgement window, 10.25).
    """

    most_octets: int
    most_frames: int
    preamble_us: float


_AGGREGATION: Final[dict[str, _Aggregation]] = {
    "802.11n": _Aggregation(65_535, 64, 32.0),  # 19.3.2: HT-SIG 8, HT-STF 4
    "802.11ac": _Aggregation(1_048_575, 64, 36.0),  # 21.3.2: SIG-A 8, STF 4, SIG-B 4 (memory)
    "802.11ax": _Aggregation(6_500_631, 256, 36.0),  # 27.3.4: RL-SIG 4, SIG-A 8, STF 4
    # 36.3, from memory: RL-SIG 4, U-SIG 8, EHT-SIG 8 for one receiver, STF 4.
    "802.11be": _Aggregation(15_523_200, 1024, 44.0),
}

# Duration of one HE/EHT training field by guard interval: 2x, 2x and 4x fields (27.3.4).
_HE_TRAINING_US: Final[dict[float, float]] = {0.8: 6.4, 1.6: 6.4, 3.2: 12.8}


class Exchange(Struct, frozen=True):
    """One turn of a sender: payload carried and the time each part takes, in microseconds."""

    frames: int
    payload_bits: int
    wait_us: float  # the arbitration space before backoff
    sending_us: float  # data, SIFS and acknowledgement
    slot_us: float
    window: int = BEST_EFFORT_WINDOW  # slots to choose from at first

    @property
    def success_us(self) -> float:
        """Airtime of a turn that succeeds, backoff left out."""
        return self.wait_us + self.sending_us

    @property
    def goodput_mbps(self) -> float:
        """Payload over time when nobody else sends, the mean first backoff included."""
        backoff_us = (self.window - 1) / 2 * self.slot_us
        return self.payload_bits / (self.success_us + backoff_us)


def sifs_us(band: float) -> float:
    """Return the short interframe space in microseconds in a band (2.4, 5 or 6 GHz)."""
    return _SIFS_US[band]


def signal_extension_us(band: float) -> float:
    """Return the silence after an OFDM frame at 2.4 GHz, 6 us (18.4.5, from memory), else 0.

    It brings SIFS there up to the 16 us that decoding OFDM takes.
    """
    return _SIFS_US[5] - sifs_us(band)


def ppdu_us(mode: Mode, octets: int) -> float:
    """Return the duration in microseconds of one frame of so many octets (PSDU), preamble included.

    Whole symbols; with the short guard interval of 802.11n and 802.11ac the data part is rounded
    up to 4 us (19.4.3, 21.4.3, from memory). Signal extension left out.
    """
    bits_per_symbol = data_bits_per_symbol(mode.generation, mode.mcs, mode.width_mhz, mode.streams)
    convolutional = mode.generation in {"802.11n", "802.11ac"}
    tail_bits = _TAIL_BITS if convolutional else 0
    symbols = math.ceil((_SERVICE_BITS + 8 * octets + tail_bits) / bits_per_symbol)
    data_us = symbols * (GENERATIONS[mode.generation].symbol_us + mode.guard_us)
    if mode.guard_us == _SHORT_GUARD_US:
        data_us = _SYMBOL_US * math.ceil(data_us / _SYMBOL_US)
    training_us = _SYMBOL_US if convolutional else _HE_TRAINING_US[mode.guard_us] + mode.guard_us
    preamble_us = _AGGREGATION[mode.generation].preamble_us
    return preamble_us + _TRAINING_FIELDS[mode.streams - 1] * training_us + data_us


def legacy_frame_us(octets: int, rate_mbps: float) -> float:
    """Return the duration in microseconds of a frame at a legacy rate, preamble included.

    OFDM: 20 us and whole symbols of 4 us (17.3). DSSS and HR/DSSS (1, 2, 5.5, 11 Mb/s): a long
    preamble of 192 us and the bits (15.2, from memory). Signal extension left out.
    """
    if rate_mbps in _DSSS_RATES_MBPS:
        return _DSSS_LONG_PREAMBLE_US + 8 * octets / rate_mbps
    symbols = math.ceil((_LEGACY_BITS_AROUND + 8 * octets) / (rate_mbps * _SYMBOL_US))
    return _LEGACY_PREAMBLE_US + _SYMBOL_US * symbols


@cache
def exchange(
    mode: Mode | LegacyMode,
    band: float,
    *,
    payload_octets: int = IP_PAYLOAD_OCTETS,
    most_frames: int | None = None,
    protected_mbps: float | None = None,
) -> Exchange:
    """Return one turn of a best-effort sender: as much as the standard allows, and the answer.

    From 802.11n on a full aggregate and its block acknowledgement; ``most_frames`` limits the
    aggregate further. Legacy modes send single frames. ``protected_mbps`` is the rate of the
    CTS-to-self that goes before each turn where devices of 802.11b share the air, and long slots
    with it.
    """
    found = _unprotected(mode, band, payload_octets, most_frames)
    sends_dsss = isinstance(mode, LegacyMode) and mode.rate_mbps in _DSSS_RATES_MBPS
    return found if protected_mbps is None or sends_dsss else _protected(found, protected_mbps)


def _protected(turn: Exchange, rate_mbps: float) -> Exchange:
    """Return a turn at 2.4 GHz after a CTS-to-self and in long slots (10.3.2.8, 18.4.5, memory)."""
    clear_us = legacy_frame_us(_ACK_OCTETS, rate_mbps) + sifs_us(2.4)
    wait_us = sifs_us(2.4) + BEST_EFFORT_AIFSN * _LONG_SLOT_US
    return structs.replace(
        turn, wait_us=wait_us, sending_us=turn.sending_us + clear_us, slot_us=_LONG_SLOT_US
    )


def _unprotected(
    mode: Mode | LegacyMode, band: float, payload_octets: int, most_frames: int | None
) -> Exchange:
    if isinstance(mode, LegacyMode):
        return _single_frame(mode.rate_mbps, band, payload_octets)
    frame_octets = payload_octets + _AROUND_PAYLOAD_OCTETS
    piece_octets = 4 * math.ceil((_DELIMITER_OCTETS + frame_octets) / 4)
    limits = _AGGREGATION[mode.generation]
    frames = min(limits.most_frames, limits.most_octets // piece_octets)
    if most_frames is not None:
        frames = min(frames, most_frames)
    frames = max(
        1,
        bisect_right(
            range(1, frames + 1),
            LONGEST_PPDU_US,
            key=lambda count: ppdu_us(mode, count * piece_octets),
        ),
    )
    extension_us = signal_extension_us(band)
    # Alone, a frame needs neither delimiter nor padding, and gets a plain acknowledgement.
    sent_octets = frames * piece_octets if frames > 1 else frame_octets
    reply_octets = _block_acknowledgement_octets(frames) if frames > 1 else _ACK_OCTETS
    return Exchange(
        frames=frames,
        payload_bits=frames * payload_octets * 8,
        wait_us=sifs_us(band) + BEST_EFFORT_AIFSN * SLOT_US,
        sending_us=ppdu_us(mode, sent_octets)
        + extension_us
        + sifs_us(band)
        + legacy_frame_us(reply_octets, _ACK_RATES_MBPS[0])
        + extension_us,
        slot_us=SLOT_US,
    )


def _single_frame(rate_mbps: float, band: float, payload_octets: int) -> Exchange:
    is_dsss = rate_mbps in _DSSS_RATES_MBPS
    slot_us = _LONG_SLOT_US if is_dsss else SLOT_US
    reply_mbps = (
        _SLOWEST_MBPS if is_dsss else next(rate for rate in _ACK_RATES_MBPS if rate <= rate_mbps)
    )
    extension_us = 0.0 if is_dsss else signal_extension_us(band)
    return Exchange(
        frames=1,
        payload_bits=payload_octets * 8,
        wait_us=sifs_us(band) + BEST_EFFORT_AIFSN * slot_us,
        sending_us=legacy_frame_us(payload_octets + _AROUND_PAYLOAD_OCTETS, rate_mbps)
        + extension_us
        + sifs_us(band)
        + legacy_frame_us(_ACK_OCTETS, reply_mbps)
        + extension_us,
        slot_us=slot_us,
        window=_DSSS_WINDOW if is_dsss else BEST_EFFORT_WINDOW,
    )


def _block_acknowledgement_octets(frames: int) -> int:
    """Return the length of a compressed block acknowledgement: 24 and its bitmap (9.3.1.8)."""
    bitmap_bits = next(size for size in _BITMAP_SIZES if frames <= size)
    return 24 + bitmap_bits // 8


def beacon_us(octets: int, rate_mbps: float, band: float) -> float:
    """Return the airtime in microseconds of one beacon with the wait before it (DIFS).

    DIFS is SIFS and two slots: 28 us at 2.4 GHz with short slots, 50 us with the long slots that
    the 1 to 11 Mb/s rates bring along, 34 us elsewhere (10.3.2.3, 18.4.5).
    """
    is_dsss = rate_mbps in _DSSS_RATES_MBPS
    slot_us = _LONG_SLOT_US if is_dsss else SLOT_US
    extension_us = 0.0 if is_dsss else signal_extension_us(band)
    return sifs_us(band) + 2 * slot_us + legacy_frame_us(octets, rate_mbps) + extension_us

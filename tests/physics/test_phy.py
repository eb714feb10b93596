"""Data rates of IEEE 802.11 against the figures of ns-3 and plain laws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.phy import (
    GENERATIONS,
    MODULATIONS,
    Mode,
    NoSuchRateError,
    common_generation,
    data_bits_per_symbol,
    data_rate_mbps,
    modes,
)

# Generation, MCS, MHz, guard interval us, streams, Mb/s. `GetDataRate` of ns-3 3.44, except the
# 320 MHz rows, which were worked out by hand. MCS of 802.11n is written within one stream.
RATES = [
    ("802.11n", 7, 20, 0.8, 1, 65.0),
    ("802.11n", 7, 20, 0.4, 1, 72.2),
    ("802.11n", 7, 20, 0.4, 2, 144.4),
    ("802.11n", 7, 40, 0.4, 2, 300.0),
    ("802.11n", 7, 40, 0.4, 4, 600.0),
    ("802.11ac", 0, 20, 0.8, 1, 6.5),
    ("802.11ac", 8, 20, 0.4, 1, 86.7),
    ("802.11ac", 9, 40, 0.4, 2, 400.0),
    ("802.11ac", 0, 80, 0.8, 1, 29.25),
    ("802.11ac", 7, 80, 0.8, 2, 585.0),
    ("802.11ac", 9, 80, 0.4, 1, 433.3),
    ("802.11ac", 9, 80, 0.4, 2, 866.7),
    ("802.11ac", 9, 80, 0.4, 3, 1300.0),
    ("802.11ac", 9, 160, 0.4, 2, 1733.3),
    ("802.11ac", 9, 160, 0.4, 4, 3466.7),
    ("802.11ac", 9, 160, 0.4, 8, 6933.3),
    ("802.11ax", 0, 20, 0.8, 1, 8.6),
    ("802.11ax", 11, 20, 0.8, 1, 143.4),
    ("802.11ax", 11, 20, 3.2, 1, 121.9),
    ("802.11ax", 7, 20, 0.8, 2, 172.1),
    ("802.11ax", 11, 40, 0.8, 2, 573.5),
    ("802.11ax", 0, 80, 3.2, 1, 30.6),
    ("802.11ax", 7, 80, 0.8, 2, 720.6),
    ("802.11ax", 9, 80, 0.8, 2, 960.8),
    ("802.11ax", 11, 80, 0.8, 2, 1201.0),
    ("802.11ax", 11, 80, 1.6, 2, 1134.3),
    ("802.11ax", 11, 80, 3.2, 2, 1020.8),
    ("802.11ax", 11, 160, 0.8, 2, 2402.0),
    ("802.11ax", 11, 160, 0.8, 8, 9607.8),
    ("802.11be", 13, 20, 0.8, 2, 344.1),
    ("802.11be", 12, 80, 0.8, 2, 1297.1),
    ("802.11be", 13, 80, 0.8, 2, 1441.2),
    ("802.11be", 13, 160, 0.8, 2, 2882.4),
    ("802.11be", 11, 320, 0.8, 1, 2402.0),
    ("802.11be", 12, 320, 0.8, 1, 2594.1),
    ("802.11be", 13, 320, 0.8, 2, 5764.7),
    ("802.11be", 13, 320, 0.8, 8, 23058.8),
    ("802.11be", 13, 320, 0.8, 16, 46117.6),
]

all_modes = st.sampled_from(
    [
        mode
        for known in GENERATIONS.values()
        for streams in (1, 2, 3, 4)
        for mode in modes(known.name, 320, streams)
    ]
)


@pytest.mark.parametrize(
    ("generation", "mcs", "width_mhz", "guard_us", "streams", "rate_mbps"), RATES
)
def test_published_data_rates(
    generation: str, mcs: int, width_mhz: int, guard_us: float, streams: int, rate_mbps: float
) -> None:
    found_mbps = data_rate_mbps(generation, mcs, width_mhz, streams, guard_us)
    assert found_mbps == pytest.approx(rate_mbps, abs=0.05)


@pytest.mark.parametrize(
    ("mcs", "width_mhz", "streams"),
    # IEEE 802.11-2020 21.5; up to four streams also refused by ns-3.
    [(9, 20, 1), (9, 20, 2), (9, 20, 4), (6, 80, 3), (6, 80, 7), (9, 80, 6), (9, 160, 3)],
)
def test_combinations_that_802_11ac_leaves_out(mcs: int, width_mhz: int, streams: int) -> None:
    with pytest.raises(NoSuchRateError, match="leaves out"):
        data_rate_mbps("802.11ac", mcs, width_mhz, streams)
    assert Mode("802.11ac", mcs, width_mhz, streams) not in modes("802.11ac", 160, streams)


@pytest.mark.parametrize(("mcs", "width_mhz", "streams"), [(9, 20, 3), (9, 20, 6), (9, 160, 2)])
def test_combinations_that_802_11ac_keeps(mcs: int, width_mhz: int, streams: int) -> None:
    assert Mode("802.11ac", mcs, width_mhz, streams) in modes("802.11ac", 160, streams)


@pytest.mark.parametrize(
    ("generation", "mcs", "width_mhz", "streams", "guard_us", "message"),
    [
        ("802.11n", 7, 80, 1, 0.8, "no 80 MHz"),
        ("802.11n", 8, 20, 1, 0.8, "MCS 0 to 7"),
        ("802.11ax", 0, 20, 9, 0.8, "1 to 8 streams"),
        ("802.11ax", 0, 20, 0, 0.8, "1 to 8 streams"),
        ("802.11ax", 0, 20, 1, 0.4, "guard interval"),
        ("802.11g", 0, 20, 1, 0.8, "none of"),
    ],
)
def test_rates_that_do_not_exist(
    generation: str, mcs: int, width_mhz: int, streams: int, guard_us: float, message: str
) -> None:
    with pytest.raises(NoSuchRateError, match=message):
        data_rate_mbps(generation, mcs, width_mhz, streams, guard_us)


def test_every_mode_carries_whole_bits() -> None:
    """The left-out combinations of 802.11ac are those whose bits do not come out even (21.5)."""
    for generation in ("802.11n", "802.11ac"):
        for streams in range(1, GENERATIONS[generation].most_streams + 1):
            for mode in modes(generation, 160, streams):
                modulation = MODULATIONS[mode.mcs]
                tones = dict(GENERATIONS[generation].data_subcarriers)[mode.width_mhz]
                coded_bits = tones * modulation.bits * streams
                assert coded_bits * modulation.data_parts % modulation.coded_parts == 0


@given(all_modes)
def test_a_mode_rate_is_its_bits_over_its_symbol(mode: Mode) -> None:
    bits = data_bits_per_symbol(mode.generation, mode.mcs, mode.width_mhz, mode.streams)
    symbol_us = GENERATIONS[mode.generation].symbol_us + 0.8
    assert bits / symbol_us <= mode.rate_mbps < (bits + 1) / symbol_us


@given(all_modes, all_modes)
def test_more_of_everything_is_never_slower(one: Mode, other: Mode) -> None:
    more = (
        one.generation == other.generation
        and one.mcs <= other.mcs
        and one.width_mhz <= other.width_mhz
        and one.streams <= other.streams
    )
    if more:
        assert one.rate_mbps <= other.rate_mbps


@pytest.mark.parametrize(
    ("first", "second", "band", "common"),
    [
        ("802.11ax", "802.11ac", 5, "802.11ac"),
        ("802.11ax", "802.11ac", 2.4, "802.11n"),
        ("802.11ac", "802.11ac", 2.4, "802.11n"),
        ("802.11be", "802.11n", 5, "802.11n"),
        ("802.11be", "802.11ax", 6, "802.11ax"),
        ("802.11be", "802.11ac", 6, None),
        ("802.11ax", "802.11g", 5, None),
        ("802.11ax", "802.11a", 2.4, None),
        ("802.11n", "802.11a", 5, "802.11a"),
        ("802.11ax", "802.11b", 2.4, "802.11b"),
        ("802.11g", "802.11b", 2.4, "802.11b"),
    ],
)
def test_what_two_devices_share(first: str, second: str, band: float, common: str | None) -> None:
    assert common_generation(first, second, band) == common
    assert common_generation(second, first, band) == common

"""Which rate a level carries: the standard's table, signal-to-noise tables and plain laws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.noise import thermal_noise_dbm
from meshlint.physics.phy import LegacyMode, Mode, NoSuchRateError
from meshlint.physics.sensitivity import (
    SNR_CONVOLUTIONAL_DB,
    best_setting,
    lowest_level_dbm,
    needed_level_dbm,
    settings,
)

# Minimum input sensitivity in dBm by MCS, row by row as printed: IEEE 802.11-2020 Tables 19-23 and
# 21-25, 802.11ax-2021 Table 27-51 (20-160 MHz also in docs.cntd.ru 902238635), 802.11be-2024 36.3.
PRINTED_DBM = {
    20: (-82, -79, -77, -74, -70, -66, -65, -64, -59, -57, -54, -52, -49, -46),
    40: (-79, -76, -74, -71, -67, -63, -62, -61, -56, -54, -51, -49, -46, -43),
    80: (-76, -73, -71, -68, -64, -60, -59, -58, -53, -51, -48, -46, -43, -40),
    160: (-73, -70, -68, -65, -61, -57, -56, -55, -50, -48, -45, -43, -40, -37),
    320: (-70, -67, -65, -62, -58, -54, -53, -52, -47, -45, -42, -40, -37, -34),
}
generations = st.sampled_from(["802.11a", "802.11g", "802.11n", "802.11ac", "802.11ax", "802.11be"])
widths = st.sampled_from([20, 40, 80, 160, 320])
streams = st.integers(1, 4)
figures = st.none() | st.floats(3, 12)
levels = st.floats(-110, -10)


@pytest.mark.parametrize("width_mhz", PRINTED_DBM)
def test_the_printed_sensitivities(width_mhz: int) -> None:
    for mcs, level_dbm in enumerate(PRINTED_DBM[width_mhz]):
        assert needed_level_dbm(Mode("802.11be", mcs, width_mhz)) == level_dbm


def test_the_table_is_noise_figure_and_implementation_loss_above_the_snr() -> None:
    """IEEE 802.11-2020 17.3.10: 10 dB noise figure, 5 dB implementation loss.

    What is left, 4 7 9 12 16 20 21 22 27 29 dB, stands 1.3 to 4 dB above the steady-channel table.
    """
    assumed_dbm = thermal_noise_dbm(20) + 10 + 5
    left_db = [level_dbm - assumed_dbm for level_dbm in PRINTED_DBM[20]]
    assert left_db[:10] == pytest.approx([4, 7, 9, 12, 16, 20, 21, 22, 27, 29], abs=0.05)
    for left, steady in zip(left_db, SNR_CONVOLUTIONAL_DB, strict=False):
        assert 1.3 < left - steady < 4.0


@pytest.mark.parametrize(
    ("mcs", "snr_db"),
    # PER tables of IEEE 802.11-14/0571r12 as copied in wmediumd (GitHub bcopeland/wmediumd), for
    # the modulations of 6, 12, 18, 36, 48 and 54 Mb/s: within 0.3 dB of ours.
    [(0, 0.7), (1, 3.7), (2, 6.3), (4, 12.6), (5, 16.8), (6, 18.1)],
)
def test_another_copy_of_the_steady_channel_table(mcs: int, snr_db: float) -> None:
    assert SNR_CONVOLUTIONAL_DB[mcs] == pytest.approx(snr_db, abs=0.3)


def test_a_stated_noise_figure_uses_noise_and_snr() -> None:
    needed_dbm = needed_level_dbm(Mode("802.11ax", 7, 80), 7)
    assert needed_dbm == pytest.approx(-87.95 + 17.99, abs=0.01)
    assert needed_level_dbm(Mode("802.11ac", 7, 80), 7) == pytest.approx(-87.95 + 19.58, abs=0.01)


def test_a_stated_noise_figure_takes_no_rate_away() -> None:
    """The table ends at MCS 11; the standard asks 3 and 6 dB more for 12 and 13 (802.11be-2024)."""
    at_11 = needed_level_dbm(Mode("802.11be", 11, 80), 7)
    for mcs, more_db in ((12, 3), (13, 6)):
        assert needed_level_dbm(Mode("802.11be", mcs, 80), 7) == pytest.approx(at_11 + more_db)
    rates = [{way.rate_mbps for way in settings("802.11be", 80, 2, nf)} for nf in (None, 7)]
    assert rates[0] == rates[1]


@pytest.mark.parametrize(
    ("level_dbm", "margin_db", "mode"),
    # 802.11ax at 80 MHz, two streams. -58 dBm is what MCS 7 needs, -59 what MCS 6 does.
    [
        (-58, 0, Mode("802.11ax", 7, 80, 2)),
        (-58.01, 0, Mode("802.11ax", 6, 80, 2)),
        (-48, 10, Mode("802.11ax", 7, 80, 2)),
        (-76, 0, Mode("802.11ax", 0, 80, 2)),
        # Too weak for 80 MHz: 20 MHz at MCS 2 (51.6 Mb/s) beats 40 MHz at MCS 0 (34.4).
        (-77, 0, Mode("802.11ax", 2, 20, 2)),
        (-82, 0, Mode("802.11ax", 0, 20, 2)),
        (-82.1, 0, None),
    ],
)
def test_the_best_way_to_send(level_dbm: float, margin_db: float, mode: Mode | None) -> None:
    found = best_setting(settings("802.11ax", 80, 2), level_dbm, margin_db)
    assert (found.mode if found else None) == mode


def test_legacy_rates_have_their_own_table() -> None:
    """IEEE 802.11-2020 Table 17-18, from memory: -65 dBm for 54 Mb/s, -82 for 6."""
    ways = settings("802.11g", 20, 1)
    assert best_setting(ways, -65) == ways[0]
    assert ways[0].mode == LegacyMode("802.11g", 54)
    assert lowest_level_dbm(ways) == -82


def test_rates_of_802_11b_are_held_by_the_levels_of_clauses_15_and_16() -> None:
    """IEEE 802.11-2020: -76 dBm for 11 Mb/s (16.3.8.2, second-hand), -80 for 2 (from memory)."""
    ways = settings("802.11b", 20, 1)
    assert [best.rate_mbps for dbm in (-76, -80) if (best := best_setting(ways, dbm))] == [11, 2]
    levels = [way.needed_dbm for way in ways]
    assert levels == sorted(levels, reverse=True)  # a faster rate never needs less


def test_the_slowest_rate_sets_the_edge() -> None:
    assert lowest_level_dbm(settings("802.11ax", 160, 2)) == -82


def test_an_unknown_generation_is_refused() -> None:
    with pytest.raises(NoSuchRateError, match=r"802\.11z"):
        settings("802.11z", 20, 1)


@given(generations, widths, streams, figures, levels, levels)
def test_more_level_is_never_slower(
    generation: str,
    width_mhz: int,
    count: int,
    noise_figure_db: float | None,
    one_dbm: float,
    other_dbm: float,
) -> None:
    ways = settings(generation, width_mhz, count, noise_figure_db)
    weak_dbm, strong_dbm = sorted((one_dbm, other_dbm))
    weak, strong = best_setting(ways, weak_dbm), best_setting(ways, strong_dbm)
    if weak is not None:
        assert strong is not None
        assert strong.rate_mbps >= weak.rate_mbps


@given(generations, widths, streams, figures, levels, st.floats(0, 30), st.floats(0, 30))
def test_more_margin_is_never_faster(
    generation: str,
    width_mhz: int,
    count: int,
    noise_figure_db: float | None,
    level_dbm: float,
    one_db: float,
    other_db: float,
) -> None:
    ways = settings(generation, width_mhz, count, noise_figure_db)
    slight_db, ample_db = sorted((one_db, other_db))
    ample = best_setting(ways, level_dbm, ample_db)
    slight = best_setting(ways, level_dbm, slight_db)
    if ample is not None:
        assert slight is not None
        assert slight.rate_mbps >= ample.rate_mbps


@given(generations, widths, widths, streams, figures, levels)
def test_a_wider_channel_is_never_slower(
    generation: str,
    one_mhz: int,
    other_mhz: int,
    count: int,
    noise_figure_db: float | None,
    level_dbm: float,
) -> None:
    narrow_mhz, wide_mhz = sorted((one_mhz, other_mhz))
    narrow = best_setting(settings(generation, narrow_mhz, count, noise_figure_db), level_dbm)
    wide = best_setting(settings(generation, wide_mhz, count, noise_figure_db), level_dbm)
    if narrow is not None:
        assert wide is not None
        assert wide.rate_mbps >= narrow.rate_mbps

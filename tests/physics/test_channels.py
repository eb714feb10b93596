"""Channel numbers and widths against published tables.

`channels.csv` beside this file was made by the centre-frequency formula and asserted equal to the
tables of hostap (src/ap/acs.c; src/common/ieee802_11_common.c, which cites IEEE 802.11ax-2021
Table E-4 and P802.11be/D5.0 Table E-4) and of Linux (net/wireless/util.c, which cites
802.11ax D6.1 27.3.23.2): the numbering of IEEE 802.11. The standard itself was not at hand.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.physics.channels import (
    CENTRES,
    Channel,
    ChannelError,
    Span,
    all_channels,
    channels,
    overlap_mhz,
)

with Path(__file__).with_name("channels.csv").open(encoding="utf-8") as _file:
    ROWS = tuple(csv.DictReader(_file))

EVERY = tuple(
    c for band, widths in CENTRES.items() for width in widths for c in all_channels(band, width)
)


def _message(band: float, number: int, width_mhz: int, **told: object) -> str:
    with pytest.raises(ChannelError) as caught:
        channels(band, number, width_mhz, **told)  # type: ignore[arg-type]
    return str(caught.value)


def test_every_published_channel_has_the_published_span_and_members() -> None:
    made = {(f"{c.band:g}", c.width_mhz, c.centre_number): c for c in EVERY}
    for row in ROWS:
        channel = made.pop((row["band_ghz"], int(row["width_mhz"]), int(row["channel"])))
        edges = (channel.low_mhz, channel.centre_mhz, channel.high_mhz)
        assert edges == (float(row["low_mhz"]), float(row["centre_mhz"]), float(row["high_mhz"]))
        assert channel.members == tuple(map(int, row["members"].split()))
    assert made == {}
    assert len(ROWS) == 191


def test_the_first_channel_leads_to_its_published_wide_channel() -> None:
    """Every member of every published channel names that channel among its meanings."""
    for row in ROWS:
        for member in row["members"].split():
            found = channels(float(row["band_ghz"]), int(member), int(row["width_mhz"]))
            spans = [(c.low_mhz, c.high_mhz) for c in found]
            assert (float(row["low_mhz"]), float(row["high_mhz"])) in spans
            assert all(c.number == int(member) for c in found)


@pytest.mark.parametrize(("width", "count"), [(20, 60), (40, 29), (80, 14), (160, 7), (320, 6)])
def test_six_ghz_has_as_many_channels_as_the_standard_counts(width: int, count: int) -> None:
    """59 channels of 20 MHz and number 2; 29, 14, 7 and two sets of 3 (hostap's tables)."""
    assert len(all_channels(6, width)) == count


@given(st.sampled_from(EVERY))
def test_pieces_tile_the_span(channel: Channel) -> None:
    assert channel.pieces[0].low_mhz == channel.low_mhz
    assert channel.pieces[-1].high_mhz == channel.high_mhz
    assert sum(p.high_mhz - p.low_mhz for p in channel.pieces) == channel.width_mhz
    assert len(channel.members) == len(channel.pieces)
    for number, piece in zip(channel.members, channel.pieces, strict=True):
        assert channels(channel.band, number, 20)[0].span == piece


@given(
    st.sampled_from([2.4, 5, 6]),
    st.integers(-5, 260),
    st.sampled_from([20, 22, 40, 80, 160, 240, 320]),
)
def test_a_number_names_a_channel_or_is_explained(band: float, number: int, width: int) -> None:
    try:
        found = channels(band, number, width)
    except ChannelError as error:
        found, told = (), str(error)
        alone = f"{number} " in told or f"{width} MHz" in told
    else:
        alone = all(number in c.members and c.width_mhz == width for c in found)
    assert alone


def test_forty_mhz_at_two_four_ghz_lies_above_or_below() -> None:
    assert [c.span for c in channels(2.4, 6, 40)] == [Span(2407, 2447), Span(2427, 2467)]
    assert channels(2.4, 6, 40, second="above")[0].centre_number == 8
    assert channels(2.4, 6, 40, second="below")[0].centre_number == 4


def test_a_320_mhz_channel_is_in_one_block_or_the_other() -> None:
    assert [c.centre_number for c in channels(6, 37, 320)] == [31, 63]
    assert [c.centre_number for c in channels(6, 37, 320, block=1)] == [31]
    assert [c.centre_number for c in channels(6, 37, 320, block=2)] == [63]
    assert [c.centre_number for c in channels(6, 5, 320)] == [31]
    assert "block 1" in _message(6, 5, 320, block=2)


def test_a_centre_number_gets_the_members_offered() -> None:
    assert _message(5, 42, 80) == (
        "42 is the centre of an 80 MHz channel; did you mean 36, 40, 44 or 48?"
    )
    assert "1, 5, 9 or 13" in _message(6, 7, 80)


def test_a_number_of_another_band_gets_the_band_named() -> None:
    assert _message(5, 6, 20).startswith("channel 6 is a 2.4 GHz channel, not a 5 GHz one")
    assert _message(2.4, 36, 20).startswith("channel 36 is a 5 GHz channel")
    assert _message(5, 33, 20).startswith("channel 33 is a 6 GHz channel")
    assert _message(2.4, 149, 20).startswith("channel 149 is a 5 or 6 GHz channel")
    assert "5 GHz it is the centre of an 80 MHz channel" in _message(2.4, 42, 80)


def test_a_width_that_cannot_be_gets_what_can() -> None:
    assert "the widest it can be is 80 MHz (with 132, 136 and 140)" in _message(5, 144, 160)
    assert "the nearest 160 MHz channels are 100 to 128 and 149 to 177" in _message(5, 144, 160)
    assert "320 MHz exists at 6 GHz" in _message(5, 36, 320)
    assert "20 or 40 MHz" in _message(2.4, 1, 80)
    assert "the bands are 2.4, 5 and 6" in _message(60, 1, 20)
    assert "no channel 82 at 5 GHz; the nearest at 5 GHz are 64 and 100" in _message(5, 82, 20)


def test_a_second_channel_that_the_number_rules_out_is_refused() -> None:
    assert channels(5, 36, 40, second="above")[0].centre_number == 38
    assert "lies above it, never below" in _message(5, 36, 40, second="below")
    assert "no second channel" in _message(5, 36, 20, second="above")
    assert "only 320 MHz channels have a block" in _message(5, 36, 80, block=1)


def test_overlap_is_exact_and_touching_is_none() -> None:
    one, six = channels(2.4, 1, 20)[0], channels(2.4, 6, 20)[0]
    assert overlap_mhz(one, six) == 0
    assert overlap_mhz(one, channels(2.4, 2, 20)[0]) == 15
    assert overlap_mhz(channels(5, 36, 80)[0], channels(5, 52, 80)[0]) == 0
    assert overlap_mhz(all_channels(6, 320)[0], all_channels(6, 320)[1]) == 160

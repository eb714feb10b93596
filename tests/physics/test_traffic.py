"""Frames by use, and single frames against a closed form worked out apart from this one.

The figures are a table of turns computed from the standard's timing (IEEE 802.11-2020 10.23 and
clauses 16 to 19; 802.11ax-2021 27.3) by hand: T = AIFS + (CW/2) slot + frame + SIFS + answer, best
effort, nobody else about; the frame is payload, UDP 8, IPv4 20, LLC 8, QoS header 26 and FCS 4.
"""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.datafiles import data_folder
from meshlint.physics.mac import IP_PAYLOAD_OCTETS, exchange
from meshlint.physics.phy import LegacyMode, Mode
from meshlint.physics.traffic import BULK, PATTERNS, Frames, frames_of

N4, AX7, AX7_WIDE = (
    Mode("802.11n", 4, 20, 1),
    Mode("802.11ax", 7, 20, 1),
    Mode("802.11ax", 7, 80, 1),
)
B1, B2, B5, B11 = (LegacyMode("802.11b", rate) for rate in (1.0, 2.0, 5.5, 11.0))


def turn_us(mode: Mode | LegacyMode, octets: int, frames: int = 1) -> float:
    band = 2.4 if isinstance(mode, LegacyMode) else 5
    found = exchange(mode, band, payload_octets=octets, most_frames=frames)
    assert found.frames == frames
    return found.success_us + (found.window - 1) / 2 * found.slot_us


CALL, WHOLE = 172, 1472


@pytest.mark.parametrize(
    ("mode", "octets", "expected_us"),
    [
        (B11, CALL, 1059.1),
        (N4, CALL, 242.5),
        (AX7, CALL, 224.9),
        (AX7_WIDE, CALL, 211.3),
        (B1, WHOLE, 13190),
        (B2, WHOLE, 7038),
        (B5, WHOLE, 3123),
        (B11, WHOLE, 2004.5),
        (N4, WHOLE, 510.5),
        (AX7, WHOLE, 347.3),
        (AX7_WIDE, WHOLE, 238.5),
    ],
)
def test_one_frame_and_its_answer(mode: Mode | LegacyMode, octets: int, expected_us: float) -> None:
    assert turn_us(mode, octets) == pytest.approx(expected_us, rel=0.01)


@pytest.mark.parametrize(("mode", "percent"), [(B11, 10.6), (N4, 2.5), (AX7, 2.2)])
def test_a_call_both_ways_as_best_effort(mode: Mode | LegacyMode, percent: float) -> None:
    """G.711: 172 octets with RTP, 50 times a second each way."""
    frames = frames_of("voice", 0.0688)
    assert frames == Frames(CALL, 1)
    assert 100 * 100 * turn_us(mode, frames.payload_octets) * 1e-6 == pytest.approx(
        percent, abs=0.1
    )


@pytest.mark.parametrize(
    ("mode", "one", "four", "eight"),
    [(N4, 17.8, 12.7, 11.9), (AX7, 12.4, 6.9, 5.9), (AX7_WIDE, 8.5, 3.0, 2.1)],
)
def test_a_camera_of_4_mbps(mode: Mode, one: float, four: float, eight: float) -> None:
    """357 packets of 1400 octets a second; two in a turn lie between one and four."""
    used = {
        n: 100 * 4 / exchange(mode, 5, payload_octets=1400, most_frames=n).goodput_mbps
        for n in (1, 2, 4, 8)
    }
    assert [used[n] for n in (1, 4, 8)] == pytest.approx([one, four, eight], rel=0.03)
    camera = frames_of("camera", 4)
    assert camera == Frames(1400, 2)
    assert four < used[2] < one


def test_500_sensors_at_1_mbps() -> None:
    """64 octets up each 10 s and an answer: 100 turns a second of 1926 us (19 %)."""
    frames = frames_of("sensor", 64 * 8 / 10 / 1e6)
    assert turn_us(B1, frames.payload_octets) == pytest.approx(1926, rel=0.01)


@pytest.mark.parametrize(
    ("rate_mbps", "packets"), [(0.2, 1), (0.55, 2), (1.25, 5), (4.0, 14), (25.0, 87)]
)
def test_the_packets_of_one_picture_go_out_together(rate_mbps: float, packets: int) -> None:
    """A thirtieth of a second in packets of 1200 octets."""
    assert frames_of("video", rate_mbps) == Frames(1200, packets)


def test_every_use_of_a_site_file_has_its_frames() -> None:
    schema = json.loads((data_folder("schemas") / "site.schema.json").read_text(encoding="utf-8"))
    assert set(schema["$defs"]["client_group"]["properties"]["use"]["enum"]) == set(PATTERNS)
    assert frames_of("data", 1) == frames_of(None, 1) == BULK


@given(st.sampled_from(sorted(PATTERNS)), st.floats(0, 1000))
def test_frames_hold_something_and_no_more_than_a_packet(use: str, rate_mbps: float) -> None:
    frames = frames_of(use, rate_mbps)
    assert 1 <= frames.payload_octets <= IP_PAYLOAD_OCTETS
    assert frames.most_frames is None or frames.most_frames >= 1

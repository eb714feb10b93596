"""Saturation throughput against Bianchi's paper, ns-3's tables and simulated chains."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from meshlint.physics.bianchi import (
    Turn,
    attempt_probability,
    contention_share,
    path_goodput_mbps,
    saturation,
    saturation_mbps,
    taking_turns_mbps,
)
from meshlint.physics.mac import Exchange, exchange
from meshlint.physics.phy import Mode

# Bianchi 2000, Table II, at 1 Mb/s: one bit a microsecond. Durations as the text gives them.
PAYLOAD_US = 8184.0
BASIC = Turn(PAYLOAD_US, success_us=8982, collision_us=8713, slot_us=50)
ASKING_FIRST = Turn(PAYLOAD_US, success_us=9568, collision_us=417, slot_us=50)

# Contenders, then (basic, RTS/CTS) for W 32 m 3, W 32 m 5 and W 128 m 3.
PAPER = [
    (2, (0.8473, 0.8189), (0.8473, 0.8189), (0.7676, 0.7318)),
    (5, (0.8097, 0.8342), (0.8102, 0.8342), (0.8250, 0.7979)),
    (10, (0.7532, 0.8371), (0.7579, 0.8370), (0.8263, 0.8217)),
    (20, (0.6788, 0.8356), (0.6975, 0.8362), (0.7981, 0.8327)),
    (30, (0.6273, 0.8329), (0.6603, 0.8346), (0.7702, 0.8355)),
    (50, (0.5529, 0.8270), (0.6109, 0.8317), (0.7252, 0.8363)),
]


@pytest.mark.parametrize(("contenders", "first", "second", "third"), PAPER)
def test_the_paper_s_parameters(
    contenders: int,
    first: tuple[float, float],
    second: tuple[float, float],
    third: tuple[float, float],
) -> None:
    """Formulae from memory, worked out apart from this code with the paper's parameters."""
    windows = ((32, 3), (32, 5), (128, 3))
    for (window, doublings), (basic, asking) in zip(windows, (first, second, third), strict=True):
        found_basic = saturation(contenders, BASIC, window, doublings)
        found_asking = saturation(contenders, ASKING_FIRST, window, doublings)
        assert found_basic == pytest.approx(basic, abs=1e-4)
        assert found_asking == pytest.approx(asking, abs=1e-4)


@pytest.mark.parametrize(
    ("window", "doublings", "tau", "collided"),
    [(32, 3, 0.03869, 0.29888), (32, 5, 0.03731, 0.28977), (128, 3, 0.01352, 0.11529)],
)
def test_tau_and_p_of_ten_contenders(
    window: int, doublings: int, tau: float, collided: float
) -> None:
    found_tau, found_collided = attempt_probability(10, window, doublings)
    assert found_tau == pytest.approx(tau, abs=1e-5)
    assert found_collided == pytest.approx(collided, abs=1e-5)


@given(st.integers(2, 60), st.integers(2, 512), st.integers(0, 7))
def test_the_solution_satisfies_the_closed_form(
    contenders: int, window: int, doublings: int
) -> None:
    """Eq. (7) as printed, 2 (1-2p) / ((1-2p)(W+1) + p W (1-(2p)^m)), away from p = 1/2."""
    tau, p = attempt_probability(contenders, window, doublings)
    if abs(p - 0.5) > 1e-3:
        printed = (
            2 * (1 - 2 * p) / ((1 - 2 * p) * (window + 1) + p * window * (1 - (2 * p) ** doublings))
        )
        assert tau == pytest.approx(printed, rel=1e-9)
    assert p == pytest.approx(1 - (1 - tau) ** (contenders - 1))


# The 802.11ax tables of ns-3 3.44, `wifi-bianchi.cc`, in Mb/s at 5, 10 and 50 contenders: data rate
# and acknowledgement rate, then with collisions ended by DIFS and by EIFS.
SIMULATOR_TABLES = [
    (8.603, 6, (6.3746, 5.8670, 4.7004), (6.3381, 5.8172, 4.6317)),
    (86.0, 24, (34.9671, 33.0739, 27.6975), (34.1710, 31.9398, 26.0271)),
    (143.4, 24, (43.0043, 41.0039, 34.8154), (41.8065, 39.2749, 32.2164)),
    (36.0, 6, (20.0101, 18.6928, 15.3567), (19.6542, 18.1962, 14.6471)),
    (360.3, 24, (55.8389, 53.9360, 46.8571), (53.8362, 50.9837, 42.2678)),
    (600.5, 24, (60.3411, 58.5527, 51.2922), (58.0092, 55.0896, 45.8436)),
]


@pytest.mark.parametrize(("rate_mbps", "ack_mbps", "difs_mbps", "eifs_mbps"), SIMULATOR_TABLES)
def test_the_tables_of_a_packet_simulator(
    rate_mbps: float, ack_mbps: int, difs_mbps: tuple[float, ...], eifs_mbps: tuple[float, ...]
) -> None:
    """Its own frame timing (`bianchi11ax.py`), peculiarities included.

    22 bits around the frame, one slot added to a success, flight time in the EIFS form only.
    """
    sifs_us, difs_us, slot_us, flight_us = 16, 34, 9, 0.1
    data_us = 44 + 13.6 * math.ceil((22 + 8 * (1500 + 30 + 8)) / (rate_mbps * 13.6))
    ack_us = 20 + 4 * math.ceil((22 + 8 * 14) / (4 * ack_mbps))
    collided_us = data_us + difs_us
    success_us = collided_us + sifs_us + ack_us
    short = Turn(1500 * 8, success_us + slot_us, collided_us, slot_us)
    long = Turn(1500 * 8, success_us + flight_us + slot_us, success_us + flight_us, slot_us)
    for at, contenders in enumerate((5, 10, 50)):
        assert saturation(contenders, short, 16, 6) == pytest.approx(difs_mbps[at], abs=0.002)
        assert saturation(contenders, long, 16, 6) == pytest.approx(eifs_mbps[at], abs=0.002)


def simulator_exchange(mode: Mode) -> Exchange:
    """Return the turn with the simulator's frames: no VHT SIG-B, HE training 8 us, answer 40 us."""
    ours = exchange(mode, 5)
    if mode.generation == "802.11ac":
        return replace(ours, sending_us=ours.sending_us - 4 + 8)
    return replace(ours, sending_us=ours.sending_us + 0.8 * mode.streams)


# ns-3 3.44, every node in hearing of every other, best of six offered loads: Bianchi's figure for
# one hop in Mb/s, then for 2, 3 and 4 hops its share of one hop and the simulated share.
CHAINS = [
    (Mode("802.11ac", 4, 80, 2), 307.1, (0.478, 0.306, 0.222), (0.472, 0.299, 0.214)),
    (Mode("802.11ac", 7, 80, 2), 486.1, (0.482, 0.309, 0.225), (0.475, 0.299, 0.211)),
    (Mode("802.11ax", 9, 80, 2), 858.9, (0.477, 0.305, 0.221), (0.452, 0.281, 0.208)),
]


@pytest.mark.parametrize(("mode", "one_hop_mbps", "shares", "simulated"), CHAINS)
def test_hops_that_share_one_air(
    mode: Mode,
    one_hop_mbps: float,
    shares: tuple[float, ...],
    simulated: tuple[float, ...],
) -> None:
    hop = simulator_exchange(mode)
    assert path_goodput_mbps([hop]) == pytest.approx(one_hop_mbps, rel=0.01)
    for hops, share, peak in zip((2, 3, 4), shares, simulated, strict=True):
        found = path_goodput_mbps([hop] * hops) / path_goodput_mbps([hop])
        assert found == pytest.approx(share, abs=0.001)
        # The closed form lies above what chains reach, by 9 % at most, and below 1/h.
        assert peak < found < min(peak * 1.09, 1 / hops)


def test_one_sender_alone_has_no_one_to_wait_for() -> None:
    hop = exchange(Mode("802.11ax", 7, 80, 2), 5)
    assert saturation_mbps(1, hop) == pytest.approx(hop.goodput_mbps, rel=1e-12)
    assert contention_share(1, hop) == 1


@given(st.integers(1, 40), st.integers(1, 40))
def test_more_contenders_collide_more(one: int, other: int) -> None:
    few, many = sorted((one, other))
    few_tau, few_collided = attempt_probability(few, 16, 6)
    many_tau, many_collided = attempt_probability(many, 16, 6)
    assert many_tau <= few_tau + 1e-12
    assert many_collided >= few_collided - 1e-12


@given(st.lists(st.integers(0, 9), min_size=1, max_size=6), st.integers(0, 9))
def test_another_hop_never_helps(path: list[int], extra: int) -> None:
    hops = [exchange(Mode("802.11ax", mcs, 80, 2), 5) for mcs in path]
    longer = [*hops, exchange(Mode("802.11ax", extra, 80, 2), 5)]
    assert path_goodput_mbps(longer) < path_goodput_mbps(hops)
    bound_mbps = taking_turns_mbps(hop.goodput_mbps for hop in hops)
    assert path_goodput_mbps(hops) <= bound_mbps
    assert bound_mbps <= min(hop.goodput_mbps for hop in hops) * (1 + 1e-12)


def test_idle_slots_saved_are_no_gain_for_a_path() -> None:
    """Single frames at 802.11ax rates: two contenders together carry more than one sender."""
    hop = exchange(Mode("802.11ax", 11, 80, 2), 5, most_frames=1)
    assert saturation_mbps(2, hop) > saturation_mbps(1, hop)
    assert path_goodput_mbps([hop, hop]) == pytest.approx(hop.goodput_mbps / 2)


@pytest.mark.parametrize(
    ("goodputs_mbps", "through_mbps"),
    [([300], 300), ([300, 300], 150), ([300, 600], 200), ([600, 300, 200], 100)],
)
def test_taking_turns(goodputs_mbps: list[float], through_mbps: float) -> None:
    """1/300 + 1/600 = 1/200; 1/600 + 1/300 + 1/200 = 1/100."""
    assert taking_turns_mbps(goodputs_mbps) == pytest.approx(through_mbps)


def test_a_path_needs_a_hop() -> None:
    with pytest.raises(ValueError, match="at least one hop"):
        path_goodput_mbps([])
    with pytest.raises(ValueError, match="at least one sender"):
        attempt_probability(0, 16, 6)

"""What a slow device costs the others, against the closed form of single frames and by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import site, with_radios

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

AT = "units/desk/radios/low"


def radio(more: str = "", basic: float = 2) -> str:
    return with_radios(
        low="band: 2.4, channel: 6, width_mhz: 20, generation: 802.11g, carries: [clients], "
        f"lowest_basic_mbps: {basic}{more}"
    )


def two(slow: str, fast: str, *, unit: str = "") -> str:
    return site(
        {"desk": f"routing_mbps: 1000, {unit or radio()}"},
        {},
        "internet_lines: {main: {down_mbps: 1000, up_mbps: 1000}}\n"
        "neighbours: []\nnetworks: {}\n"
        f"clients:\n  slow: {{count: 1, near: desk, {slow}}}\n"
        f"  fast: {{count: 1, near: desk, {fast}}}\n",
    )


ASKS = "down_mbps: 100, up_mbps: 0"
B, G = f"generation: 802.11b, {ASKS}", f"generation: 802.11g, {ASKS}"


def test_one_of_802_11b_brings_one_of_802_11g_down_to_its_rate(worked: Worked) -> None:
    """At -67 dBm 11 Mb/s and 36 Mb/s, the latter after a CTS at 2 Mb/s with a long preamble.

    A turn of 1472 octets is 2004.5 us at 11 Mb/s. At 36 Mb/s it is 70 + 7.5 x 20 of waiting, 20 +
    4 ceil((22 + 12304) / 144) = 364 of frame and 6 more at 2.4 GHz, SIFS 10 and 34 of
    acknowledgement at 24 Mb/s (28 and 6), 248 + 10 of the CTS: 892 us. By turns 11776 bits each in
    2896.5 us: 4.1 Mb/s, of which the slow one has 69 % of the time.
    """
    ask = worked(two(B, G))
    turn_us = 2004.5 + 70 + 150 + 364 + 6 + 10 + 34 + 10 + 248
    assert ask("radio.with_slow_mbps", AT) == pytest.approx(11776 / turn_us, rel=0.01)
    assert ask("radio.slow_takes_percent", AT) == pytest.approx(100 * 2004.5 / turn_us, rel=0.01)
    assert ask("radio.slow_groups", AT) == ("slow",)
    assert ask("radio.without_slow_mbps", AT) > 20


def test_equal_turns_give_equal_rates_and_airtime_fairness_equal_time(worked: Worked) -> None:
    """100 and 10 Mb/s: 9.1 each, or 50 and 5; the same sums at the rates of this case."""
    fair = radio(", airtime_fairness: true")
    for unit, even in ((radio(), False), (fair, True)):
        ask = worked(two(B, G, unit=unit))
        got = {
            name: ask("group.delivered_down_mbps", f"clients/{name}") for name in ("slow", "fast")
        }
        held = {name: ask("group.goodput_mbps", f"clients/{name}") for name in ("slow", "fast")}
        if even:
            assert got["slow"] / held["slow"] == pytest.approx(got["fast"] / held["fast"])
        else:
            assert got["slow"] == pytest.approx(got["fast"])
        used = sum(got[name] / held[name] for name in got)
        assert used == pytest.approx(ask("air.room_percent", "airs/desk/low") / 100)


def test_what_devices_send_takes_equal_turns_whatever_the_unit_does(worked: Worked) -> None:
    up = "down_mbps: 0, up_mbps: 100"
    text = two(B.replace(ASKS, up), G.replace(ASKS, up), unit=radio(", airtime_fairness: true"))
    ask = worked(text)
    sent = [ask("group.delivered_up_mbps", f"clients/{name}") for name in ("slow", "fast")]
    assert sent[0] == pytest.approx(sent[1])


def test_the_cost_is_what_slow_frames_take_beyond_fast_ones(worked: Worked) -> None:
    """1 Mb/s at 5.87 Mb/s, less the same at 802.11g unprotected, and a CTS for the rest."""
    slow, fast = (
        B.replace(ASKS, "down_mbps: 1, up_mbps: 0"),
        G.replace(ASKS, "down_mbps: 2, up_mbps: 0"),
    )
    ask = worked(two(slow, fast))
    bare = worked(two(slow, fast).replace("802.11b", "802.11g"))(
        "group.goodput_mbps", "clients/fast"
    )
    held = [ask("group.goodput_mbps", f"clients/{name}") for name in ("slow", "fast")]
    protection = 2 / held[1] - 2 / bare
    assert ask("radio.slow_protection_percent", AT) == pytest.approx(100 * protection)
    expected = 1 / held[0] - 1 / bare + protection
    assert ask("radio.slow_cost_percent", AT) == pytest.approx(100 * expected)
    fair = worked(two(slow, fast, unit=radio(", airtime_fairness: true")))
    assert fair("radio.slow_cost_percent", AT) == pytest.approx(100 * protection)


def test_airtime_fairness_of_a_unit_is_that_of_its_radios_but_for_those_that_say(
    worked: Worked,
) -> None:
    for said, fair in (("", True), (", airtime_fairness: false", False)):
        ask = worked(two(B, G, unit=f"airtime_fairness: true, {radio(said)}"))
        assert ask("radio.airtime_fairness", AT) is fair

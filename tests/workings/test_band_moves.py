"""What units get that all draw at once, and which links change their band together.

Reckoned here by hand from the goodput of each hop: with r for everybody, each Mb/s takes 1 / g on
every hop of its way, and all hops of one hearing share one time, less contention (Jun and Sichitiu
2003; Bianchi's figures of `meshlint.physics`).
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import pytest

from builders import numbered, site, stands_at, uplinks
from meshlint.physics.capacity import contention
from meshlint.workings.links.goodput import radio_hop

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    Worked = Callable[[str], Any]


def radio(band: float, channel: int, width: int, carries: str) -> str:
    more = ", power_class: low-indoor" if band == 6 else ", power_control: true"
    return (
        f"{{band: {band}, channel: {channel}, width_mhz: {width}, power_dbm: 17, streams: 2, "
        f"generation: 802.11ax, antenna_gain_dbi: 3, carries: {carries}{more}}}"
    )


LOW = radio(2.4, 1, 20, "[backhaul]")
HIGH = radio(6, 37, 80, "[]")


def row(parents: Mapping[int, int], by_name: str, more: str = "clients: {}\n", far: int = 3) -> str:
    """Return units in a row, so many metres apart, each on its parent by its radio `low`."""
    units = [f"{stands_at(far * n, 0, 2)}, radios: {{{by_name}}}" for n in range(len(parents) + 1)]
    more = f"networks: {{}}\nneighbours: []\n{more}"
    return site(numbered(units), uplinks(parents, "low"), more, country="GB", surroundings="office")


CHAIN, STAR = {1: 0, 2: 1, 3: 2}, {1: 0, 2: 0, 3: 0}
BOTH = f"low: {LOW}, high: {HIGH}"


def by_hand(ask: Any, times: Mapping[str, int]) -> float:
    """Return what each gets where so many of them cross each link, all in one hearing."""
    w = ask.workings
    hops = {name: radio_hop(w, w.site.backhaul[name]) for name in times}
    turns = min(contention(len(hops), hop.exchange) for hop in hops.values())
    return turns / sum(times[name] / hop.goodput_mbps for name, hop in hops.items())


@pytest.mark.parametrize(
    ("parents", "times"),
    [(CHAIN, {"l1": 3, "l2": 2, "l3": 1}), (STAR, {"l1": 1, "l2": 1, "l3": 1})],
)
def test_what_each_gets_is_what_the_shared_air_leaves(
    worked: Worked, parents: dict[int, int], times: dict[str, int]
) -> None:
    ask = worked(row(parents, BOTH))
    each = by_hand(ask, times)
    assert ask("link.drawn_least_mbps", "backhaul/l1") == pytest.approx(each)
    assert ask("link.drawn_mbps", "backhaul/l1") == pytest.approx(3 * each)
    assert ask("link.moves_with", "backhaul/l2") == ("l1", "l2", "l3")
    high = worked(row(parents, BOTH).replace("_radio: low", "_radio: high"))
    assert ask("link.best_band_channel", "backhaul/l1") == "6 GHz channel 37 at 80 MHz"
    there = by_hand(high, times)
    assert ask("link.best_band_least_mbps", "backhaul/l1") == pytest.approx(there)
    assert ask("link.best_band_mbps", "backhaul/l1") == pytest.approx(3 * there)


def test_what_others_ask_for_comes_off_first(worked: Worked) -> None:
    """u2 asks 20 Mb/s over l2; the set is l1 alone, on another channel that l2 overlaps."""
    text = row({1: 0, 2: 0}, BOTH, "clients: {c: {count: 1, wired_to: u2, down_mbps: 15, "
                "up_mbps: 5}}\n")  # fmt: skip
    other = "other: " + radio(2.4, 2, 20, "[backhaul]")
    text = text.replace(f"radios: {{{BOTH}}}", f"radios: {{{BOTH}, {other}}}")
    text = text.replace(
        "l2: {from: u2, to: u0, over: radio, from_radio: low, to_radio: low}",
        "l2: {from: u2, to: u0, over: radio, from_radio: other, to_radio: other}",
    )
    ask = worked(text)
    assert ask("link.moves_with", "backhaul/l1") == ("l1",)
    w = ask.workings
    one, two = (radio_hop(w, w.site.backhaul[name]) for name in ("l1", "l2"))
    turns = min(contention(2, hop.exchange) for hop in (one, two))
    left = (turns - 20 / two.goodput_mbps) * one.goodput_mbps
    assert ask("link.drawn_mbps", "backhaul/l1") == pytest.approx(left)
    assert ask("link.others_on_air_percent", "backhaul/l1") == pytest.approx(
        2000 / two.goodput_mbps
    )


def test_where_one_unit_lacks_the_band_none_of_them_moves(worked: Worked) -> None:
    text = row(CHAIN, BOTH)
    for lacking in range(4):
        units = text.split("  u")
        units[lacking + 1] = units[lacking + 1].replace(f", high: {HIGH}", "")
        ask = worked("  u".join(units))
        for link in ("l1", "l2", "l3"):
            best = ask("link.best_band_channel", f"backhaul/{link}")
            assert best == "2.4 GHz channel 1 at 20 MHz"
            assert ask("link.best_band_mbps", f"backhaul/{link}") == ask(
                "link.drawn_mbps", f"backhaul/{link}"
            )


@pytest.mark.parametrize("channels", list(itertools.permutations((5, 37, 69))))
def test_all_ends_are_put_on_one_channel(worked: Worked, channels: tuple[int, ...]) -> None:
    """Three units, three channels at 6 GHz: two of them are named that have to follow the third."""
    text = row({1: 0, 2: 0}, BOTH)
    for channel in channels:
        text = text.replace("6, channel: 37,", f"6, channel : {channel},", 1)
    ask = worked(text)
    told = ask("link.best_band_channel", "backhaul/l1")
    assert told in {f"6 GHz channel {channel} at 80 MHz" for channel in channels}
    stays = channels.index(int(told.split()[3]))
    assert set(ask("link.best_band_sets", "backhaul/l1")) == {
        f"radio high of u{n}" for n in range(3) if n != stays
    }


def test_a_radio_that_other_links_use_is_not_set_to_another_channel(worked: Worked) -> None:
    """u0 is in a link at 6 GHz already, whose channel the others would have to join.

    At its other end is a switch, which draws nothing that it could lose by that.
    """
    text = row({1: 0, 2: 1}, BOTH).replace(
        "high: {band: 6, channel: 37", "high: {band: 6, channel: 5", 1
    )
    own = "  own: {from: u3, to: u0, over: radio, from_radio: high, to_radio: high}\n"
    far = f"  u3: {{kind: switch, at: {{x_m: 3, y_m: 3, height_m: 2}}, radios: {{high: {HIGH}}}}}\n"
    text = text.replace("backhaul:\n", f"{far}backhaul:\n{own}", 1)
    text = text.replace(far, far.replace("channel: 37", "channel: 5"))
    assert worked(text)("link.best_band_channel", "backhaul/l1") == "6 GHz channel 5 at 80 MHz"
    assert set(worked(text)("link.best_band_sets", "backhaul/l1")) == {
        "radio high of u1",
        "radio high of u2",
    }


def test_what_one_gains_by_taking_it_from_others_is_no_gain(worked: Worked) -> None:
    """A chain with each hop on a band of its own. u3 alone would have more at 5 GHz than at 2.4.

    When all draw, three turns are then taken at 5 GHz in place of two: r for u3, and r for u2.
    """
    mid = radio(5, 36, 80, "[backhaul]")
    text = row(CHAIN, f"low: {LOW}, mid: {mid}, high: {HIGH.replace('[]', '[backhaul]')}", far=4)
    for link, name in (("l1", "high"), ("l2", "mid")):
        parts = text.split(f"  {link}: ")
        text = f"  {link}: ".join([parts[0], parts[1].replace("_radio: low", f"_radio: {name}", 2)])
    ask = worked(text)
    w = ask.workings
    g2, g3 = (radio_hop(w, w.site.backhaul[name]).goodput_mbps for name in ("l2", "l3"))
    assert g2 > 2 * g3  # so that l3 alone would gain
    assert ask("link.best_band_channel", "backhaul/l3") == "2.4 GHz channel 1 at 20 MHz"
    assert ask("link.drawing_units", "backhaul/l3") == ("u3",)

"""What the way left after a loss carries of what clients ask for, and over which radios it may go.

Expected shares are reckoned here from the goodputs of the single hops: what a Mb/s takes of an air
is 1 / goodput for each hop of it, contention by Bianchi's figures of `meshlint.physics`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from meshlint.physics.capacity import contention
from meshlint.physics.mac import exchange
from meshlint.workings.links.goodput import radio_hop

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

HEAD = (
    "meshlint: 1\nsite: {name: D, surroundings: office}\nprimary: desk\nnetworks: {}\n"
    "neighbours: []\nmodels:\n  uno: {radios: {high: {band: 6, generation: 802.11ax, streams: 2, "
    "antenna_gain_dbi: 5}, mid: {band: 5, generation: 802.11ax, streams: 2, "
    "antenna_gain_dbi: 4}}}\n"
)
PLACES = {"desk": (0, 0), "hall": (9, 0), "loft": (9, 8)}


def three(
    links: str, clients: str = "", mid: str = "[clients]", high: str = "37", more: str = ""
) -> str:
    """Return a desk, a hall and a loft with backhaul at 6 GHz; all hear each other."""
    units = "".join(
        f"  {name}: {{model: uno, at: {{x_m: {x}, y_m: {y}, height_m: 2}}, radios: {{high: "
        f"{{channel: {high}, width_mhz: 80, power_dbm: 18, carries: [backhaul]}}, mid: {{channel: "
        f"149, width_mhz: 40, power_dbm: 17, carries: {mid}, lowest_basic_mbps: 12}}}}}}\n"
        for name, (x, y) in PLACES.items()
    )
    groups = f"clients: {{{clients}}}\n" if clients else ""
    return f"{HEAD}units:\n{units}backhaul:\n{links}{groups}{more}"


ON_HALL = (
    "  hall: {from: hall, to: desk, over: radio}\n  loft: {from: loft, to: hall, over: radio}\n"
)
STAR = ON_HALL.replace("to: hall", "to: desk")
LOFT = "units/loft"


def hop(worked: Worked, text: str, link: str) -> Any:
    w = worked(text).workings
    return radio_hop(w, w.site.backhaul[link])


def test_what_a_detour_carries_is_what_others_leave_of_its_air(worked: Worked) -> None:
    """The loft comes back straight to the desk; the hall's own 80 Mb/s stay on that air."""
    asked = "a: {count: 20, wired_to: loft, down_mbps: 30, up_mbps: 10}"
    others = "b: {count: 8, wired_to: hall, down_mbps: 8, up_mbps: 2}"
    ask = worked(three(ON_HALL, f"{asked}, {others}"))
    assert ask("unit.fallback_after", LOFT) == "the link between loft and hall"
    assert ask("unit.fallback_parent", LOFT) == "desk"
    own, hall = (hop(worked, three(STAR), name) for name in ("loft", "hall"))
    turns = min(contention(2, end.exchange) for end in (own, hall))
    share = (turns - 80 / hall.goodput_mbps) * own.goodput_mbps / 800
    assert 0.1 < share < 1
    assert ask("unit.fallback_demand_percent", LOFT) == pytest.approx(100 * share)
    assert ask("unit.fallback_spare_mbps", LOFT) == 0
    assert ask("unit.groups_behind", LOFT) == ("a",)


def test_what_is_left_beyond_what_they_ask_for(worked: Worked) -> None:
    ask = worked(three(ON_HALL, "a: {count: 1, wired_to: loft, down_mbps: 30, up_mbps: 10}"))
    own = hop(worked, three(STAR), "loft").goodput_mbps
    assert ask("unit.fallback_demand_percent", LOFT) == 100
    # Nobody else sends: the hall asks for nothing, so that nobody contends with the loft.
    assert ask("unit.fallback_spare_mbps", LOFT) == pytest.approx(own - 40)


def test_what_nobody_stated_is_said_to_be_unknown(worked: Worked) -> None:
    for clients in ("", "a: {count: 3, near: loft}"):
        ask = worked(three(ON_HALL, clients))
        assert ask("unit.fallback_demand_known", LOFT) is False
        assert ask("unit.fallback_percent", LOFT) > 0


def test_a_radio_that_serves_clients_alone_is_no_way_round(worked: Worked) -> None:
    """At 6 GHz nobody but the hall hears the loft, which could go on at 5 GHz if that carried."""
    text = three(STAR).replace(
        "units:\n",
        "units:\n  yard: {at: {x_m: 9, y_m: 9}, radios: {mid: {band: 5, generation: "
        "802.11ax, streams: 2, antenna_gain_dbi: 4, channel: 149, width_mhz: 40, power_dbm: 17, "
        "carries: [clients, backhaul]}}}\n",
        1,
    )
    links = "  yard: {from: yard, to: desk, over: cable, rate_mbps: 1000}\n"
    text = text.replace("backhaul:\n", f"backhaul:\n{links}", 1)
    alone = text.replace("  hall: {from: hall, to: desk, over: radio}\n", "")
    alone = alone.replace("hall: {model: uno", "hall: {kind: switch, model: uno")
    only = alone.replace("x_m: 9, y_m: 0", "x_m: 4000, y_m: 0")
    assert worked(only)("unit.fallback_parent", LOFT) == ""
    both = only.replace("carries: [clients],", "carries: [clients, backhaul],")
    assert worked(both)("unit.fallback_parent", LOFT) == "yard"


@pytest.mark.parametrize(
    ("tried", "parent"),
    [
        ("{from: loft, to: desk, over: radio, role: spare, measured_mbps: 0}", ""),
        ("{from: desk, to: loft, over: radio, role: spare, from_radio: high, to_radio: high, "
         "measured_mbps: 0}", ""),
        # The measurement was at 5 GHz: it says nothing of the radios at 6 GHz.
        ("{from: loft, to: desk, over: radio, role: spare, from_radio: mid, to_radio: mid, "
         "measured_mbps: 0}", "desk"),
    ],
)  # fmt: skip
def test_two_radios_whose_link_carries_nothing_are_no_way(
    worked: Worked, tried: str, parent: str
) -> None:
    text = three(f"{ON_HALL}  tried: {tried}\n")
    assert worked(text)("unit.fallback_parent", LOFT) == parent
    assert worked(text)("unit.best_parent", LOFT) == (parent or "hall")


def test_two_radios_whose_link_cannot_come_up_are_no_way(worked: Worked) -> None:
    """Its ends are set to channels apart; a third radio of the hall would do, if it had one."""
    tried = "  tried: {from: loft, to: desk, over: radio, role: spare}\n"
    text = three(ON_HALL + tried)
    apart = text.replace("channel: 37", "channel: 53", 1)
    radios = "from_radio: high, to_radio: high"
    apart = apart.replace("to: desk, over: radio}", f"to: desk, over: radio, {radios}}}", 1)
    # The desk has moved to channel 53, so that the hall hangs on it by cable.
    apart = apart.replace(
        f"hall: {{from: hall, to: desk, over: radio, {radios}}}",
        "hall: {from: hall, to: desk, over: cable, rate_mbps: 1000}",
    )
    assert worked(apart)("unit.fallback_parent", LOFT) == ""
    assert worked(apart.replace(tried, ""))("unit.fallback_parent", LOFT) == "desk"


def test_no_detour_leads_by_way_of_a_link_that_carries_nothing(worked: Worked) -> None:
    """The loft hangs on the yard; the hall is in its reach, and hangs on a dead link itself."""
    dead = "  hall: {from: hall, to: desk, over: radio, measured_mbps: 0}\n"
    yard = "  yard: {kind: access, radios: {}}\n"
    links = dead + "  yard: {from: yard, to: desk, over: cable, rate_mbps: 1000}\n"
    links += "  loft: {from: loft, to: yard, over: powerline, measured_mbps: 50}\n"
    text = three(links, "a: {count: 1, wired_to: loft, down_mbps: 3, up_mbps: 1}")
    text = text.replace("desk: {model: uno, at: {x_m: 0", "desk: {model: uno, at: {x_m: 4000")
    ask = worked(text.replace("units:\n", f"units:\n{yard}", 1))
    assert ask("unit.fallback_parent", LOFT) == ""
    assert ask("unit.fallback_demand_percent", LOFT) == 0


def test_calls_that_come_round_take_a_turn_for_each_frame(worked: Worked) -> None:
    """A call is 50 frames of 172 octets each way a second (RFC 3551 4.2), one frame a turn."""
    calls = "a: {count: 60, wired_to: loft, use: voice, down_mbps: 0.0688, up_mbps: 0.0688}"
    ask = worked(three(ON_HALL, calls))
    own = hop(worked, three(STAR), "loft")
    turn = exchange(own.mode, 6, payload_octets=172, most_frames=1)
    seconds = 60 * 100 * 172 * 8 / turn.goodput_mbps / 1e6
    assert seconds > 1  # as bulk it would be 60 * 0.1376 of some hundreds of Mb/s: a few per cent
    assert ask("unit.fallback_demand_percent", LOFT) == pytest.approx(100 / seconds)


def test_an_idle_link_in_the_air_of_a_detour_waits_for_what_its_ends_hear(worked: Worked) -> None:
    """As in the account of every air: the hall's scan counts, though nobody uses its link then."""
    asked = "a: {count: 20, wired_to: loft, down_mbps: 30, up_mbps: 10}"
    heard = "{heard_at: hall, band: 6, channel: 37, width_mhz: 80, level_dbm: -60, load: 0.6}"
    ask = worked(three(ON_HALL, asked).replace("neighbours: []", f"neighbours: [{heard}]"))
    own = hop(worked, three(STAR), "loft")
    assert ask("unit.fallback_demand_percent", LOFT) == pytest.approx(40 * own.goodput_mbps / 800)

"""What joining another parent gives to a unit and all that hang on it, its radios set anew.

Held to the site worked out anew with the change in its text, as in `test_advice`; here the joining
radio and that of a unit below it have to follow the new parent's channel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import numbered, over_radio, site, stands_at, with_radios
from meshlint.workings.alternatives.parent_moves import move
from meshlint.workings.capacity.scenario import baseline, drawn

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

COMMON = (
    "power_dbm: 18, streams: 2, generation: 802.11ax, antenna_gain_dbi: 4, lowest_basic_mbps: 6"
)


def radio(channel: int, width: int = 80, carries: str = "[backhaul]") -> str:
    return f"band: 5, channel: {channel}, width_mhz: {width}, carries: {carries}, {COMMON}"


def detour(
    u2: str, u3: str, parent: str = "u1", more: str = "", relay: str = "measured_mbps: 90"
) -> str:
    """Return u3 on u2 on u1 on u0, by radio; u0 hears u2 as well, on channel 149."""
    units = [
        f"{stands_at(0, 0, 2)}, {with_radios(a=radio(149))}",
        f"{stands_at(0, 4, 2)}, {with_radios(a=radio(100))}",
        f"{stands_at(4, 0, 2)}, {with_radios(a=u2)}",
        f"{stands_at(8, 0, 2)}, {with_radios(a=u3)}",
    ]
    links = {
        "l1": f"from: u1, to: u0, over: powerline, {relay}",
        "l2": over_radio("u2", parent, "a"),
        "l3": over_radio("u3", "u2", "a"),
    }
    rest = f"networks: {{home: {{}}}}\nneighbours: []\nclients: {{{more}}}\n"
    return site(numbered(units), links, rest, country="GB", surroundings="office")


UNIT = "units/u2"


def test_units_below_follow_to_the_new_parents_channel(worked: Worked) -> None:
    ask = worked(detour(radio(100), radio(100)))
    assert ask("unit.best_parent", UNIT) == "u0"
    assert ask("unit.best_parent_helps", UNIT) is True
    promise = move(ask.workings, ask.workings.site.units["u2"])
    assert promise.units == ("u2", "u3")
    again = worked(detour(radio(149), radio(149), "u0")).workings
    assert drawn(again, baseline(again, ("u2", "u3"), strict=True)) == pytest.approx(promise.after)
    assert ask("unit.drawn_least_mbps", UNIT) == pytest.approx(45)  # 90 over powerline, for two


def test_the_link_that_is_given_up_need_not_work_on_the_new_channel(worked: Worked) -> None:
    """u1 is out of reach by any model; the link to it was measured, and goes when u2 moves."""
    measured = detour(radio(100), radio(100)).replace("l2: {", "l2: {measured_mbps: 30, ")
    ask = worked(measured.replace("y_m: 4,", "y_m: 4000,"))
    assert ask("unit.best_parent", UNIT) == "u0"
    assert ask("unit.best_parent_helps", UNIT) is True
    near = worked(measured)
    assert ask("unit.best_parent_least_mbps", UNIT) == near("unit.best_parent_least_mbps", UNIT)


def test_where_clients_would_change_their_width_nothing_is_foretold(worked: Worked) -> None:
    both = radio(100, 40, "[clients, backhaul]")
    ask = worked(detour(radio(100, 40), both))
    assert ask("unit.best_parent", UNIT) == "u0"
    assert ask("unit.best_parent_helps", UNIT) is False
    assert ask.wants("unit.best_parent_least_mbps", UNIT) == ["units/u2/radios"]


def test_clients_of_a_radio_that_follows_keep_what_they_ask_for(worked: Worked) -> None:
    """On channel 149 u0 has no clients; those of u3 take their part of the air along."""
    both = radio(100, 80, "[clients, backhaul]")
    group = "c: {count: 9, near: u3, band: 5, generation: 802.11ax, streams: 2, down_mbps: 4, "
    group += "up_mbps: 1}"
    ask = worked(detour(radio(100), both, more=group))
    promise = move(ask.workings, ask.workings.site.units["u2"])
    followed = both.replace("channel: 100", "channel: 149")
    again = worked(detour(radio(149), followed, "u0", group)).workings
    units = tuple(promise.before)
    assert drawn(again, baseline(again, units, strict=True)) == pytest.approx(promise.after)


def test_todays_parent_changes_nothing(worked: Worked) -> None:
    ask = worked(detour(radio(149), radio(149), "u0"))
    assert ask("unit.best_parent", UNIT) == "u0"
    assert ask("unit.best_parent_helps", UNIT) is False
    assert ask("unit.best_parent_least_mbps", UNIT) == ask("unit.drawn_least_mbps", UNIT) > 0


def test_a_wire_that_others_need_is_no_better_way(worked: Worked) -> None:
    """u1's powerline has 900 Mb/s, of which its own clients ask for 890."""
    near = detour(radio(100), radio(100), "u0", relay="measured_mbps: 900")
    near = near.replace(radio(149), radio(100)).replace("x_m: 0, y_m: 0", "x_m: 33, y_m: 0")
    free = worked(near)
    assert free("unit.best_parent", UNIT) == "u1"
    assert free("unit.best_parent_helps", UNIT) is True
    taken = worked(near.replace("clients: {}", "clients: {c: {count: 1, wired_to: u1, "
                                "down_mbps: 890, up_mbps: 0}, d: {count: 1, wired_to: u3, "
                                "down_mbps: 30, up_mbps: 0}}"))  # fmt: skip
    assert taken("unit.best_parent", UNIT) == "u1"
    assert taken("unit.best_parent_helps", UNIT) is False

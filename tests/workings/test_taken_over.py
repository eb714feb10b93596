"""Who gets too little when other units take over the devices of units that are gone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import site, stands_at, with_radios
from meshlint.workings.alternatives.taken_over import known_short

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

RADIO = (
    "band: 5, width_mhz: 20, radiated_dbm: 20, antenna_gain_dbi: 3, generation: 802.11ax, "
    "streams: 2, carries: [clients]"
)
ONE = "generation: 802.11ax, streams: 1, up_mbps: 0"


def rooms(clients: str, *, barn_m: float = 10) -> str:
    """Return a desk and a barn that hangs on a hall of no radio, each with air of its own."""
    return site(
        {
            "desk": f"{stands_at(0)}, {with_radios(mid=f'channel: 36, {RADIO}')}",
            "hall": f"{stands_at(5)}, radios: {{}}",
            "barn": f"{stands_at(barn_m)}, {with_radios(mid=f'channel: 149, {RADIO}')}",
        },
        {
            "hall": "from: hall, to: desk, over: cable, rate_mbps: 1000",
            "barn": "from: barn, to: hall, over: cable, rate_mbps: 1000",
        },
        f"clients:\n{clients}",
        surroundings="office",
    )


def group(name: str, near: str, count: int, mbps: float) -> str:
    return f"  {name}: {{near: {near}, count: {count}, down_mbps: {mbps}, {ONE}}}\n"


@pytest.mark.parametrize(
    ("theirs", "mine", "short"),
    [
        # One device after the other gets about 37 Mb/s at the edge of the desk's cell (MCS 4).
        ((10, 1), (10, 1), 0),
        ((40, 1), (10, 1), 0),  # some three quarters each
        ((40, 1), (60, 1), 100),  # a third each, for those of the barn and those of the desk
        # Those who ask for little have it, however many ask for much (max-min fair).
        ((40, 1), (60, 0.1), 0),
    ],
)
def test_devices_that_move_share_the_air_with_those_who_are_there(
    worked: Worked, theirs: tuple[int, float], mine: tuple[int, float], short: int
) -> None:
    ask = worked(rooms(group("visitors", "barn", *theirs) + group("staff", "desk", *mine)))
    assert ask("unit.short_clients", "units/hall") == short
    assert ask("unit.left_alone_clients", "units/hall") == 0
    assert ask("unit.hit_clients", "units/hall") == short


def test_who_has_too_little_today_has_it_for_another_cause(worked: Worked) -> None:
    ask = worked(rooms(group("visitors", "barn", 10, 1) + group("staff", "desk", 100, 1)))
    assert ask("unit.short_clients", "units/hall") == 10


def test_devices_of_the_lost_unit_compete_and_are_not_counted(worked: Worked) -> None:
    """Any unit takes its own devices with it; those on the desk have less for it."""
    here = group("readers", "hall", 40, 1) + group("visitors", "barn", 1, 1)
    text = rooms(here + group("staff", "desk", 60, 1))
    text = text.replace("radios: {}", with_radios(mid=f"channel: 100, {RADIO}"))
    ask = worked(text)
    gone = frozenset({"hall", "barn"})
    assert known_short(ask.workings, gone, "hall") == 61
    assert known_short(ask.workings, gone) == 101


def test_whom_nobody_covers_is_left_alone_and_no_more(worked: Worked) -> None:
    text = rooms(group("visitors", "barn", 40, 1) + group("staff", "desk", 60, 1), barn_m=80)
    ask = worked(text)
    assert ask("unit.left_alone_clients", "units/hall") == 40
    assert ask("unit.short_clients", "units/hall") == 0


def test_who_does_not_say_what_they_ask_for_has_enough(worked: Worked) -> None:
    text = rooms("  visitors: {near: barn, count: 100}\n" + group("staff", "desk", 60, 0.4))
    assert worked(text)("unit.short_clients", "units/hall") == 0

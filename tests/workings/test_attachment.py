"""Who is on which unit: groups in areas, their levels, and how they contend.

By hand: three like units in line halve the hall between them at the same loss, so that each place
joins the nearest. Counting places by a random sample stands in for the grid. Contention counts
devices, so that the same devices in more groups get the same.
"""

from __future__ import annotations

import json
import math
import random
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from meshlint.workings.links.attachment import groups_about
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

Raw = dict[str, Any]

RADIO = {
    "band": 5,
    "channel": 36,
    "width_mhz": 20,
    "power_dbm": 18,
    "antenna_gain_dbi": 3,
    "generation": "802.11ax",
    "streams": 2,
    "lowest_basic_mbps": 6,
    "carries": ["clients"],
}


def hall(places: dict[str, float], clients: Raw, wide_m: float = 30, **radio: Any) -> Raw:
    """Return a hall 6 m deep with cabled units along its middle, each on its own channel."""
    channels = iter((36, 40, 44, 48, 149, 153, 157, 161))
    units: Raw = {}
    for name, x_m in places.items():
        mine = RADIO | {"channel": next(channels)} | radio
        units[name] = {"at": {"x_m": x_m, "y_m": 3, "height_m": 3}, "radios": {"mid": mine}}
    first = next(iter(units))
    units[first] |= {"routing_mbps": 10000}
    outline = [[0, 0], [wide_m, 0], [wide_m, 6], [0, 6]]
    return {
        "meshlint": 1,
        "site": {"name": "Hall", "country": "GB", "surroundings": "office"},
        "primary": first,
        "units": units,
        "backhaul": {
            name: {"from": name, "to": first, "over": "cable", "rate_mbps": 10000}
            for name in list(units)[1:]
        },
        "levels": {"ground": {"outline_m": outline}},
        "areas": {"hall": {"level": "ground", "outline_m": outline}},
        "clients": clients,
        "networks": {"home": {}},
        "neighbours": [],
        "internet_lines": {"main": {"enters_at": first, "down_mbps": 10000, "up_mbps": 10000}},
    }


PHONES = {"generation": "802.11ax", "streams": 1, "down_mbps": 1, "up_mbps": 0.2}


def people(count: int, **more: Any) -> Raw:
    return PHONES | {"in": "hall", "count": count} | more


def test_sixty_people_in_a_hall_of_three_units_are_twenty_on_each(worked: Worked) -> None:
    w = worked(json.dumps(hall({"a": 5, "b": 15, "c": 25}, {"guests": people(60)})))
    counts = {name: w("unit.clients", f"units/{name}") for name in "abc"}
    assert counts == pytest.approx({"a": 20, "b": 20, "c": 20}, abs=0.6)
    assert sum(counts.values()) == pytest.approx(60)
    assert w("group.unit", "clients/guests") == "a, b and c"


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.floats(1, 29), min_size=2, max_size=4, unique=True), st.booleans())
def test_like_units_part_an_area_by_distance_whether_or_not_levels_are_known(
    worked: Worked, along: list[float], known: bool
) -> None:
    # Nearer together the model is flat between them, and neither is the stronger.
    assume(all(later - x_m > 6 for x_m, later in pairwise(sorted(along))))
    places = {f"u{at}": x_m for at, x_m in enumerate(along)}
    site = hall(places, {"guests": people(100)})
    if not known:
        for unit in site["units"].values():
            del unit["radios"]["mid"]["power_dbm"]
    w = worked(json.dumps(site))
    dice = random.Random(7)  # noqa: S311 - nobody guards a secret with it
    xs = [dice.uniform(0, 30) for _ in range(4000)]
    nearest = [min(places, key=lambda name: abs(places[name] - x)) for x in xs]
    for name in places:
        share = 100 * nearest.count(name) / len(xs)
        assert w("unit.clients", f"units/{name}") == pytest.approx(share, abs=4)


def test_a_group_near_a_unit_stays_there(worked: Worked) -> None:
    group = PHONES | {"near": "c", "count": 10}
    w = worked(json.dumps(hall({"a": 5, "b": 15, "c": 25}, {"guests": group})))
    assert w("unit.clients", "units/c") == 10


@pytest.mark.parametrize("groups", [1, 4, 20])
@pytest.mark.parametrize("place", [{"near": "a"}, {"in": "hall"}])
def test_the_same_twenty_devices_get_the_same_in_however_many_groups(
    worked: Worked, groups: int, place: Raw
) -> None:
    one = PHONES | {"count": 20, "down_mbps": 6, "up_mbps": 2} | place
    whole = worked(json.dumps(hall({"a": 15}, {"g0": one})))
    clients = {f"g{at}": one | {"count": 20 // groups} for at in range(groups)}
    w = worked(json.dumps(hall({"a": 15}, clients)))
    for name in clients:
        for way in ("down", "up"):
            fact = f"group.delivered_{way}_mbps"
            assert w(fact, f"clients/{name}") == pytest.approx(whole(fact, "clients/g0"))
    air = "airs/a/mid"
    assert w("air.room_percent", air) == pytest.approx(whole("air.room_percent", air))
    assert w("air.airtime_percent", air) == pytest.approx(whole("air.airtime_percent", air))


def test_one_device_that_sends_and_its_radio_contend(worked: Worked) -> None:
    # The guide's table: one for each client radio that sends and one for each device that does.
    talks = PHONES | {"near": "a", "count": 1}
    both = worked(json.dumps(hall({"a": 15}, {"g": talks})))
    down = worked(json.dumps(hall({"a": 15}, {"g": talks | {"up_mbps": 0}})))
    two = worked(json.dumps(hall({"a": 15}, {"g": talks | {"up_mbps": 0}, "h": talks})))
    assert down("air.room_percent", "airs/a/mid") == 100
    assert both("air.room_percent", "airs/a/mid") < 100
    assert two("air.room_percent", "airs/a/mid") == both("air.room_percent", "airs/a/mid")


def test_only_active_devices_contend(worked: Worked) -> None:
    few = PHONES | {"near": "a", "count": 10}
    many = PHONES | {"near": "a", "count": 40, "active_share": 0.25}
    one, other = (worked(json.dumps(hall({"a": 15}, {"g": g}))) for g in (few, many))
    air = "airs/a/mid"
    assert one("air.room_percent", air) == pytest.approx(other("air.room_percent", air))


def test_units_that_send_with_less_serve_less(worked: Worked) -> None:
    guests = {"guests": people(60, down_mbps=4, up_mbps=1)}
    places = {"a": 15.0, "b": 45.0}
    served = [
        worked(json.dumps(hall(places, guests, wide_m=60, power_dbm=power)))(
            "group.served_percent", "clients/guests"
        )
        for power in (20, 8, -4)
    ]
    assert served == sorted(served, reverse=True)
    assert served[0] > 2 * served[2]


def test_devices_without_signal_get_nothing_and_take_no_air(worked: Worked) -> None:
    w = worked(json.dumps(hall({"a": 0}, {"guests": people(10)}, wide_m=200, power_dbm=0)))
    lost = w("group.without_signal_percent", "clients/guests")
    assert 50 < lost < 100
    assert w("group.served_percent", "clients/guests") <= 100 - lost + 1e-6
    assert w("group.held_by", "clients/guests") == "the signal of a where they are"


@pytest.mark.parametrize(("phone_dbm", "weaker_db"), [(18, 0), (20, 0), (12, 6)])
def test_the_weaker_direction_decides(worked: Worked, phone_dbm: float, weaker_db: float) -> None:
    """Path and antennas are the same both ways: a phone is heard as its power stands to ours."""
    quiet = people(10, transmit_dbm=phone_dbm)
    w = worked(json.dumps(hall({"a": 15}, {"mute": people(10), "guests": quiet})))
    level = w("group.level_dbm", "clients/mute")
    assert w("group.level_dbm", "clients/guests") == pytest.approx(level - weaker_db)


def test_the_goodput_in_an_area_is_what_each_place_takes_on_average(worked: Worked) -> None:
    """Held against places one by one, each a site with one device at that very level."""
    w = worked(json.dumps(hall({"a": 15}, {"guests": people(10)})))
    from meshlint.physics.mac import exchange
    from meshlint.physics.sensitivity import best_setting
    from meshlint.physics.sensitivity import settings as rates

    # 802.11ax, 20 MHz, one stream; P.1238-11 office without line of sight, from 4 to 30 m, and
    # nearer than that 20 dB a decade.
    edge_db = 29.53 + 23.8 * math.log10(5.21) + 24.6 * math.log10(4)
    total, count = 0.0, 0
    for x in [0.25 + 0.5 * at for at in range(60)]:
        for y in [0.25 + 0.5 * at for at in range(12)]:
            metres = max(1.0, math.dist((x, y, 1), (15, 3, 3)))
            slope_db = 24.6 if metres > 4 else 20
            level_dbm = 21 - (edge_db + slope_db * math.log10(metres / 4))
            held = best_setting(rates("802.11ax", 20, 1), level_dbm)
            assert held is not None
            total += 1 / exchange(held.mode, 5).goodput_mbps
            count += 1
    assert w("group.goodput_mbps", "clients/guests") == pytest.approx(count / total, rel=0.01)


def test_a_unit_without_a_place_leaves_a_hall_open_where_levels_are_not_known(
    worked: Worked,
) -> None:
    site = hall({"a": 5, "b": 25}, {"guests": people(60)})
    del site["units"]["b"]["at"]
    w = worked(json.dumps(site))
    assert isinstance(w("unit.clients", "units/a"), Unknown)
    assert w.wants("unit.clients", "units/a") == ["units/b/at"]


# --- frames ---------------------------------------------------------------------------------------


def test_ninety_calls_are_more_than_one_radio_of_20_mhz_can_send(worked: Worked) -> None:
    """By hand, 0.0688 Mb/s of G.711: 50 frames of 172 octets a second each way.

    At -67 dBm 802.11ax holds MCS 4 in one stream: 702 bits a symbol of 13.6 us. A turn takes 43 us
    of waiting, 67.5 of backoff, 36 + 7.2 + 13.6 x ceil((16 + 8 x 238) / 702) of frame, 16 and 28.
    """
    calls = PHONES | {"near": "a", "count": 90, "use": "voice"}
    calls |= {"down_mbps": 0.0688, "up_mbps": 0.0688}
    w = worked(json.dumps(hall({"a": 15}, {"calls": calls})))
    turn_us = 43 + 67.5 + 36 + 7.2 + 13.6 * math.ceil((16 + 8 * 238) / 702) + 16 + 28
    percent = 100 * 90 * 100 * turn_us / 1e6
    assert percent > 200
    assert w("air.clients_percent", "airs/a/mid") == pytest.approx(percent, rel=1e-3)


@pytest.mark.parametrize(("use", "more"), [("data", 1.0), (None, 1.0), ("camera", 1.1)])
def test_light_frames_cost_more_than_full_aggregates(
    worked: Worked, use: str | None, more: float
) -> None:
    flow = PHONES | {"near": "a", "count": 4, "down_mbps": 0, "up_mbps": 4}
    bulk = worked(json.dumps(hall({"a": 15}, {"g": flow})))
    said = worked(json.dumps(hall({"a": 15}, {"g": flow | ({"use": use} if use else {})})))
    air = "airs/a/mid"
    ratio = said("air.clients_percent", air) / bulk("air.clients_percent", air)
    assert ratio == pytest.approx(1.0) if more == 1.0 else ratio > more


# --- 802.11b --------------------------------------------------------------------------------------


def with_scanner(scanner: bool, **radio: Any) -> Raw:
    phones = PHONES | {"near": "a", "count": 10, "band": 2.4}
    old = {"near": "a", "count": 1, "band": 2.4, "generation": "802.11b", "streams": 1}
    old |= {"down_mbps": 0.1, "up_mbps": 0.1}
    clients = {"phones": phones} | ({"scanner": old} if scanner else {})
    low = {"band": 2.4, "channel": 6, "lowest_basic_mbps": 1} | radio
    return hall({"a": 15}, clients, **low)


def test_one_802_11b_scanner_has_a_rate_and_slows_the_others(worked: Worked) -> None:
    alone, among = (worked(json.dumps(with_scanner(scanner))) for scanner in (False, True))
    # -67 dBm holds 11 Mb/s: 5.87 Mb/s of payload (13 190 / 7 038 / 3 123 / 2 004.5 us a turn).
    assert among("group.goodput_mbps", "clients/scanner") == pytest.approx(5.87, abs=0.005)
    before, after = (w("group.goodput_mbps", "clients/phones") for w in (alone, among))
    assert 0.5 * before < after < before


def test_basic_rates_that_keep_the_scanner_out_spare_the_others(worked: Worked) -> None:
    alone, among = (
        worked(json.dumps(with_scanner(scanner, lowest_basic_mbps=6))) for scanner in (False, True)
    )
    before, after = (w("group.goodput_mbps", "clients/phones") for w in (alone, among))
    assert before == after


def test_groups_about_some_units_are_all_whose_devices_may_be_there(
    worked: Callable[[str], Any],
) -> None:
    common = {"count": 4, "band": 5, "generation": "802.11ax", "use": "data"}
    site = hall(
        {"a": 5, "b": 15, "c": 25},
        {
            "all": {**common, "in": "hall"},
            "near b": {**common, "near": "b"},
            "wired": {"count": 1, "wired_to": "c", "use": "data"},
            "near a": {**common, "near": "a"},
        },
    )
    w = worked(json.dumps(site)).workings
    groups = {
        units: [group.name for group in groups_about(w, units)]
        for units in ((), ("a",), ("c", "b"), ("a", "b", "c"))
    }
    assert groups == {
        (): ["all"],
        ("a",): ["all", "near a"],
        ("c", "b"): ["all", "near b", "wired"],
        ("a", "b", "c"): ["all", "near b", "wired", "near a"],
    }

"""The ledger of shared airs: published shares, sums that add up, and what never helps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders import numbered, site, uplinks, with_radios
from meshlint.physics.capacity import bottleneck
from meshlint.workings.contention.airtime import contender_percent, ledger
from meshlint.workings.contention.domains import conflict_graph, contenders
from meshlint.workings.site_workings import Workings

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

MID = (
    "band: 5, channel: 36, width_mhz: 80, generation: 802.11ac, streams: 2, lowest_basic_mbps: 6, "
)
BOTH = MID + "carries: [clients, backhaul]"
ONLY = MID + "carries: [backhaul]"

# A screen at -67 dBm: 802.11ac, 80 MHz, two streams: MCS 3 (needs -68), 234 Mb/s of PHY rate.
SCREEN = "streams: 2, generation: 802.11ac"


def chain(hops: int, radio: str, clients: str = "", *, measured: float = 480) -> str:
    """Return a chain of which nobody knows where the units stand: all of it is one air."""
    parents = {number: number - 1 for number in range(1, hops + 1)}
    links = uplinks(parents, more=f", measured_mbps: {measured}")
    rest = (
        f"clients:\n{clients or '  none: {count: 0, near: u0}'}\nnetworks: {{}}\nneighbours: []\n"
    )
    return site(numbered([with_radios(mid=radio)] * (hops + 1)), links, rest)


def same_each(hops: int, mbps: float) -> str:
    """Return wired clients at each unit but the primary: no air of their own, only backhaul."""
    return "\n".join(
        f"  c{number}: {{count: 1, wired_to: u{number}, down_mbps: {mbps}, up_mbps: 0}}"
        for number in range(1, hops + 1)
    )


@pytest.mark.parametrize("hops", range(1, 7))
def test_in_one_air_a_chain_s_loads_add_up_as_jun_and_sichitiu_say(
    worked: Worked, hops: int
) -> None:
    """n + (n - 1) + ... + 1 times G where everyone hears everyone (2003, chain of nodes)."""
    ask = worked(chain(hops, ONLY, same_each(hops, 1)))
    (air,) = ask.subjects("air")
    expected = 100 * hops * (hops + 1) / 2 / 480
    assert ask("air.airtime_percent", air) == pytest.approx(expected)
    assert ask("air.backhaul_percent", air) == pytest.approx(expected)
    assert ask("air.clique_percent", air) == pytest.approx(expected)


def test_with_places_far_links_take_turns_by_themselves(worked: Worked) -> None:
    """A chain in which a node hears the next only: domains of link +/- 2, as Jun and Sichitiu's.

    Units 60 m apart in an office at 5 GHz, P.1238: 101 dB; two apart, 120 m: 110 dB. With 24 dBm
    of radiated power and 4 dBi the neighbour is at -73 dBm, above the -76 of 80 MHz, the next one
    but one is not. Their chain of eight nodes gives 30 loads at the third link from the gateway.
    """
    hops = 8
    radio = f"power_dbm: 20, antenna_gain_dbi: 4, {ONLY}"
    text = chain(hops, radio, same_each(hops, 1), measured=100)
    for number in range(hops + 1):
        text = text.replace(
            f"u{number}: {{radios", f"u{number}: {{at: {{x_m: {60 * number}, y_m: 0}}, radios"
        )
    text = text.replace("{name: A}", "{name: A, surroundings: office}")
    ask = worked(text)
    around = ask.workings.once(conflict_graph).near
    assert around["link/l4"] == tuple(f"link/l{n}" for n in range(2, 7))
    known = ask.workings.once(contenders)
    loads = {key: contender_percent(ask.workings, contender) for key, contender in known.items()}
    where, most = bottleneck(loads, around)
    assert (where, most) == ("link/l3", pytest.approx(30.0))


@pytest.mark.parametrize("hops", [1, 2, 3])
def test_the_rule_of_thumb_falls_out_at_equal_rates(worked: Worked, hops: int) -> None:
    """One relay takes half of its clients' air, h of them h / (h + 1): common practice."""
    plain = chain(hops, BOTH, f"  t: {{count: 4, near: u{hops}, {SCREEN}}}")
    own = worked(plain)("group.goodput_mbps", "clients/t")
    ask = worked(chain(hops, BOTH, f"  t: {{count: 4, near: u{hops}, {SCREEN}}}", measured=own))
    key = f"backhaul/l{hops}"
    lost = ask("link.client_airtime_lost_percent", key)
    assert lost == pytest.approx(100 * hops / (hops + 1))
    assert lost == pytest.approx(ask("link.client_airtime_lost_at_equal_rates_percent", key))


def test_backhaul_faster_than_clients_takes_less_of_their_air(
    worked: Worked,
) -> None:
    """Three times as fast: a quarter, since 1/3 to 1 of the time."""
    clients = f"  t: {{count: 4, near: u1, {SCREEN}}}"
    own = worked(chain(1, BOTH, clients))("group.goodput_mbps", "clients/t")
    ask = worked(chain(1, BOTH, clients, measured=3 * own))
    assert ask("link.client_airtime_lost_percent", "backhaul/l1") == pytest.approx(25)
    assert worked(chain(1, ONLY, clients))("link.client_airtime_lost_percent", "backhaul/l1") == 0


def test_a_client_at_the_target_level_has_the_standard_s_rate(
    worked: Worked,
) -> None:
    """802.11ac MCS 3 at 80 MHz, two streams: 234 Mb/s; 55 frames in 5.4 ms leave 0.91 of it."""
    ask = worked(chain(1, BOTH, f"  t: {{count: 4, near: u1, {SCREEN}}}"))
    assert ask("group.goodput_mbps", "clients/t") == pytest.approx(234 * 0.905, rel=0.02)


# Beacons of 300 octets, frames alone: 4 names x 3 units at 1 Mb/s are 30.4 % of the air, at 6 Mb/s
# 4.97, at 24 Mb/s 1.45 (by hand from IEEE 802.11 clauses 15 to 17: 192 us + 8 L / R, and 20 us + 4
# us for each begun symbol, every 102.4 ms; a maker's note has about 3 % for a name at 1 Mb/s). The
# wait before each adds 50 us with long slots, 28 us and 6 us of signal extension with short ones.
@pytest.mark.parametrize(
    ("rate", "percent"),
    [
        (1, 1200 * (2592 + 50) / 102400),
        (6, 1200 * (424 + 34) / 102400),
        (24, 1200 * (124 + 34) / 102400),
    ],
)
def test_beacons_of_many_names(worked: Worked, rate: float, percent: float) -> None:
    radio = (
        "band: 2.4, channel: 1, width_mhz: 20, carries: [clients, backhaul],"
        f" lowest_basic_mbps: {rate}"
    )
    text = chain(2, radio).replace("networks: {}", "networks: {a: {}, b: {}, c: {}, d: {}}")
    ask = worked(text)
    (air,) = ask.subjects("air")
    assert ask("air.beacons_percent", air) == pytest.approx(percent)
    assert ask("air.beacons_in_turn_percent", air) == pytest.approx(percent)
    assert ask("air.names_in_turn", air) == 12


BEACON_AT_1 = 100 * (192 + 8 * 300 + 50) / 102_400
"""Share of one beacon, in per cent: long preamble, 300 octets at 1 Mb/s, DIFS with long slots."""


def announcing(places: dict[str, tuple[float, int]]) -> str:
    """Return units by cable, each with a radio at some x in metres that announces so many names."""
    units = "".join(
        f"  {name}: {{at: {{x_m: {x_m}, y_m: 0}}, radios: {{low: {{band: 2.4, channel: 1, "
        "width_mhz: 20, power_dbm: 14, antenna_gain_dbi: 3, carries: [clients], "
        "lowest_basic_mbps: 1}}}\n"
        for name, (x_m, _) in places.items()
    )
    first, *others = places
    links = "".join(f"  {n} up: {{from: {n}, to: {first}, over: cable}}\n" for n in others)
    most = max(count for _, count in places.values())
    networks = "".join(
        f"  n{at}: {{units: [{', '.join(n for n, (_, count) in places.items() if count > at)}]}}\n"
        for at in range(most)
    )
    return (
        "meshlint: 1\nsite: {name: S, country: GB, surroundings: office}\n"
        f"primary: {first}\nunits:\n{units}backhaul:\n{links}networks:\n{networks}"
    )


def test_beacons_add_up_only_where_radios_hear_each_other(worked: Worked) -> None:
    """P.1238 in an office, N = 30: 17 + 3 - (39.7 + 30 log d) dBm is -82 dBm at 118 m."""
    ask = worked(announcing({"west": (0, 3), "middle": (80, 2), "east": (160, 4)}))
    (air,) = ask.subjects("air")
    assert air == "airs/middle/low"
    assert ask("air.beacons_percent", air) == pytest.approx(9 * BEACON_AT_1)
    assert ask("air.beacons_in_turn_percent", air) == pytest.approx(6 * BEACON_AT_1)
    assert ask("air.names_in_turn", air) == 6
    assert ask("air.announcing_in_turn", air) == ("radio low of middle", "radio low of east")


def test_three_that_hear_each_other_outweigh_the_loudest_two(worked: Worked) -> None:
    """From the loudest, far west, a greedy search alone would take seven beacons, not eight."""
    places = {"far": (0, 4), "hub": (100, 3), "a": (140, 3), "b": (160, 2)}
    ask = worked(announcing(places))
    (air,) = ask.subjects("air")
    assert ask("air.names_in_turn", air) == 8
    assert ask("air.announcing_in_turn", air) == tuple(
        f"radio low of {n}" for n in ("hub", "a", "b")
    )


@pytest.mark.parametrize("apart", [True, False])
def test_of_airs_alike_the_one_with_most_beacon_time_is_told(check_text: Any, apart: bool) -> None:
    places = {"west": (0, 6), "middle": (10, 0 if apart else 6), "east": (400, 6), "far": (410, 6)}
    (found,) = (f for f in check_text(announcing(places)).findings if f.rule == "names-on-air")
    names = 12
    assert found.numbers["air.names_in_turn"] == names
    assert f"{names * BEACON_AT_1:.0f} % of the airtime" in found.message
    assert ("east and radio low of far" in found.message) == apart


def test_a_neighbour_heard_at_two_units_is_counted_once(worked: Worked) -> None:
    heard = "[{heard_at: u0, band: 5, channel: 40, level_dbm: -70, load: 0.2}, "
    heard += "{heard_at: u1, band: 5, channel: 40, level_dbm: -60, load: 0.2}, "
    heard += "{heard_at: u1, band: 5, channel: 40, level_dbm: -83, load: 0.9}, "
    heard += "{heard_at: u1, band: 5, channel: 100, level_dbm: -50, load: 0.9}]"
    ask = worked(chain(1, ONLY).replace("neighbours: []", f"neighbours: {heard}"))
    (air,) = ask.subjects("air")
    assert ask("air.foreign_percent", air) == pytest.approx(20)


def test_what_lacks_is_named_and_nothing_is_taken_for_nought(
    worked: Worked,
) -> None:
    text = chain(1, BOTH, f"  t: {{count: 4, near: u1, {SCREEN}}}")
    ask = worked(text.replace("neighbours: []\n", "").replace("networks: {}\n", ""))
    (air,) = ask.subjects("air")
    wanted = set(ask.wants("air.airtime_percent", air))
    assert wanted == {"clients/t/down_mbps", "neighbours", "networks"}


def test_units_on_cable_of_unknown_place_may_or_may_not_hear_each_other(
    worked: Worked,
) -> None:
    radio = f"power_dbm: 20, antenna_gain_dbi: 4, {BOTH}"
    text = chain(1, radio).replace("over: radio, measured_mbps: 480", "over: cable")
    ask = worked(text)
    for air in ask.subjects("air"):
        assert "units/u0/at" in ask.wants("air.airtime_percent", air)


RATES = st.floats(0.01, 5)
GROUPS = st.lists(
    st.tuples(st.integers(0, 3), st.integers(1, 20), RATES, RATES, st.booleans()),
    min_size=1,
    max_size=5,
)


def groups_text(groups: list[tuple[int, int, float, float, bool]]) -> str:
    return "\n".join(
        f"  g{number}: {{count: {count}, {'wired_to' if wired else 'near'}: u{unit}, {SCREEN},"
        f" down_mbps: {down}, up_mbps: {up}}}"
        for number, (unit, count, down, up, wired) in enumerate(groups)
    )


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(GROUPS, st.booleans())
def test_the_ledger_adds_up_and_holds_every_hop_of_everybody(
    worked: Worked, groups: list[tuple[int, int, float, float, bool]], own: bool
) -> None:
    """Each group's load is on its own hop and on every hop of its way, and nowhere else."""
    ask = worked(chain(3, ONLY if own else BOTH, groups_text(groups)))
    if own and any(not wired for *_, wired in groups):
        return  # clients have no radio there
    found = ask.subjects("air")
    (key,) = found
    air = found[key].item
    entries = ledger(ask.workings, air)
    parts = ("clients", "backhaul", "foreign", "beacons")
    by_kind = [ask(f"air.{part}_percent", key) for part in parts]
    assert ask("air.airtime_percent", key) == pytest.approx(sum(by_kind))
    assert math.fsum(entry.percent for entry in entries) == pytest.approx(sum(by_kind))
    last_mbps = 234.0
    if any(not wired for *_, wired in groups):
        name = next(n for n, group in enumerate(groups) if not group[4])
        last_mbps = ask("group.goodput_mbps", f"clients/g{name}")
    expected = math.fsum(
        count * (down + up) * (unit / 480 + (0 if wired else 1 / last_mbps))
        for unit, count, down, up, wired in groups
    )
    assert ask("air.airtime_percent", key) == pytest.approx(100 * expected)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(GROUPS, st.tuples(st.integers(0, 3), st.integers(1, 20), RATES, RATES, st.just(value=False)))
def test_another_group_never_helps_the_others(
    worked: Worked,
    groups: list[tuple[int, int, float, float, bool]],
    another: tuple[int, int, float, float, bool],
) -> None:
    """All on one air: whoever comes takes turns, so nobody gets more than before."""
    head = "internet_lines: {main: {down_mbps: 900, up_mbps: 900}}\nunits:\n"

    def served(found: list[tuple[int, int, float, float, bool]]) -> list[float]:
        text = chain(3, BOTH, groups_text(found)).replace("units:\n", head)
        ask = worked(text.replace("u0: {radios", "u0: {routing_mbps: 900, radios"))
        return [
            ask(f"group.delivered_{way}_mbps", f"clients/g{number}")
            for number in range(len(groups))
            for way in ("down", "up")
        ]

    for was, now in zip(served(groups), served([*groups, another]), strict=True):
        assert now <= was * (1 + 1e-9)


def test_what_is_delivered_fits_into_every_air(worked: Worked) -> None:
    groups = [(3, 20, 5.0, 1.0, False), (1, 5, 2.0, 2.0, False), (2, 9, 30.0, 1.0, True)]
    head = "internet_lines: {main: {down_mbps: 900, up_mbps: 900}}\nunits:\n"
    text = chain(3, BOTH, groups_text(groups)).replace("units:\n", head)
    ask = worked(text.replace("u0: {radios", "u0: {routing_mbps: 900, radios"))
    last: float = ask("group.goodput_mbps", "clients/g0")
    taken = 0.0
    for number, (unit, count, _, _, wired) in enumerate(groups):
        got = sum(
            ask(f"group.delivered_{way}_mbps", f"clients/g{number}") for way in ("down", "up")
        )
        taken += count * got * (unit / 480 + (0 if wired else 1 / last))
    (air,) = ask.subjects("air")
    room: float = ask("air.room_percent", air)
    assert 100 * taken == pytest.approx(room)
    assert ask("group.held_by", "clients/g0").startswith("the air of")
    assert ask("group.served_percent", "clients/g0") < 100


def test_an_empty_site_has_no_airs() -> None:
    from meshlint.site.load import Catalogues, load_site

    text = "meshlint: 1\nsite: {name: None}\nprimary: a\nunits: {a: {radios: {}}}\nbackhaul: {}\n"
    site, _ = load_site(text.encode(), "a.site.yaml", Catalogues())
    assert Workings(site).once(contenders) == {}


def test_a_neighbour_on_a_channel_that_is_none_is_asked_about(worked: Worked) -> None:
    heard = "[{heard_at: u0, band: 5, channel: 38, width_mhz: 40, level_dbm: -50, load: 0.2}]"
    ask = worked(chain(1, ONLY).replace("neighbours: []", f"neighbours: {heard}"))
    (air,) = ask.subjects("air")
    assert ask.wants("air.foreign_percent", air) == ["neighbours/0/channel"]


def test_what_a_radio_that_chooses_for_itself_shares_nobody_can_tell(worked):
    """Five units in one room on `auto` may all land on one channel."""
    units = "".join(
        f"  u{n}: {{at: {{x_m: {n}, y_m: 0}}, radios: {{low: {{band: 2.4, generation: 802.11ax, "
        "streams: 2, channel: auto, width_mhz: 20, power_dbm: 14, antenna_gain_dbi: 3, "
        "carries: [clients], lowest_basic_mbps: 6}}}\n"
        for n in range(5)
    )
    ask = worked(
        "meshlint: 1\nsite: {name: A, country: GB, surroundings: office}\nprimary: u0\n"
        f"units:\n{units}"
        "backhaul: {"
        + ", ".join(f"u{n} to u0: {{from: u{n}, to: u0, over: cable}}" for n in range(1, 5))
        + "}\n"
        "neighbours: []\nnetworks: {staff: {name: S}}\n"
        "clients: {c: {count: 10, near: u0, down_mbps: 2, up_mbps: 1, streams: 1, "
        "generation: 802.11ax}}\n"
    )
    assert list(ask.subjects("air")) == [f"airs/u{n}/low" for n in range(5)]
    for air in ask.subjects("air"):
        assert "units/u1/radios/low/channel" in ask.wants("air.airtime_percent", air)

"""What a backhaul link shares: with its other end, with radar, with clients, with a cable route.

Radar times: ETSI EN 301 893 Table D.1 and 47 CFR 15.407(h)(2), both second-hand: 60 s of listening
(600 s in 5600-5650 MHz in Europe), 10 s to leave, 30 minutes away.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import pytest

from builders import numbered, over_radio, site, with_radios

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

KEY = "backhaul/loft to desk"


def ends(desk: str, loft: str, country: str = "GB", more: str = "") -> str:
    """Return two units with one radio each and a radio link between them."""
    units = {"desk": with_radios(mid=desk), "loft": with_radios(mid=loft)}
    links = {"loft to desk": over_radio("loft", "desk", "mid")}
    return site(units, links, more, country=country)


def alike(radio: str, country: str = "GB", more: str = "") -> str:
    return ends(radio, radio, country, more)


# --- the two ends ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("desk", "loft", "differ", "meet"),
    [
        ("channel: 36, width_mhz: 80", "channel: 36, width_mhz: 80", (), True),
        (
            "channel: 36, width_mhz: 80",
            "channel: 36, width_mhz: 40",
            ("40 MHz at loft and 80 MHz at desk",),
            True,
        ),
        (
            "channel: 36, width_mhz: 80",
            "channel: 40, width_mhz: 80",
            ("channel 40 at loft and channel 36 at desk",),
            False,
        ),
        (
            "channel: auto, width_mhz: 80",
            "channel: 40, width_mhz: 80",
            ("channel 40 at loft and channel auto at desk",),
            None,  # the one that chooses may choose 40
        ),
    ],
)
def test_the_ends_of_a_link_are_compared_setting_by_setting(
    worked: Worked, desk: str, loft: str, differ: tuple[str, ...], meet: bool | None
) -> None:
    ask = worked(ends(f"band: 5, {desk}", f"band: 5, {loft}"))
    assert ask("link.disagreements", KEY) == differ
    assert ask("link.ends_meet", KEY) is meet or (meet is None and ask.wants("link.ends_meet", KEY))


def test_an_end_without_radio_disagrees_and_meets_nobody(worked: Worked) -> None:
    text = ends("band: 5", "band: 5").replace(
        "loft: {radios: {mid: {band: 5}}}", "loft: {radios: {}}"
    )
    ask = worked(text.replace(", from_radio: mid", ""))
    assert ask("link.disagreements", KEY) == ("loft has no radio",)
    assert ask("link.ends_meet", KEY) is False


def test_what_one_end_does_not_state_is_asked_for(worked: Worked) -> None:
    ask = worked(ends("band: 5, channel: 36, width_mhz: 80", "band: 5, channel: 36"))
    assert ask.wants("link.disagreements", KEY) == ["units/loft/radios/mid/width_mhz"]
    assert ask("link.ends_meet", KEY) is True


# --- radar ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("country", "channel", "shared_mhz", "outage_s"),
    [
        ("GB", "channel: 36, width_mhz: 80", 0, 0),
        ("GB", "channel: 36, width_mhz: 160", 80, 610),  # to 100-128, which takes the long check
        ("GB", "channel: 100, width_mhz: 80", 80, 610),  # it may go to 116-128
        ("AU", "channel: 100, width_mhz: 80", 80, 70),  # which Australia keeps closed
        ("US", "channel: 120, width_mhz: 20", 20, 70),  # the long check is a European one
        ("GB", "channel: 149, width_mhz: 80", 0, 0),
    ],
)
def test_radar_shares_what_the_country_says_and_costs_the_time_to_leave_and_check_anew(
    worked: Worked, country: str, channel: str, shared_mhz: float, outage_s: float
) -> None:
    ask = worked(alike(f"band: 5, {channel}", country))
    assert ask("link.radar_shared_mhz", KEY) == shared_mhz
    assert ask("link.radar_outage_s", KEY) == outage_s
    assert ask("link.radar_stay_off_min", KEY) == 30


def test_the_end_with_more_radar_counts(worked: Worked) -> None:
    text = ends("band: 5, channel: 36, width_mhz: 80", "band: 5, channel: 36, width_mhz: 160")
    assert worked(text)("link.radar_shared_mhz", KEY) == 80


@pytest.mark.parametrize(
    ("radio", "answer"),
    [
        ("band: 5, channel: auto, width_mhz: 80, avoid_radar_channels: true", 0.0),
        ("band: 6, channel: auto, width_mhz: 160", 0.0),
        ("band: 2.4, channel: auto, width_mhz: 20", 0.0),
        ("band: 5, channel: auto, width_mhz: 80, avoid_radar_channels: false", 80.0),
        ("band: 5, channel: auto, width_mhz: 80", 80.0),
        ("band: 5, channel: auto", None),
    ],
)
def test_a_radio_that_chooses_for_itself_shares_what_its_choice_may_come_to(
    worked: Worked, radio: str, answer: float | None
) -> None:
    ask = worked(alike(radio))
    if answer is None:
        assert ask.wants("link.radar_shared_mhz", KEY)
    else:
        assert ask("link.radar_shared_mhz", KEY) == answer


def test_a_country_that_the_table_does_not_know_is_asked_for(worked: Worked) -> None:
    """AQ is Antarctica by ISO 3166-1, and the regulatory database has no rules for it."""
    ask = worked(alike("band: 5, channel: 36, width_mhz: 80", "AQ"))
    assert ask.wants("link.radar_shared_mhz", KEY) == ["site/country"]


# --- clients on the backhaul's air ----------------------------------------------------------------


def chain(hops: int, radio: str = "band: 5, channel: 36, width_mhz: 80") -> str:
    names = ["desk", *(f"u{number}" for number in range(1, hops + 1))]
    units = dict.fromkeys(names, with_radios(mid=f"{radio}, carries: [clients, backhaul]"))
    pairs = itertools.pairwise(names)
    return site(units, {f"{far} up": over_radio(far, near) for near, far in pairs})


@pytest.mark.parametrize(("hops", "lost"), [(1, 50.0), (2, 200 / 3), (3, 75.0)])
def test_each_hop_on_the_clients_air_takes_another_turn(
    worked: Worked, hops: int, lost: float
) -> None:
    """One relay leaves about half, common practice; h hops leave 1/(h + 1) at equal rates."""
    ask = worked(chain(hops))
    assert ask(
        "link.client_airtime_lost_at_equal_rates_percent", f"backhaul/u{hops} up"
    ) == pytest.approx(lost)
    assert ask("link.shared_with_clients", f"backhaul/u{hops} up")[0] == f"u{hops}"


@pytest.mark.parametrize(
    ("last", "lost"),
    [
        ("channel: 40, width_mhz: 80", 200 / 3),  # 36 and 40 are one block of 80 MHz
        ("channel: 36, width_mhz: 20", 200 / 3),  # a part of the block
        ("channel: 52, width_mhz: 80", 50),
        ("channel: auto, width_mhz: 80", None),  # it may become 36 as well as 52
    ],
)
def test_a_hop_takes_a_turn_where_its_spectrum_meets_the_clients(
    worked: Worked, last: str, lost: float | None
) -> None:
    """u2's radio for clients and its own uplink, on a channel of its own; u1's uplink is on 36."""
    far = f"a: {{band: 5, {last}, carries: [clients, backhaul]}}"
    near = "b: {band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}"
    units = [f"radios: {{{near}}}", f"radios: {{{far}, {near}}}", f"radios: {{{far}}}"]
    links = {"l1": over_radio("u1", "u0", "b"), "l2": over_radio("u2", "u1", "a")}
    text = site(numbered(units), links)
    ask = worked(text)
    fact = "link.client_airtime_lost_at_equal_rates_percent"
    if lost is None:
        assert set(ask.wants(fact, "backhaul/l2")) == {"units/u2/radios/a/channel"}
    else:
        assert ask(fact, "backhaul/l2") == pytest.approx(lost)


def test_a_link_that_no_traffic_uses_takes_nothing_that_could_be_told(worked: Worked) -> None:
    text = chain(1) + "  cable: {from: u1, to: desk, over: cable}\n"
    assert worked(text).wants("link.client_airtime_lost_at_equal_rates_percent", "backhaul/u1 up")


@pytest.mark.parametrize(
    ("desk", "loft", "shared"),
    [
        ("carries: [backhaul]", "carries: [backhaul]", ()),
        ("carries: [clients, backhaul]", "carries: [backhaul]", ("desk",)),
        ("carries: [clients, backhaul]", "band: 5", ("desk",)),
    ],
)
def test_units_known_to_share_their_radio_are_named(
    worked: Worked, desk: str, loft: str, shared: tuple[str, ...]
) -> None:
    assert worked(ends(desk, loft))("link.shared_with_clients", KEY) == shared


def test_a_radio_that_does_not_say_what_it_carries_may_serve_clients(worked: Worked) -> None:
    ask = worked(ends("carries: [backhaul]", "band: 5"))
    assert ask.wants("link.shared_with_clients", KEY) == ["units/loft/radios/mid/carries"]


# --- cable routes ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("routes", "state", "words", "rate_mbps"),
    [
        ("{between: [loft, desk], state: laid, category: Cat6a, length_m: 40}",
         "laid", "40 m of category 6A", 10000),
        ("{between: [desk, loft], state: possible, category: 5e, length_m: 100}",
         "possible", "100 m of category 5E", 1000),
        ("{between: [desk, loft], state: laid}", "laid", "of unstated length", None),
        ("{between: [desk, loft], state: laid, length_m: 12.5}", "laid", "12.5 m", None),
        ("{between: [desk, loft], state: laid, category: 6, length_m: 101}", "none", "", None),
        ("{between: [desk, loft], state: possible, category: 5e, length_m: 9}, "
         "{between: [desk, loft], state: laid, category: 6, length_m: 38}",
         "laid", "38 m of category 6", 5000),
    ],
)  # fmt: skip
def test_the_best_route_between_the_two_units_is_told(
    worked: Worked, routes: str, state: str, words: str, rate_mbps: float | None
) -> None:
    """Rates: IEEE 802.3 clauses 40 and 55; category 6 to 37 m at 10 Gb/s, TIA TSB-155."""
    ask = worked(alike("band: 5", more=f"cable_routes: [{routes}]\n"))
    assert ask("link.route_state", KEY) == state
    assert ask("link.route_words", KEY) == words
    if rate_mbps is None:
        assert ask.wants("link.route_cable_mbps", KEY)
    else:
        assert ask("link.route_cable_mbps", KEY) == rate_mbps


def test_no_routes_stated_and_no_routes_at_all_are_two_things(worked: Worked) -> None:
    assert worked(alike("band: 5")).wants("link.route_state", KEY) == ["cable_routes"]
    assert worked(alike("band: 5", more="cable_routes: []\n"))("link.route_state", KEY) == "none"


def test_a_cable_beside_the_radio_link_is_seen_whichever_way_round(worked: Worked) -> None:
    cable = "  cable: {from: desk, to: loft, over: cable}\n"
    assert worked(alike("band: 5", more=cable))("link.cabled_beside", KEY) is True
    coax = cable.replace("over: cable", "over: coax")
    assert worked(alike("band: 5", more=coax))("link.cabled_beside", KEY) is False


PORTS = [
    ("[{count: 2, rate_mbps: 1000}]", "[{count: 1, rate_mbps: 2500, media: copper}]", 1000),
    # The fibre port is faster and takes no copper.
    ("[{count: 1, rate_mbps: 10000, media: fibre}, {count: 4, rate_mbps: 1000, media: copper}]",
     "[{count: 1, rate_mbps: 10000}]", 1000),
    # Of one port no rate is stated, yet what is stated at the other end decides.
    ("[{count: 1}, {count: 1, rate_mbps: 1000}]", "[{count: 1, rate_mbps: 1000}]", 1000),
    ("[{count: 1, rate_mbps: 10000}, {count: 1}]", "[{count: 1, rate_mbps: 25000}]", 10000),
    ("[{count: 1}]", "[{count: 1, rate_mbps: 1000}]", ["units/loft/ports"]),
    ("[{count: 1, rate_mbps: 1000, media: fibre}]", "[{count: 1, rate_mbps: 1000}]",
     ["units/loft/ports"]),
    ("[]", "[{count: 1, rate_mbps: 1000}]", ["units/loft/ports"]),
    ("[{count: 0, rate_mbps: 1000}]", "[{count: 1, rate_mbps: 1000}]", ["units/loft/ports"]),
]  # fmt: skip
"""Ports of loft and desk, and the rate of 40 m of category 6A between them, or what it lacks."""


@pytest.mark.parametrize(("loft", "desk", "carries"), PORTS)
def test_a_route_carries_what_ports_and_cable_make_together(
    worked: Worked, loft: str, desk: str, carries: float | list[str]
) -> None:
    """Category 6A carries 10 Gb/s (IEEE 802.3 clause 55); both ends must have a port for it."""
    route = "cable_routes: [{between: [desk, loft], state: laid, category: 6a, length_m: 40}]\n"
    text = alike("band: 5", more=route)
    text = text.replace("loft: {", f"loft: {{ports: {loft}, ", 1)
    text = text.replace("desk: {", f"desk: {{ports: {desk}, ", 1)
    ask = worked(text)
    if isinstance(carries, list):
        assert ask.wants("link.route_rate_mbps", KEY) == carries
    else:
        assert ask("link.route_rate_mbps", KEY) == carries


@pytest.mark.parametrize(("loft", "desk", "carries"), PORTS)
def test_a_cable_link_agrees_on_the_rate_that_a_route_would(
    worked: Worked, loft: str, desk: str, carries: float | list[str]
) -> None:
    """Ends agree on the fastest rate that both have: IEEE 802.3 clause 28."""
    text = (
        "meshlint: 1\nsite: {name: A}\nprimary: desk\n"
        f"units: {{desk: {{ports: {desk}}}, loft: {{ports: {loft}}}}}\n"
        f"backhaul: {{loft to desk: {{from: loft, to: desk, over: cable, category: 6a, "
        "length_m: 40}}\n"
    )
    ask = worked(text)
    if isinstance(carries, list):
        assert ask.wants("cable.rate_mbps", KEY) == ["backhaul/loft to desk/rate_mbps"]
    else:
        # 1472 of the 1538 octets that a full frame takes on the wire are UDP payload.
        assert ask("link.goodput_mbps", KEY) == pytest.approx(carries * 1472 / 1538)


def test_a_run_that_passed_a_test_carries_what_it_was_tested_for(worked: Worked) -> None:
    """50 m of category 6: 10 Gb/s only after a test, 5 Gb/s without (TIA TSB-155)."""
    text = (
        "meshlint: 1\nsite: {name: A}\nprimary: desk\n"
        "units:\n  desk: {ports: [{count: 1, rate_mbps: 10000}]}\n"
        "  loft: {ports: [{count: 1, rate_mbps: 10000}]}\n"
        "backhaul: {loft to desk: {from: loft, to: desk, over: cable, category: 6, length_m: 50}}\n"
    )
    tested = text.replace("length_m: 50", "length_m: 50, tested_mbps: 10000")
    untested_mbps, tested_mbps = (worked(t)("link.goodput_mbps", KEY) for t in (text, tested))
    assert isinstance(untested_mbps, float)
    assert tested_mbps == pytest.approx(2 * untested_mbps)

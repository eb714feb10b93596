"""Foreign networks, own cells, channels that would part them, and ways off radar for backhaul.

Levels add as powers; carrier sense is -82 dBm at 20 MHz and 3 dB more per doubling (IEEE
802.11-2020 17.3.10.6); least sharing is checked against a search of all assignments.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import pytest

from builders import numbered, over_radio, site, stands_at, with_radios
from meshlint.physics.channels import channels, overlap_mhz

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

KEY = "units/desk/radios/a"
OFFICE = {"country": "GB", "surroundings": "office"}


def scanned(*entries: str, radio: str = "band: 5, channel: 36, width_mhz: 80") -> str:
    rows = "".join(f"\n  - {{heard_at: desk, {entry}}}" for entry in entries) or " []"
    units = {"desk": with_radios(a=f"{radio}, carries: [clients]"), "loft": ""}
    return site(units, None, f"neighbours:{rows}\n", **OFFICE)


# --- foreign networks -----------------------------------------------------------------------------


def test_levels_of_networks_on_the_channel_add_as_powers(worked: Worked) -> None:
    """Two at -70 dBm are -66.99 together; a third, on 149, is not on this channel."""
    ask = worked(
        scanned(
            "band: 5, channel: 40, level_dbm: -70, load: 0.1",
            "band: 5, channel: 44, level_dbm: -70, load: 0.25",
            "band: 5, channel: 149, level_dbm: -50, load: 0.5",
        )
    )
    assert ask("radio.foreign_networks", KEY) == 2
    assert ask("radio.foreign_level_dbm", KEY) == pytest.approx(-70 + 10 * math.log10(2))
    assert ask("radio.foreign_airtime_percent", KEY) == pytest.approx(35)


@pytest.mark.parametrize(
    ("entry", "count"),
    [
        ("channel: 36, level_dbm: -82", 1),
        ("channel: 36, level_dbm: -82.1", 0),
        ("channel: 36, width_mhz: 80, level_dbm: -76", 1),
        ("channel: 36, width_mhz: 80, level_dbm: -76.1", 0),
        ("channel: 52, level_dbm: -40", 0),
    ],
)
def test_a_network_counts_from_carrier_sense_on(worked: Worked, entry: str, count: int) -> None:
    assert worked(scanned(f"band: 5, {entry}"))("radio.foreign_networks", KEY) == count


def test_where_nobody_scanned_nothing_is_known_and_where_somebody_did_silence_is(
    worked: Worked,
) -> None:
    text = scanned("band: 5, channel: 40, level_dbm: -70, load: 0.1")
    text = text.replace("{heard_at: desk", "{heard_at: loft")
    assert worked(text)("radio.foreign_networks", KEY) == 0
    unscanned = worked(text.replace("desk: {radios", "desk: {scan_made: false, radios"))
    for fact in ("foreign_networks", "foreign_level_dbm", "foreign_airtime_percent"):
        assert unscanned.wants(f"radio.{fact}", KEY) == ["units/desk/scan_made"]
    assert unscanned.wants("radio.clear_channels", KEY) == ["units/desk/scan_made"]
    said = worked(text.replace("desk: {radios", "desk: {scan_made: true, radios"))
    assert said("radio.foreign_networks", KEY) == 0


def test_what_another_unit_heard_is_not_heard_here(worked: Worked) -> None:
    text = scanned("band: 5, channel: 36, level_dbm: -50").replace(
        "heard_at: desk", "heard_at: loft"
    )
    assert worked(text)("radio.foreign_networks", KEY) == 0


def test_at_two_four_only_the_plan_of_three_is_recommended(worked: Worked) -> None:
    """Channels 3 and 9 are silent as well, and each would disturb two of the plan."""
    ask = worked(
        scanned(
            "band: 2.4, channel: 1, level_dbm: -50, load: 0.5",
            "band: 2.4, channel: 6, level_dbm: -70, load: 0.1",
            "band: 2.4, channel: 11, level_dbm: -60, load: 0.1",
            radio="band: 2.4, channel: 1, width_mhz: 20",
        )
    )
    assert ask("radio.quieter_channel", KEY) == "channel 6"
    assert ask("radio.quieter_by_db", KEY) == pytest.approx(20)
    assert ask("radio.airtime_gained_percent", KEY) == pytest.approx(40)


def test_a_channel_of_an_own_cell_in_hearing_is_no_way_out(worked: Worked) -> None:
    text = scanned("band: 5, channel: 36, level_dbm: -50, load: 0.5").replace(
        "loft: {}", "loft: {radios: {a: {band: 5, channel: 149, width_mhz: 80}}}"
    )
    assert worked(text)("radio.quieter_channel", KEY) == ""
    assert worked(text)("radio.quieter_by_db", KEY) == 0


@pytest.mark.parametrize(
    ("radio", "first"),
    [
        # Britain's two channels of 160 MHz share radar; below that 36 and 149 do not.
        ("band: 5, channel: 36, width_mhz: 160", "channel 36 at 80 MHz, with 50 % of the width"),
        ("band: 5, channel: auto, width_mhz: 160", "channel 36 at 80 MHz, with 50 % of the width"),
    ],
)
def test_what_is_left_is_told_best_first(worked: Worked, radio: str, first: str) -> None:
    ask = worked(scanned(radio=radio))
    assert ask("radio.clear_channels", KEY) == 0
    assert ask("radio.next_best", KEY).split("; ")[0] == first
    assert "shared with radar" in ask("radio.next_best", KEY).split("; ")[1]


# --- own cells ------------------------------------------------------------------------------------


def cells(numbers: list[int], width: int = 80, gap_m: float = 5, carries: str = "[clients]") -> str:
    said = f"width_mhz: {width}, power_dbm: 17, antenna_gain_dbi: 4, carries: {carries}"
    units = numbered(
        f"{stands_at(gap_m * i)}, {with_radios(a=f'band: 5, channel: {number}, {said}')}"
        for i, number in enumerate(numbers)
    )
    return site(units, **OFFICE)


CLEAR_IN_GB = {20: [36, 40, 44, 48, 149, 153, 157, 161, 165], 40: [36, 44, 149, 157], 80: [36, 149]}
"""Radar-free channels of Britain at 5 GHz, from the rules of the database by hand."""


def fits(count: int, width: int) -> bool:
    """Whether that many cells that all hear each other can be told apart, by trying everything."""
    spans = [channels(5, number, width)[0] for number in CLEAR_IN_GB[width]]
    return any(
        all(overlap_mhz(a, b) == 0 for a, b in itertools.combinations(chosen, 2))
        for chosen in itertools.product(spans, repeat=count)
    )


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_the_width_that_parts_cells_is_the_widest_that_has_room(worked: Worked, count: int) -> None:
    ask = worked(cells([36] * count))
    found = ask("radio.width_that_parts_mhz", "units/u0/radios/a")
    wanted = next(width for width in (80, 40, 20) if fits(count, width))
    assert found == (0 if wanted == 80 else wanted)
    assert ask("radio.air_left_percent", "units/u0/radios/a") == pytest.approx(100 / count)


def test_the_parting_plan_parts_them(worked: Worked) -> None:
    plan = worked(cells([36, 36, 149]))("radio.parting_plan", "units/u0/radios/a")
    numbers = [int(part.split()[-1]) for part in plan.split(", ")]
    spans = [channels(5, number, 40)[0] for number in numbers]
    assert len(spans) == 3
    assert all(overlap_mhz(a, b) == 0 for a, b in itertools.combinations(spans, 2))


def test_a_pair_is_told_the_least_change(worked: Worked) -> None:
    ask = worked(cells([36, 36]))
    assert ask("pair.better_channels", "pairs/u0+u1/5") == "u1 on channel 149"
    assert ask("pair.air_left_percent", "pairs/u0+u1/5") == 50
    full = worked(cells([36, 36, 149]))
    assert full("pair.better_channels", "pairs/u0+u1/5") == ""


def with_backhaul(numbers: list[int], width: int, backhaul: str, apart_m: float = 3) -> str:
    """Return cells, and two units with a backhaul link on a channel, so far from the first cell."""
    rows = "".join(
        f"  {name}: {{at: {{x_m: {-apart_m - n}, y_m: 0}}, radios: {{a: {{band: 5, {backhaul}, "
        "power_dbm: 17, antenna_gain_dbi: 4, carries: [backhaul]}}}\n"
        for n, name in enumerate(("near", "far"))
    )
    return f"{cells(numbers, width)}{rows}backhaul:\n  up: {{from: far, to: near, over: radio}}\n"


@pytest.mark.parametrize(
    ("backhaul", "apart_m", "better"),
    [
        ("channel: 44, width_mhz: 40", 3, "u1 on channel 149"),
        ("channel: 36, width_mhz: 80", 3, "u1 on channel 149"),  # 80 MHz over 36 and 44 alike
        ("channel: 44, width_mhz: 40", 300, "u1 on channel 44"),  # out of hearing
        ("channel: 100, width_mhz: 40", 3, "u1 on channel 44"),
        ("channel: auto, width_mhz: 40", 3, "u1 on channel 44"),  # nobody can hold clear of it
    ],
)
def test_a_cell_is_offered_no_channel_of_backhaul_in_hearing(
    worked: Worked, backhaul: str, apart_m: float, better: str
) -> None:
    """Radar-free in Britain at 40 MHz: 36, 44, 149 and 157, the two lower ones first."""
    ask = worked(with_backhaul([36, 36], 40, backhaul, apart_m))
    assert ask("pair.better_channels", "pairs/u0+u1/5") == better


def test_no_width_parts_cells_onto_the_channel_of_their_backhaul(worked: Worked) -> None:
    """Of the nine radar-free channels of 20 MHz backhaul holds 149 to 161; 165 is one of five."""
    wide = "channel: 149, width_mhz: 80"
    free = worked(cells([36] * 4, 80))("radio.parting_plan", "units/u0/radios/a")
    assert len({part.split()[-1] for part in free.split(", ")} & {"149", "153", "157", "161"}) > 0
    ask = worked(with_backhaul([36] * 4, 80, wide))
    plan = ask("radio.parting_plan", "units/u0/radios/a")
    assert ask("radio.width_that_parts_mhz", "units/u0/radios/a") == 20
    told = {part.split()[-1] for part in plan.split(", ")}
    assert len(told) == 4
    assert told < {"36", "40", "44", "48", "165"}


def test_of_channels_that_share_equally_little_the_one_that_parts_the_pair_is_told(
    worked: Worked,
) -> None:
    """Beside 3 and 9, channels 1, 6 and 11 each share 10 MHz (edges 10 MHz to either side of the
    centres of IEEE 802.11, 2407 + 5 n); 11 alone shares none of it with channel 3.
    """
    ask = worked(cells([3, 3, 9], width=20).replace("band: 5", "band: 2.4"))
    assert ask("pair.better_channels", "pairs/u0+u1/2.4") == "u1 on channel 11"


def test_hearing_ends_with_distance(worked: Worked) -> None:
    """ITU-R P.1238, office: 20 log f + 31 log d - 28; 25 dBm less -79 dBm (40 MHz) of loss.

    f = 5190 MHz: 104 = 74.30 + 31 log d - 28, so d = 10 ** (57.70 / 31) = 72.6 m with 4 dBi at the
    listener, whose own level must be the same.
    """
    reach_m = 10 ** ((17 + 4 + 4 + 79 + 28 - 20 * math.log10(5190)) / 31)
    near = worked(cells([36, 36], 40, reach_m - 0.1))
    far = worked(cells([36, 36], 40, reach_m + 0.1))
    assert near("pair.hear_each_other", "pairs/u0+u1/5") is True
    assert far("pair.hear_each_other", "pairs/u0+u1/5") is False


# --- ways off radar -------------------------------------------------------------------------------


def link(radio: str, more: str = "", others: str = "", **about: str) -> str:
    """Return two units with a radio `a` each and a radio link; `others` are further radios."""
    units = dict.fromkeys(("desk", "loft"), f"radios: {{a: {{{radio}}}{others}}}")
    return site(units, {"up": over_radio("loft", "desk", "a")}, more, **{**OFFICE, **about})


LINK = "backhaul/up"


def test_the_way_out_keeps_off_the_other_radios_of_both_units(worked: Worked) -> None:
    other = ", b: {band: 5, channel: 36, width_mhz: 80, carries: [clients]}"
    free = worked(link("band: 5, channel: 52, width_mhz: 80"))
    assert free("link.clear_channel", LINK).startswith("5 GHz channel 36 at 80 MHz, up to 23 dBm")
    kept = worked(link("band: 5, channel: 52, width_mhz: 80", others=other))
    assert kept("link.clear_channel", LINK).startswith("5 GHz channel 149 at 80 MHz")


def test_ways_are_ranked_cable_clear_other_band_narrower(worked: Worked) -> None:
    laid = "cable_routes: [{between: [desk, loft], state: laid, category: 6, length_m: 30}]\n"
    other = ", b: {band: 6, channel: 37, width_mhz: 160, carries: [backhaul]}"
    text = link("band: 5, channel: 36, width_mhz: 160", more=laid, others=other)
    ways = worked(text)("link.ways_off_radar", LINK)
    first, second, third = ways.split("; ")
    assert first == "1) the laid cable route, 30 m of category 6"
    ported = text.replace("{radios", "{ports: [{count: 1, rate_mbps: 2500}], radios")
    assert worked(ported)("link.ways_off_radar", LINK).startswith(f"{first}, 2500 Mb/s; ")
    assert second.startswith("2) 6 GHz channel")
    assert third.startswith("3) 5 GHz channel 36 at 80 MHz")
    assert third.endswith("50 % narrower")


def test_where_no_channel_is_clear_the_least_bad_is_told(worked: Worked) -> None:
    """Outdoors in Britain 5 GHz is open at 5470-5730 MHz alone, all of it with radar duty."""
    text = link("band: 5, channel: 116, width_mhz: 80").replace(
        "{radios", "{outdoors: true, radios"
    )
    ask = worked(text)
    assert ask("link.clear_channel", LINK) == ""
    assert ask("link.clear_width_lost_percent", LINK) == 100
    (only,) = ask("link.ways_off_radar", LINK).split("; ")
    assert only.startswith("1) 5 GHz channel 100 at 80 MHz")
    assert only.endswith(
        "80 MHz of it shared with radar and 60 s to start: the least bad channel of the band"
    )


def outdoors(text: str) -> str:
    return text.replace("{radios", "{outdoors: true, radios")


def test_the_channel_already_set_is_never_a_way_out(worked: Worked) -> None:
    """Outdoors in Britain 5 GHz is open at 5470-5730 MHz alone, all of it with radar duty."""
    ask = worked(outdoors(link("band: 5, channel: 100, width_mhz: 80")))
    assert not ask("link.radar_avoidable", LINK)
    assert ask("link.ways_off_radar", LINK).startswith("1) keep the channel")
    assert ask("link.radar_remedy", LINK).startswith(("keep it: ", "lay a cable, or keep it: "))


def test_a_switch_that_leaves_no_lawful_channel_is_not_offered(worked: Worked) -> None:
    switch = "`avoid_radar_channels: true`"
    auto = link("band: 5, channel: auto, width_mhz: 80")
    assert switch in worked(auto)("link.ways_off_radar", LINK)
    assert switch not in worked(outdoors(auto))("link.ways_off_radar", LINK)


def test_a_way_out_is_lawful_for_both_ends_where_each_stands(worked: Worked) -> None:
    """One end outdoors: 36 is for indoors, 149 as well in Britain (database, 5725-5850 MHz)."""
    text = link("band: 5, channel: 52, width_mhz: 80")
    mixed = text.replace("{radios", "{outdoors: true, radios", 1)
    assert worked(text)("link.clear_channel", LINK) != ""
    assert worked(mixed)("link.clear_channel", LINK) == ""


# Germany outdoors at 5 GHz: 500 mW at 5470-5725 MHz with radar duty, 25 mW above it without.
@pytest.mark.parametrize(
    ("apart_m", "tunes", "ways"),
    [
        (20, "", ["turned down to what is lawful there, 14 dBm radiated at most"]),
        (20, ", tunes: [100-144]", []),
        (20_000, "", []),
    ],
)
def test_a_weaker_channel_is_a_way_out_where_the_link_still_comes_up_on_it(
    worked: Worked, apart_m: float, tunes: str, ways: list[str]
) -> None:
    """In free space 20 km cost 133 dB at 5775 MHz, 119 dB more than 14 dBm: nothing is received."""
    radio = (
        "band: 5, channel: 100, width_mhz: 80, radiated_dbm: 27, antenna_gain_dbi: 6, streams: 2, "
        f"generation: 802.11ac, carries: [backhaul]{tunes}"
    )
    units = {
        name: f"outdoors: true, at: {{x_m: {x_m}, y_m: 0}}, radios: {{a: {{{radio}}}}}"
        for name, x_m in (("desk", 0), ("loft", apart_m))
    }
    text = site(units, {"up": over_radio("loft", "desk", "a")}, country="DE")
    ask = worked(text)
    told = ask("link.ways_off_radar", LINK)
    assert [way for way in ways if way in told] == ways
    assert ("channel 149" in told) is bool(ways)
    assert ask("link.radar_avoidable", LINK) is bool(ways)


def test_a_spare_link_off_radar_is_a_way_out(worked: Worked) -> None:
    spare = "  spare: {from: loft, to: desk, over: cable, role: spare}\n"
    ask = worked(outdoors(link("band: 5, channel: 100, width_mhz: 80")) + spare)
    assert ask("link.radar_avoidable", LINK)
    assert ask("link.ways_off_radar", LINK).startswith("1) the link spare, ")


def test_a_quieter_channel_is_offered_to_all_that_the_backhaul_joins(worked: Worked) -> None:
    scan = "neighbours:\n  - {heard_at: desk, band: 5, channel: 36, level_dbm: -60, load: 0.3}\n"
    key = "units/desk/radios/a"
    ask = worked(link("band: 5, channel: 36, width_mhz: 80", more=scan))
    assert ask("radio.quieter_move", key).endswith(
        "together with radio a of loft at the other end of its backhaul"
    )
    taken = "  - {heard_at: loft, band: 5, channel: 149, level_dbm: -50, load: 0.3}\n"
    ask = worked(link("band: 5, channel: 36, width_mhz: 80", more=scan + taken))
    assert ask("radio.quieter_channel", key) == ""


def test_ends_of_backhaul_that_overlap_others_in_part_are_named_together(worked: Worked) -> None:
    others = ", b: {band: 2.4, channel: 3, width_mhz: 20, carries: [clients]}"
    low = "band: 2.4, channel: 1, width_mhz: 20, carries: [backhaul]"
    found = worked(link(low, others=others))("site.two_four_backhaul", "site")
    assert sorted(found) == ["radio a of desk", "radio a of loft"]


def test_a_channel_is_offered_only_if_lawful_at_the_far_end_too(worked: Worked) -> None:
    """36 is for indoors in Germany (ECC/DEC/(04)08 decides 2); the far end stands outdoors."""
    text = link("band: 5, channel: 165, width_mhz: 80", country="DE")
    assert "channel 149" in worked(text)("radio.permitted_choice", "units/desk/radios/a")
    head, loft = text.split("  loft: ")
    text = f"{head}  loft: {outdoors(loft)}".replace("channel: 165", "channel: 36")
    ask = worked(text)
    assert "channel 36" not in ask("radio.next_clear", "units/desk/radios/a")


@pytest.mark.parametrize(
    ("stated", "minutes", "words"),
    [
        ("6", 61.0, "up to 1.0 hours a year at 6 radars heard a year"),
        ("", 122.0, "up to 2.0 hours a year at 12 radars heard a year (an assumption"),
        ("0", 0.0, "up to 0 minutes a year"),
    ],
)
def test_a_year_of_radar_is_the_rate_times_the_longest_outage(
    worked: Worked, stated: str, minutes: float, words: str
) -> None:
    """610 s each: 10 s to leave and 600 s of listening on 100-128 (ETSI EN 301 893 Table D.1)."""
    text = link("band: 5, channel: 52, width_mhz: 80", radar_events_a_year=stated)
    ask = worked(text)
    assert ask("link.radar_minutes_a_year", LINK) == pytest.approx(minutes)
    assert ask("link.radar_year", LINK).startswith(words)
    assert ask("link.radar_start_s", LINK) == 60

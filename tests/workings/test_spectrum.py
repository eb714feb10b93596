"""What a radio's setting means: its span, what the country says, what of it radar shares.

Spans by IEEE 802.11 numbering (2.4 GHz: channel n is centred on 2407 + 5n MHz; 5 GHz: 5000 + 5n;
6 GHz: 5950 + 5n). What countries allow: the wireless regulatory database, as its own tests hold it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import one_radio

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

KEY = "units/desk/radios/a"


@pytest.mark.parametrize(
    ("radio", "low_mhz", "high_mhz"),
    [
        ("band: 2.4, channel: 1, width_mhz: 20", 2402, 2422),
        ("band: 2.4, channel: 14, width_mhz: 20", 2474, 2494),
        ("band: 2.4, channel: 6, width_mhz: 40, second_channel: above", 2427, 2467),
        ("band: 2.4, channel: 6, width_mhz: 40, second_channel: below", 2407, 2447),
        ("band: 5, channel: 48, width_mhz: 80", 5170, 5250),
        ("band: 5, channel: 36, width_mhz: 160", 5170, 5330),
        ("band: 6, channel: 1, width_mhz: 20", 5945, 5965),
        ("band: 6, channel: 37, width_mhz: 320, block: 1", 5945, 6265),
        ("band: 6, channel: 37, width_mhz: 320, block: 2", 6105, 6425),
    ],
)
def test_a_setting_occupies_its_span(
    worked: Worked, radio: str, low_mhz: float, high_mhz: float
) -> None:
    ask = worked(one_radio(radio))
    assert (ask("radio.low_mhz", KEY), ask("radio.high_mhz", KEY)) == (low_mhz, high_mhz)
    assert ask("radio.channel_problem", KEY) == ""


@pytest.mark.parametrize(
    ("radio", "wanted"),
    [
        ("band: 2.4, channel: 6, width_mhz: 40", "second_channel"),
        ("band: 6, channel: 37, width_mhz: 320", "block"),
        ("band: 5, channel: auto, width_mhz: 80", "channel"),
        ("band: 5, channel: 42, width_mhz: 80", "channel"),
        ("band: 5, width_mhz: 80", "channel"),
        ("band: 5, channel: 36", "width_mhz"),
        ("channel: 36, width_mhz: 80", "band"),
    ],
)
def test_a_setting_that_leaves_its_span_open_says_which_key_would_settle_it(
    worked: Worked, radio: str, wanted: str
) -> None:
    assert worked(one_radio(radio)).wants("radio.low_mhz", KEY) == [f"{KEY}/{wanted}"]


def test_an_open_span_is_judged_where_all_its_readings_agree(worked: Worked) -> None:
    """Channel 6 of 40 MHz, above or below, lies within 2400-2483.5; channel 11 above does not."""
    ask = worked(one_radio("band: 2.4, channel: 6, width_mhz: 40"))
    assert ask("radio.permitted", KEY) is True
    assert ask("radio.radar_shared_mhz", KEY) == 0
    eleven = worked(one_radio("band: 2.4, channel: 9, width_mhz: 40", "US"))
    assert eleven.wants("radio.permitted", KEY) == [f"{KEY}/second_channel"]
    stated = worked(one_radio("band: 2.4, channel: 9, width_mhz: 40, second_channel: below", "US"))
    assert stated("radio.permitted", KEY) is True


@pytest.mark.parametrize(
    ("country", "unit", "radio", "allowed"),
    [
        ("GB", "", "band: 5, channel: 149, width_mhz: 80", True),
        ("GB", "outdoors: true, ", "band: 5, channel: 149, width_mhz: 80", True),
        ("IN", "outdoors: true, ", "band: 5, channel: 36, width_mhz: 160", False),
        ("JP", "", "band: 5, channel: 149, width_mhz: 80", False),
        ("US", "", "band: 2.4, channel: 11, width_mhz: 20", True),
        ("US", "", "band: 2.4, channel: 12, width_mhz: 20", False),
        ("GB", "", "band: 5, channel: 36, width_mhz: 160", True),
        ("IN", "", "band: 5, channel: 36, width_mhz: 160", False),
    ],
)
def test_the_country_judges_the_whole_span_wherever_the_unit_stands(
    worked: Worked, country: str, unit: str, radio: str, allowed: bool
) -> None:
    ask = worked(one_radio(radio, country, unit))
    assert ask("radio.permitted", KEY) is allowed
    assert (ask("radio.not_permitted_why", KEY) == "") is allowed


def test_without_a_country_nothing_is_permitted_or_forbidden(worked: Worked) -> None:
    ask = worked(one_radio("band: 5, channel: 36, width_mhz: 80", ""))
    for fact in ("radio.permitted", "radio.country", "radio.radar_shared_mhz"):
        assert ask.wants(fact, KEY) == ["site/country"]


@pytest.mark.parametrize(
    ("radio", "words"),
    [
        ("band: 5, channel: 36, width_mhz: 80", "5 GHz channel 36 at 80 MHz"),
        ("band: 2.4, channel: 6", "2.4 GHz channel 6"),
        ("band: 5, channel: auto", "a channel of its own choice in the 5 GHz band"),
        ("band: 6", "an unstated channel in the 6 GHz band"),
        ("channel: 36", "channel 36 of an unstated band"),
    ],
)  # fmt: skip
def test_a_setting_reads_as_people_say_it(worked: Worked, radio: str, words: str) -> None:
    assert worked(one_radio(radio))("radio.channel", KEY) == words


@pytest.mark.parametrize(
    ("radio", "taken"),
    [
        ("channel: 1, width_mhz: 20", 1),
        ("channel: 3, width_mhz: 20", 2),
        ("channel: 3, width_mhz: 40, second_channel: above", 2),
        ("channel: 4, width_mhz: 40, second_channel: above", 3),
        ("channel: 1, width_mhz: 40, second_channel: above", 2),
    ],
)
def test_a_wide_channel_reaches_into_several_of_the_three(
    worked: Worked, radio: str, taken: int
) -> None:
    """By hand: 1, 6 and 11 lie at 2402-2422, 2427-2447 and 2452-2472 MHz."""
    assert worked(one_radio(f"band: 2.4, {radio}"))("radio.three_plan_taken", KEY) == taken


@pytest.mark.parametrize(
    ("more", "others"),
    [
        ("clients: {s: {count: 30, use: sensor}}\n", 30),
        ("clients: {s: {count: 30, use: sensor, band: 2.4}, d: {count: 9, use: data}}\n", 30),
        ("clients: {s: {count: 30, use: sensor, band: 5}}\n", 0),
        ("clients: {}\n", 0),
        ("neighbours: [{heard_at: desk, band: 2.4, channel: 1, level_dbm: -60}]\n", 1),
        ("neighbours: [{heard_at: desk, band: 5, channel: 36, level_dbm: -60}]\n", 0),
        ("neighbours: []\nclients: {s: {count: 2, use: sensor}}\n", 2),
        ("", None),
    ],
)
def test_others_at_two_four_are_sensors_and_what_was_heard_here(
    worked: Worked, more: str, others: int | None
) -> None:
    ask = worked(one_radio("band: 2.4, channel: 6, width_mhz: 40", more=more))
    if others is None:
        assert ask.wants("radio.others_at_two_four", KEY) == ["clients", "neighbours"]
    else:
        assert ask("radio.others_at_two_four", KEY) == others

"""Radios against the country: permission, power and radar, `auto` by what it may become.

Which channels are open, and where radar is: the regulatory database (tests/law/test_world.py holds
our reading of it). Limits and times by clause beside each case.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from builders import one_radio
from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

KEY = "units/desk/radios/a"


# --- the country ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "hint"), [("UK", "; did you mean GB?"), ("EL", "; did you mean GR?"), ("XX", "")]
)
def test_a_code_that_iso_3166_does_not_have_is_an_error_with_its_place(
    code: str, hint: str
) -> None:
    with pytest.raises(InputError) as raised:
        load_site(one_radio("band: 5", code).encode(), "a.site.yaml", Catalogues())
    (problem,) = raised.value.problems
    assert problem.message == f"'{code}' is no country code of ISO 3166-1{hint}"
    assert (problem.place.line, problem.place.column) == (2, 26)


def test_a_country_without_rules_is_judged_by_nothing(worked: Worked) -> None:
    """AQ, Antarctica, is in ISO 3166-1 and not in the regulatory database."""
    ask = worked(one_radio("band: 5, channel: 36, width_mhz: 80, radiated_dbm: 20", "AQ"))
    for name in (
        "permitted",
        "indoor_only",
        "power_limit_dbm",
        "radar_shared_mhz",
        "start_check_s",
        "clear_channels",
    ):
        value = ask(f"radio.{name}", KEY)
        assert isinstance(value, Unknown)
        assert "it has no AQ" in value.inputs[0].wanted


# --- a channel left to the unit -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("country", "width", "permitted"),
    [
        ("GB", 160, True),
        ("IN", 160, True),
        ("CU", 160, False),
        ("CN", 160, True),
        ("PK", 160, False),
    ],
)
def test_auto_is_permitted_where_any_channel_of_the_width_is(
    worked: Worked, country: str, width: int, permitted: bool
) -> None:
    """Pakistan has one span at 5 GHz, 5725-5875 MHz, and Cuba three: all to 80 MHz at most."""
    ask = worked(one_radio(f"band: 5, channel: auto, width_mhz: {width}", country))
    assert ask("radio.permitted", KEY) is permitted
    assert (ask("radio.not_permitted_why", KEY) == "") is permitted


def test_auto_shares_what_its_choice_may_come_to(worked: Worked) -> None:
    free = worked(one_radio("band: 5, channel: auto, width_mhz: 80"))
    assert free("radio.radar_shared_mhz", KEY) == 80
    assert free("radio.start_check_s", KEY) == 600
    told = worked(one_radio("band: 5, channel: auto, width_mhz: 80, avoid_radar_channels: true"))
    assert told("radio.radar_shared_mhz", KEY) == 0
    assert told("radio.start_check_s", KEY) == 0


def test_auto_outdoors_may_land_on_a_channel_for_indoors(worked: Worked) -> None:
    ask = worked(one_radio("band: 5, channel: auto, width_mhz: 80", unit="outdoors: true, "))
    assert ask("radio.indoor_only", KEY) is True
    assert ask("radio.may_choose_outdoor_channel", KEY) is True
    kept = "band: 5, channel: auto, width_mhz: 80, avoid_radar_channels: true"
    barred = worked(one_radio(kept, unit="outdoors: true, "))
    assert barred("radio.indoor_only", KEY) is True
    assert barred("radio.may_choose_outdoor_channel", KEY) is False


def test_a_unit_outdoors_does_not_choose_what_is_for_indoor_equipment_alone(worked: Worked) -> None:
    """47 CFR 15.407(a)(3)(ii): 5850-5895 MHz for indoor access points; all else open outdoors."""
    auto = "band: 5, channel: auto, width_mhz: 20"
    ask = worked(one_radio(auto, "US", unit="outdoors: true, "))
    assert ask("radio.indoor_only", KEY) is False
    fixed = worked(one_radio("band: 5, channel: 173, width_mhz: 20", "US", unit="outdoors: true, "))
    assert fixed("radio.indoor_only", KEY) is True
    indoor = worked(one_radio(f"{auto}, power_class: low-indoor", "US", unit="outdoors: true, "))
    assert indoor("radio.indoor_only", KEY) is True


def test_a_width_and_a_wish_that_leave_no_channel_are_told(worked: Worked) -> None:
    """Germany's channels of 160 MHz are 36 to 64 and 100 to 128, and radar shares both."""
    kept = "band: 5, channel: auto, avoid_radar_channels: true, width_mhz:"
    ask = worked(one_radio(f"{kept} 160", "DE"))
    assert ask("radio.permitted", KEY) is False
    assert ask("radio.settings_leave_no_channel", KEY) is True
    assert "leave no channel" in ask("radio.not_permitted_why", KEY)
    assert worked(one_radio(f"{kept} 80", "DE"))("radio.permitted", KEY) is True
    assert worked(one_radio(f"{kept} 160", "US"))("radio.permitted", KEY) is True


@pytest.mark.parametrize(
    ("radio", "country", "wanted"),
    [
        ("band: 5, channel: 36, width_mhz: 80", "JP", f"{KEY}/registered"),
        ("band: 6, channel: 37, width_mhz: 80, power_class: standard", "CA", f"{KEY}/power_class"),
        ("band: 6, channel: 37, width_mhz: 80", "NZ", f"{KEY}/power_class"),
    ],
)
def test_what_is_not_on_record_outdoors_is_asked_for(
    worked: Worked, radio: str, country: str, wanted: str
) -> None:
    ask = worked(one_radio(radio, country, unit="outdoors: true, "))
    assert ask.wants("radio.indoor_only", KEY) == [wanted]


def test_of_a_class_that_is_not_on_record_no_limit_is_known(worked: Worked) -> None:
    radio = "band: 6, channel: 37, width_mhz: 80, radiated_dbm: 33, power_class:"
    assert worked(one_radio(f"{radio} standard", "CA")).wants("radio.power_excess_db", KEY) == [
        f"{KEY}/power_class"
    ]
    # RSS-248 (from memory): 5 dBm/MHz, 24 dBm at 80 MHz
    indoor = worked(one_radio(f"{radio} low-indoor", "CA"))
    assert indoor("radio.power_excess_db", KEY) == pytest.approx(9, abs=0.05)


def test_radar_duty_is_unknown_where_the_table_has_a_gap(worked: Worked) -> None:
    """Panama at 5470-5725 MHz; a unit that leaves radar out leaves these out, too."""
    for asked in ("radio.radar_shared_mhz", "radio.start_check_s"):
        ask = worked(one_radio("band: 5, channel: 116, width_mhz: 80", "PA"))
        assert ask.wants(asked, KEY) == [f"{KEY}/channel"]
        assert worked(one_radio("band: 5, channel: 36, width_mhz: 80", "PA"))(asked, KEY) == 0
    kept = "band: 5, channel: auto, width_mhz: 80, avoid_radar_channels: true"
    assert worked(one_radio(kept, "PA"))("radio.radar_shared_mhz", KEY) == 0


def test_a_radio_is_on_what_it_can_tune(worked: Worked) -> None:
    lower = worked(one_radio("band: 5, channel: auto, width_mhz: 80, tunes: [36-48]", "DE"))
    assert lower("radio.radar_shared_mhz", KEY) == 0
    assert lower("radio.power_limit_dbm", KEY) == 23
    upper = worked(
        one_radio("band: 5, channel: 100, width_mhz: 80, tunes: [100-144, 149-161]", "DE")
    )
    assert "channel 149" in upper("radio.next_clear", KEY)
    barred = worked(one_radio("band: 5, channel: 100, width_mhz: 80, tunes: [100-144]", "DE"))
    assert barred("radio.lawful_clear_channels", KEY) == 0


# --- power ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("radio", "country", "limit_dbm", "excess_db", "regime"),
    [
        # ECC/DEC/(04)08, decides 2: 200 mW
        ("channel: 36, width_mhz: 80, power_dbm: 17, antenna_gain_dbi: 4", "DE", 23, -2, "ETSI"),
        # decides 4: 3 dB less without power control
        ("channel: 52, width_mhz: 20, power_dbm: 17, antenna_gain_dbi: 4", "DE", 20, 1, "ETSI"),
        ("channel: 100, width_mhz: 20, radiated_dbm: 28", "DE", 27, 1, "ETSI"),
        (
            "channel: 100, width_mhz: 20, radiated_dbm: 28, power_control: true",
            "DE",
            30,
            -2,
            "ETSI",
        ),
        # 47 CFR 15.407(a)(1): 1 W and 6 dBi; the table has the client's 23 dBm
        ("channel: 36, width_mhz: 80, power_dbm: 30, antenna_gain_dbi: 6", "US", 36, 0, "FCC"),
        ("channel: 36, width_mhz: 80, power_dbm: 32, antenna_gain_dbi: 0", "US", 36, 2, "FCC"),
        ("channel: 36, width_mhz: 80, radiated_dbm: 35, antenna_gain_dbi: 3", "US", 36, 2, "FCC"),
        # the database's own figure where no published one was found
        ("channel: 149, width_mhz: 80, radiated_dbm: 33", "CN", 33, 0, "the regulatory table"),
    ],
)
def test_power_is_held_against_the_limit_of_the_unit_that_offers_the_network(
    worked: Worked, radio: str, country: str, limit_dbm: float, excess_db: float, regime: str
) -> None:
    ask = worked(one_radio(f"band: 5, {radio}", country))
    assert ask("radio.power_limit_dbm", KEY) == pytest.approx(limit_dbm, abs=0.05)
    assert ask("radio.power_excess_db", KEY) == pytest.approx(excess_db, abs=0.05)
    assert ask("radio.power_regime", KEY).startswith(f"{regime}: ")


def test_conducted_power_is_asked_for_only_where_it_decides(worked: Worked) -> None:
    """30 dBm conducted in the US; 31 dBm radiated may be 30 and 1, or 31 and 0."""
    open_question = worked(one_radio("band: 5, channel: 36, width_mhz: 80, radiated_dbm: 31", "US"))
    assert open_question.wants("radio.power_excess_db", KEY) == [f"{KEY}/antenna_gain_dbi"]
    settled = worked(one_radio("band: 5, channel: 36, width_mhz: 80, radiated_dbm: 30", "US"))
    assert settled("radio.power_excess_db", KEY) == 0


def test_auto_is_held_against_the_channel_that_allows_most(worked: Worked) -> None:
    """In DE 13.97 dBm at 5725-5875 MHz (EN 300 440), 20 at 5250-5350, 23, and 27 dBm higher up."""
    ask = worked(one_radio("band: 5, channel: auto, width_mhz: 20, radiated_dbm: 22", "DE"))
    assert ask("radio.power_excess_db", KEY) == -5
    assert ask("radio.power_limit_dbm", KEY) == 27
    assert ask("radio.power_least_excess_db", KEY) == -5


# 47 CFR 15.407(a)(1): 30 dBm conducted, 36 dBm radiated; power conducted, gain, excess of each.
@pytest.mark.parametrize(
    ("radio", "excess_db", "conducted_db"),
    [
        ("radiated_dbm: 38, antenna_gain_dbi: 2", 6, 6),
        ("power_dbm: 38, antenna_gain_dbi: 2", 8, 8),
        ("radiated_dbm: 38, antenna_gain_dbi: 9", 2, 0),
        ("radiated_dbm: 41, antenna_gain_dbi: 8", 5, 3),
        ("power_dbm: 29, antenna_gain_dbi: 9", 2, 0),
    ],
)
def test_the_larger_excess_counts_and_conducted_power_is_told_apart(
    worked: Worked, radio: str, excess_db: float, conducted_db: float
) -> None:
    ask = worked(one_radio(f"band: 5, channel: 36, width_mhz: 80, {radio}", "US"))
    assert ask("radio.power_excess_db", KEY) == excess_db
    assert ask("radio.conducted_excess_db", KEY) == conducted_db
    assert ask("radio.power_excess_may_be_more", KEY) is False


def test_the_remedy_is_an_antenna_only_where_one_helps(check_text: Callable[..., Any]) -> None:
    def told(radio: str) -> str:
        text = one_radio(f"band: 5, channel: 36, width_mhz: 80, {radio}", "US")
        (found,) = (f for f in check_text(text).findings if f.rule == "power-permitted")
        assert "antenna" not in found.remedy
        return str(found.message)

    assert "An antenna with 2 dB less gain" in told("power_dbm: 29, antenna_gain_dbi: 9")
    conducted = told("radiated_dbm: 38, antenna_gain_dbi: 2")
    assert "sends 6 dB more" in conducted
    assert "less gain would not make it lawful" in conducted
    assert "It may be more" in told("radiated_dbm: 38")


def test_a_class_says_what_it_demands(worked: Worked) -> None:
    ask = worked(one_radio("band: 6, channel: 37, width_mhz: 80, power_class: standard", "US"))
    assert "frequency coordination" in ask("radio.power_notes", KEY)


# --- radar ----------------------------------------------------------------------------------------

# Move time 10 s; check 60 s, in the ETSI region 600 s where any part lies in 5600-5650 MHz (ETSI EN
# 301 893 Table D.1; 47 CFR 15.407(h)(2)). Where to: permitted channels off the barred spectrum.


@pytest.mark.parametrize(
    ("country", "unit", "radio", "words"),
    [
        # 36 (no check) to 116 (600 s)
        ("GB", "", "channel: 52, width_mhz: 80", "10 s to 610 s, depending on where it goes"),
        ("US", "", "channel: 52, width_mhz: 80", "10 s to 70 s, depending on where it goes"),
        # outdoors in Britain only 5470-5730 MHz is open, so a check there is
        ("GB", "outdoors: true, ", "channel: 100, width_mhz: 20",
         "70 s to 610 s, depending on where it goes"),
        # in Germany at 160 MHz only 100 to 128 is left, at 80 MHz and below channel 36
        ("DE", "", "channel: 36, width_mhz: 160", "10 s to 610 s, depending on where it goes"),
        ("GB", "", "channel: 36, width_mhz: 80", "0 s"),
    ],
)  # fmt: skip
def test_an_outage_is_the_time_to_leave_and_the_check_of_where_it_goes(
    worked: Worked, country: str, unit: str, radio: str, words: str
) -> None:
    ask = worked(one_radio(f"band: 5, {radio}", country, unit))
    assert ask("radio.radar_outage", KEY) == words


# --- radars and airports nearby -------------------------------------------------------------------

# Distances by another haversine with R = 6371.0088 km (tests/law/test_radar.py holds the function).


@pytest.mark.parametrize(
    ("latitude", "longitude", "name", "km", "mhz"),
    [
        (33.434278, -112.011583, "PHOENIX, AZ", 14.11, 5610),
        (40.639928, -73.778692, "FLOYD BENNETT FIELD, NY", 10.28, 5647),
        (32.11707, -110.941463, None, 184.5, None),
    ],
)
def test_the_us_table_is_known_without_being_listed(
    worked: Worked, latitude: float, longitude: float, name: str | None, km: float, mhz: float
) -> None:
    place = f"{{latitude: {latitude}, longitude: {longitude}}}"
    ask = worked(one_radio("band: 5, channel: 120, width_mhz: 20", "US", place=place))
    assert ask("site.nearest_radar_km", "site") == pytest.approx(km, abs=0.05)
    if name is not None:
        assert ask("site.nearest_radar", "site") == name
        assert ask("site.nearest_radar_mhz", "site") == mhz


def test_a_radar_of_the_file_may_be_nearer_than_the_tables(worked: Worked) -> None:
    """One degree of latitude is 111.195 km on this sphere; Charlotte's margin is 3 km."""
    place = "{latitude: 40.639928, longitude: -73.778692}"
    mine = "radars: [{name: Mine, latitude: 40.7, longitude: -73.778692, frequency_mhz: 5500}]\n"
    ask = worked(one_radio("band: 5, channel: 120, width_mhz: 20", "US", more=mine, place=place))
    assert ask("site.nearest_radar", "site") == "Mine"
    assert ask("site.nearest_radar_km", "site") == pytest.approx(0.060072 * 111.195, abs=0.01)
    assert ask("site.radars_known", "site") == 48


def test_one_distance_is_told_of_one_radar(check_text: Callable[..., Any]) -> None:
    """CHARLOTTE, 5608 MHz, stands at 35.36083 N, give or take 3 km; 0.32 degrees are 35.6 km."""
    place = "{latitude: 35.68083, longitude: -80.885}"
    found = check_text(
        one_radio("band: 5, channel: 120, width_mhz: 20", "US", place=place)
    ).findings
    told = {f.rule: f.message for f in found if "CHARLOTTE" in f.message}
    assert set(told) == {"near-radar", "terminal-weather-radar"}
    distances = {tuple(re.findall(r"([0-9.]+) km away", text)) for text in told.values()}
    assert distances == {("35.6",)}
    assert all("3 km" in text for text in told.values())


# Channels of 20 MHz whose centre is nearer than 30 MHz to the radar (KDB 443999), by hand.
@pytest.mark.parametrize(
    ("radio", "clashes", "how"),
    [
        ("channel: 116, width_mhz: 20", 0, ""),
        ("channel: 120, width_mhz: 20", 1, "centre 15 MHz from it"),
        ("channel: 124, width_mhz: 20", 1, "covers that frequency"),
        ("channel: 132, width_mhz: 20", 0, ""),  # 5660, 45 MHz away
        ("channel: 100, width_mhz: 160", 1, "covers that frequency"),
        ("channel: auto, width_mhz: 20", 1, ""),
        ("channel: auto, width_mhz: 20, avoid_radar_channels: true", 0, ""),
    ],
)
def test_both_tests_of_frequency_count_near_denver(
    worked: Worked, radio: str, clashes: int, how: str
) -> None:
    """DENVER, 19.49 km from the airport's position, sends on 5615 MHz."""
    place = "{latitude: 39.861667, longitude: -104.673167}"
    ask = worked(one_radio(f"band: 5, {radio}", "US", place=place))
    assert ask("radio.weather_radars_too_close", KEY) == clashes
    assert how in ask("radio.weather_radar_how", KEY)


def test_the_nearest_airport_is_looked_up_by_place(worked: Worked) -> None:
    """LHR at 51.4706 N, 0.46194 W in the PyPI package airportsdata; 0.01 degrees are 1.11 km."""
    place = "{latitude: 51.4606, longitude: -0.46194}"
    ask = worked(one_radio("band: 5, channel: 100, width_mhz: 20", place=place))
    assert ask("site.nearest_airport", "site") == "London Heathrow Airport (LHR)"
    assert ask("site.nearest_airport_km", "site") == pytest.approx(1.11, abs=0.01)

"""What a user is told when a document does not fit its schema, and where it points.

The expected sentences are what we mean to say; there is no outside reference for them.
"""

from __future__ import annotations

import pytest

from meshlint.site.problem import InputError
from meshlint.site.schema import check
from meshlint.site.source import read_document

SMALL = "meshlint: 1\nsite: {name: Tarn}\nprimary: gate\nunits: {gate: {}}\n"
SECRETS = ("passphrase", "password", "psk", "key")


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        check(read_document(text.encode(), "a.site.yaml"), "site")
    return [str(problem).removeprefix("a.site.yaml:") for problem in caught.value.problems]


# What stands in `gate: {}`, and where and how it is refused.
UNIT_MESSAGES = [
    (
        "chanel: 3",
        "4:16: units/gate: there is no key 'chanel' here; write it as "
        "units/gate/radios/NAME/channel",
    ),
    ("radio: {}", "4:16: units/gate: there is no key 'radio' here; did you mean 'radios'?"),
    (
        "channel: 3",
        "4:16: units/gate: there is no key 'channel' here; write it as "
        "units/gate/radios/NAME/channel",
    ),
    (
        "outdoors: no",
        "4:26: units/gate/outdoors: expected true or false, found 'no'; write false",
    ),
    (
        "state: buit",
        "4:23: units/gate/state: expected built or planned, found 'buit'; did you mean 'built'?",
    ),
    (
        "radios: [low]",
        "4:24: units/gate/radios: expected lines of 'key: value', found a list of 1; "
        "give each entry a name of its own, 'name:', instead of '-'",
    ),
    (
        "radios: ",
        "4:24: units/gate/radios: expected lines of 'key: value', found nothing; "
        "leave the key out if it is not known ({} means none)",
    ),
    (
        "takes_class: 9",
        "4:29: units/gate/takes_class: expected a whole number from 0 to 8 (power class taken), "
        "found 9",
    ),
    (
        "at: {x: 1, y_m: '3,4'}",
        "4:21: units/gate/at: there is no key 'x' here; did you mean 'x_m'?",
        "4:32: units/gate/at/y_m: expected a number from -100000 to 100000 (north in metres), "
        "found '3,4'; write 3.4, without quotes",
    ),
    (
        "at: {x_m: 1}",
        "4:16: units/gate/at: 'y_m' is missing. Distance up the plan in metres, for example 7.5.",
    ),
]

# What stands in a radio.
RADIO_MESSAGES = [
    (
        "chanel: 3",
        "5:14: units/gate/radios/r: there is no key 'chanel' here; did you mean 'channel'?",
    ),
    (
        "width: 80",
        "5:14: units/gate/radios/r: there is no key 'width' here; did you mean 'width_mhz'?",
    ),
    (
        "width_mhz: 30",
        "5:25: units/gate/radios/r/width_mhz: expected 20, 40, 80, 160 or 320 "
        "(channel width in MHz), found 30",
    ),
    (
        "channel: '44'",
        "5:23: units/gate/radios/r/channel: expected a channel number from 1 to 253, or auto, "
        "found '44'; write 44, without quotes",
    ),
    (
        "channel: Auto",
        "5:23: units/gate/radios/r/channel: expected a channel number from 1 to 253, or auto, "
        "found 'Auto'; did you mean 'auto'?",
    ),
    (
        'channel: "auto\\n"',
        "5:23: units/gate/radios/r/channel: expected a channel number from 1 to 253, or auto, "
        "found 'auto\\n'; did you mean 'auto'?",
    ),
    (
        "channel: 3.5",
        "5:23: units/gate/radios/r/channel: expected a channel number from 1 to 253, or auto, "
        "found 3.5",
    ),
    (
        "power_dbm: 20 dBm",
        "5:25: units/gate/radios/r/power_dbm: expected a number from -30 to 60 "
        "(transmit power in dBm), found '20 dBm'; write 20, the number alone",
    ),
    (
        "band: 5GHz",
        "5:20: units/gate/radios/r/band: expected 2.4, 5 or 6 (band in GHz), found '5GHz'; "
        "write 5, the number alone",
    ),
    (
        "streams: true",
        "5:23: units/gate/radios/r/streams: expected a whole number from 1 to 16 "
        "(spatial streams), found true",
    ),
    (
        "generation: ax",
        "5:26: units/gate/radios/r/generation: expected 802.11b, 802.11a, 802.11g, 802.11n, "
        "802.11ac, 802.11ax, 802.11be, 4, 5, 6, 6E or 7 (802.11 generation), found 'ax'; "
        "did you mean '802.11ax'?",
    ),
    (
        "carries: clients",
        "5:23: units/gate/radios/r/carries: expected a list without repeats, found 'clients'; "
        "write [clients] for a list of one",
    ),
    (
        "carries: [clients, clients]",
        "5:23: units/gate/radios/r/carries: expected a list without repeats, "
        "found a list of 2 with repeats",
    ),
    (
        "lowest_basic_mbps: 0",
        "5:33: units/gate/radios/r/lowest_basic_mbps: expected a number above 0, at most 1000 "
        "(lowest basic rate in Mb/s), found 0",
    ),
]

# A section of its own.
SECTION_MESSAGES = [
    (
        "clients: {a: {count: 2, active_share: 50}}",
        "5:39: clients/a/active_share: expected a number from 0 to 1 (share active at once), "
        "found 50; write 0.5 for 50 %",
    ),
    (
        "clients: {a: {count: 2, active_share: 50 %}}",
        "5:39: clients/a/active_share: expected a number from 0 to 1 (share active at once), "
        "found '50 %'; write 0.5, the number alone",
    ),
    (
        "backhaul: {l: {from: gate, t: barn, over: ethernet}}",
        "5:12: backhaul/l: 'to' is missing. Name of the unit at the other end.",
        "5:28: backhaul/l: there is no key 't' here; known keys: from, to, over, from_radio, "
        "radios, simultaneous, to_radio, in_sight, role, state, vlans, medium, category, length_m, "
        "rate_mbps, "
        "tested_mbps, optics, path, run, surge_protectors, through, fire_rating, nominal_mbps, "
        "measured_mbps",
        "5:43: backhaul/l/over: expected cable, coax, powerline, phone-line or radio (runs over), "
        "found 'ethernet'; did you mean 'cable'?",
    ),
    (
        "levels: {g: {outline_m: [[0, 0], [1]]}}",
        "5:25: levels/g/outline_m: expected a list of at least 3 (outline in metres), "
        "found a list of 2",
        "5:34: levels/g/outline_m/1: expected a list of 2 (point on the plan), found a list of 1",
    ),
    (
        "networks: {n: {pmf: off, name: ''}}",
        "5:21: networks/n/pmf: expected disabled, optional or required "
        "(protected management frames), found a text (not repeated here); did you mean 'disabled'?",
        "5:32: networks/n/name: expected a text of at most 32 characters (name on the air), "
        "found an empty text",
    ),
    (
        "waivers: [{rule: hop-depth, subject: units/gate, until: 31.1.2027}]",
        "5:57: waivers/0/until: expected a date as year-month-day, such as 2026-09-14 (last day), "
        "found '31.1.2027'",
    ),
    (
        "radars: {}",
        "5:9: radars: expected a list, found a mapping",
    ),
    (
        "catalogue: 12",
        "5:12: catalogue: expected a text (catalogue file), found 12; put it in quotes",
    ),
]


@pytest.mark.parametrize("case", UNIT_MESSAGES, ids=lambda case: case[0])
def test_a_unit_that_does_not_fit_is_told_in_words(case: tuple[str, ...]) -> None:
    assert problems(SMALL.replace("gate: {}", f"gate: {{{case[0]}}}")) == list(case[1:])


@pytest.mark.parametrize("case", RADIO_MESSAGES, ids=lambda case: case[0])
def test_a_radio_that_does_not_fit_is_told_in_words(case: tuple[str, ...]) -> None:
    text = SMALL.replace("gate: {}", f"gate: {{radios: {{\n        r: {{ {case[0]}}}}}}}")
    assert problems(text) == list(case[1:])


@pytest.mark.parametrize("case", SECTION_MESSAGES, ids=lambda case: case[0])
def test_a_section_that_does_not_fit_is_told_in_words(case: tuple[str, ...]) -> None:
    assert problems(SMALL + case[0]) == list(case[1:])


def test_a_file_that_lacks_everything_is_told_each_thing_once() -> None:
    found = problems("meshlint: 2\nsite: {name: no}\n")
    assert found == [
        "1:1: the file: 'primary' is missing. Name of the unit that is joined to the internet, "
        "one of units, for example desk.",
        "1:1: the file: 'units' is missing. Every device that carries radios or ports, each "
        "under a name of its own, for example desk.",
        "1:11: meshlint: expected 1 (format version), found 2",
    ]


def test_a_misspelt_key_that_is_needed_is_told_once() -> None:
    found = problems(SMALL.replace("primary", "primry"))
    assert found == ["3:1: the file: there is no key 'primry' here; did you mean 'primary'?"]


def test_control_characters_of_the_file_are_made_visible() -> None:
    (found,) = problems(SMALL.replace("gate: {}", r'"ga\e[31mte": {x: 1}'))
    assert "\x1b" not in found
    assert r"ga\x1b[31mte" in found


@pytest.mark.parametrize(
    "section",
    [
        *(f"networks: {{n: {{{key}: [hunter2hunter2]}}}}" for key in SECRETS),
        *(f"networks: {{n: {{{key}: 8271828182}}}}" for key in SECRETS),
        "networks: {n: {secret: {hunter2hunter2: 1}}}",
        "networks: {n: {secret_length: hunter2hunter2}}",
        "networks: {n: {secret_length: 8271828182}}",
        "networks: {n: {passphrase:hunter2hunter2}}",
        "networks: {n: {passphrase=hunter2hunter2: 1}}",
        "networks: {n: {passphrase hunter2hunter2}}",
        "networks: {n: {passphrse: hunter2hunter2}}",
        "networks: {n: hunter2hunter2}",
        "networks: {passphrase: hunter2hunter2}",
        "networks: hunter2hunter2",
        "backhaul: {l: hunter2hunter2}",
        "passphrase: hunter2hunter2",
        "password: hunter2hunter2",
    ],
)
def test_a_secret_is_never_repeated(section: str) -> None:
    found = "\n".join(problems(SMALL + section))
    assert "hunter2" not in found
    assert "8271828182" not in found


def test_a_misplaced_secret_is_pointed_to_its_reference_and_never_to_another_key() -> None:
    (found,) = problems(SMALL.replace("gate: {}", "gate: {passphrase: hunter2hunter2}"))
    assert found == (
        "4:16: units/gate: there is no key 'passphrase' here; no secret belongs in the file: "
        "a network names where it is kept, under 'secret'"
    )

"""Every sample says in comments what it shows, and the check says the same.

`# expect: <rule>` stands at the line that a finding points at, `# waived: <rule>` at that of an
accepted one. The first sentence of each file is what a reader is promised.
"""

from __future__ import annotations

import json
import re
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import yaml

from meshlint.datafiles import data_folder
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult

SAMPLES = Path(__file__).parents[2] / "samples"
BRANCHES = sorted(SAMPLES.glob("*/*.site.yaml"))
TODAY = date(2026, 11, 25)

FAULTY = {
    "skelderby": {"strongest-unit-primary", "primary-keeps-up"},
    "hagthorpe": {"backhaul-dedicated-band", "three-radios-for-radio-backhaul"},
    "stangmoor": {"hop-depth"},
    "cawderfell": {"backhaul-off-radar"},
    "wetherlow": {"overlap-enough"},
    "brackenside": {"cable-where-it-can-run"},
    "ravensgill": {"antennas-face-each-other"},
    "marrowby": {
        "loop-guarded",
        "one-router",
        "network-carried",
        "guests-apart",
        "management-inside",
        "passphrase-length",
        "push-button-off",
    },
    "thornholme": set(),
}
"""The classic mistakes: each branch shows one sort, with what it brings along. The last has only
cautions."""

MARKER = re.compile(r"#\s*(expect|waived):\s*([a-z-]+)")

NOT_SHOWN = {
    "second_channel",  # only for 40 MHz at 2.4 GHz, which is no good design
    "passphrase",
    "password",
    "psk",
    "key",  # never to be written
    # Rooms, which take the place of the walls and outlines that it shows, and feet.
    *(
        "rooms",
        "room_grid",
        "parts",
        "columns_m",
        "rows_m",
        "names",
        "rooms_as",
        "floor_openings",
        "doors",
        "width_m",
        "width_ft",
    ),
    *("at_m", "size_m", "at_ft", "size_ft", "columns_ft", "rows_ft"),
    "simultaneous",  # only for a link over several radios
    "power",  # a word where the power is not known in dBm
    "like",  # stands instead of the model that every unit there has
}
"""Keys that the branch with everything declared leaves out, each for a reason."""


@cache
def checked(name: str) -> SiteResult:
    (path,) = SAMPLES.glob(f"*/{name}.site.yaml")
    return check_bytes(path.read_bytes(), str(path), shipped_rules(), Catalogues(), TODAY)


def name_of(path: Path) -> str:
    return path.name.removesuffix(".site.yaml")


def marked(path: Path) -> set[tuple[str, str, int]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return {
        (*found.groups(), number)
        for number, line in enumerate(lines, 1)
        for found in MARKER.finditer(line)
    }


def keys_in(value: object) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*map(keys_in, value.values()))
    if isinstance(value, list):
        return set().union(*map(keys_in, value))
    return set()


def keys_known(schema: dict[str, Any]) -> set[str]:
    objects = [schema, *schema["$defs"].values()]
    return {key for described in objects for key in described.get("properties", {})}


@pytest.mark.parametrize("path", BRANCHES, ids=name_of)
def test_a_branch_has_the_findings_that_its_comments_promise_and_no_others(path: Path) -> None:
    result = checked(name_of(path))
    assert result.problems == ()
    found = {
        ("waived" if finding.waiver else "expect", finding.rule, finding.place.line)
        for finding in result.findings
    }
    assert found == marked(path)


@pytest.mark.parametrize(("name", "rules"), FAULTY.items(), ids=list(FAULTY))
def test_a_faulty_branch_shows_one_mistake_and_leaves_nothing_unjudged(
    name: str, rules: set[str]
) -> None:
    result = checked(name)
    assert {finding.rule for finding in result.open_findings} == rules
    assert result.not_judged == ()


def test_the_sound_branch_has_no_finding_and_everything_is_judged() -> None:
    result = checked("emberdale")
    assert result.findings == ()
    assert result.not_judged == ()
    rules = shipped_rules()
    cautions = {card.id for card in rules.cards if card.is_caution}
    judged = {card.id for card in rules.cards} - set(result.idle) - rules.of_fleets - cautions
    assert judged == set(result.held)
    # No cells share a channel, no radio shares spectrum with radar or stands outdoors, nothing is
    # in the United States, no cable climbs a riser, no link runs over the mains, no antenna has a
    # beam, no case has two radios of one band, no unit two children on radio, and there is no
    # waiver: these have nothing to look at.
    assert set(result.idle) == {
        "antennas-face-each-other",
        "backhaul-leg-off-radar",
        "cable-fire-rating",
        "clear-line-outdoors",
        "fit-for-outdoors",
        "shared-wire-measured",
        "hidden-node",
        "indoor-only-outdoors",
        "near-airport",
        "near-radar",
        "overlap-not-too-much",
        "own-cells-apart",
        "radios-of-one-unit-apart",
        "several-radios-need-be",
        "six-ghz-security",
        "terminal-weather-radar",
        "waiver-current",
        "waiver-ends-soon",
    }


def test_the_branch_with_everything_is_sound_but_for_one_accepted_finding() -> None:
    result = checked("harrowmere")
    assert result.open_findings == ()
    assert result.not_judged == ()
    assert [caution.rule for caution in result.cautions] == ["outdoor-copper"]
    (accepted,) = result.accepted
    assert accepted.waiver is not None
    assert accepted.waiver.approved_by == "estates"


def test_the_branch_with_everything_shows_every_key_of_the_schema() -> None:
    schema = json.loads((data_folder("schemas") / "site.schema.json").read_text(encoding="utf-8"))
    text = (SAMPLES / "branches" / "harrowmere.site.yaml").read_text(encoding="utf-8")
    assert keys_known(schema) - keys_in(yaml.safe_load(text)) == NOT_SHOWN


def test_the_minimal_branch_is_short_and_worth_checking_all_the_same() -> None:
    lines = (SAMPLES / "branches" / "fellgate.site.yaml").read_text(encoding="utf-8").splitlines()
    written = [line for line in lines if not line.lstrip().startswith("#")]
    assert len(written) <= 15
    result = checked("fellgate")
    assert {finding.rule for finding in result.findings} == {
        "backhaul-dedicated-band",
        "two-four-narrow",
    }


def test_the_minimal_branch_is_told_first_what_would_settle_most() -> None:
    wanted = checked("fellgate").wanted
    rules = {row[0]: set(row[3]) for row in wanted[:3]}
    assert set(rules) == {"networks", "clients", "site.country"}
    assert {"passphrase-length", "no-broken-cipher"} <= rules["networks"]
    assert {"backhaul-off-radar", "channel-permitted"} <= rules["site.country"]
    assert {"units.*.at", "cable_routes", "internet_lines"} <= {row[0] for row in wanted}


def test_no_sample_holds_a_secret() -> None:
    for path in BRANCHES:
        assert "no-secret-in-file" in checked(name_of(path)).held


def test_every_model_of_the_equipment_file_stands_in_some_branch() -> None:
    equipment = yaml.safe_load((SAMPLES / "equipment.yaml").read_text(encoding="utf-8"))
    used = {
        unit["model"]
        for path in BRANCHES
        for unit in yaml.safe_load(path.read_text(encoding="utf-8"))["units"].values()
        if "model" in unit
    }
    assert set(equipment["models"]) <= used

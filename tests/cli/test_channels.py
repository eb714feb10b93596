"""`meshlint channels`: what it prints, against the table and the published limits themselves.

Limits: ECC/DEC/(04)08 (200 mW at 5150-5250 MHz; 1 W and 500 mW at 5470-5725 MHz), 47 CFR
15.407(a)(5) (27 dBm at 160 MHz). Channels: IEEE 802.11 numbering; which are open, the regulatory
database as tests/law/test_world.py reads it.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli
from meshlint.law.regulatory import countries
from meshlint.physics.channels import CENTRES, all_channels


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["channels", *words])


def told(*words: str) -> dict[tuple[float, int, int], dict[str, Any]]:
    done = run(*words, "--format", "json")
    assert done.exit_code == 0
    entries = json.loads(done.output)["channels"]
    return {(e["band_ghz"], e["centre_channel"], e["width_mhz"]): e for e in entries}


def test_the_page_groups_channels_that_are_alike() -> None:
    page = run("GB", "--band", "5", "--width", "80").output
    assert "36: free of radar; up to 23 dBm by ETSI [1]; indoors only" in page
    assert "52: 80 MHz shared with radar, 60 s check" in page
    assert "116: 80 MHz shared with radar, 600 s check" in page
    assert "not open: 165" in page
    assert "ECC/DEC/(04)08, decides 2" in page
    assert "no legal advice" in " ".join(page.split())


def test_every_channel_of_the_numbering_is_in_the_json_whether_open_or_not() -> None:
    found = told("US")
    assert set(found) == {
        (band, channel.centre_number, width)
        for band, widths in CENTRES.items()
        for width in widths
        for channel in all_channels(band, width)
    }
    closed = found[2.4, 14, 20]
    assert (closed["permitted"], closed["on_record"], closed["reasons"]) == (
        False,
        True,
        ["channel 14 is not open to Wi-Fi in US"],
    )


def test_what_is_not_on_record_is_no_closed_channel() -> None:
    """Of 6 GHz outdoors in Korea nothing is on record; the table's figures are those indoors."""
    entry = told("KR", "--band", "6", "--outdoors")[6, 7, 80]
    assert (entry["permitted"], entry["on_record"]) == (False, False)
    assert "nothing is on record" in entry["reasons"][0]
    assert "not on record: 1" in run("KR", "--band", "6", "--outdoors").output


def test_a_gap_of_the_table_is_told_as_one() -> None:
    """Panama at 5470-5725 MHz, where weather radars send at 5600-5650 MHz."""
    assert told("PA", "--band", "5")[5, 122, 80]["radar_unflagged_mhz"] == 80
    assert "a gap of the" in run("PA", "--band", "5").output


def test_figures_carry_regime_clause_and_how_they_were_read() -> None:
    entry = told("US", "--band", "6")[6, 47, 160]
    assert entry["radiated_limit_dbm"] == pytest.approx(27, abs=0.05)
    assert entry["regime"] == "FCC"
    assert entry["sources"] == [{"document": "47 CFR 15.407", "clause": "(a)(5)", "read": "seen"}]
    upper = told("DE", "--band", "5")[5, 100, 20]
    assert upper["radiated_limit_dbm"] == 27
    assert upper["radiated_limit_with_power_control_dbm"] == 30
    assert told("DE")[5, 120, 20]["check_s"] == 600
    assert told("US")[5, 120, 20]["check_s"] == 60


def test_outdoors_closes_what_is_for_indoors() -> None:
    assert told("DE", "--band", "5")[5, 36, 20]["permitted"]
    assert not told("DE", "--band", "5", "--outdoors")[5, 36, 20]["permitted"]
    assert told("US", "--band", "5", "--outdoors")[5, 36, 20]["permitted"]


def test_classes_at_six_ghz_say_what_each_demands() -> None:
    page = " ".join(run("US", "--band", "6").output.split())
    assert "standard: anywhere, 5925-6425 and 6525-6875 MHz, up to 36 dBm and 23 dBm/MHz" in page
    assert "frequency coordination" in page


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["UK"], "'UK' is no country code of ISO 3166-1; did you mean GB?"),
        (["Germany"], "'Germany' is no country code of ISO 3166-1; write it as GB, DE or US"),
        (["AQ"], "nothing is known about AQ"),
        (["GB", "--band", "5", "--width", "320"], "there are no 320 MHz channels at 5 GHz"),
    ],
)
def test_what_cannot_be_answered_is_said_and_is_exit_2(words: list[str], message: str) -> None:
    done = run(*words)
    assert done.exit_code == 2
    assert message in done.output


@pytest.mark.parametrize("code", sorted(set(countries()) - {"00", "AN"}))
def test_every_country_of_the_table_has_a_page(code: str) -> None:
    assert run(code.lower(), "--width", "80").exit_code == 0

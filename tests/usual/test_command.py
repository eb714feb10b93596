"""`meshlint usual` shows what is taken for what a site leaves out, and nothing that it states."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from meshlint.cli import cli

SITE = """\
meshlint: 1
site: {name: Two, country: GB, surroundings: home}
primary: hall
units:
  hall: {at: {x_m: 0, y_m: 0}, radios: {mid: {band: 5, channel: 36, power_dbm: 12}}}
  loft: {at: {x_m: 4, y_m: 0, height_m: 2}, radios: {mid: {band: 5, channel: auto, width_mhz: 80}}}
clients: {phones: {count: 6, near: loft}}
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.site.yaml").write_text(SITE)


def said(*words: str) -> str:
    done = CliRunner().invoke(cli, ["usual", *words])
    assert done.exit_code == 0, (done.output, done.exception)
    return done.stdout


def listed() -> dict[str, dict[str, object]]:
    entries = json.loads(said("a.site.yaml", "--format", "json"))["usual"]
    found = {entry["at"]: entry for entry in entries}
    assert len(found) == len(entries)
    return found


def test_what_is_left_out_is_listed_and_what_is_stated_is_not() -> None:
    found = listed()
    assert "units/loft/radios/mid/power_dbm" in found
    assert "units/hall/radios/mid/width_mhz" in found
    assert "units/hall/at/height_m" in found
    assert "clients/phones/streams" in found
    assert not found.keys() & {
        "units/hall/radios/mid/power_dbm",
        "units/loft/radios/mid/width_mhz",
        "units/loft/at/height_m",
    }


def test_every_input_has_its_three_values_and_a_source() -> None:
    for entry in listed().values():
        assert entry["source"]
        assert entry["input"]
        assert None not in (entry["low"], entry["usual"], entry["high"])


def test_only_power_is_held_to_the_law_of_the_country() -> None:
    held = {at for at, entry in listed().items() if entry["held_to_law_of"] == "GB"}
    assert held == {"units/loft/radios/mid/power_dbm"}


def test_the_text_names_each_range_once_with_all_that_it_is_taken_for() -> None:
    text = said("a.site.yaml")
    assert text.count("the antenna's gain:") == 1
    words = text.split()
    for unit in ("hall", "loft"):
        assert f"units/{unit}/radios/mid/antenna_gain_dbi" in " ".join(words).replace(",", "")
    assert "14 to 23 dBm, usually 18 dBm, never above the law of GB" in text


def test_a_site_of_cables_alone_states_all_that_has_a_range() -> None:
    Path("a.site.yaml").write_text(
        "meshlint: 1\nsite: {name: Hut, country: GB}\nprimary: desk\nunits: {desk: {}}\n"
    )
    assert said("a.site.yaml") == "a.site.yaml states every input that has a usual range.\n"
    assert listed() == {}


def test_the_catalogue_of_the_policy_states_inputs_too() -> None:
    Path(".git").mkdir()
    assert "units/loft/radios/mid/antenna_gain_dbi" in listed()
    Path("equipment.yaml").write_text(
        "meshlint: 1\nmodels: {Quill: {radios: {mid: {band: 5, antenna_gain_dbi: 4}}}}\n"
    )
    Path("meshlint.yaml").write_text("meshlint: 1\ncatalogue: equipment.yaml\n")
    Path("a.site.yaml").write_text(SITE.replace("loft: {at", "loft: {model: Quill, at"))
    assert "units/loft/radios/mid/antenna_gain_dbi" not in listed()


def test_a_name_cannot_write_to_the_terminal() -> None:
    Path("a.site.yaml").write_text(SITE.replace("phones:", '"pho\\u202enes":'))
    done = CliRunner().invoke(cli, ["usual", "a.site.yaml"])
    assert "\u202e" not in done.output

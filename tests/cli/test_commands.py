"""The commands as their user meets them: what they print, and their exit status."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli

if TYPE_CHECKING:
    from pathlib import Path

SOUND = """\
meshlint: 1
site: {name: Sound, country: GB}
primary: a
internet_lines: {main: {enters_at: a}}
units:
  a: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients]}}}
"""

WARNED = SOUND.replace("band: 5, channel: 36", "band: 2.4, channel: 1")
WRONG = SOUND.replace("country: GB", "country: GB, nmae: x").replace("primary: a", "primary: b")
FAULTY = SOUND.replace("width_mhz: 40", "width_mhz: 40, channel: 36").replace(
    "channel: 36, width_mhz: 40, channel: 36", "channel: 42, width_mhz: 80"
)


CHANNEL_AT = f"6:{FAULTY.splitlines()[5].index('42') + 1}"


def run(*words: str, text: str | None = None) -> Result:
    return CliRunner().invoke(cli, words, input=text)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def words_of(done: Result) -> str:
    return " ".join(done.output.split())


def write(folder: Path, name: str, text: str) -> str:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text)
    return name


def test_a_sound_site_is_exit_0(here: Path) -> None:
    done = run("check", write(here, "a.site.yaml", SOUND))
    assert done.exit_code == 0
    assert "1 site checked: no findings" in done.output


def test_a_warning_fails_only_where_warnings_are_to_fail(here: Path) -> None:
    path = write(here, "a.site.yaml", WARNED)
    assert run("check", path).exit_code == 0
    assert run("check", path, "--fail-at", "warning").exit_code == 1


def test_an_error_is_exit_1_with_place_reason_and_remedy(here: Path) -> None:
    done = run("check", write(here, "a.site.yaml", FAULTY))
    assert done.exit_code == 1
    assert f"a.site.yaml:{CHANNEL_AT}" in done.output
    assert "Do: " in done.output
    explained = run("check", "a.site.yaml", "--explain").output
    assert "because" in explained
    assert "36, 40, 44 or 48" in done.output


def test_a_file_not_understood_is_exit_2_and_names_every_fault(here: Path) -> None:
    twice = WRONG.replace("band: 5", "band: 7")
    done = run("check", write(here, "a.site.yaml", twice))
    assert done.exit_code == 2
    assert f"a.site.yaml:2:{twice.splitlines()[1].index('nmae') + 1}" in done.output
    assert "did you mean 'name'" in done.output
    assert f"a.site.yaml:6:{twice.splitlines()[5].index('7') + 1}" in done.output


def test_one_unreadable_file_does_not_hide_the_others_findings(here: Path) -> None:
    write(here, "a.site.yaml", "a: [")
    write(here, "b.site.yaml", FAULTY)
    done = run("check", ".")
    assert done.exit_code == 2
    assert "channel-exists" in done.output
    assert "1 file could not be understood" in done.output


def test_nothing_to_check_is_exit_2_and_never_green(here: Path) -> None:
    (here / "empty").mkdir()
    assert run("check", "empty").exit_code == 2
    assert run("check").exit_code == 2
    assert run("check", "missing.site.yaml").exit_code == 2


def test_standard_input_is_read_at_a_dash(here: Path) -> None:  # noqa: ARG001
    done = run("check", "-", text=FAULTY)
    assert done.exit_code == 1
    assert f"-:{CHANNEL_AT}" in done.output


def test_folders_are_searched_in_a_stable_order_and_hidden_ones_left_out(here: Path) -> None:
    for name in ("z.site.yaml", "b/a.site.yaml", ".git/c.site.yaml", "b/note.yaml"):
        write(here, name, SOUND)
    files = json.loads(run("check", "--format", "json").output)["files"]
    assert [entry["path"] for entry in files] == ["b/a.site.yaml", "z.site.yaml"]


def test_the_json_report_counts_what_it_holds(here: Path) -> None:
    report = json.loads(run("check", write(here, "a.site.yaml", WARNED), "--format", "json").output)
    (entry,) = report["files"]
    assert report["summary"]["warnings"] == len(entry["findings"]) == 1
    assert report["summary"]["not_judged"] == len(entry["not_judged"])
    assert entry["findings"][0]["place"] == {"path": "a.site.yaml", "line": 6, "column": 56}


def test_an_output_file_holds_the_report_and_the_screen_stays_empty(here: Path) -> None:
    done = run("check", write(here, "a.site.yaml", SOUND), "--output", "report.txt")
    assert done.exit_code == 0
    assert done.output == ""
    assert "no findings" in (here / "report.txt").read_text()
    assert {path.name for path in here.iterdir()} == {"a.site.yaml", "report.txt"}


def test_an_output_that_cannot_be_written_is_exit_2(here: Path) -> None:
    done = run("check", write(here, "a.site.yaml", SOUND), "--output", "no/such/report.txt")
    assert done.exit_code == 2
    assert "cannot be written" in done.output


def test_the_report_is_bare_text_where_it_does_not_go_to_a_terminal(here: Path) -> None:
    assert "\x1b" not in run("check", write(here, "a.site.yaml", FAULTY)).output


def test_names_cannot_steer_the_terminal(here: Path) -> None:
    text = SOUND.replace("name: Sound", 'name: "S\\e[2J\\u202Ex"').replace(
        "channel: 36, width_mhz: 40", "channel: 42, width_mhz: 80"
    )
    done = run("check", write(here, "a.site.yaml", text))
    assert done.exit_code == 1
    assert "\x1b" not in done.output
    assert "\u202e" not in done.output
    assert r"S\u001b[2J\u202ex" in done.output


def test_a_waiver_is_judged_against_the_day_given(here: Path) -> None:
    waiver = (
        "waivers: [{rule: two-four-narrow, subject: units/a/radios/mid, because: far from all,"
        " approved_by: estates, until: 2026-12-01}]\n"
    )
    path = write(here, "a.site.yaml", WARNED + waiver)
    before = run("check", path, "--fail-at", "warning", "--today", "2026-11-01")
    assert before.exit_code == 0
    assert "by estates until 2026-12-01" in before.output
    after = run("check", path, "--fail-at", "warning", "--today", "2026-12-02")
    assert after.exit_code == 1
    assert "it ended on 2026-12-01" in words_of(after)
    assert run("check", path, "--today", "soon").exit_code == 2


def test_a_rule_is_explained_with_its_sources_and_a_misspelt_one_suggested() -> None:
    done = run("explain", "backhaul-off-radar")
    assert done.exit_code == 0
    assert "ETSI EN 301 893" in done.output
    missed = run("explain", "backhaul-of-radar")
    assert missed.exit_code == 2
    assert "did you mean backhaul-off-radar?" in missed.output


def test_every_rule_is_listed_on_a_line_of_its_own() -> None:
    lines = run("rules").output.splitlines()
    assert lines == sorted(lines)
    assert any(line.startswith("hop-depth ") for line in lines)
    severities = {line.split()[0]: line[len(line.split()[0]) :].strip() for line in lines}
    assert severities["hop-depth"].startswith("note to error ")
    assert severities["channel-permitted"].startswith("warning to error ")
    assert severities["roaming-aids"].startswith("note ")
    assert severities["roaming-aids"].split()[1] != "to"


def test_workings_show_numbers_with_units_and_what_is_missing(here: Path) -> None:
    path = write(here, "a.site.yaml", SOUND)
    done = run("workings", path)
    assert "high_mhz = 5210 MHz" in done.output
    assert "unknown: the file does not state clients" in done.output
    facts = json.loads(run("workings", path, "--format", "json").output)["facts"]
    (edge,) = [entry for entry in facts if entry["fact"] == "radio.high_mhz"]
    assert (edge["value"], edge["unit"], edge["missing"]) == (5210.0, "MHz", [])
    assert run("workings", path, "--subject", "units/none").exit_code == 2


@pytest.mark.parametrize("name", ["site", "catalogue", "card"])
def test_schemas_are_printed_as_json(name: str) -> None:
    assert json.loads(run("schema", name).output)["$id"] == f"urn:meshlint:{name}:1"


def test_help_names_examples_and_the_exit_statuses() -> None:
    assert "no certificate" in run("--help").output
    text = run("check", "--help").output
    assert "Examples:" in text
    assert "Exit status:" in text

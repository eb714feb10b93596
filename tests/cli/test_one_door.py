"""Every command sees a site as `check` does: under the policy of its place, on the same day."""

from __future__ import annotations

import ast
import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

import meshlint
from meshlint.cli import COMMANDS, cli
from meshlint.run import Checker

PACKAGE = Path(meshlint.__file__).parent
DAY = ("--today", "2026-11-25")

SITE = """\
meshlint: 1
site: {name: Brook Street, country: GB, surroundings: office, place: {latitude: 54.0, longitude: -2.0}}
primary: desk
levels: {ground: {base_m: 0, outline_m: [[0, 0], [20, 0], [20, 10], [0, 10]]}}
units:
  desk: {MODELat: {level: ground, x_m: 3, y_m: 5}, radios: {mid: {band: 5, channel: 100, width_mhz: 20, power_dbm: 15}}}
readings:
  - {unit: desk, band: 5, level_dbm: -60, taken: 2026-10-25}
"""  # noqa: E501

CATALOGUE = """\
meshlint: 1
models:
  Quill:
    radios: {mid: {band: 5, antenna_gain_dbi: 4}}
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    Path("a.site.yaml").write_text(SITE.replace("MODEL", ""))
    return tmp_path


def run(*words: str, status: int = 0) -> str:
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == status, (done.output, done.exception)
    return done.output


def fact(name: str, subject: str, *more: str) -> object:
    report = json.loads(run("workings", "a.site.yaml", "--format", "json", *more))
    return next(
        entry["value"]
        for entry in report["facts"]
        if (entry["fact"], entry["subject"]) == (name, subject)
    )


def test_workings_know_the_radars_of_the_policy_as_the_check_does():
    assert fact("site.nearest_radar_km", "site") is None
    Path("meshlint.yaml").write_text(
        "meshlint: 1\nradars: [{name: Hollin Fell, latitude: 54.1, longitude: -2.0}]\n"
    )
    report = json.loads(run("check", "a.site.yaml", "--no-cache", *DAY, "--format", "json"))
    (said,) = (f for s in report["files"] for f in s["findings"] if f["rule"] == "near-radar")
    assert "Hollin Fell is 11.1 km away" in said["message"]
    # A tenth of a degree of latitude is 11.1 km: 6371 km times pi, by 1800.
    assert fact("site.nearest_radar_km", "site") == pytest.approx(11.12, abs=0.01)
    assert said["numbers"]["site.radar_in_channel_km"] == fact("site.nearest_radar_km", "site")


def test_the_drawing_knows_the_catalogue_of_the_policy():
    def drawing() -> str:
        run("workings", "a.site.yaml", *DAY, "--plan", "a.svg")
        return Path("a.svg").read_text()

    assert "antenna_gain_dbi" in drawing(), "nothing can be drawn without the gain"
    Path("equipment.yaml").write_text(CATALOGUE)
    site = SITE.replace("MODEL", "model: Quill, ")
    Path("a.site.yaml").write_text(f"{site}catalogue: equipment.yaml\n")
    named = drawing()
    Path("a.site.yaml").write_text(site)
    Path("meshlint.yaml").write_text("meshlint: 1\ncatalogue: equipment.yaml\n")
    assert fact("radio.radiated_dbm", "units/desk/radios/mid") == 15 + 4
    assert drawing() == named
    assert "antenna_gain_dbi" not in named


@pytest.mark.parametrize("command", [("workings",), ("workings", "--plan", "a.svg"), ("check",)])
def test_the_limits_of_the_policy_hold_for_every_command(command: tuple[str, ...]):
    Path("meshlint.yaml").write_text("meshlint: 1\nfile_limits: {bytes: 1024}\n")
    Path("a.site.yaml").write_text(SITE.replace("MODEL", "") + "#" * 1024)
    done = CliRunner().invoke(cli, [*command, "a.site.yaml"])
    assert "at most 1024 are read" in f"{done.output}{done.exception}"


def test_workings_take_the_day():
    # 31 days of October and November lie between the reading and the check.
    assert fact("site.reading_age_days", "site", *DAY) == 31
    assert fact("site.reading_age_days", "site", "--today", "2026-12-25") == 61


def test_a_comparison_is_of_the_day_it_is_asked_for():
    newer = SITE.replace("MODEL", "").replace("2026-10-25", "2026-11-24")
    Path("b.site.yaml").write_text(newer)
    told = json.loads(run("compare", "a.site.yaml", "b.site.yaml", *DAY, "--format", "json"))
    (age,) = (c for c in told["changes"] if c["fact"] == "site.reading_age_days")
    assert (age["before"], age["after"]) == (31, 1)


def test_a_kept_result_with_readings_counts_on_its_own_day_alone(monkeypatch, tmp_path: Path):
    monkeypatch.setenv("MESHLINT_CACHE_DIR", str(tmp_path / "cache"))
    fresh = json.loads(run("check", "a.site.yaml", "--today", "2027-10-25", "--format", "json"))
    stale = json.loads(run("check", "a.site.yaml", "--today", "2027-10-26", "--format", "json"))
    rules = [[f["rule"] for s in r["files"] for f in s["findings"]] for r in (fresh, stale)]
    assert ["reading-fresh" in found for found in rules] == [False, True]


def test_the_workings_of_a_check_are_those_that_reports_are_made_from():
    checker = Checker(date(2026, 11, 25))
    opened = checker.open(Path("a.site.yaml").read_bytes(), "a.site.yaml")
    assert opened.workings.today == checker.today
    assert checker.judge(opened) == checker.check(Path("a.site.yaml").read_bytes(), "a.site.yaml")


def test_workings_of_a_site_are_made_at_the_door_alone():
    makers = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("Workings")
    }
    assert makers == {"run.py", "usual/fillings.py"}  # sites with gaps filled


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_of_commands_says_of_each_what_its_own_help_says(name: str):
    own = cli.get_command(None, name).help
    assert COMMANDS[name] == own.partition("\n\n")[0].replace("\n", " ")

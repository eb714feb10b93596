"""Calls that look at some rules, show less, read from a pipe, or are no calls at all."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import pytest
from click.testing import CliRunner

from meshlint.cli import COMMANDS, cli
from meshlint.run import shipped_rules

if TYPE_CHECKING:
    from click.testing import Result

SITE = """\
meshlint: 1
site: {name: Brook Street, country: GB}
primary: desk
units:
  desk: {radios: {low: {band: 2.4, channel: 1, width_mhz: 40, carries: [clients]}}}
  loft: {}
backhaul: {}
waivers:
  - {rule: two-four-narrow, subject: units/desk/radios/low, because: Far from all,
     until: 2027-01-01, approved_by: estates}
"""
CATALOGUE = "meshlint: 1\nmodels: {duo: {routing_mbps: 900}}\n"
OF_SITES = len(shipped_rules().cards) - len(shipped_rules().of_fleets)
OURS = json.loads((Path(__file__).parents[2] / "schemas" / "report.schema.json").read_text())
DAY = ("--today", "2026-11-25", "--no-cache")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    (tmp_path / "sites").mkdir()
    (tmp_path / "sites" / "a.site.yaml").write_text(SITE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str, text: str | None = None, **environment: str) -> Result:
    done = CliRunner().invoke(cli, words, input=text, env=environment)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def program(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "meshlint", *words], capture_output=True, text=True, check=False
    )


# --- --rule and --skip ----------------------------------------------------------------------------


def rules_found(*words: str) -> set[str]:
    report = json.loads(run("check", "--format", "json", *words, *DAY).output)
    jsonschema.Draft202012Validator(OURS).validate(report)
    (file,) = report["files"]
    return {finding["rule"] for finding in file["findings"]}


def test_only_the_rules_that_are_named_are_looked_at_and_all_but_those_to_skip() -> None:
    every = rules_found()
    assert {"every-unit-joined", "two-four-narrow"} <= every
    assert rules_found("--rule", "every-unit-joined") == {"every-unit-joined"}
    assert rules_found("--skip", "every-unit-joined") == every - {"every-unit-joined"}
    both = ("--rule", "every-unit-joined", "--rule", "two-four-narrow")
    assert rules_found(*both, "--skip", "two-four-narrow") == {"every-unit-joined"}


def test_a_report_on_some_rules_says_so() -> None:
    words = ("check", "--rule", "every-unit-joined", *DAY)
    for form in ("text", "concise", "github"):
        assert f"checked by 1 of {OF_SITES} rules: " in run(*words, "--format", form).output
    assert f", by 1 of {OF_SITES} rules" in run(*words, "--format", "markdown").output
    (file,) = json.loads(run(*words, "--format", "json").output)["files"]
    assert file["rules"] == {"chosen": 1, "all": OF_SITES}
    (log,) = json.loads(run(*words, "--format", "sarif").output)["runs"]
    assert log["properties"]["rulesChosen"] == f"1 of {OF_SITES} rules"
    assert " rules: " not in run("check", *DAY).output


def test_a_build_server_cannot_take_a_report_on_some_rules_for_one_on_all() -> None:
    """JUnit's readers show a name and properties; GitLab's list knows nothing but entries."""
    words = ("check", "--rule", "hop-depth", *DAY)
    whole = ET.fromstring(run(*words, "--format", "junit").output)  # noqa: S314 - our own text
    assert whole.get("name") == f"meshlint, 1 of {OF_SITES} rules"
    (told,) = whole.findall("testsuite/properties/property")
    assert (told.get("name"), told.get("value")) == ("looked at", f"1 of {OF_SITES} rules")
    (entry,) = json.loads(run(*words, "--format", "gitlab").output)
    assert (entry["check_name"], entry["severity"]) == ("only-some-rules", "info")
    assert entry["description"].startswith(f"Looked at by 1 of {OF_SITES} rules: ")
    assert entry["location"] == {"path": "sites/a.site.yaml", "lines": {"begin": 1}}
    every = ET.fromstring(run("check", *DAY, "--format", "junit").output)  # noqa: S314 - our own text
    assert every.get("name") == "meshlint"
    assert every.find("testsuite/properties") is None
    listed = json.loads(run("check", *DAY, "--format", "gitlab").output)
    assert "only-some-rules" not in {entry["check_name"] for entry in listed}


def test_nothing_turns_stale_because_a_call_did_not_look() -> None:
    Path("meshlint.yaml").write_text("meshlint: 1\n")
    run("accept", *DAY[:2])
    for words in (("--skip", "two-four-narrow"), ("--skip", "every-unit-joined"),
                  ("--rule", "waiver-current"), ("--rule", "hop-depth")):  # fmt: skip
        done = run("check", *words, *DAY)
        assert done.exit_code == 0, done.output
        assert "waiver-current" not in done.output
        assert "no longer there" not in done.output.lower()


def test_what_was_chosen_is_part_of_what_the_cache_knows_a_result_by(here: Path) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MESHLINT_CACHE_DIR", str(here / "cache"))
        for words, status in (((), 1), (("--rule", "hop-depth"), 0), (("--skip", "hop-depth"), 1)):
            for _ in range(2):
                assert run("check", *words, *DAY[:2]).exit_code == status


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rule", "hop-deph"), "there is no rule 'hop-deph'; did you mean hop-depth?"),
        (("--rule", "unit-name-once-in-fleet"), "is asked of all sites together"),
        (("--rule", "hop-depth", "--skip", "hop-depth"), "no rule is left"),
        (("--stdin-filename", "a.site.yaml"), "give - to have it read"),
        (("--pre-commit", "--changed-since", "HEAD"), "leave --changed-since out"),
    ],
)
def test_a_choice_that_means_nothing_is_exit_2(words: tuple[str, ...], said: str) -> None:
    done = program("check", *words, *DAY)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stdout == ""


# --- --quiet --------------------------------------------------------------------------------------


def test_quiet_shows_what_fails_and_counts_and_nothing_else() -> None:
    loud, quiet = (run("check", *words, *DAY).output for words in ((), ("--quiet",)))
    assert "two-four-narrow for desk" in loud
    assert "every-unit-joined" in quiet
    for word in ("two-four-narrow", "Cannot tell", "would settle the rest"):
        assert word in loud
        assert word not in quiet
    assert next(line for line in loud.splitlines() if line.startswith("1 site checked")) in quiet
    none = run("check", "--rule", "hop-depth", "--quiet", *DAY).output
    assert none.splitlines() == [f"1 site checked by 1 of {OF_SITES} rules: no findings."]


def test_quiet_lines_are_those_that_fail() -> None:
    concise = ("check", "--format", "concise", *DAY)
    Path("sites/b.site.yaml").write_text(SITE.partition("waivers:")[0].replace("Brook", "Mill"))
    loud = run(*concise).output.splitlines()
    quiet = run(*concise, "-q").output.splitlines()
    assert quiet == [line for line in loud[:-1] if ": error " in line] + loud[-1:]
    assert len(quiet) < len(loud)


# --- standard input -------------------------------------------------------------------------------


def test_standard_input_stands_where_its_name_says(here: Path) -> None:
    (here / "kit.yaml").write_text(CATALOGUE)
    (here / "sites" / "meshlint.yaml").write_text(
        "meshlint: 1\nrules: {every-unit-joined: {severity: note}}\n"
    )
    text = SITE.replace("primary:", "catalogue: ../kit.yaml\nprimary:")
    bare = run("check", "-", *DAY, text=text)
    assert bare.exit_code == 2
    named = run("check", "-", "--stdin-filename", "sites/new.site.yaml", *DAY, text=text)
    assert named.exit_code == 0, named.output
    assert "note, every-unit-joined, sites/new.site.yaml:" in named.output


# --- colour ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "environment", "painted"),
    [
        ((), {}, False),
        (("--color", "always"), {}, True),
        (("--color", "never"), {"FORCE_COLOR": "1"}, False),
        (("--color", "auto"), {}, False),
        ((), {"FORCE_COLOR": "1"}, True),
        ((), {"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
        (("--color", "always"), {"NO_COLOR": "1"}, True),
    ],
)
@pytest.mark.parametrize("before", [True, False])
def test_colour_is_as_the_call_says_and_else_as_the_environment_does(
    words: tuple[str, ...], environment: dict[str, str], painted: bool, before: bool
) -> None:
    clean = {"NO_COLOR": "", "FORCE_COLOR": ""} | environment
    parts = (*words, "check", *DAY) if before else ("check", *words, *DAY)
    assert ("\x1b[" in run(*parts, **clean).output) == painted
    assert run("check", "--color", "always", "--output", "o.txt", *DAY, **clean).exit_code == 1
    assert "\x1b" not in Path("o.txt").read_text()


# --- calls that are none --------------------------------------------------------------------------


def test_a_bare_call_prints_the_help_as_an_error_of_use() -> None:
    done = program()
    assert (done.returncode, done.stdout) == (2, "")
    assert "Commands:" in done.stderr
    for status in ("0 ", "1 ", "2 ", "3 ", "130", "141"):
        assert f"\n    {status}" in done.stderr


def test_a_command_without_what_it_needs_prints_its_help() -> None:
    done = program("schema")
    assert (done.returncode, done.stdout) == (2, "")
    assert "meshlint schema site > site.schema.json" in done.stderr
    assert done.stderr.splitlines()[-1] == "meshlint: Missing argument 'NAME'"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("chekc",), "there is no command 'chekc'; did you mean check? `meshlint --help`"),
        (("sites",), "there is no command 'sites'; did you mean `meshlint check sites`?"),
        (("zzzzzz",), "there are check, compare, "),
        (
            ("check", "--fail-at", "x"),
            "one of 'error', 'warning', 'note'; `meshlint check",
        ),
        (("check", "--no-such"), "--no-such"),
    ],
)
def test_errors_of_use_are_one_line_on_standard_error(words: tuple[str, ...], said: str) -> None:
    done = program(*words)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_every_command_has_help_with_an_example() -> None:
    for name in COMMANDS:
        text = run(name, "--help").output
        assert f"meshlint {name}" in text.partition("Example")[2], name


def test_the_rules_are_listed_for_programs_too() -> None:
    listed = json.loads(run("rules", "--format", "json").output)["rules"]
    cards = {card.id: card for card in shipped_rules().cards}
    assert [entry["rule"] for entry in listed] == list(cards)
    (hops,) = (entry for entry in listed if entry["rule"] == "hop-depth")
    assert hops["title"] == cards["hop-depth"].title
    assert set(hops["severities"]) == {"note", "warning", "error"}
    assert hops["limits"]["error_hops"]["unit"] == "hops"


def test_a_check_of_the_whole_checkout_understands_every_file() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "meshlint", "check", ".", "--quiet", "--today", "2026-11-25"],
        cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False,
        env={**os.environ, "MESHLINT_CACHE_DIR": str(Path.cwd() / "cache")},
    )  # fmt: skip
    assert done.returncode == 1, done.stdout + done.stderr  # the samples have mistakes on purpose
    assert "could not be understood" not in done.stdout

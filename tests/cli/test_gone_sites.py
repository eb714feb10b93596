"""Accepted entries of sites that no file has any more are told where everything was seen."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from meshlint.cli import cli
from meshlint.lint.accepted import accepted_text, read_accepted, sites_as_written
from meshlint.lint.finding import Listed, fingerprint
from meshlint.site.problem import Place

if TYPE_CHECKING:
    from click.testing import Result

SITE = """\
meshlint: 1
site: {name: NAME, country: GB}
primary: desk
units: {desk: {}, loft: {}, barn: {}}
backhaul: {}
"""
DAY = ("--today", "2026-11-25")
OURS = json.loads((Path(__file__).parents[2] / "schemas" / "report.schema.json").read_text())


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two branches whose findings are accepted, of which one is then taken away."""
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    Path("meshlint.yaml").write_text("meshlint: 1\n")
    for name in ("Brook Street", "Mill Lane"):
        path = Path("branches", f"{name.split()[0].lower()}.site.yaml")
        path.parent.mkdir(exist_ok=True)
        path.write_text(SITE.replace("NAME", name))
    assert "4 accepted findings" in run("accept", *DAY).output
    Path("branches/mill.site.yaml").unlink()
    return tmp_path


def run(*words: str) -> Result:
    done = CliRunner().invoke(cli, words)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def plain(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    "words",
    [("check",), ("check", "."), ("check", "--no-cache"), ("fleet",), ("check", "--jobs", "1")],
)
def test_a_run_over_the_whole_repository_names_the_site_that_is_gone(
    words: tuple[str, ...],
) -> None:
    done = run(*words, *DAY)
    assert "No site is called Mill Lane any more: take its 2 entries out" in plain(done.output)
    assert "from meshlint-accepted.yaml:9:7 on" in plain(done.output)
    assert "Mill Lane" in Path("meshlint-accepted.yaml").read_text().splitlines()[7]
    assert "2 accepted no longer there" in plain(done.output)
    assert "1 site checked" in plain(done.output)
    assert done.exit_code == 0


@pytest.mark.parametrize(
    "words",
    [
        ("check", "branches"),
        ("check", "branches/brook.site.yaml"),
        ("check", "branches/brook.site.yaml", "branches"),
        ("fleet", "branches"),
    ],
)
def test_a_run_over_a_part_says_nothing_of_the_rest(words: tuple[str, ...]) -> None:
    done = run(*words, *DAY)
    assert done.exit_code == 0
    assert "Mill Lane" not in done.output
    assert "no longer there" not in done.output


def test_a_site_that_moved_or_whose_file_has_another_name_is_not_gone() -> None:
    Path("depots").mkdir()
    Path("depots/x.site.yaml").write_text(SITE.replace("NAME", "Mill Lane"))
    assert "no longer there" not in run("check", *DAY).output


def test_a_file_that_cannot_be_understood_may_be_the_one() -> None:
    Path("branches/mill.site.yaml").write_text("meshlint: [\n")
    assert "Mill Lane" not in run("check", *DAY).output
    assert "4 accepted findings, 0 of them new; 0 no longer" in plain(run("accept", *DAY).output)


def test_accept_takes_the_entries_out_where_it_saw_everything() -> None:
    assert "0 no longer there" in plain(run("accept", "branches", *DAY).output)
    assert "2 no longer there and taken out" in plain(run("accept", *DAY).output)
    assert "Mill Lane" not in Path("meshlint-accepted.yaml").read_text()
    assert "no longer there" not in run("check", *DAY).output


def test_a_list_of_a_folder_holds_for_the_sites_of_that_folder_alone() -> None:
    Path("other").mkdir()
    Path("other/meshlint.yaml").write_text("meshlint: 1\n")
    Path("other/mill.site.yaml").write_text(SITE.replace("NAME", "Mill Lane"))
    assert "No site is called Mill Lane any more" in plain(run("check", *DAY).output)
    Path("other/meshlint.yaml").write_text("meshlint: 1\naccepted: ../meshlint-accepted.yaml\n")
    assert "No site is called" not in run("check", *DAY).output
    assert "4 accepted findings, 0 of them new; 0 no longer" in plain(run("accept", *DAY).output)


def test_a_list_in_another_hand_is_read_in_full() -> None:
    text = Path("meshlint-accepted.yaml").read_text().replace('"Mill Lane"', "Mill Lane")
    Path("meshlint-accepted.yaml").write_text(text)
    assert sites_as_written(text.encode()) is None
    assert "No site is called Mill Lane any more" in plain(run("check", *DAY).output)


def test_every_format_tells_of_it() -> None:
    forms = ("json", "sarif-all", "junit", "markdown")
    done = run("check", *DAY, "--format", "text", *(f"--format={f}=out.{f}" for f in forms))
    assert done.exit_code == 0
    report = json.loads(Path("out.json").read_text())
    jsonschema.Draft202012Validator(OURS).validate(report)
    (gone,) = report["gone_sites"]
    assert (gone["site"], gone["list"]) == ("Mill Lane", "meshlint-accepted.yaml")
    assert [entry["subject"] for entry in gone["vanished"]] == ["units/barn", "units/loft"]
    assert (report["summary"]["files"], report["summary"]["vanished"]) == (1, 2)
    results = json.loads(Path("out.sarif-all").read_text())["runs"][0]["results"]
    told = [r for r in results if "no site is called Mill Lane any more" in r["message"]["text"]]
    assert [r["kind"] for r in told] == ["informational", "informational"]
    place = told[0]["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "meshlint-accepted.yaml"
    assert place["region"]["startLine"] == 9
    suites = {suite.get("name"): suite for suite in ET.parse("out.junit").getroot()}  # noqa: S314
    assert suites["Mill Lane"].get("failures") == "0"
    assert "no site is called Mill Lane any more" in "".join(suites["Mill Lane"].itertext())
    assert "No site is called Mill Lane any more" in Path("out.markdown").read_text()


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))))
def test_the_quick_look_at_a_list_sees_what_reading_it_sees(
    tmp_path_factory: pytest.TempPathFactory, names: list[str]
) -> None:
    day, place = date(2026, 11, 25), Place("x")
    entries = {
        name: (Listed(name, "s", "note", fingerprint(name, name, "s"), day, name, place),)
        for name in names
        if name
    }
    path = tmp_path_factory.mktemp("list") / "a.yaml"
    path.write_text(accepted_text(entries), encoding="utf-8")
    seen = sites_as_written(path.read_bytes())
    assert seen is None or seen == set(read_accepted(path, "a.yaml"))

"""Every worked example is a whole site, and the check says of it what its own comment says."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli
from meshlint.starter.examples import EXAMPLES
from meshlint.starter.reading import SURROUNDINGS


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


def written(kind: str) -> str:
    done = run("new", "a.site.yaml", "--example", kind)
    assert done.exit_code == 0, done.output
    return Path("a.site.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", EXAMPLES)
def test_the_check_says_of_an_example_what_its_comment_says(kind: str) -> None:
    text = written(kind)
    (said,) = re.findall(r"^# The check says: (.*)\.$", text, re.MULTILINE)
    done = run("check", "a.site.yaml", "--format", "json")
    assert done.exit_code == 0, done.output
    (result,) = json.loads(done.output)["files"]
    found = {f["rule"] for f in result["findings"] if f["kind"] == "fault"}
    assert found == set(re.findall("[a-z]+(?:-[a-z]+)+", said))
    assert bool(found) != (said == "no findings")


@pytest.mark.parametrize("kind", EXAMPLES)
def test_an_example_shows_levels_rooms_walls_and_people_in_few_lines(kind: str) -> None:
    text = written(kind)
    assert text.startswith("# yaml-language-server: $schema=site.schema.json\n")
    for key in ("levels:", "shell:", "between:", "internet_lines:", "clients:", "networks:", "in:"):
        assert re.search(rf"(^|[ {{]){key}", text, re.MULTILINE), key
    assert re.search("room_grid:|rooms:", text)
    assert len(text.splitlines()) < 90
    assert max(map(len, text.splitlines())) <= 100
    assert "power_dbm" not in text


def test_there_is_an_example_of_each_kind_that_the_command_names() -> None:
    assert set(EXAMPLES) == {"house", "cafe", "office", "guesthouse", "warehouse", "school", "farm"}
    assert {kind.replace("guesthouse", "guest house") for kind in EXAMPLES} <= SURROUNDINGS.keys()


def test_an_example_takes_no_answers() -> None:
    done = run("new", "a.site.yaml", "--example", "house", "--units", "3")
    assert done.exit_code == 2
    assert "--example and --units are not for one call" in done.output
    assert not Path("a.site.yaml").exists()

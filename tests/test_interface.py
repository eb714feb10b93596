"""The Python interface: one function, and results that say what the command line says."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from click.testing import CliRunner

import meshlint
from meshlint.cli import cli

BRANCHES = Path(__file__).parents[1] / "samples" / "branches"
DAY = date(2026, 11, 25)


def test_the_function_finds_what_the_command_finds() -> None:
    path = BRANCHES / "skelderby.site.yaml"
    result = meshlint.check(path, today=DAY)
    done = CliRunner().invoke(cli, ["check", str(path), "--format", "json", "--today", str(DAY)])
    (told,) = json.loads(done.output)["files"]
    assert result.findings
    assert [f.rule for f in result.findings] == [entry["rule"] for entry in told["findings"]]


def test_a_file_that_is_not_there_is_a_problem_and_no_exception(tmp_path: Path) -> None:
    result = meshlint.check(tmp_path / "none.site.yaml", today=DAY)
    assert [problem.message for problem in result.problems] == ["there is no such file"]
    assert not result.findings

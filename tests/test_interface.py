"""The Python interface: two functions, and results that say what the command line says."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from datetime import date
from pathlib import Path

import pytest
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


def test_a_text_is_checked_as_a_file_of_its_place_would_be() -> None:
    path = BRANCHES / "skelderby.site.yaml"  # which names a catalogue in the folder above
    of_file = meshlint.check(path, today=DAY)
    of_text = meshlint.check_text(path.read_text(encoding="utf-8"), path, today=DAY)
    assert of_text == of_file
    assert of_text.findings
    (problem,) = meshlint.check_text("meshlint: [\n", today=DAY).problems
    assert problem.place.path == "text.site.yaml"
    assert meshlint.check_text("a: \ud800", today=DAY).problems


def test_a_notebook_shows_the_markdown_report() -> None:
    result = meshlint.check(BRANCHES / "skelderby.site.yaml", today=DAY)
    assert result._repr_markdown_().startswith("## meshlint: ")
    assert "**error** strongest-unit-primary" in result.to_markdown()
    assert "error, strongest-unit-primary" in result.to_text()


def test_every_name_of_the_interface_is_there_and_no_other_is_made_up() -> None:
    for name in meshlint.__all__:
        assert getattr(meshlint, name) is not None
    assert set(meshlint.__all__) <= set(dir(meshlint))
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        _ = meshlint.chek  # type: ignore[attr-defined]


def test_importing_it_costs_next_to_nothing() -> None:
    program = "import sys, meshlint; print([m for m in sys.modules if m.startswith('meshlint.')])"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


USER = """\
    from datetime import date
    from pathlib import Path

    import meshlint
    from meshlint import Finding, Result, Severity


    def gravest(result: Result) -> Severity | None:
        found: tuple[Finding, ...] = result.open_findings
        for finding in found:
            line: int = finding.place.line
            print(finding.rule, line, finding.message, [str(s) for s in finding.sources])
        return found[0].severity if found else None


    def main() -> None:
        result = meshlint.check(Path("a.site.yaml"), today=date(2026, 11, 25))
        for problem in result.problems:
            print(problem.place, problem.message)
        text: str = meshlint.check_text("meshlint: 1", "b.site.yaml").to_markdown()
        print(gravest(result), text, [n.inputs for n in result.not_judged])
"""


@pytest.mark.slow
@pytest.mark.parametrize(("ending", "status"), [("", 0), ("\nmeshlint.check(1)\n", 1)])
def test_code_elsewhere_is_typed_strictly(tmp_path: Path, ending: str, status: int) -> None:
    """mypy, outside of the checkout: `py.typed` travels, and the types hold and hold back."""
    (tmp_path / "use.py").write_text(textwrap.dedent(USER) + ending)
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "use.py"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stdout + done.stderr
    assert ("int" in done.stdout) == bool(status)


def test_the_readme_s_example_of_the_interface_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    program = readme.partition("<!-- interface -->\n```python\n")[2].partition("```")[0]
    monkeypatch.chdir(Path(__file__).parents[1])
    names: dict[str, object] = {}
    exec(program, names)  # noqa: S102 - the README's own
    assert names["worst"]

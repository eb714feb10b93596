"""What the READMEs tell people to write and to run, written and run as it stands there."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from meshlint.lint.card import load_rulebook
from meshlint.workings.catalogue import FACTS

README = "".join(
    (Path(__file__).parents[1] / page).read_text(encoding="utf-8")
    for page in ("README.md", "rules/README.md", "samples/ci/README.md")
)
BLOCKS = re.findall(r"(?:<!-- ([a-z ]+) -->\n)?```yaml\n(.*?)```", README, re.DOTALL)
SAMPLES = Path(__file__).parents[1] / "samples"

SITE = """\
meshlint: 1
site: {name: Brook Street, class: branch, country: GB}
primary: 1-desk
units: {1-desk: {}, 2-loft: {}, barn: {}}
backhaul:
  loft: {from: 2-loft, to: 1-desk, over: powerline}
  barn: {from: barn, to: 2-loft, over: cable, category: 6, length_m: 20}
clients: {visitors: {count: 41, near: barn}}
"""


def blocks(key: str) -> list[Any]:
    return [loaded for _, text in BLOCKS if key in (loaded := yaml.safe_load(text))]


def marked(mark: str) -> list[str]:
    return [text for name, text in BLOCKS if name == mark]


def steps() -> list[tuple[str, str]]:
    """Return every meshlint command of the recipes, with where it comes from."""
    found = []
    for workflow in blocks("jobs"):
        for name, job in workflow["jobs"].items():
            found += [(name, step["run"]) for step in job["steps"] if "run" in step]
    for name, job in ((n, j) for pipeline in blocks("sites") for n, j in pipeline.items()):
        found += [(name, line) for line in job["script"]]
    return [(name, line) for name, line in found if line.startswith("meshlint ")]


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a repository of sites with a branch on which one site has changed."""
    monkeypatch.chdir(tmp_path)
    for name in list(os.environ):
        if name.startswith("GIT_"):
            monkeypatch.delenv(name)
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_NAME", "Quillbeck")
        monkeypatch.setenv(f"GIT_{role}_EMAIL", "it@quillbeck.invalid")
    subprocess.run(["git", "init", "-qb", "main"], check=True)
    for path in (SAMPLES / "equipment.yaml", *(SAMPLES / "branches").glob("*.site.yaml")):
        target = tmp_path / path.relative_to(SAMPLES)
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(path.read_bytes())
    subprocess.run(["git", "add", "-A"], check=True)
    subprocess.run(["git", "commit", "-qm", "sites"], check=True)
    subprocess.run(["git", "update-ref", "refs/remotes/origin/main", "HEAD"], check=True)
    changed = tmp_path / "branches" / "emberdale.site.yaml"
    changed.write_text(changed.read_text() + "# changed\n")
    subprocess.run(["git", "commit", "-qam", "change"], check=True)
    return tmp_path


def ran(line: str) -> subprocess.CompletedProcess[str]:
    line = line.replace("${{ github.base_ref }}", "main")
    line = line.replace("$CI_MERGE_REQUEST_TARGET_BRANCH_NAME", "main")
    words = shlex.split(line)
    assert words[0] == "meshlint"
    return subprocess.run(
        [sys.executable, "-m", *words], capture_output=True, text=True, check=False
    )


def test_there_is_a_recipe_for_two_ci_systems_and_one_for_every_night() -> None:
    assert [name for name, _ in steps()] == ["sites", "fleet", "fleet", "sites"]
    assert blocks("repos")[0]["repos"][0]["hooks"] == [{"id": "meshlint"}]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "line"), steps(), ids=[line for _, line in steps()])
def test_a_recipe_runs_and_leaves_the_files_that_it_hands_on(
    repository: Path, name: str, line: str
) -> None:
    done = ran(line)
    # The changed branch is the sound one; the whole library service has its samples of mistakes.
    whole = name == "fleet" and "meshlint check" in line
    assert done.returncode == (1 if whole else 0), done.stdout + done.stderr
    assert "checked" in done.stdout
    for written in re.findall(r"=(meshlint\.\w+|\w+\.json)", line):
        assert (repository / written).stat().st_size > 0
    if "meshlint.sarif" in line:
        results = json.loads((repository / "meshlint.sarif").read_text())["runs"][0]["results"]
        assert [r for r in results if r["kind"] == "fail" and r["level"] == "error"] == []


@pytest.mark.slow
def test_the_policy_in_the_readme_holds(repository: Path) -> None:
    (text,) = marked("policy")
    (repository / "meshlint.yaml").write_text(text)
    own_cards(repository / "rules")
    done = ran("meshlint policy branches/emberdale.site.yaml")
    assert done.returncode == 0, done.stderr
    assert "hop-depth: error_hops = 4 hops" in done.stdout
    assert "own cards: quillbeck/ from rules" in done.stdout
    assert "could not be understood" not in ran("meshlint check").stdout


def own_cards(folder: Path) -> list[Path]:
    folder.mkdir()
    paths = []
    for text in marked("own card"):
        paths.append(folder / f"{yaml.safe_load(text)['id']}.yaml")
        paths[-1].write_text(text)
    return paths


def test_the_three_cards_in_the_readme_find_what_they_speak_of(tmp_path: Path) -> None:
    paths = own_cards(tmp_path / "rules")
    assert len(load_rulebook(paths, FACTS).cards) == 3
    (tmp_path / "meshlint.yaml").write_text(
        "meshlint: 1\ncards: [{folder: rules, name: quillbeck}]\n"
    )
    site = tmp_path / "a.site.yaml"
    site.write_text(SITE)
    done = ran(f"meshlint check {site} --format json")
    findings = json.loads(done.stdout)["files"][0]["findings"]
    assert [(f["rule"], f["subject"]) for f in findings if "/" in f["rule"]] == [
        ("quillbeck/few-devices-behind-one-unit", "units/2-loft"),
        ("quillbeck/few-devices-behind-one-unit", "units/barn"),
        ("quillbeck/unit-says-its-floor", "units/barn"),
        ("quillbeck/no-powerline-here", "backhaul/loft"),
    ]

"""The hook as a repository would use it: the real pre-commit, on a real git repository.

pre-commit builds an environment for the hook from a clone of the hook's own repository, so the
checkout is copied into one first; that way uncommitted work is tested too.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]
TRAVELS = ("meshlint", "rules", "schemas", "samples")
FILES = ("pyproject.toml", "README.md", ".pre-commit-hooks.yaml")
SOUND, FAULTY = "emberdale.site.yaml", "cawderfell.site.yaml"


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return an environment in which git and pre-commit know nothing of the outside."""
    clean = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith(("GIT_", "PRE_COMMIT")) and key not in ("PYTHONPATH", "VIRTUAL_ENV")
    }
    person = {
        f"GIT_{role}_{what}": value
        for role in ("AUTHOR", "COMMITTER")
        for what, value in (("NAME", "Quillbeck"), ("EMAIL", "it@quillbeck.invalid"))
    }
    return {
        **clean,
        **person,
        "GIT_CONFIG_GLOBAL": os.devnull,
        "GIT_CONFIG_NOSYSTEM": "1",
        "PRE_COMMIT_HOME": str(tmp_path_factory.mktemp("pre-commit")),
        "PRE_COMMIT_COLOR": "never",
    }


@pytest.fixture(scope="module")
def hook_repository(environment: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a git repository that holds what stands in the checkout."""
    repository = tmp_path_factory.mktemp("hook") / "meshlint"
    repository.mkdir()
    for folder in TRAVELS:
        skipped = shutil.ignore_patterns("__pycache__")
        shutil.copytree(CHECKOUT / folder, repository / folder, ignore=skipped)
    for name in FILES:
        shutil.copy(CHECKOUT / name, repository / name)
    commit_all(repository, environment)
    return repository


def commit_all(repository: Path, environment: dict[str, str]) -> None:
    for command in (["init", "-q"], ["add", "-A"], ["commit", "-q", "-m", "Sites"]):
        subprocess.run(["git", *command], cwd=repository, env=environment, check=True)


def try_hook(
    hook_repository: Path, site: str, environment: dict[str, str], folder: Path
) -> subprocess.CompletedProcess[str]:
    """Run the hook on a repository of one branch and its equipment file."""
    (folder / "branches").mkdir()
    samples = CHECKOUT / "samples"
    shutil.copy(samples / "equipment.yaml", folder)
    shutil.copy(samples / "branches" / site, folder / "branches")
    commit_all(folder, environment)
    return subprocess.run(
        [
            sys.executable,
            "-m",
            "pre_commit",
            "try-repo",
            str(hook_repository),
            "meshlint",
            "--all-files",
            "--verbose",
        ],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


def test_the_hook_passes_a_sound_site(
    hook_repository: Path, environment: dict[str, str], tmp_path: Path
) -> None:
    run = try_hook(hook_repository, SOUND, environment, tmp_path)
    assert run.returncode == 0, run.stdout + run.stderr
    result = run.stdout.split("=====")[-1]
    assert "Passed" in result
    # It was not passed over, and the equipment file beside it was not taken for a site.
    assert "1 site checked: no findings" in result


def test_the_hook_fails_a_site_with_an_error_and_shows_the_finding(
    hook_repository: Path, environment: dict[str, str], tmp_path: Path
) -> None:
    run = try_hook(hook_repository, FAULTY, environment, tmp_path)
    assert run.returncode == 1, run.stdout + run.stderr
    assert "Failed" in run.stdout
    assert "backhaul-off-radar" in run.stdout
    lines = (CHECKOUT / "samples" / "branches" / FAULTY).read_text().splitlines()
    marked = [n for n, line in enumerate(lines, 1) if "# expect: backhaul-off-radar" in line]
    assert any(f"branches/{FAULTY}:{number}:" in run.stdout for number in marked)
    assert "If a unit hears a radar, upstairs" in " ".join(run.stdout.split())

"""`meshlint compare` from the command line, with files and with revisions of git."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.slow

SITE = """\
meshlint: 1
site: {name: Annexe}
catalogue: equipment.yaml
primary: desk
internet_lines: {main: {enters_at: desk, down_mbps: 500, up_mbps: 50}}
units:
  desk: {model: box}
"""

EQUIPMENT = """\
meshlint: 1
models: {box: {radios: {}, ports: [{count: 2, rate_mbps: 1000}], routing_mbps: RATE}}
"""


def git(folder: Path, *words: str) -> None:
    names = ["-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false"]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GIT_")}
    subprocess.run(
        ["git", *names, *words], cwd=folder, check=True, capture_output=True, env=environment
    )


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "meshlint", "compare", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """A repository in which the equipment, not the site file, changed since the first commit."""
    git(tmp_path, "init", "-q")
    (tmp_path / "a.site.yaml").write_text(SITE)
    (tmp_path / "equipment.yaml").write_text(EQUIPMENT.replace("RATE", "900"))
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-qm", "first")
    (tmp_path / "equipment.yaml").write_text(EQUIPMENT.replace("RATE", "300"))
    return tmp_path


def test_a_file_is_compared_with_itself_at_a_revision_its_equipment_too(repository: Path) -> None:
    done = run(repository, "a.site.yaml", "--since", "HEAD")
    assert done.returncode == 0, done.stderr
    assert "a.site.yaml at HEAD" in done.stdout
    assert "primary-keeps-up" in done.stdout
    found = json.loads(run(repository, "a.site.yaml", "--since", "HEAD", "--format", "json").stdout)
    assert [finding["rule"] for finding in found["findings_new"]] == ["primary-keeps-up"]


def test_nothing_is_written_to_the_repository(repository: Path) -> None:
    before = {p: p.read_bytes() for p in (repository / ".git").rglob("*") if p.is_file()}
    run(repository, "a.site.yaml", "--since", "HEAD")
    after = {p: p.read_bytes() for p in (repository / ".git").rglob("*") if p.is_file()}
    assert after == before


def test_new_findings_fail_only_if_asked_to(repository: Path) -> None:
    assert run(repository, "a.site.yaml", "--since", "HEAD").returncode == 0
    at_warning = ("a.site.yaml", "--since", "HEAD", "--fail-at", "warning")
    assert run(repository, *at_warning).returncode == 1
    assert run(repository, *at_warning[:-1], "error").returncode == 0


def test_two_files_are_compared(repository: Path) -> None:
    (repository / "b.site.yaml").write_text(SITE.replace("down_mbps: 500", "down_mbps: 200"))
    done = run(repository, "a.site.yaml", "b.site.yaml")
    assert done.returncode == 0
    assert "Findings gone" in done.stdout
    assert "internet lines, down: 500 Mb/s becomes 200 Mb/s" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("a.site.yaml",), "takes two files, or one file and --since"),
        (("a.site.yaml", "b.site.yaml", "--since", "HEAD"), "takes two files"),
        (("a.site.yaml", "--since", "nowhere"), "no revision 'nowhere'"),
        (("a.site.yaml", "--since", "--output=x"), "is no revision"),
        (("a.site.yaml", "missing.site.yaml"), "no such file"),
        (("new.site.yaml", "--since", "HEAD"), "there was no such file at HEAD"),
        (("bad.site.yaml", "a.site.yaml"), "bad.site.yaml:1:1"),
    ],
)
def test_what_cannot_be_compared_is_said(
    repository: Path, words: tuple[str, ...], said: str
) -> None:
    (repository / "new.site.yaml").write_text(SITE)
    (repository / "bad.site.yaml").write_text("units: {}\n")
    done = run(repository, *words)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_file_outside_any_repository_has_no_revisions(tmp_path: Path) -> None:
    (tmp_path / "a.site.yaml").write_text(SITE)
    done = run(tmp_path, "a.site.yaml", "--since", "HEAD")
    assert done.returncode == 2
    assert "a.site.yaml:1:1" in done.stderr


def test_a_hook_s_environment_does_not_lead_to_another_repository(
    repository: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    other = tmp_path_factory.mktemp("other")
    git(other, "init", "-q")
    done = subprocess.run(
        [sys.executable, "-m", "meshlint", "compare", "a.site.yaml", "--since", "HEAD"],
        cwd=repository,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "GIT_DIR": str(other / ".git")},
    )
    assert done.returncode == 0, done.stderr

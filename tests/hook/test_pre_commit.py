"""The hook as a repository would use it: the real pre-commit, on a real git repository.

pre-commit builds an environment for the hook from a clone of the hook's own repository, so the
checkout is copied into one first; that way uncommitted work is tested too.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow


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


CONFIG = """\
repos:
  - repo: HOOKS
    rev: REVISION
    hooks: [{id: ID, verbose: true}]
"""


class Repository:
    """A repository of sites, with the hook installed as people install it."""

    def __init__(
        self, folder: Path, hooks: Path, environment: dict[str, str], hook: str = "meshlint"
    ) -> None:
        self.folder = folder
        self.environment = environment
        (folder / "branches").mkdir()
        shutil.copy(CHECKOUT / "samples" / "equipment.yaml", folder)
        self.git("init", "-q", "-b", "main")
        revision = subprocess.run(
            ["git", "rev-parse", "HEAD"],
            cwd=hooks,
            env=environment,
            capture_output=True,
            check=True,
        ).stdout.decode()
        config = CONFIG.replace("HOOKS", str(hooks)).replace("ID", hook)
        self.write(".pre-commit-config.yaml", config.replace("REVISION", revision.strip()))
        assert self.pre_commit("install", "-t", "pre-commit", "-t", "pre-push").returncode == 0

    def write(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text)

    def site(self, sample: str) -> None:
        shutil.copy(CHECKOUT / "samples" / "branches" / sample, self.folder / "branches")

    def git(self, *words: str) -> subprocess.CompletedProcess[str]:
        return self._run("git", *words)

    def pre_commit(self, *words: str) -> subprocess.CompletedProcess[str]:
        return self._run(sys.executable, "-m", "pre_commit", *words)

    def begun(self) -> None:
        """Commit what there is without asking the hook."""
        self.git("add", "-A")
        assert self.git("commit", "-q", "-n", "-m", "Sites").returncode == 0

    def commit(self, *words: str) -> subprocess.CompletedProcess[str]:
        self.git("add", "-A")
        return self.git("commit", "-m", "A change", *words)

    def _run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            words, cwd=self.folder, env=self.environment, capture_output=True, text=True,
            timeout=600, check=False,
        )  # fmt: skip


@pytest.fixture
def sites(hook_repository: Path, environment: dict[str, str], tmp_path: Path) -> Repository:
    return Repository(tmp_path, hook_repository, environment)


def told(run: subprocess.CompletedProcess[str]) -> str:
    return " ".join((run.stdout + run.stderr).split())


def refused(run: subprocess.CompletedProcess[str], *words: str) -> None:
    assert run.returncode == 1, told(run)
    assert re.search(r"meshlint\.+Failed", told(run))
    for word in words:
        assert word in told(run)


def passed(run: subprocess.CompletedProcess[str], *words: str) -> None:
    assert run.returncode == 0, told(run)
    assert re.search(r"meshlint\.+Passed", told(run))
    for word in words:
        assert word in told(run)


def test_a_first_commit_of_a_sound_site_passes_and_of_a_faulty_one_does_not(
    sites: Repository,
) -> None:
    sites.site(SOUND)
    passed(sites.commit(), "1 site checked: no findings")
    sites.git("update-ref", "-d", "HEAD")
    sites.site(FAULTY)
    run = sites.commit()
    refused(run, "backhaul-off-radar", "2 sites checked", "If a unit hears a radar, upstairs")
    lines = (CHECKOUT / "samples" / "branches" / FAULTY).read_text().splitlines()
    marked = [n for n, line in enumerate(lines, 1) if "# expect: backhaul-off-radar" in line]
    assert any(f"branches/{FAULTY}:{number}:" in told(run) for number in marked)


def test_a_commit_that_changes_only_the_catalogue_or_only_the_policy_is_looked_at(
    sites: Repository,
) -> None:
    sites.site(SOUND)
    sites.begun()
    sites.write("equipment.yaml", "meshlint: 1\nmodels: {}\n")
    refused(sites.commit(), "there is no model")
    sites.git("checkout", "-q", "HEAD", "--", ".")
    sites.write("meshlint.yaml", "meshlint: 1\nrules: {hop-deph: {severity: note}}\n")
    refused(sites.commit(), "there is no rule 'hop-deph'")
    sites.write("meshlint.yaml", "meshlint: 1\n")
    passed(sites.commit(), "1 site checked: no findings")


def test_a_catalogue_that_is_renamed_breaks_the_sites_that_name_it(sites: Repository) -> None:
    sites.site(SOUND)
    sites.begun()
    sites.git("mv", "equipment.yaml", "kit.yaml")
    refused(sites.commit(), "equipment.yaml", "there is no such file")


def test_a_new_site_of_the_other_ending_is_looked_at_also_by_commit_a(sites: Repository) -> None:
    sites.site(SOUND)
    sites.begun()
    sites.write("branches/new.site.yml", "meshlint: 1\n")
    refused(sites.commit(), "branches/new.site.yml")
    sites.git("rm", "-q", "-f", "branches/new.site.yml")
    text = (sites.folder / "branches" / SOUND).read_text()
    sites.write(f"branches/{SOUND}", text.replace("primary:", "primry:"))
    refused(sites.git("commit", "-a", "-m", "A slip"), "primry")


def test_a_commit_is_not_held_up_by_faults_that_it_does_not_touch(sites: Repository) -> None:
    sites.site(SOUND)
    sites.site(FAULTY)
    sites.begun()
    sites.write("notes.txt", "x")
    passed(sites.commit(), "the commit touches no site")
    sites.write("branches/draft.site.yaml", "meshlint: 1\n")
    text = (sites.folder / "branches" / SOUND).read_text()
    sites.write(f"branches/{SOUND}", text + "# checked on the stairs\n")
    # Neither by what nobody has added yet, nor with an index of its own.
    passed(sites.git("commit", "-a", "-m", "A change"), "1 site checked: no findings")


def test_where_nothing_is_staged_every_site_is_checked(sites: Repository) -> None:
    sites.site(SOUND)
    sites.begun()
    passed(sites.pre_commit("run", "--all-files"), "1 site checked: no findings")
    sites.site(FAULTY)
    sites.begun()
    refused(sites.pre_commit("run", "--all-files"), "2 sites checked", "backhaul-off-radar")


def test_between_two_revisions_what_changed_from_the_first_is_checked(
    sites: Repository, tmp_path_factory: pytest.TempPathFactory
) -> None:
    sites.site(SOUND)
    sites.begun()
    sites.site(FAULTY)
    sites.begun()
    sites.write("notes.txt", "x")
    sites.begun()
    both = ("--to-ref", "HEAD", "--from-ref")
    refused(sites.pre_commit("run", *both, "HEAD~2"), "1 site checked", "backhaul-off-radar")
    passed(sites.pre_commit("run", *both, "HEAD~1"), "the commit touches no site")
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    sites.git("init", "-q", "--bare", str(elsewhere))
    push = sites.git("push", str(elsewhere), "main")
    assert push.returncode == 1
    assert "backhaul-off-radar" in told(push)


def test_a_repository_without_sites_can_be_committed_to(sites: Repository) -> None:
    passed(sites.commit(), "the commit touches no site")


def test_the_hook_of_files_looks_at_changed_site_files_alone(
    hook_repository: Path, environment: dict[str, str], tmp_path: Path
) -> None:
    sites = Repository(tmp_path, hook_repository, environment, "meshlint-files")
    sites.site(SOUND)
    run = sites.commit()
    assert run.returncode == 0, told(run)
    assert "1 site checked: no findings" in told(run)
    sites.write("branches/new.site.yml", "meshlint: 1\n")
    assert sites.commit().returncode == 1

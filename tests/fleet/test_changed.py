"""Which sites a change touches, on a real git repository."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.fleet.changed import NotKnown, touched_since
from meshlint.fleet.discovery import site_files

SITE = "meshlint: 1\nsite: {{name: {0}}}\nprimary: a\nunits: {{a: {{}}}}\n"
CARD = Path(__file__).parents[2] / "rules" / "hop-depth.yaml"


def git(*words: str) -> None:
    subprocess.run(["git", *words], check=True, capture_output=True)


@pytest.fixture(autouse=True)
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name in list(os.environ):
        if name.startswith("GIT_"):
            monkeypatch.delenv(name)
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_NAME", "Quillbeck")
        monkeypatch.setenv(f"GIT_{role}_EMAIL", "it@quillbeck.invalid")
    git("init", "-q", "-b", "main")
    write("north/a.site.yaml", SITE.format("A") + "catalogue: ../shared.yaml\n")
    write("north/b.site.yaml", SITE.format("B"))
    write("south/c.site.yaml", SITE.format("C"))
    write("shared.yaml", "meshlint: 1\nmodels: {}\n")
    write("usual.yaml", "meshlint: 1\nmodels: {}\n")
    write("south/usual.yaml", "meshlint: 1\nmodels: {}\n")
    write("south/cards/hop-depth.yaml", CARD.read_text())
    write(
        "south/meshlint.yaml",
        "meshlint: 1\ncatalogue: usual.yaml\ncards: [{folder: cards, name: own}]\n",
    )
    write("south/meshlint-accepted.yaml", "meshlint: 1\nsites: {}\n")
    write("notes.txt", "x")
    git("add", "-A")
    git("commit", "-qm", "start")
    return tmp_path


def write(name: str, text: str) -> None:
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    Path(name).write_text(text)


def touched(revision: str = "main") -> list[str]:
    return [Path(name).name[0] for name in touched_since(revision, site_files(["."]))]


def test_nothing_changed_touches_nothing() -> None:
    assert touched() == []


@pytest.mark.parametrize(
    ("changed", "sites"),
    [
        ("north/a.site.yaml", ["a"]),
        ("shared.yaml", ["a"]),
        ("south/meshlint.yaml", ["c"]),
        ("south/usual.yaml", ["c"]),
        ("south/cards/hop-depth.yaml", ["c"]),
        ("south/meshlint-accepted.yaml", ["c"]),
        ("usual.yaml", []),
        ("notes.txt", []),
    ],
)
@pytest.mark.parametrize("committed", [True, False])
def test_a_site_is_touched_through_what_bears_on_it(
    changed: str, sites: list[str], *, committed: bool
) -> None:
    write(changed, Path(changed).read_text() + "# changed\n")
    if committed:
        git("commit", "-qam", "change")
    assert touched("HEAD~1" if committed else "HEAD") == sites


def test_what_is_new_counts_and_so_does_what_is_gone() -> None:
    write("north/d.site.yaml", SITE.format("D"))
    assert touched() == ["d"]
    write("meshlint.yaml", "meshlint: 1\n")
    assert touched() == ["a", "b", "d", "c"]
    Path("meshlint.yaml").unlink()
    Path("south/cards/hop-depth.yaml").unlink()
    assert touched() == ["d", "c"]


def test_only_what_changed_on_this_side_of_the_common_ancestor_counts() -> None:
    git("switch", "-qc", "work")
    write("north/b.site.yaml", SITE.format("B") + "# mine\n")
    git("commit", "-qam", "mine")
    git("switch", "-q", "main")
    write("south/c.site.yaml", SITE.format("C") + "# theirs\n")
    git("commit", "-qam", "theirs")
    git("switch", "-q", "work")
    assert touched("main") == ["b"]


@pytest.mark.parametrize("revision", ["nowhere", "--output=x", "-x"])
def test_a_revision_that_is_none_is_refused(revision: str) -> None:
    with pytest.raises(NotKnown):
        touched(revision)
    assert not Path("x").exists()


def test_each_site_is_looked_up_in_its_own_repository(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write("north/b.site.yaml", SITE.format("B") + "# changed\n")
    elsewhere = repository / "other"
    elsewhere.mkdir()
    git("init", "-q", "other")
    monkeypatch.chdir(elsewhere)
    monkeypatch.setenv("GIT_DIR", str(elsewhere / ".git"))
    found = touched_since("main", [str(repository / "north" / f"{n}.site.yaml") for n in "ab"])
    assert [Path(name).name for name in found] == ["b.site.yaml"]


def test_line_ends_that_git_turned_are_no_change() -> None:
    data = Path("north/b.site.yaml").read_bytes()
    Path("north/b.site.yaml").write_bytes(data.replace(b"\n", b"\r\n"))
    assert touched() == []


def test_a_link_that_leads_elsewhere_touches_where_it_leads() -> None:
    Path("north/link.yaml").symlink_to("b.site.yaml")
    git("add", "-A")
    git("commit", "-qm", "link")
    assert touched() == []
    Path("north/link.yaml").unlink()
    Path("north/link.yaml").symlink_to("a.site.yaml")
    assert touched() == ["a"]


def test_git_runs_nothing_that_the_repository_names(repository: Path) -> None:
    """A repository's own settings can name programs; none may run."""
    program = repository / "spy"
    program.write_text(f"#!/bin/sh\ntouch {repository}/ran\ncat\n")
    program.chmod(0o755)
    keys = ("core.fsmonitor", "diff.external", "diff.spy.textconv", "core.pager")
    filters = ("filter.spy.clean", "filter.spy.smudge", "filter.spy.process")
    for key in (*keys, *filters):
        git("config", key, str(program))
    git("config", "core.hooksPath", str(repository))
    write(".gitattributes", "*.yaml diff=spy filter=spy\n")
    write("north/b.site.yaml", SITE.format("B") + "# changed\n")
    # Its content is the same but git cannot tell by the time, so it would read the file.
    Path("north/a.site.yaml").touch()
    assert touched() == ["b"]
    assert not (repository / "ran").exists()


def test_a_change_that_touches_no_site_is_a_run_that_succeeded() -> None:
    """No site is wrong, so every format is green, and says that it looked at none."""
    write("notes.txt", "y")
    forms = ("text=o.txt", "sarif=o.sarif", "junit=o.xml", "json=o.json", "markdown")
    words = ["check", "--changed-since", "main", *(f"--format={form}" for form in forms)]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 0
    assert "no site changed since main" in done.output
    assert "nothing new in 0 sites" in done.output
    assert "Nothing was checked" in Path("o.txt").read_text()
    (run,) = json.loads(Path("o.sarif").read_text())["runs"]
    assert run["results"] == []
    assert run["invocations"] == [{"executionSuccessful": True}]
    assert json.loads(Path("o.json").read_text())["summary"]["files"] == 0
    assert Path("o.xml").read_text().splitlines()[1:] == [
        '<testsuites name="meshlint" tests="0" failures="0" errors="0" skipped="0" time="0">',
        "</testsuites>",
    ]

"""Which files a folder means, held against what git itself lists in the same folder."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from meshlint.fleet.discovery import site_files


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name in ("GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    subprocess.run(["git", "init", "-q"], check=True)
    return tmp_path


def touch(*names: str) -> None:
    for name in names:
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text("meshlint: 1\n")


def as_git_lists_them() -> tuple[str, ...]:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--others", "--exclude-standard"],
        capture_output=True,
        text=True,
        check=True,
    )
    return tuple(sorted(n for n in listed.stdout.split("\0") if n.endswith(".site.yaml")))


@pytest.mark.parametrize(
    "ignored",
    [
        {".gitignore": "old/\n"},
        {".gitignore": "old\n"},
        {".gitignore": "/b.site.yaml\n"},
        {".gitignore": "*.site.yaml\n!north/*.site.yaml\n"},
        {".gitignore": "north/**\n!north/inner/\n"},
        {".gitignore": "north/\n!north/a.site.yaml\n"},
        {".gitignore": "a*\n", "north/.gitignore": "!a.site.yaml\n"},
        {"north/.gitignore": "/inner\n*.yml\n"},
        {"north/inner/.gitignore": "*\n"},
        {".gitignore": "# a comment\n\n!\n\\#x.site.yaml\nb.site.yaml\n"},
        {".gitignore": "**/inner/a.site.yaml\n"},
    ],
    ids=str,
)
@pytest.mark.usefixtures("here")
def test_what_git_ignores_is_left_out(ignored: dict[str, str]) -> None:
    folders = (".", "old", "north", "north/inner", "north/old")
    touch(*(os.path.normpath(f"{f}/{name}.site.yaml") for f in folders for name in "ab"))
    touch("#x.site.yaml", "north/other.yaml")
    for name, lines in ignored.items():
        Path(name).write_text(lines)
    assert site_files(["."]) == as_git_lists_them()
    # A folder that is named outright is searched, though it be ignored itself.
    assert set(site_files(["north"])) >= {n for n in as_git_lists_them() if n.startswith("north/")}


@pytest.mark.usefixtures("here")
def test_a_file_named_outright_counts_though_it_is_ignored() -> None:
    touch("a.site.yaml", "b.site.yaml")
    Path(".gitignore").write_text("*\n")
    assert site_files(["."]) == ()
    assert site_files(["b.site.yaml", "a.site.yaml"]) == ("a.site.yaml", "b.site.yaml")


@pytest.mark.usefixtures("here")
def test_hidden_folders_and_links_to_folders_are_not_entered() -> None:
    touch(".hidden/a.site.yaml", "open/a.site.yaml")
    Path("link").symlink_to("open", target_is_directory=True)
    Path("circle").symlink_to(".", target_is_directory=True)
    assert site_files(["."]) == ("open/a.site.yaml",)


@pytest.mark.usefixtures("here")
def test_one_file_in_two_spellings_is_one_file() -> None:
    Path("sites").mkdir()
    Path("sites/a.site.yaml").touch()
    Path("elsewhere/deep").mkdir(parents=True)
    Path("link").symlink_to("elsewhere/deep")
    assert site_files(["./sites/a.site.yaml", "sites//a.site.yaml", "sites", "./."]) == (
        "sites/a.site.yaml",
    )
    # `link/..` is `elsewhere`: by name alone that is another file than it looks.
    upwards = "link/../sites/a.site.yaml"
    assert site_files([upwards, "sites/a.site.yaml"]) == (upwards, "sites/a.site.yaml")
    assert site_files(["-", ""]) == ("", "-")

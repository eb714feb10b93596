"""Which files a site may name: the same ones, wherever the program was started from."""

from __future__ import annotations

from pathlib import Path

import pytest

import meshlint
from meshlint.site.files import repository_of, top_around

SITE = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\ncatalogue: CATALOGUE\n"


@pytest.fixture
def sites(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder of sites below one of several, with a catalogue at each height."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    folder = tmp_path / "home" / "work" / "wifi" / "north"
    folder.mkdir(parents=True)
    for height in (folder, *list(folder.parents)[:3]):
        (height / "kit.yaml").write_text("meshlint: 1\nmodels: {}\n")
    return folder


def told(folder: Path, catalogue: str) -> list[str]:
    path = folder / "a.site.yaml"
    path.write_text(SITE.replace("CATALOGUE", catalogue))
    return [problem.message for problem in meshlint.check(path).problems]


@pytest.mark.parametrize("here", [".", "..", "../..", "/"])
def test_without_git_the_folder_above_is_in_reach_from_wherever(
    sites: Path, here: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(sites / here)
    assert told(sites, "kit.yaml") == []
    assert told(sites, "../kit.yaml") == []
    (message,) = told(sites, "../../kit.yaml")
    assert "leads out of the folder above this file's" in message
    assert "a meshlint.yaml that says `meshlint: 1`" in message


def test_the_way_out_that_the_message_names_is_one(sites: Path) -> None:
    (sites.parents[1] / "meshlint.yaml").write_text("meshlint: 1\n")
    assert told(sites, "../../kit.yaml") == []
    (message,) = told(sites, "../../../kit.yaml")
    assert "leads out of the folder of meshlint.yaml; move that up" in message


def test_a_repository_comes_before_a_policy(sites: Path) -> None:
    (sites / "meshlint.yaml").write_text("meshlint: 1\n")
    assert told(sites, "../kit.yaml") != []
    (sites.parents[1] / ".git").mkdir()
    assert told(sites, "../../kit.yaml") == []
    (message,) = told(sites, "../../../kit.yaml")
    assert message.endswith("leads out of the repository")


def test_neither_the_home_folder_nor_the_root_is_the_boundary_of_what_lies_deeper(
    sites: Path,
) -> None:
    home = sites.parents[2]
    (home / "meshlint.yaml").write_text("meshlint: 1\n")
    assert top_around(sites) is None
    assert told(sites.parents[1], "../kit.yaml") != []  # the folder above is the home folder
    assert told(sites.parents[1], "kit.yaml") == []
    assert repository_of(Path("/a.site.yaml")) == Path("/")
    assert repository_of(Path("/srv-of-nobody/a.site.yaml")) == Path("/srv-of-nobody")

"""Files that are none, names that no report should hold, and links that lead away."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from meshlint.fleet.discovery import site_files
from meshlint.site import files
from meshlint.site.problem import InputError

GOOD = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"

KINDS = (
    ("pipe", "found a pipe"),
    ("device", "leads out of the repository"),
    ("socket", ""),
    ("circle", "leads in a circle"),
    ("nowhere", "no such file"),
    ("outside", "leads out of the repository"),
    ("out", "leads out of the repository"),
    ("out-by-link", "leads out of the repository"),
    ("absolute", "relative to this file"),
    ("itself", ""),
    ("folder", "found a folder"),
    ("gits-own", "leads into .git"),
    ("circle-and-out", "leads "),  # from 3.13 on Python lets `..` undo a circle: then it leads out
    ("long", ""),
    ("catalogue-pipe", "found a pipe"),
)


def with_catalogue(path: str) -> str:
    return f"{GOOD}catalogue: {path!r}\n"


@pytest.fixture(scope="module")
def told(meshlint, files_of, tmp_path_factory):
    top = tmp_path_factory.mktemp("files")
    folder = top / "repository"
    folder.mkdir()
    (folder / ".git").mkdir()
    (top / "secret.yaml").write_text("root:x:0:0:secret\n")
    os.mkfifo(folder / "pipe.site.yaml")
    (folder / "device.site.yaml").symlink_to("/dev/zero")
    (folder / "circle.site.yaml").symlink_to("circle.site.yaml")
    (folder / "nowhere.site.yaml").symlink_to("gone.site.yaml")
    (folder / "outside.site.yaml").symlink_to("../secret.yaml")
    bound = socket.socket(socket.AF_UNIX)
    here = os.open(folder, os.O_RDONLY)
    bound.bind(f"/proc/self/fd/{here}/socket.site.yaml")
    os.mkfifo(folder / "equipment.yaml")
    (folder / "link.yaml").symlink_to("../secret.yaml")
    (folder / "loop").symlink_to("loop")
    (folder / "evil").symlink_to("..")
    (folder / ".git" / "config").write_text("secret: [\n")
    catalogues = {
        "out": "../secret.yaml",
        "out-by-link": "link.yaml",
        "absolute": "/etc/passwd",
        "itself": "itself.site.yaml",
        "folder": "named.site.yaml",
        "gits-own": ".git/config",
        "circle-and-out": "loop/../evil/secret.yaml",
        "long": "x" * 5000,
        "catalogue-pipe": "equipment.yaml",
    }
    for name, path in catalogues.items():
        (folder / f"{name}.site.yaml").write_text(with_catalogue(path))
    (folder / "good.site.yaml").write_text(GOOD)
    (folder / "named.site.yaml").mkdir()
    (folder / "named.site.yaml" / "inner.site.yaml").write_text(GOOD)
    (folder / "a\n::error::b\x1b[2J\u202e.site.yaml").write_text("x: [")
    (folder / os.fsdecode(b"\xff\xfe.site.yaml")).write_text(GOOD)
    deep = folder
    for _ in range(40):
        deep = deep / ("d" * 20)
        deep.mkdir()
    (deep / "deep.site.yaml").write_text(GOOD)
    done = meshlint(folder, "check", "--format", "json", "--no-cache")
    bound.close()
    os.close(here)
    assert done.returncode == 2, done.stderr[-300:]
    assert b"secret" not in done.stdout.replace(b"secret.yaml", b"")
    assert b"\x1b" not in done.stdout
    return files_of(done.stdout)


@pytest.mark.parametrize(("name", "words"), KINDS, ids=[row[0] for row in KINDS])
def test_what_is_no_file_or_leads_away_is_told_and_nothing_hangs(told, name, words):
    (problem, *_) = told[f"{name}.site.yaml"]["problems"]
    assert words in problem["message"]


def test_what_is_sound_beside_it_is_checked_all_the_same(told):
    assert told["good.site.yaml"]["problems"] == []
    assert told["named.site.yaml/inner.site.yaml"]["problems"] == []
    assert any(path.endswith("deep.site.yaml") for path in told)


def test_a_name_that_is_not_utf8_is_refused_and_not_guessed(told):
    (entry,) = [entry for path, entry in told.items() if "udcff" in path]
    assert "not UTF-8" in entry["problems"][0]["message"]


def test_what_may_not_be_read_is_told_be_it_file_or_folder(tmp_path, monkeypatch):
    tmp_path.chmod(0o755)
    (tmp_path / "shut").mkdir(mode=0o000)
    (tmp_path / "shut.site.yaml").write_text(GOOD)
    (tmp_path / "shut.site.yaml").chmod(0o000)
    monkeypatch.chdir(tmp_path)
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)  # root may read everything
    try:
        with pytest.raises(InputError, match="may not be read"):
            files.read_bytes(Path("shut.site.yaml"), "shut.site.yaml")
        assert site_files(["."]) == ("shut", "shut.site.yaml")
        with pytest.raises(InputError, match="the folder may not be read"):
            files.read_bytes(Path("shut"), "shut")
    finally:
        os.seteuid(before)


def test_one_folder_that_may_not_be_read_stops_no_other(files_of, tmp_path):
    (tmp_path / "shut").mkdir()
    (tmp_path / "a.site.yaml").write_text(GOOD)
    (tmp_path / "shut" / "b.site.yaml").write_text(GOOD)
    program = (
        "import os, sys\n"
        "real = os.scandir\n"
        "def scandir(path):\n"
        "    if str(path).endswith('shut'):\n"
        "        raise PermissionError(13, 'Permission denied')\n"
        "    return real(path)\n"
        "os.scandir = scandir\n"  # root may read every folder
        "from meshlint.cli import main\n"
        "sys.argv = ['meshlint', 'check', '--no-cache', '--format', 'json']\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=tmp_path, capture_output=True, check=False
    )
    assert done.returncode == 2, done.stderr
    found = files_of(done.stdout)
    assert found["a.site.yaml"]["problems"] == []
    assert len(found["shut"]["problems"]) == 1


def test_patterns_of_many_stars_do_not_hold_the_search_up(meshlint, tmp_path):
    (tmp_path / ".git").mkdir()
    (tmp_path / ".gitignore").write_text("*a" * 30 + "*b.site.yaml\n" + "**/x" * 20 + "\n")
    for position in range(5):
        (tmp_path / f"{position}{'a' * 200}.site.yaml").write_text(GOOD)
    assert meshlint(tmp_path, "check", "--no-cache").returncode == 0


def test_a_pipe_in_place_of_a_file_of_ignored_names_is_passed_over(meshlint, tmp_path):
    os.mkfifo(tmp_path / ".gitignore")
    (tmp_path / "a.site.yaml").write_text(GOOD)
    assert meshlint(tmp_path, "check", "--no-cache").returncode == 0


def test_a_file_that_is_written_to_while_it_is_read_is_not_trusted(tmp_path, monkeypatch):
    path = tmp_path / "a.site.yaml"
    path.write_text(GOOD)
    read = os.read

    def read_and_changed(handle, size):
        path.write_text(GOOD + "# more\n")
        return read(handle, size)

    monkeypatch.setattr(files.os, "read", read_and_changed)
    with pytest.raises(InputError, match="while it was read"):
        files.read_bytes(path, str(path))


def test_a_policy_that_is_a_link_out_of_the_repository_is_refused_unread(meshlint, tmp_path):
    (tmp_path / "elsewhere.yaml").write_text("meshlint: 1\nsecret words: here\n")
    folder = tmp_path / "repository"
    (folder / "branches").mkdir(parents=True)
    (folder / ".git").mkdir()
    (folder / "meshlint.yaml").symlink_to("../elsewhere.yaml")
    (folder / "branches" / "a.site.yaml").write_text(GOOD)
    for words in (["check", "--no-cache"], ["policy", "branches/a.site.yaml"]):
        done = meshlint(folder, *words)
        assert done.returncode == 2, done.stderr
        told = done.stdout + done.stderr
        assert b"leads out of the repository" in told
        assert b"secret" not in told


POLICIES = {
    "pipe": (os.mkfifo, "found a pipe"),
    "folder": (os.mkdir, "found a folder"),
    "dangling link": (lambda path: path.symlink_to("gone"), "there is no such file"),
    "link in a circle": (lambda path: path.symlink_to(path.name), "leads in a circle"),
    "endless device": (lambda path: path.symlink_to("/dev/zero"), "leads out of the repository"),
    "link into .git": (lambda path: path.symlink_to(".git/config"), "leads into .git"),
}


@pytest.mark.parametrize("kind", POLICIES)
def test_a_policy_that_is_no_file_is_an_error_and_no_policy_passed_over(meshlint, tmp_path, kind):
    """Without it, findings that the policy makes fail would pass."""
    make, words = POLICIES[kind]
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "config").write_text("meshlint: 1\n")
    (tmp_path / "a.site.yaml").write_text(GOOD)
    make(tmp_path / "meshlint.yaml")
    for more in ([], ["--no-cache"], ["--format", "sarif"]):
        done = meshlint(tmp_path, "check", *more)
        assert done.returncode == 2, done.stderr
        assert words in done.stdout.decode()
        assert b"meshlint.yaml" in done.stdout


@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero")])
@pytest.mark.parametrize("name", ["meshlint-accepted.yaml", "cards/own.yaml", "equipment.yaml"])
def test_what_a_cached_run_digests_is_read_within_the_same_bounds(meshlint, tmp_path, name, make):
    """A pipe held the run up for good, and an endless device took all the memory there is."""
    (tmp_path / ".git").mkdir()
    (tmp_path / "cards").mkdir()
    (tmp_path / "meshlint.yaml").write_text("meshlint: 1\ncards: [{folder: cards, name: own}]\n")
    (tmp_path / "equipment.yaml").write_text("meshlint: 1\nmodels: {}\n")
    (tmp_path / "a.site.yaml").write_text(with_catalogue("equipment.yaml"))
    assert meshlint(tmp_path, "check").returncode == 0
    (tmp_path / name).unlink(missing_ok=True)
    make(tmp_path / name)
    done = meshlint(tmp_path, "check")
    assert done.returncode == 2, done.stderr
    assert b"found a pipe" in done.stdout or b"leads out" in done.stdout


def test_a_pyyaml_without_libyaml_is_told_in_one_line(meshlint, tmp_path):
    (tmp_path / "a.site.yaml").write_text(GOOD)
    (tmp_path / "yaml").mkdir()
    import yaml

    # PyYAML's own files, as a build without libyaml has them: it finds no yaml._yaml.
    for module in Path(yaml.__file__).parent.glob("*.py"):
        (tmp_path / "yaml" / module.name).write_bytes(module.read_bytes())
    path = os.pathsep.join([str(tmp_path), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = meshlint(tmp_path, "check", "a.site.yaml", "--no-cache", env={"PYTHONPATH": path})
    told = (done.stdout + done.stderr).decode()
    assert done.returncode == 3
    assert "built without libyaml; install a wheel of it" in told
    assert "Traceback" not in told


def test_a_fault_while_reading_is_told_as_the_files(tmp_path, monkeypatch):
    def broken(*_):
        raise OSError(5, "Input/output error")

    (tmp_path / "a").write_text(GOOD)
    monkeypatch.setattr(files.os, "read", broken)
    with pytest.raises(InputError, match="Input/output error"):
        files.read_bytes(tmp_path / "a", "a")

"""Where a report may go: streams are written to, files replaced, what is read is never lost.

`/dev/stdout` itself is never written to here: were it replaced once more, the machine would lose
it. `/dev/fd` stands in a file system that takes no files.
"""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from meshlint import output

SITE = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"
FILES = {
    "a.site.yaml": f"{SITE}catalogue: equipment.yaml\n",
    "b.site.yaml": SITE,
    "equipment.yaml": "{meshlint: 1, models: {}}\n",
    "meshlint.yaml": "meshlint: 1\ncards: [{folder: cards, name: own}]\naccepted: list.txt\n",
    "list.txt": "meshlint: 1\nsites: {}\n",
    "cards/hop-depth.yaml": (Path(__file__).parents[2] / "rules" / "hop-depth.yaml").read_text(),
    "odd.txt": "no site: [\n",
    ".git/config": "",
}


@pytest.fixture
def here(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    return tmp_path


def shell(folder, command):
    """Run a command of bash in which `meshlint` is the program."""
    command = command.replace("meshlint", f"{sys.executable} -m meshlint")
    return subprocess.run(
        ["bash", "-c", command], cwd=folder, capture_output=True, check=False, timeout=60
    )


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("option", ["--output={}", "--format=json={}"])
def test_nothing_that_a_run_reads_is_a_place_for_a_report(meshlint, here, name, option):
    done = meshlint(here, "check", "a.site.yaml", "odd.txt", "--no-cache", option.format(name))
    assert done.returncode == 2
    assert done.stderr.startswith(f"meshlint: {name}: ".encode())
    assert done.stdout == b""
    assert (here / name).read_text() == FILES[name]


@pytest.mark.parametrize("words", [("check",), ("fleet",), ("compare", "b.site.yaml")])
def test_a_pattern_that_the_shell_fills_in_costs_no_site(here, words):
    done = shell(here, f"meshlint {' '.join(words)} --output *.site.yaml")
    assert done.returncode == 2
    assert {name: (here / name).read_text() for name in FILES} == FILES


def test_a_link_or_another_name_for_what_is_read_protects_it_too(meshlint, here):
    (here / "link.txt").symlink_to("equipment.yaml")
    os.link(here / "odd.txt", here / "other.txt")
    for name in ("link.txt", "other.txt"):
        done = meshlint(here, "check", "odd.txt", "--no-cache", "--output", name)
        assert b"would take its place" in done.stderr
    assert (here / "equipment.yaml").read_text() == FILES["equipment.yaml"]
    assert (here / "odd.txt").read_text() == FILES["odd.txt"]


def test_a_report_may_be_written_again_and_keeps_its_mode_and_its_link(meshlint, here):
    (here / "report.json").write_text("old")
    (here / "report.json").chmod(0o640)
    (here / "latest").symlink_to("report.json")
    for name in ("latest", "report.json"):
        done = meshlint(here, "check", "--no-cache", "--format", f"json={name}")
        assert done.returncode == 0, done.stderr
    assert (here / "latest").is_symlink()
    assert (here / "report.json").read_text().startswith("{")
    assert stat.S_IMODE((here / "report.json").stat().st_mode) == 0o640


def test_a_file_that_may_not_be_written_to_is_not_replaced_either(meshlint, here):
    (here / "report.txt").write_text("old")
    (here / "report.txt").chmod(0o444)
    done = meshlint(here, "check", "--no-cache", "--output", "report.txt")
    assert done.returncode == 2
    assert b"may not be written to" in done.stderr
    assert (here / "report.txt").read_text() == "old"


@pytest.mark.parametrize(
    ("target", "words"),
    [("../victim", b"leads out of the repository"), ("link", b"leads in a circle"),
     (".git/config", b"leads into .git")],
)  # fmt: skip
def test_a_link_of_the_repository_leads_no_report_elsewhere(meshlint, here, target, words):
    """Whoever may propose a change may put a link where a build server writes its report."""
    top = here / "in"
    (top / ".git").mkdir(parents=True)
    (top / "a.site.yaml").write_text(SITE)
    (here / "victim").write_text("old")
    (top / "link").symlink_to(target)
    done = meshlint(top, "check", "--no-cache", "--output", "link")
    assert done.returncode == 2
    assert words in done.stderr
    assert (here / "victim").read_text() == "old"


def test_a_device_is_written_to_and_stays_one(meshlint, here):
    """A null device of its own: as root the old way took away that of the whole machine."""
    try:
        os.mknod(here / "null", stat.S_IFCHR | 0o666, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("no device may be made here")
    done = meshlint(here, "check", "--no-cache", "--output", "null")
    assert done.returncode == 0, done.stderr
    assert stat.S_ISCHR((here / "null").lstat().st_mode)


def test_a_pipe_is_written_to_and_stays_one(here):
    os.mkfifo(here / "pipe")
    done = shell(here, "cat pipe > got & meshlint check --no-cache --output pipe; wait")
    assert done.returncode == 0, done.stderr
    assert stat.S_ISFIFO((here / "pipe").lstat().st_mode)
    assert b"2 sites checked" in (here / "got").read_bytes()


@pytest.mark.parametrize(
    ("command", "wanted"),
    [
        ("meshlint check --no-cache --output >(cat > got); for _ in 1 2 3 4 5 6 7 8 9; do "
         "grep -q checked got && break; sleep 0.2; done; cat got", "2 sites checked"),
("meshlint check --no-cache --output /dev/fd/1 | cat", "2 sites checked"),
        ("meshlint check --no-cache --output /dev/fd/2 2>&1 >/dev/null", "2 sites checked"),
        ("echo first > log; meshlint check --no-cache --output /dev/fd/1 >> log; cat log",
         "first"),
        ("echo first > log; meshlint check --no-cache --output /dev/fd/1 >> log; cat log",
         "2 sites checked"),
        ("meshlint check --no-cache --format text=/dev/fd/2 --format json 2>&1 >/dev/null",
         "2 sites checked"),
    ],
)  # fmt: skip
def test_what_stands_for_an_open_stream_is_written_to(here, command, wanted):
    done = shell(here, command)
    assert wanted in done.stdout.decode(), done.stderr


@pytest.mark.parametrize(("path", "own"), [("/dev/stdout", 1), ("/dev/stderr", 2), ("/dev/fd/1", 1),
                                           ("/proc/self/fd/2", 2), ("/dev/null", None),
                                           ("report.txt", None)])  # fmt: skip
def test_the_names_of_open_streams_are_known(path, own):
    assert output._own_descriptor(Path(path)) == own


@pytest.mark.parametrize(
    "formats",
    ["text=/dev/fd/1 --format json", "text=x --format json=./x", "text=x --format json=y"],
)
def test_two_reports_do_not_go_to_one_place_whatever_it_is_called(here, formats):
    (here / "x").write_text("")
    (here / "y").symlink_to("x")
    done = shell(here, f"meshlint check --no-cache --format {formats} | cat; exit $PIPESTATUS")
    assert done.returncode == 2
    assert b"two reports would go to" in done.stderr


def test_a_disk_that_fills_up_under_a_long_report_is_told_once_and_left_clean(meshlint, tmp_path):
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", small], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("no file system may be mounted here")
    try:
        for position in range(40):
            (tmp_path / f"{position}.site.yaml").write_text(SITE)
        done = meshlint(tmp_path, "check", "--no-cache", "--format", "json=small/report.json")
        assert done.returncode == 2
        told = b"meshlint: small/report.json cannot be written: No space left on device\n"
        assert done.stderr == told
        assert list(small.iterdir()) == []
    finally:
        subprocess.run(["umount", small], check=True)


def test_a_name_as_long_as_a_file_system_takes_will_do(meshlint, here):
    done = meshlint(here, "check", "--no-cache", "--output", "x" * 255)
    assert done.returncode == 0, done.stderr
    assert "2 sites checked" in (here / ("x" * 255)).read_text()

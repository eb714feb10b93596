"""What is no user's mistake: one short line, the file concerned, exit 3, and no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

BROKEN = """\
import meshlint.run
def fault(*_):
    raise ZeroDivisionError("a fault")
meshlint.run.check_site = fault
from meshlint.cli import main
import sys
sys.argv = ["meshlint", "check", "a.site.yaml"]
main()
"""

SITE = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"


def broken_run(folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    (folder / "a.site.yaml").write_text(SITE)
    return subprocess.run(
        [sys.executable, "-c", BROKEN],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_fault_of_the_program_is_one_line_with_the_file(tmp_path: Path) -> None:
    done = broken_run(tmp_path)
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert "while working on a.site.yaml" in done.stderr
    assert "MESHLINT_TRACE=1" in done.stderr


def test_the_trace_is_there_for_whoever_asks(tmp_path: Path) -> None:
    assert "Traceback" in broken_run(tmp_path, MESHLINT_TRACE="1").stderr


def test_a_reader_that_goes_away_leaves_no_complaint(tmp_path: Path) -> None:
    (tmp_path / "a.site.yaml").write_text(SITE)
    done = subprocess.run(
        f"{sys.executable} -m meshlint workings a.site.yaml | head -1",
        shell=True,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""


def test_a_link_in_a_circle_is_told_in_every_format_by_whatever_name(tmp_path: Path) -> None:
    (tmp_path / "a.site.yaml").symlink_to("a.site.yaml")
    for form in ("text", "json", "sarif", "junit", "markdown"):
        done = subprocess.run(
            [sys.executable, "-m", "meshlint", "check", "--format", form, tmp_path / "a.site.yaml"],
            cwd=tmp_path.parent,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2, done.stderr
        assert "leads in a circle" in done.stdout


NOBODY = """\
import pwd
def nobody(_):
    raise KeyError
pwd.getpwuid = nobody
from meshlint.cli import main
import sys
sys.argv = ["meshlint", "check", "a.site.yaml"]
main()
"""


def test_a_user_without_home_and_entry_checks_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "a.site.yaml").write_text(SITE)
    left_out = ("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MESHLINT_CACHE_DIR")
    left_out += ("MESHLINT_CACHE_KEY",)
    done = subprocess.run(
        [sys.executable, "-c", NOBODY],
        cwd=tmp_path,
        env={k: v for k, v in os.environ.items() if k not in left_out},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert [path.name for path in tmp_path.iterdir()] == ["a.site.yaml"]


def test_a_damaged_cache_that_nobody_may_remove_costs_time_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from meshlint.fleet.cache import Cache

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    (tmp_path / "results.sqlite").write_bytes(b"no database at all")
    monkeypatch.setattr(Path, "unlink", refused)
    kept = Cache(tmp_path, bytes(32))
    kept.put(b"key", b"entry")
    kept.close()
    assert kept.get(b"key") is None


@pytest.mark.skipif(sys.platform != "linux", reason="limits of memory are heeded there")
@pytest.mark.parametrize("mebibytes", [60, 80, 100, 110, 120, 130, 140, 150, 160, 180])
def test_too_little_memory_for_numpy_is_no_finding(mebibytes: int) -> None:
    """Its linear algebra ends the process with 1 where it gets no memory."""
    sample = Path(__file__).parents[2] / "samples" / "branches" / "harrowmere.site.yaml"
    program = (
        "import resource, sys\nfrom meshlint.cli import main\n"
        f"resource.setrlimit(resource.RLIMIT_AS, ({mebibytes << 20},) * 2)\n"
        f"sys.argv = ['meshlint', 'check', '--no-cache', {str(sample)!r}]\nmain()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert done.returncode in (0, 3), done.stderr
    assert done.returncode == 0 or "MemoryError" in done.stdout + done.stderr

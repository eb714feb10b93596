"""What is no user's mistake: one short line, the file concerned, exit 3, and no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

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

"""What people see who run the program by hand: colours and widths on a real terminal."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

EVERYTHING = """\
meshlint: 1
site: {name: Brook School, country: GB}
primary: office
internet_lines: {main: {down_mbps: 20, up_mbps: 2}}
units: {office: {routing_mbps: 900}, hall: {}, attic: {}, shed: {}}
backhaul:
  hall: {from: hall, to: office, over: cable, measured_mbps: 900, path: outdoors, category: 6}
  attic: {from: attic, to: office, over: powerline, measured_mbps: 900}
clients:
  desks: {count: 4, wired_to: office, down_mbps: 5, up_mbps: 2}
networks: {guests: {akm: open, pmf: disabled}}
waivers:
  - {rule: line-carries-demand, subject: site, because: Ordered, approved_by: E. Thwaite,
     until: 2026-12-01}
"""
PAINTED = re.compile(r"\x1b\[[0-9;]*m")


def on_a_terminal(folder: Path, *words: str, **more: str) -> tuple[int, str]:
    """Return the exit status and what is shown on a terminal of 80 columns.

    Standard error is none: on a busy machine it would show the progress bar.
    """
    theirs, ours = os.openpty()
    environment = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TERM")}
    environment |= {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "50", **more}
    child = subprocess.Popen(
        [sys.executable, "-m", "meshlint", *words],
        cwd=folder, env=environment, stdin=ours, stdout=ours, stderr=subprocess.PIPE,
    )  # fmt: skip
    os.close(ours)
    shown = b""
    while True:
        try:
            piece = os.read(theirs, 65536)
        except OSError:  # how Linux says that the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(theirs)
    _, said = child.communicate(timeout=30)
    assert b"fault" not in said
    return child.returncode, shown.decode().replace("\r\n", "\n")


@pytest.fixture
def here(tmp_path: Path) -> Path:
    (tmp_path / ".git").mkdir()
    (tmp_path / "a.site.yaml").write_text(EVERYTHING)
    (tmp_path / "b.site.yaml").write_text("meshlint: [\n")
    (tmp_path / "c.site.yaml").write_text(EVERYTHING.replace("attic", "loft"))
    return tmp_path


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("check", "--today", "2026-11-25"), 2),
        (("check", "a.site.yaml", "--today", "2026-11-25"), 1),
        (("fleet", "a.site.yaml", "c.site.yaml"), 0),
        (("compare", "a.site.yaml", "c.site.yaml"), 0),
        (("channels", "GB"), 0),
        (("channels", "US", "--band", "6"), 0),
        (("explain", "hop-depth"), 0),
        (("rules",), 0),
        (("workings", "a.site.yaml"), 0),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_every_command_can_be_shown_in_colour(
    here: Path, words: tuple[str, ...], status: int
) -> None:
    found, shown = on_a_terminal(here, *words)
    assert shown
    assert found == status


def test_a_check_paints_every_kind_of_finding_and_keeps_its_words(here: Path) -> None:
    words = ("check", "a.site.yaml", "--today", "2026-11-25", "--no-cache")
    _, shown = on_a_terminal(here, *words)
    for severity in ("error", "warning", "caution"):
        assert re.search(rf"\x1b\[[0-9;]+m(\x1b\[[0-9;]+m)*{severity}\x1b\[0m, ", shown)
    bare = PAINTED.sub("", shown)
    assert "\x1b" not in bare
    assert max(map(len, bare.splitlines())) <= 80
    for plain in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        assert on_a_terminal(here, *words, **plain)[1] == bare

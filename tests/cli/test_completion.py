"""Completion as people have it: the README's line in a shell on a terminal, and a press of Tab.

bash, zsh and fish are run for real; a machine without zsh or fish skips those and says so. The
program is also asked in click's own words for each (its page "Shell Completion"), where `file`
leaves it to the shell.
"""

from __future__ import annotations

import os
import re
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SITE = "meshlint: 1\nsite: {name: A}\nprimary: desk\nunits: {desk: {}, loft: {}}\n"


def asked(shell: str, folder: Path, *words: str) -> list[str]:
    """Return what the program offers for the last of the words, as one shell asks."""
    environment = {
        **os.environ,
        "_MESHLINT_COMPLETE": f"{shell}_complete",
        "COMP_WORDS": " ".join(("meshlint", *words)) if shell != "fish" else " ".join(words[:-1]),
        "COMP_CWORD": str(len(words)) if shell != "fish" else words[-1],
    }
    if shell == "fish":
        environment["COMP_WORDS"] = " ".join(("meshlint", *words[:-1]))
    done = subprocess.run(
        [sys.executable, "-m", "meshlint"],
        cwd=folder, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.split("\n")


@pytest.fixture
def here(tmp_path: Path) -> Path:
    (tmp_path / "north.site.yaml").write_text(SITE)
    return tmp_path


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
@pytest.mark.parametrize(
    "words",
    [("check", "nor"), ("fleet", "nor"), ("compare", "nor"), ("workings", "nor"), ("policy", "nor"),
     ("accept", "nor"), ("siblings", "nor"), ("new", "nor"), ("check", "--output", "nor"),
     ("check", "--stdin-filename", "nor")],
    ids=" ".join,
)  # fmt: skip
def test_paths_are_left_to_the_shell(shell: str, words: tuple[str, ...], here: Path) -> None:
    assert asked(shell, here, *words)[0].startswith("file")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("che",), ["check"]),
        (("explain", "hop-d"), ["hop-depth"]),
        (("check", "--rule", "no-g"), ["no-gaps"]),
        (("check", "--skip", "no-g"), ["no-gaps"]),
        (("check", "--format", "git"), ["github", "gitlab"]),
        (("channels", "g"), ["GA", "GB"]),
        (("new", "--country", "G"), ["GA", "GB"]),
        (("workings", "north.site.yaml", "--subject", "units/"), ["units/desk", "units/loft"]),
        (("what-if", "north.site.yaml", "--without", "de"), ["desk"]),
        (("schema", "po"), ["policy"]),
        (("check", "--color", "n"), ["never"]),
    ],
    ids=" ".join,
)
def test_words_are_offered(
    shell: str, words: tuple[str, ...], offered: list[str], here: Path
) -> None:
    told = asked(shell, here, *words)
    for word in offered:
        assert any(re.search(rf"(^|,){word}(\t|$)", line) for line in told), told


@pytest.fixture
def scripts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a `meshlint` that is this one."""
    folder = tmp_path_factory.mktemp("bin")
    program = folder / "meshlint"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m meshlint "$@"\n')
    program.chmod(0o755)
    return folder


SHELLS = {
    "bash": ("--norc", "--noprofile", "-i"),
    "zsh": ("-f", "-i"),
    "fish": ("--no-config", "-i"),
}
READY = "ready to type"
# fish wants to be the one that the terminal controls.
LOG_IN = "import os, sys; os.login_tty(0); os.execv(sys.argv[1], sys.argv[1:])"


def typed(shell: str, folder: Path, scripts: Path, keys: str, until: str) -> str:
    """Return what a shell shows on a terminal after the README's line and some keys."""
    program = shutil.which(shell)
    if program is None and shell != "bash":
        pytest.skip(f"{shell} is not on this machine; .ci/run installs it where it may")
    assert program, "bash is what CI itself runs in"
    (line,) = re.findall(r"`(eval \"\$\(_MESHLINT_COMPLETE=bash_source meshlint\)\")`", README)
    theirs, ours = os.openpty()
    child = subprocess.Popen(
        [sys.executable, "-c", LOG_IN, program, *SHELLS[shell]],
        cwd=folder, stdin=ours, stdout=ours, stderr=ours,
        env={**os.environ, "PATH": f"{scripts}:{os.environ['PATH']}", "TERM": "dumb", "PS1": "> ",
             "COLUMNS": "200", "HOME": str(folder), "XDG_CONFIG_HOME": str(folder / "config"),
             "XDG_DATA_HOME": str(folder / "data")},
    )  # fmt: skip
    os.close(ours)
    try:
        # zsh completes nothing before this, which everybody's .zshrc has.
        start = "autoload -U compinit && compinit -u -D; " if shell == "zsh" else ""
        line = line.replace("bash_source", f"{shell}_source")
        # In two halves, so that the echo of the keys is not taken for the answer.
        os.write(theirs, f"{start}{line}; printf '%s %s\\n' 'ready to' type\n".encode())
        assert READY in _read(theirs, READY)
        os.write(theirs, keys.encode())
        return _read(theirs, until)
    finally:
        child.kill()
        child.wait()
        os.close(theirs)


def _read(terminal: int, until: str) -> str:
    shown, last = "", time.monotonic() + 30
    while until not in shown and time.monotonic() < last:
        if select.select([terminal], [], [], 0.2)[0]:
            shown += os.read(terminal, 65536).decode(errors="replace")
    return shown


@pytest.mark.parametrize(
    ("keys", "becomes"),
    [
        ("meshlint check nor\t", "meshlint check north.site.yaml"),
        ("meshlint explain hop-d\t", "meshlint explain hop-depth"),
        ("meshlint channels gb\t", "GB"),
        ("meshlint check --rule no-g\t", "meshlint check --rule no-gaps"),
    ],
)
@pytest.mark.parametrize("shell", SHELLS)
def test_a_press_of_tab(here: Path, scripts: Path, shell: str, keys: str, becomes: str) -> None:
    shown = typed(shell, here, scripts, keys, becomes)
    assert becomes in shown, shown

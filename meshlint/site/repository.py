"""Questions to git about the repository that a folder lies in.

git is asked with fixed words, without a shell, within a bounded time, and with everything switched
off that a repository could have it run or fetch. No question put through here may read the work
tree through git: the filters that a repository's settings name would run. Nothing is written.
"""

from __future__ import annotations

import os
import subprocess
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from pathlib import Path

_QUIET = (
    *("--no-pager", "-c", "core.fsmonitor=false", "-c", "core.hooksPath=/dev/null"),
    *("-c", "protocol.allow=never"),
)
_LONGEST_S = 30


class NoAnswer(Exception):  # noqa: N818 - it is told to the user as it is
    """git could not be asked, or took too long."""


class Answer(Struct, frozen=True):
    """What git said."""

    status: int
    out: bytes
    complaint: bytes

    def reason(self, otherwise: str) -> str:
        """Return the first line of the complaint, or other words where there is none."""
        said = self.complaint.decode(errors="replace").strip().splitlines()
        return said[0] if said else otherwise


def ask(folder: Path, *words: str, index: str = "") -> Answer:
    """Put a question to git about the repository of a folder; raises `NoAnswer`.

    `index` is a file with what is staged, where that is another than the repository's own.
    """
    # Where the folder lies decides which repository is meant, not what a hook left in the
    # environment.
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GIT_")}
    environment |= {"GIT_NO_LAZY_FETCH": "1", "GIT_TERMINAL_PROMPT": "0"}
    environment |= {"GIT_OPTIONAL_LOCKS": "0"}
    if index:
        environment["GIT_INDEX_FILE"] = os.path.abspath(index)  # noqa: PTH100 - as git has it
    try:
        done = subprocess.run(  # noqa: S603 - fixed words, and a revision that is no option
            ["git", *_QUIET, "-C", str(folder), *words],  # noqa: S607 - the user's own git
            capture_output=True,
            check=False,
            env=environment,
            stdin=subprocess.DEVNULL,
            timeout=_LONGEST_S,
        )
    except OSError as error:
        raise NoAnswer(f"git cannot be run: {error.strerror}") from error
    except subprocess.TimeoutExpired as error:
        raise NoAnswer(f"git gave no answer within {_LONGEST_S} s") from error
    return Answer(done.returncode, done.stdout, done.stderr)


def is_plain(revision: str) -> bool:
    """Return whether a revision can be no option to git, and can be shown."""
    return not revision.startswith("-") and revision.isprintable()

"""Files as they were at a revision of the repository that holds them.

git is asked with fixed words, without a shell, and with everything switched off that a repository
could have it run or fetch; nothing is written.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

from meshlint.site.limits import LIMITS
from meshlint.site.problem import InputError, Place

_QUIET = (
    *("--no-pager", "-c", "core.fsmonitor=false", "-c", "core.hooksPath=/dev/null"),
    *("-c", "protocol.allow=never"),
)
_LONGEST_S = 30


class Revision:
    """One commit of the repository that a file lies in."""

    def __init__(self, path: Path, name: str) -> None:
        """Find the commit; raises `InputError` at the file where there is none of that name."""
        self.name = name
        self._shown = str(path)
        self._folder = path.resolve().parent
        if name.startswith("-") or not name.isprintable():
            raise self._error(f"'{name}' is no revision")
        self._top = Path(self._said("rev-parse", "--show-toplevel"))
        wanted = f"{name}^{{commit}}"
        self._commit = self._said("rev-parse", "--verify", "--quiet", "--end-of-options", wanted)

    def read(self, path: Path, shown: str) -> bytes:
        """Return a file's bytes as they were, under the bound for files on disk."""
        try:
            inside = path.resolve().relative_to(self._top.resolve()).as_posix()
        except ValueError as error:
            message = "lies outside the repository"
            raise InputError.at(Place(shown), message) from error
        blob = f"{self._commit}:{inside}"
        if self._git("cat-file", "-t", blob)[1].strip() != b"blob":
            raise InputError.at(Place(shown), f"there was no such file at {self.name}")
        size = int(self._git("cat-file", "-s", blob)[1])
        if size > LIMITS.bytes:
            message = f"the file held {size} bytes at {self.name}; at most {LIMITS.bytes} are read"
            raise InputError.at(Place(shown), message)
        return self._git("cat-file", "blob", blob)[1]

    def _said(self, *words: str) -> str:
        status, out, complaint = self._git(*words)
        if status:
            said = complaint.decode(errors="replace").strip().splitlines()
            reason = said[0] if said else f"there is no revision '{self.name}'"
            raise self._error(f"git cannot tell: {reason}")
        return os.fsdecode(out).rstrip("\n")

    def _error(self, message: str) -> InputError:
        return InputError.at(Place(self._shown), message)

    def _git(self, *words: str) -> tuple[int, bytes, bytes]:
        # Where the file lies decides which repository is meant, not what a hook left in the
        # environment.
        environment = {k: v for k, v in os.environ.items() if not k.startswith("GIT_")}
        environment |= {"GIT_NO_LAZY_FETCH": "1", "GIT_TERMINAL_PROMPT": "0"}
        environment |= {"GIT_OPTIONAL_LOCKS": "0"}
        try:
            done = subprocess.run(  # noqa: S603 - fixed words, and a revision that is no option
                ["git", *_QUIET, "-C", str(self._folder), *words],  # noqa: S607 - the user's git
                capture_output=True,
                check=False,
                env=environment,
                stdin=subprocess.DEVNULL,
                timeout=_LONGEST_S,
            )
        except OSError as error:
            raise self._error(f"git cannot be run: {error.strerror}") from error
        except subprocess.TimeoutExpired as error:
            raise self._error(f"git gave no answer within {_LONGEST_S} s") from error
        return done.returncode, done.stdout, done.stderr

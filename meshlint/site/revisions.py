"""Files as they were at a revision of the repository that holds them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.site.files import followed
from meshlint.site.limits import MOST
from meshlint.site.problem import InputError, Place
from meshlint.site.repository import NoAnswer, ask, is_plain

if TYPE_CHECKING:
    from meshlint.site.repository import Answer


class Revision:
    """One commit of the repository that a file lies in."""

    def __init__(self, path: Path, name: str) -> None:
        """Find the commit; raises `InputError` at the file where there is none of that name."""
        self.name = name
        self._shown = str(path)
        self._folder = followed(path).parent
        if not is_plain(name):
            raise self._error(f"'{name}' is no revision")
        self._top = Path(self._said("rev-parse", "--show-toplevel"))
        wanted = f"{name}^{{commit}}"
        self._commit = self._said("rev-parse", "--verify", "--quiet", "--end-of-options", wanted)

    def read(self, path: Path, shown: str) -> bytes:
        """Return a file's bytes as they were, under the bound for files on disk."""
        try:
            inside = followed(path).relative_to(followed(self._top)).as_posix()
        except ValueError as error:
            message = "lies outside the repository"
            raise InputError.at(Place(shown), message) from error
        blob = f"{self._commit}:{inside}"
        if self._git("cat-file", "-t", blob).out.strip() != b"blob":
            raise InputError.at(Place(shown), f"there was no such file at {self.name}")
        size = int(self._git("cat-file", "-s", blob).out)
        if size > MOST.bytes:
            message = f"the file held {size} bytes at {self.name}; at most {MOST.bytes} are read"
            raise InputError.at(Place(shown), message)
        return self._git("cat-file", "blob", blob).out

    def _said(self, *words: str) -> str:
        answer = self._git(*words)
        if answer.status:
            reason = answer.reason(f"there is no revision '{self.name}'")
            raise self._error(f"git cannot tell: {reason}")
        return os.fsdecode(answer.out).rstrip("\n")

    def _error(self, message: str) -> InputError:
        return InputError.at(Place(self._shown), message)

    def _git(self, *words: str) -> Answer:
        try:
            return ask(self._folder, *words)
        except NoAnswer as error:
            raise self._error(str(error)) from error

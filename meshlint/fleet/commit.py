"""Which sites a commit touches, asked from the hook that git runs before it.

A list of changed files does not tell: a catalogue that was renamed is on none, and what it broke
are files that nobody changed.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.fleet.changed import NotKnown, touched_since
from meshlint.site.repository import NoAnswer, ask

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.repository import Answer

FROM = "PRE_COMMIT_FROM_REF"
"""Where pre-commit says what to compare with: before a push, or given as `--from-ref`."""


def touched_by_commit(files: Iterable[str]) -> tuple[str, ...]:
    """Return those of the site files that the commit to be holds and touches.

    All that git knows are touched where there is no commit yet, and where nothing is staged, as
    when pre-commit is run over all files. Raises `NotKnown`.
    """
    known = _known_to_git()
    held = tuple(file for file in files if Path(os.path.abspath(file)) in known)  # noqa: PTH100 - a link has a name of its own in git
    start = os.environ.get(FROM, "")
    if start.strip("0"):  # git's name for nothing, before the first push of a branch, is all zeros
        return touched_since(start, held)
    if _asked("rev-parse", "--verify", "--quiet", "HEAD^{commit}").status:
        return held
    # Only the index is compared with the commit, so that no filter of the repository runs.
    staged = _asked("diff-index", "--cached", "--quiet", "HEAD", "--")
    if staged.status not in (0, 1):
        raise NotKnown(f"git cannot tell what is staged: {staged.reason('it gave no reason')}")
    return touched_since("HEAD", held) if staged.status else held


def _known_to_git() -> frozenset[Path]:
    top = _asked("rev-parse", "--show-toplevel")
    listed = _asked("ls-files", "--cached", "--full-name", "-z", ":/")
    for answer in (top, listed):
        if answer.status:
            raise NotKnown(f"git cannot tell what it knows: {answer.reason('it gave no reason')}")
    folder = Path(os.fsdecode(top.out).removesuffix("\n"))
    return frozenset(folder / name for name in os.fsdecode(listed.out).split("\0")[:-1])


def _asked(*words: str) -> Answer:
    try:
        # `git commit -a` and `git commit FILE` have an index of their own, which git names so.
        return ask(Path(), *words, index=os.environ.get("GIT_INDEX_FILE", ""))
    except NoAnswer as error:
        raise NotKnown(str(error)) from error

"""Patterns of names as git writes them, matched in a time that grows with the name alone.

`pathspec` makes a regular expression of each, and one with several stars in it may try every way of
sharing a name out among them. A star never needs more than the nearest place where what follows it
fits, unless nothing but the end follows, so what has been found there is not tried again.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pathspec import GitIgnoreSpec

LONGEST = 1000
"""Characters of a pattern; no name that git keeps is found by a longer one."""

# What `pathspec` writes for `*` in a part of a name, for `**/` before the first part, and for `/**`
# between parts; `?` is `[^/]` alone, and `[a-z]` stays.
_STAR = "[^/]*"
_LEADING, _INNER = "^(?:.+/)?", "(?:/.+)?"
# `[!a]` is no `/` for git, and would be one for `pathspec`.
_OTHERS = re.compile(r"(?<!\\)\[\^(?!/)(\]?)")
_STARS = re.compile(r"(?:\[\^/\]\*){2,}")
_UP_TO_NEXT_STAR = re.compile(
    r"\[\^/\]\*(?P<what>(?:\[\^/\](?!\*)|\\.|\[\^?\]?[^\]]*\](?!\*)|[^/\[\\(])+)(?=\[\^/\]\*)"
)


def patterns(lines: Iterable[str]) -> GitIgnoreSpec:
    """Return the patterns of lines; raise `ValueError` for one that is none."""
    from pathspec import GitIgnoreSpec
    from pathspec.patterns.gitignore.spec import GitIgnoreSpecPattern

    class Steady(GitIgnoreSpecPattern):
        """A pattern that never goes back further than it must."""

        @classmethod
        def pattern_to_regex(cls, pattern: str) -> tuple[str | None, bool | None]:  # type: ignore[override]
            regex, include = super().pattern_to_regex(pattern)
            return (steady(regex) if regex is not None else None), include

    return GitIgnoreSpec.from_lines(lines, Steady)


def steady(regex: str) -> str:
    """Return a regular expression of `pathspec` as one that takes the same names, in less time."""
    regex = _STARS.sub(_STAR, _OTHERS.sub(r"[^\1/", regex))
    regex = _UP_TO_NEXT_STAR.sub(r"(?>[^/]*?\g<what>)", regex)
    first, *middle = regex.split(_INNER)
    if not middle:
        return regex
    *middle, last = middle
    if first.startswith(_LEADING):
        first = "^(?:.+?/)??" + first.removeprefix(_LEADING)
    found = f"(?>{first}(?=/))" + "".join(f"(?>(?:/.+?)??{part}(?=/))" for part in middle)
    return found + _INNER + last

"""Patterns take the names that `pathspec` and git take, and no pattern holds the search up."""

from __future__ import annotations

import subprocess
import time
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pathspec import GitIgnoreSpec

from meshlint.lint.patterns import patterns

if TYPE_CHECKING:
    from pathlib import Path

# `[!a]` is left to git itself, below: for `pathspec` it may be a `/`.
PIECES = st.sampled_from(["a", "b", "*", "?", "[ab]", ".", "x", "\\*", "c", "(", "+", "[]a]"])
NAMES = st.one_of(st.just("**"), st.lists(PIECES, min_size=1, max_size=6).map("".join))
PATTERNS = st.builds(
    "{}{}{}{}".format,
    st.sampled_from(["", "", "!"]),
    st.sampled_from(["", "/"]),
    st.lists(NAMES, min_size=1, max_size=5).map("/".join),
    st.sampled_from(["", "/"]),
)
PATHS = st.builds(
    "{}{}".format,
    st.lists(st.text("abx.c*(]", min_size=1, max_size=5), min_size=1, max_size=6).map("/".join),
    st.sampled_from(["", "/"]),
)


@given(PATTERNS, st.lists(PATHS, min_size=1, max_size=8))
def test_a_pattern_takes_the_names_that_the_library_takes(pattern: str, paths: list[str]) -> None:
    try:
        other = GitIgnoreSpec.from_lines([pattern])
    except ValueError:
        return
    own = patterns([pattern])
    for path in paths:
        assert own.check_file(path).include == other.check_file(path).include


def test_a_pattern_takes_the_names_that_git_takes(tmp_path: Path) -> None:
    lines = ["*[!a]?.[!a]", "[!]b]x", "a*b*c", "**/d*/**/e", "p**q*r", "f/*/g"]
    paths = ["x/y.b", "xab.c", "zx", "bx", "a/x", "axbxc", "axc", "k/d1/m/n/e", "d/e", "pqr",
             "p1q2r", "f/1/g", "f/1/2/g", "x/y/.z", "b/x.a"]  # fmt: skip
    subprocess.run(["git", "init", "-q", tmp_path], check=True)
    for line in lines:
        (tmp_path / ".gitignore").write_text(f"{line}\n")
        said = subprocess.run(
            ["git", "-C", tmp_path, "check-ignore", "--no-index", *paths],
            capture_output=True,
            text=True,
            check=False,
        ).stdout.splitlines()
        assert [path for path in paths if patterns([line]).match_file(path)] == said, line


@pytest.mark.parametrize(
    ("pattern", "path"),
    [
        ("*a" * 60 + "*b", "a" * 255),
        ("*a*a*a*b", "a" * 255),
        ("**/a/" * 20 + "b", "a/" * 2000 + "c"),
        ("**/*a*a*b/" * 4 + "**/x", "/".join(["a" * 200] * 20)),
        ("?*" * 100 + "b", "a" * 255),
    ],
)
def test_no_pattern_takes_long_whatever_the_name(pattern: str, path: str) -> None:
    """The second took a tenth of a second, the others would never have ended."""
    spec = patterns([pattern])
    begun = time.process_time()
    for _ in range(20):
        assert not spec.match_file(path)
    assert (time.process_time() - begun) / 20 < 0.05

"""A text and its lines, counted as editors count them."""

from __future__ import annotations

import re
from array import array
from bisect import bisect_right
from functools import cached_property
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.site.problem import Place

if TYPE_CHECKING:
    from collections.abc import Iterator

_BREAK = re.compile(r"\r\n|\r|\n")
_COMMENT = re.compile(r"#([^\r\n]*)")


class Lines(Struct, frozen=True, dict=True):
    """A text and its lines as editors count them: broken by LF, CR LF or CR and nothing else."""

    text: str

    @cached_property
    def starts(self) -> array[int]:
        """The index at which each line begins."""
        starts = array("I", [0])
        starts.extend(found.end() for found in _BREAK.finditer(self.text))
        return starts

    def line_of(self, index: int) -> int:
        """Return the number of the line that holds an index of the text."""
        return bisect_right(self.starts, index)

    def place(self, path: str, index: int) -> Place:
        """Return the place of an index of the text, in a file to be shown under that path."""
        line = self.line_of(index)
        return Place(path, line, index - self.starts[line - 1] + 1)

    def comments(self) -> Iterator[tuple[int, str]]:
        """Yield (line, text) of all that follows a `#` which may begin a comment of YAML."""
        for found in _COMMENT.finditer(self.text):
            at = found.start()
            if at == 0 or self.text[at - 1].isspace():
                yield self.line_of(at), found[1]

    def text_of(self, line: int) -> str:
        """Return a line without its break; empty where there is no such line."""
        if not 1 <= line <= len(self.starts):
            return ""
        end = self.starts[line] if line < len(self.starts) else len(self.text)
        return self.text[self.starts[line - 1] : end].rstrip("\r\n")

"""Text of others made harmless for whatever shows it: a terminal, a build's log, an editor.

What cannot be seen is spelt out, and what a build server would take for a command to itself.
"""

from __future__ import annotations

import re
import unicodedata

# Controls, formats (bidirectional overrides, zero-width joiners), surrogates, private use, and
# the separators that some terminals break a line at.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})

# Build servers obey lines of a log that begin with `::word` (blanks before it do not count), and
# `##[word]`, `##vso[word]` and the like anywhere in a line (their manuals).
_COMMAND = re.compile(r"(?<!\S):(?=:)|#(?=#\w*\[)")


def visible(text: str) -> str:
    r"""Return the text with every character that is not seen as itself written as `\\u....`."""
    if not (text.isascii() and text.isprintable()):
        text = "".join(_spelt(c) if _is_hidden(c) else c for c in text)
    return (
        _COMMAND.sub(lambda found: _spelt(found[0]), text) if "::" in text or "##" in text else text
    )


def in_a_row(labels: tuple[str, ...]) -> str:
    """Return labels in a row, told apart where commas stand in them: `desk, radio low; hall`."""
    return ("; " if any(", " in label for label in labels) else ", ").join(labels)


def harmless_json(text: str) -> str:
    """Return JSON text that means the same and holds nothing hidden, and no command to a server."""
    text = re.sub(r"[^\n -~]", lambda found: _json_escape(found[0]), text)
    return text.replace("##", "\\u0023#")


def _is_hidden(character: str) -> bool:
    """Return whether a character is not seen as itself; U+FFFE and its like are none at all."""
    code = ord(character)
    is_none = code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF  # noqa: PLR2004
    return is_none or unicodedata.category(character) in _HIDDEN


def _spelt(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"  # noqa: PLR2004


def _json_escape(character: str) -> str:
    if unicodedata.category(character) not in _HIDDEN:
        return character
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))

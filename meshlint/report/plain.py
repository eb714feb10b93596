"""Text from a site file made harmless for a terminal: what cannot be seen is spelt out."""

from __future__ import annotations

import unicodedata

# Controls, formats (bidirectional overrides, zero-width joiners), surrogates, private use, and
# the separators that some terminals break a line at.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def visible(text: str) -> str:
    r"""Return the text with every character that is not seen as itself written as `\\u....`."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(f"\\u{ord(c):04x}" if unicodedata.category(c) in _HIDDEN else c for c in text)

"""What plain text means: the YAML 1.2 core schema, narrowed to numbers that can be quantities.

Source: YAML 1.2.2, section 10.3.2, tag resolution. Narrower than that: NaN, infinities, numbers
too large for a double and whole numbers of more than 18 digits are refused.
"""

from __future__ import annotations

import math
import re
from typing import TypeAlias

Scalar: TypeAlias = bool | int | float | str | None

_WORDS = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_NUMBER = re.compile(
    r"(?P<decimal>[-+]?[0-9]+)"
    r"|(?P<real>[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?)"
    r"|(?P<octal>0o[0-7]+)"
    r"|(?P<hexadecimal>0x[0-9a-fA-F]+)"
    r"|(?P<unbounded>[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))"
)
_NUMBER_STARTS = frozenset("0123456789+-.")
_MOST_DIGITS = 18
_TOO_LONG = f"this number has more than {_MOST_DIGITS} digits;"

STARTS = _NUMBER_STARTS | frozenset("~nNtTfF") | {""}
"""First characters of all that is not text; a reader may take the rest for text unseen."""


class RefusedError(Exception):
    """Text that looks like a number and cannot be one of ours; says why."""


def resolved(text: str) -> Scalar:
    """Return what plain (unquoted) text means; raises `RefusedError`."""
    if text.isdigit() and text.isascii():
        return _decimal(text)
    if text in _WORDS:
        return _WORDS[text]
    number = _NUMBER.fullmatch(text) if text[0] in _NUMBER_STARTS else None
    if number is None:
        return text
    match number.lastgroup:
        case "decimal":
            return _decimal(text)
        case "real":
            return _real(text)
        case "octal" | "hexadecimal":
            return _bounded(int(text, 0))
        case _:
            raise _refused(f"{text} cannot be a quantity; leave it out if it is not known, or")


def _decimal(text: str) -> int:
    if len(text) <= _MOST_DIGITS:
        return int(text)
    # int() itself fails on several thousand digits, zeros in front included.
    digits = text.lstrip("+-").lstrip("0")
    if len(digits) > _MOST_DIGITS:
        raise _refused(_TOO_LONG)
    return int(digits or "0") * (-1 if text[0] == "-" else 1)


def _real(text: str) -> float:
    value = float(text)
    if math.isinf(value):
        raise _refused("this number is too large;")
    return value


def _bounded(value: int) -> int:
    if value >= 10**_MOST_DIGITS:
        raise _refused(_TOO_LONG)
    return value


def _refused(why: str) -> RefusedError:
    return RefusedError(f"{why} put it in quotes if it is text")


def in_double_quotes(text: str) -> str:
    """Return a text as YAML in double quotes: what JSON writes, and nothing that a reader hides."""
    import json  # wanted by `new` and by hints alone

    written = json.dumps(text, ensure_ascii=False)
    return "".join(c if c.isprintable() else _escaped(c) for c in written)


def _escaped(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"  # noqa: PLR2004

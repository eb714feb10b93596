"""Values as YAML in one line, plain where that reads back as the same."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from msgspec import json

from meshlint.site.scalars import in_double_quotes

if TYPE_CHECKING:
    from meshlint.site.source import Value

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_./+-]*(?: [A-Za-z0-9_./+-]+)*")
_NOT_TEXT = {"true", "false", "null", "yes", "no", "on", "off", "nan", "inf", "y", "n"}


def in_flow_style(value: Value) -> str:
    """Return a value in flow style: maps in braces, lists in brackets, texts in quotes if need be.

    What other readers of YAML take for truth or nothing, such as `no`, is quoted as well.
    """
    if isinstance(value, dict):
        pairs = ", ".join(f"{in_flow_style(k)}: {in_flow_style(v)}" for k, v in value.items())
        return "{" + pairs + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(in_flow_style, value)) + "]"
    if not isinstance(value, str):
        return json.encode(value).decode()
    if _PLAIN.fullmatch(value) and value.lower() not in _NOT_TEXT:
        return value
    if value.isprintable():
        return json.encode(value).decode()
    return in_double_quotes(value)

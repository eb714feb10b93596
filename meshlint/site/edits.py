"""What an author changed between two states of a file: each key, with its old and its new value."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.site.quoting import NOT_REPEATED
from meshlint.site.secrets import may_be_repeated

if TYPE_CHECKING:
    from collections.abc import Iterator


class Edit(Struct, frozen=True):
    """A key that was changed, added (`before` is `None`) or removed (`after` is).

    The values are written as JSON writes them; what may be a secret is not repeated.
    """

    key: str
    before: str | None
    after: str | None


def edits(before: object, after: object, key: str = "") -> Iterator[Edit]:
    """Yield what differs between two values of a file, as deep down as both have the same keys.

    The members of a list are compared one by one where it has kept its length.
    """
    if isinstance(before, dict) and isinstance(after, dict):
        for name in dict.fromkeys((*before, *after)):
            inner = f"{key}.{name}" if key else str(name)
            if name not in after:
                yield Edit(inner, _written(before[name], name), None)
            elif name not in before:
                yield Edit(inner, None, _written(after[name], name))
            else:
                yield from edits(before[name], after[name], inner)
    elif (
        isinstance(before, list)
        and isinstance(after, list)
        and len(before) == len(after)
        and any(isinstance(member, dict | list) for member in (*before, *after))
    ):
        for at, (old, new) in enumerate(zip(before, after, strict=True)):
            yield from edits(old, new, f"{key}.{at}")
    elif type(before) is not type(after) or before != after:
        name = key.rpartition(".")[2]
        yield Edit(key, _written(before, name), _written(after, name))


def _written(value: object, key: object) -> str:
    shown = _repeatable(value, key)
    return shown if isinstance(shown, str) else json.dumps(shown, ensure_ascii=False, default=str)


def _repeatable(value: object, key: object) -> object:
    if isinstance(value, dict):
        return {str(name): _repeatable(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_repeatable(member, key) for member in value]
    if isinstance(value, str) and not may_be_repeated(value, key):
        return NOT_REPEATED
    return value

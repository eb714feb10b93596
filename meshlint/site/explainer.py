"""The `jsonschema` validator that names every fault of a document, bounded in time.

It refuses just what `shape` refuses. Two keywords are our own: Python's `$` also fits
before a last line feed, so a pattern must fit the whole text; and the library compares the members
of a list that cannot be sorted with one another, which takes hours for a long one.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from jsonschema import Draft202012Validator, ValidationError
from jsonschema.validators import extend

from meshlint.site.shape import identity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from jsonschema.protocols import Validator


def explainer(schema: dict[str, Any]) -> Validator:
    """Return a validator for the schema; nothing that a schema refers to is ever fetched."""
    kind = extend(  # type: ignore[no-untyped-call]
        Draft202012Validator, {"pattern": _pattern, "uniqueItems": _unique}
    )
    made: Validator = kind(schema)
    return made


def _pattern(_: Validator, wanted: str, value: object, __: object) -> Iterator[ValidationError]:
    if isinstance(value, str) and not re.fullmatch(wanted, value):
        yield ValidationError("does not fit the pattern")


def _unique(_: Validator, wanted: object, value: object, __: object) -> Iterator[ValidationError]:
    if wanted and isinstance(value, list) and len(set(map(identity, value))) < len(value):
        yield ValidationError("has repeats")

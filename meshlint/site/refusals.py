"""What is wrong with a document that its schema refuses, in plain words.

`jsonschema` finds the errors. Values that may be secrets (`writeOnly` in the schema) and whatever
stands where a mapping should be are never repeated.
"""

from __future__ import annotations

import re
from itertools import islice
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from meshlint.site.explainer import explainer
from meshlint.site.hints import (
    either,
    hint,
    is_trade_word,
    kinds_of,
    nearest,
    nearest_word,
    plain,
    shown,
    word_of,
    words_of,
)
from meshlint.site.patterns import FORMS
from meshlint.site.problem import Problem
from meshlint.site.quoting import (
    NOT_REPEATED,
    is_private,
    quoted,
    repeatable,
    repeatable_name,
    within_two_letters,
)
from meshlint.site.shape import identity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

Schema = dict[str, Any]


class _Refusal(Struct, frozen=True):
    """One keyword of the schema that one value does not meet."""

    pointer: Pointer
    keyword: str
    value: Any
    schema: Schema


def problems(document: Document, root: Schema, most: int) -> Iterator[Problem]:
    """Yield what is wrong, one problem for each value (the plainest) and each misplaced key.

    `most` is how many refusals of the schema are looked at to find them.
    """
    ranks = {keyword: rank for rank, keyword in enumerate(_WRITERS)}
    plainest: dict[tuple[Pointer, str], _Refusal] = {}
    for error in islice(explainer(root).iter_errors(document.value), most):
        of_name = "propertyNames" in error.absolute_schema_path
        pointer = (*error.absolute_path, *([error.instance] if of_name else ()))
        schema: Schema = error.schema  # type: ignore[assignment]
        refusal = _Refusal(pointer, str(error.validator), error.instance, schema)
        about = refusal.keyword if refusal.keyword in _ABOUT_KEYS else "value"
        known = plainest.setdefault((pointer, about), refusal)
        if ranks[refusal.keyword] < ranks[known.keyword]:
            plainest[pointer, about] = refusal
    if not plainest:
        message = f"{document.path}: the shape refuses what jsonschema accepts"
        raise RuntimeError(message)
    for refusal in plainest.values():
        yield from _WRITERS[refusal.keyword](document, root, refusal)


# --- keys -----------------------------------------------------------------------------------------


def _unknown(document: Document, root: Schema, refusal: _Refusal) -> Iterator[Problem]:
    for key in _strangers(refusal):
        head = _head(key, root)
        tail = key[len(head) :]
        advice = _key_hint(head, root, refusal)
        if tail.startswith(":"):
            advice = f"put a space after the colon; {advice}"
        words = quoted(
            shown(head) + ("…" if tail else ""), repeat=_is_key_repeatable(head, root, refusal)
        )
        yield Problem(
            document.key_place((*refusal.pointer, key)),
            f"{_where(refusal.pointer)}: there is no key {words} here; {advice}",
        )


def _is_key_repeatable(key: str, root: Schema, refusal: _Refusal) -> bool:
    known = [k for shape in _shapes(root) for k in shape["properties"]]
    near = nearest(key, known)
    if near is not None and within_two_letters(key, near):
        return True
    return repeatable_name(key, known) or (not is_private(refusal.pointer) and repeatable(key))


def _missing(document: Document, _: Schema, refusal: _Refusal) -> Iterator[Problem]:
    properties = refusal.schema["properties"]
    # A misspelt key is told once, as the unknown key that it is.
    meant = {nearest(key, properties) for key in _strangers(refusal)}
    for key in refusal.schema["required"]:
        if key not in refusal.value and key not in meant:
            yield Problem(
                document.key_place(refusal.pointer),
                f"{_where(refusal.pointer)}: '{key}' is missing. {properties[key]['description']}",
            )


def _strangers(refusal: _Refusal) -> list[str]:
    return [key for key in refusal.value if key not in refusal.schema["properties"]]


def _head(key: str, root: Schema) -> str:
    """Return the part of an unknown key that may be repeated: a secret may cling to its key."""
    first = re.split(r"[:=\s]", key, maxsplit=1)[0]
    return first if nearest(first, _secret_keys(root)) else re.split("[:=]", key, maxsplit=1)[0]


def _secret_keys(root: Schema) -> list[str]:
    return [k for s in _shapes(root) for k, entry in s["properties"].items() if _hated(entry)]


def _shapes(root: Schema) -> list[Schema]:
    return [shape for shape in (root, *root.get("$defs", {}).values()) if "properties" in shape]


def _key_hint(key: str, root: Schema, refusal: _Refusal) -> str:
    """Say what to write instead of a key that is not known here."""
    schema = refusal.schema
    if nearest(key, _secret_keys(root)):
        return "no secret belongs in the file: a network names where it is kept, under 'secret'"
    shapes = _shapes(root)
    open_keys = [k for k, entry in schema["properties"].items() if not _hated(entry)]
    if near := nearest(key, open_keys):
        return f"did you mean '{near}'?"
    elsewhere = nearest(key, [k for shape in shapes for k in shape["properties"]])
    if elsewhere is not None:
        if path := _path_nearby(elsewhere, root, refusal):
            return f"write it as {path}"
        homes = [shape["title"].lower() for shape in shapes if elsewhere in shape["properties"]]
        return f"'{elsewhere}' is a key of: {', '.join(homes)}"
    return f"known keys: {', '.join(open_keys)}"


def _path_nearby(key: str, root: Schema, refusal: _Refusal) -> str:
    """Return where a key goes that belongs to a part of this one or of what holds it, or nothing.

    A part with a name of the author's own is written `levels/NAME/floor`.
    """
    at = refusal.pointer
    for end in range(len(at), -1, -1):
        shape = _shape_at(root, at[:end])
        for part, entry in shape.get("properties", {}).items():
            for step, inner in (((part,), entry), ((part, "NAME"), _each(root, entry))):
                if key in _resolved(root, inner).get("properties", {}):
                    return "/".join(map(shown, map(str, (*at[:end], *step, key))))
    return ""


def _shape_at(root: Schema, pointer: Pointer) -> Schema:
    shape = root
    for step in pointer:
        named = shape.get("properties", {}).get(step, shape.get("additionalProperties"))
        inner = shape.get("items") if isinstance(step, int) else named
        shape = _resolved(root, inner if isinstance(inner, dict) else {})
    return shape


def _each(root: Schema, entry: Schema) -> Schema:
    inner = _resolved(root, entry).get("additionalProperties")
    return inner if isinstance(inner, dict) else {}


def _resolved(root: Schema, entry: Schema) -> Schema:
    shape: Schema = root["$defs"][entry["$ref"].rpartition("/")[2]] if "$ref" in entry else entry
    return shape


def _hated(entry: Schema) -> bool:
    return bool(entry.get("deprecated"))


# --- values ---------------------------------------------------------------------------------------

_KINDS = {
    "object": "lines of 'key: value'",
    "array": "a list",
    "string": "a text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
}


def _misfit(document: Document, _: Schema, refusal: _Refusal) -> Iterator[Problem]:
    schema, value = refusal.schema, refusal.value
    title = schema.get("title", "")
    # "VLAN number" keeps its capitals in the middle of a sentence.
    named = title if title[1:2].isupper() else title[:1].lower() + title[1:]
    says_more = bool(refusal.pointer) and plain(title) != plain(str(refusal.pointer[-1]))
    bracket = f" ({named})" if named and says_more else ""
    repeat = not is_private(refusal.pointer) and _is_repeatable(schema, value)

    def said(*, repeat: bool) -> str:
        if schema.get("writeOnly"):
            advice = "no secret belongs in the file" if _hated(schema) else ""
        else:
            advice = hint(schema, value, repeat=repeat)
        return (
            f"{_where(refusal.pointer)}: expected {_expected(schema)}{bracket}, "
            f"found {_found(schema, value, repeat=repeat)}{'; ' if advice else ''}{advice}"
        )

    place = document.place(refusal.pointer)
    yield Problem(place, said(repeat=repeat), said(repeat=False) if repeat else "")


def _is_repeatable(schema: Schema, value: object) -> bool:
    """Return whether a message may repeat a value that a schema refuses."""
    if schema.get("writeOnly") or "object" in kinds_of(schema) or isinstance(value, dict | list):
        return False
    if not isinstance(value, str):
        return value is not None and repeatable(word_of(value))
    return is_trade_word(value) or repeatable(value, nearest_word(schema, value))


def _expected(schema: Schema) -> str:
    if words := words_of(schema):
        return either([word_of(word) for word in words])
    if schema.get("pattern") in FORMS:
        return FORMS[schema["pattern"]]
    kinds = kinds_of(schema)
    expected = either([_KINDS[kind] for kind in kinds])
    if {"number", "integer"} & set(kinds):
        return expected + _range(schema)
    if kinds == ["array"]:
        return expected + _size(schema)
    return expected + _length(schema)


def _range(schema: Schema) -> str:
    low, above, high = (schema.get(k) for k in ("minimum", "exclusiveMinimum", "maximum"))
    if above is not None:
        return f" above {above}, at most {high}"
    return f" from {low} to {high}" if low is not None else ""


def _size(schema: Schema) -> str:
    low, high = schema.get("minItems"), schema.get("maxItems")
    count = "" if low is None else f" of {low}" if low == high else f" of at least {low}"
    return count + (" without repeats" if schema.get("uniqueItems") else "")


def _length(schema: Schema) -> str:
    high = schema.get("maxLength")
    return f" of at most {high} characters" if high else ""


def _found(schema: Schema, value: object, *, repeat: bool) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        repeats = schema.get("uniqueItems") and len(set(map(identity, value))) < len(value)
        return f"a list of {len(value)}" + (" with repeats" if repeats else "")
    if value == "":
        return "an empty text"
    if not repeat:
        kind = "a text" if isinstance(value, str) else "a bare value"
        return f"{kind} {NOT_REPEATED}"
    return f"'{shown(value)}'" if isinstance(value, str) else shown(word_of(value))


_ABOUT_KEYS = ("additionalProperties", "required")

# Who explains which keyword. Of several that one value does not meet, the first here is told.
_WRITERS: dict[str, Callable[[Document, Schema, _Refusal], Iterable[Problem]]] = {
    "additionalProperties": _unknown,
    "required": _missing,
    **dict.fromkeys(("type", "const", "enum", "pattern"), _misfit),
    **dict.fromkeys(("minimum", "exclusiveMinimum", "maximum"), _misfit),
    **dict.fromkeys(("minLength", "maxLength"), _misfit),
    **dict.fromkeys(("minItems", "maxItems", "uniqueItems"), _misfit),
}


def _where(pointer: Pointer) -> str:
    return "/".join(shown(str(step)) for step in pointer) or "the file"

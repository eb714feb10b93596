"""Is a document of the shape that its schema asks for, and if not, what is wrong in plain words.

`jsonschema-rs` decides, since it is quick to load and to run. Only a document that it refuses is
given to `jsonschema`, whose errors are told in our own words. Values that may be secrets
(`writeOnly` in the schema) and whatever stands where a mapping should be are never repeated.
"""

from __future__ import annotations

import functools
import json
import re
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct

from meshlint.datafiles import data_folder
from meshlint.site.patterns import FORMS
from meshlint.site.problem import InputError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from jsonschema_rs import Draft202012Validator

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

SchemaName = Literal["site", "catalogue", "card", "policy", "accepted", "report"]
Schema = dict[str, Any]

# Refusals of the schema that are looked at to find the problems that are told.
MOST_REFUSALS = 1000


def check(document: Document, schema_name: SchemaName) -> None:
    """Raise `InputError`, with every independent problem, unless the schema takes the document."""
    if not _decider(schema_name).is_valid(document.value):
        raise InputError.first(_problems(document, _schema(schema_name)))


def refused_at(document: Document, name: SchemaName) -> set[Pointer]:
    """Return where a schema refuses something, in no more places than are looked at."""
    errors = islice(_decider(name).iter_errors(document.value), MOST_REFUSALS)
    return {tuple(error.instance_path) for error in errors}


def schema_text(name: SchemaName) -> str:
    """Return a schema as it lies on disk, JSON Schema 2020-12."""
    return (data_folder("schemas") / f"{name}.schema.json").read_text(encoding="utf-8")


@functools.cache
def _schema(name: SchemaName) -> Schema:
    schema: Schema = json.loads(schema_text(name))
    return schema


@functools.cache
def _decider(name: SchemaName) -> Draft202012Validator:
    import jsonschema_rs

    return jsonschema_rs.Draft202012Validator(_schema(name))


class _Refusal(Struct, frozen=True):
    """One keyword of the schema that one value does not meet."""

    pointer: Pointer
    keyword: str
    value: Any
    schema: Schema


def _problems(document: Document, root: Schema) -> Iterator[Problem]:
    """Yield what is wrong, one problem for each value (the plainest) and each misplaced key."""
    from meshlint.site.explainer import explainer

    ranks = {keyword: rank for rank, keyword in enumerate(_WRITERS)}
    plainest: dict[tuple[Pointer, str], _Refusal] = {}
    for error in islice(explainer(root).iter_errors(document.value), MOST_REFUSALS):
        of_name = "propertyNames" in error.absolute_schema_path
        pointer = (*error.absolute_path, *([error.instance] if of_name else ()))
        schema: Schema = error.schema  # type: ignore[assignment]
        refusal = _Refusal(pointer, str(error.validator), error.instance, schema)
        about = refusal.keyword if refusal.keyword in _ABOUT_KEYS else "value"
        known = plainest.setdefault((pointer, about), refusal)
        if ranks[refusal.keyword] < ranks[known.keyword]:
            plainest[pointer, about] = refusal
    if not plainest:
        message = f"{document.path}: jsonschema-rs refuses what jsonschema accepts"
        raise RuntimeError(message)
    for refusal in plainest.values():
        yield from _WRITERS[refusal.keyword](document, root, refusal)


# --- keys -----------------------------------------------------------------------------------------


def _unknown(document: Document, root: Schema, refusal: _Refusal) -> Iterator[Problem]:
    for key in _strangers(refusal):
        head = _head(key, root)
        tail = key[len(head) :]
        shown = f"'{_visible(head)}…'" if tail else f"'{_visible(key)}'"
        hint = _key_hint(head, root, refusal.schema)
        if tail.startswith(":"):
            hint = f"put a space after the colon; {hint}"
        yield Problem(
            document.key_place((*refusal.pointer, key)),
            f"{_where(refusal.pointer)}: there is no key {shown} here; {hint}",
        )


def _missing(document: Document, _: Schema, refusal: _Refusal) -> Iterator[Problem]:
    properties = refusal.schema["properties"]
    # A misspelt key is told once, as the unknown key that it is.
    meant = {_nearest(key, properties) for key in _strangers(refusal)}
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
    return first if _nearest(first, _secret_keys(root)) else re.split("[:=]", key, maxsplit=1)[0]


def _secret_keys(root: Schema) -> list[str]:
    return [k for s in _shapes(root) for k, entry in s["properties"].items() if _hated(entry)]


def _shapes(root: Schema) -> list[Schema]:
    return [shape for shape in (root, *root.get("$defs", {}).values()) if "properties" in shape]


def _key_hint(key: str, root: Schema, schema: Schema) -> str:
    """Say what to write instead of a key that is not known here."""
    if _nearest(key, _secret_keys(root)):
        return "no secret belongs in the file: a network names where it is kept, under 'secret'"
    shapes = _shapes(root)
    open_keys = [k for k, entry in schema["properties"].items() if not _hated(entry)]
    if near := _nearest(key, open_keys):
        return f"did you mean '{near}'?"
    elsewhere = _nearest(key, [k for shape in shapes for k in shape["properties"]])
    if elsewhere is not None:
        homes = [shape["title"].lower() for shape in shapes if elsewhere in shape["properties"]]
        return f"'{elsewhere}' is a key of: {', '.join(homes)}"
    return f"known keys: {', '.join(open_keys)}"


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
    says_more = bool(refusal.pointer) and _plain(title) != _plain(str(refusal.pointer[-1]))
    bracket = f" ({named})" if named and says_more else ""
    if schema.get("writeOnly"):
        advice = "; no secret belongs in the file" if _hated(schema) else ""
    else:
        hints = (hint(schema, value) for hint in _HINTS)
        advice = next((f"; {hint}" for hint in hints if hint), "")
    yield Problem(
        document.place(refusal.pointer),
        f"{_where(refusal.pointer)}: expected {_expected(schema)}{bracket}, "
        f"found {_found(schema, value)}{advice}",
    )


def _expected(schema: Schema) -> str:
    if words := _words(schema):
        return _either([_word(word) for word in words])
    if schema.get("pattern") in FORMS:
        return FORMS[schema["pattern"]]
    kinds = _kinds(schema)
    expected = _either([_KINDS[kind] for kind in kinds])
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


def _found(schema: Schema, value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        repeats = schema.get("uniqueItems") and len(set(map(json.dumps, value))) < len(value)
        return f"a list of {len(value)}" + (" with repeats" if repeats else "")
    if schema.get("writeOnly") or "object" in _kinds(schema):
        return f"{'a text' if isinstance(value, str) else 'a bare value'} (not repeated here)"
    if isinstance(value, str):
        return f"'{_visible(value)}'" if value else "an empty text"
    return _visible(_word(value))


def _hint_nothing(schema: Schema, value: object) -> str:
    if value is not None:
        return ""
    none = {"object": " ({} means none)", "array": " ([] means none)"}
    kinds = _kinds(schema)
    return "leave the key out if it is not known" + (none.get(kinds[0], "") if kinds else "")


def _hint_number_in_text(schema: Schema, value: object) -> str:
    """Read a number out of "44", "20 dBm", "3,4" or "50 %" where a number is wanted."""
    numbers = [word for word in _words(schema) if not isinstance(word, str)]
    if not isinstance(value, str) or not (numbers or {"number", "integer"} & set(_kinds(schema))):
        return ""
    written = re.fullmatch(r"\s*([+-]?\d{1,9}(?:[.,]\d{1,9})?)\s*([A-Za-zµ/ %]*)", value)
    if not written:
        return ""
    number, unit = float(written[1].replace(",", ".")), written[2].strip()
    number = number / 100 if unit == "%" and schema.get("maximum") == 1 else number
    if numbers and number not in numbers:
        return ""
    return f"write {number:.12g}, " + ("the number alone" if unit else "without quotes")


def _hint_percent(schema: Schema, value: object) -> str:
    share = schema.get("maximum") == 1 and isinstance(value, int | float)
    return f"write {value / 100:g} for {value:g} %" if share and 1 < value <= 100 else ""  # type: ignore[operator] # noqa: PLR2004


def _hint_flag(schema: Schema, value: object) -> str:
    truth = {"yes": "true", "y": "true", "on": "true", "true": "true"}
    truth |= {"no": "false", "n": "false", "off": "false", "false": "false"}
    if _kinds(schema) != ["boolean"] or not isinstance(value, str):
        return ""
    return f"write {truth[value.lower()]}" if value.lower() in truth else ""


def _hint_quotes(schema: Schema, value: object) -> str:
    bare = isinstance(value, int | float)
    return "put it in quotes" if bare and _kinds(schema) == ["string"] else ""


def _hint_brackets(schema: Schema, value: object) -> str:
    lone = _kinds(schema) == ["array"] and isinstance(value, str | int | float)
    return f"write [{_visible(str(value))}] for a list of one" if lone else ""


def _hint_names(schema: Schema, value: object) -> str:
    named = isinstance(schema.get("additionalProperties"), dict) and isinstance(value, list)
    return "give each entry a name of its own, 'name:', in place of '-'" if named else ""


def _hint_near(schema: Schema, value: object) -> str:
    if not isinstance(value, str):
        return ""
    words = [word for word in _words(schema) if isinstance(word, str)]
    near = _nearest(value, words) or next(
        (word for word in words if word in _SAME.get(value.casefold(), ())), None
    )
    if near is None and "pattern" in schema:
        spellings = (value.strip().upper(), value.strip().lower())
        near = next((s for s in spellings if re.fullmatch(schema["pattern"], s)), None)
    return f"did you mean '{near}'?" if near else ""


_HINTS: tuple[Callable[[Schema, object], str], ...] = (
    *(_hint_nothing, _hint_number_in_text, _hint_percent, _hint_flag, _hint_quotes),
    *(_hint_brackets, _hint_names, _hint_near),
)

# Other words of the trade for values of ours, tried where the value is not a misspelling.
_SAME = {
    "off": ("disabled", "none"),
    "on": ("required",),
    "no": ("none", "disabled"),
    "ethernet": ("cable",),
    "wired": ("cable",),
    "wireless": ("radio",),
    "wifi": ("radio",),
    "plc": ("powerline",),
    "wpa2": ("psk",),
    "wpa": ("psk",),
    "wpa3": ("sae",),
    "aes": ("ccmp",),
    "family": ("staff",),
    "fiber": ("fibre",),
    "poe": ("cable",),
    "router": ("access",),
    "cabinet": ("in cabinet",),
    "mandatory": ("required",),
}

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


# --- words ----------------------------------------------------------------------------------------


def _kinds(schema: Schema) -> list[str]:
    kinds = schema.get("type", [])
    return [kinds] if isinstance(kinds, str) else list(kinds)


def _words(schema: Schema) -> list[Any]:
    return [schema["const"]] if "const" in schema else list(schema.get("enum", ()))


def _word(value: object) -> str:
    return value if isinstance(value, str) else json.dumps(value)


def _either(words: list[str]) -> str:
    return " or ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _where(pointer: Pointer) -> str:
    return "/".join(_visible(str(step)) for step in pointer) or "the file"


def _visible(text: str, limit: int = 60) -> str:
    """Return a text of the file, cut short and with unprintable characters made visible."""
    cut = text if len(text) <= limit else text[: limit - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def _plain(word: str) -> str:
    return re.sub(r"[-_. ]", "", word.casefold())


def _nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant, or `None`."""
    from difflib import get_close_matches

    plain, by_plain = _plain(word), {_plain(k): k for k in known}
    # A word without its unit (`width`) or its standard (`ax`) is a better guess than a likeness.
    parts = [
        k
        for p, k in by_plain.items()
        if k.startswith(f"{word}_")
        or (len(plain) > 1 and (p.startswith(plain) or p.endswith(plain)))
    ]
    if len(parts) == 1:
        return parts[0]
    near = get_close_matches(plain, by_plain, 1, 0.7)
    return by_plain[near[0]] if near else None

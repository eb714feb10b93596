"""Does a value fit a JSON Schema: yes or no, decided in plain Python.

Known are the keywords of JSON Schema 2020-12 that our own schemas use; a schema with any other is
refused. `jsonschema-rs` takes 0.25 ms less for a file of six units, and 15 to 20 ms to load, a
sixth of a check. The tests hold the two to one outcome.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    Fits = Callable[[Any], bool]
    Schema = dict[str, Any]

_SAYS_NOTHING = frozenset(
    {
        *("$schema", "$id", "$defs", "title", "description", "examples", "format", "writeOnly"),
        *("deprecated", "enumDescriptions", "patternErrorMessage"),  # what editors show
    }
)
_OF_OBJECTS = frozenset({"properties", "required", "additionalProperties", "propertyNames"})


class Shape:
    """A schema to hold values against; each part of it is prepared when a value comes to it."""

    def __init__(self, schema: Schema) -> None:
        self._schema = schema
        self._defined: dict[str, Fits] = {}
        self.fits = self._prepared(schema)

    def _prepared(self, schema: Schema | bool) -> Fits:  # noqa: FBT001 - false is a schema
        """Return whether a value fits, as a function; raise `ValueError` for a strange keyword."""
        if isinstance(schema, bool):
            return lambda _: schema
        parts = [make(schema[key]) for key, make in _OF_VALUES.items() if key in schema]
        if "$ref" in schema:
            parts.append(self._referred(schema["$ref"]))
        if "items" in schema:
            parts.append(self._items(schema["items"]))
        if not _OF_OBJECTS.isdisjoint(schema):
            parts.append(self._members(schema))
        known = _OF_VALUES.keys() | _SAYS_NOTHING | _OF_OBJECTS | {"$ref", "items"}
        if strange := schema.keys() - known:
            raise ValueError(f"keywords of JSON Schema that are not known: {sorted(strange)}")
        if len(parts) == 1:
            return parts[0]

        def fits(value: Any) -> bool:  # noqa: ANN401 - whatever a file holds
            for part in parts:  # noqa: SIM110 - `all` takes twice the time
                if not part(value):
                    return False
            return True

        return fits

    def _referred(self, reference: str) -> Fits:
        name = reference.removeprefix("#/$defs/")
        schema = self._schema["$defs"][name]

        def fits(value: Any) -> bool:  # noqa: ANN401
            # Prepared only now: a schema may refer to itself.
            known = self._defined.get(name)
            if known is None:
                known = self._defined[name] = self._prepared(schema)
            return known(value)

        return fits

    def _items(self, schema: Schema | bool) -> Fits:  # noqa: FBT001
        entry = self._prepared(schema)
        return lambda value: type(value) is not list or all(map(entry, value))

    def _members(self, schema: Schema) -> Fits:
        properties, required = schema.get("properties", {}), schema.get("required", ())
        prepared: dict[str, Fits] = {}
        other = self._prepared(schema.get("additionalProperties", True))
        named = self._prepared(schema.get("propertyNames", True))

        def fits(value: Any) -> bool:  # noqa: ANN401
            if type(value) is not dict:
                return True
            for key in required:
                if key not in value:
                    return False
            for key, member in value.items():
                part = prepared.get(key)
                if part is None:
                    if key in properties:
                        part = prepared[key] = self._prepared(properties[key])
                    else:
                        part = other
                if not (part(member) and named(key)):
                    return False
            return True

        return fits


def identity(value: object) -> Hashable:
    """Return what two values share just when JSON Schema takes them for equal: 1 and 1.0 do."""
    if isinstance(value, list):
        return ("list", tuple(map(identity, value)))
    if isinstance(value, dict):
        return ("map", frozenset((key, identity(member)) for key, member in value.items()))
    if isinstance(value, bool):
        return ("truth", value)
    return value if isinstance(value, int | float | str) else None


def _is_number(value: object) -> bool:
    return type(value) is int or type(value) is float


def _is_whole(value: object) -> bool:
    return type(value) is int or (type(value) is float and value.is_integer())


_TYPES: dict[str, Fits] = {
    "object": lambda value: type(value) is dict,
    "array": lambda value: type(value) is list,
    "string": lambda value: type(value) is str,
    "boolean": lambda value: type(value) is bool,
    "null": lambda value: value is None,
    "integer": _is_whole,
    "number": _is_number,
}


_PLAIN = frozenset({str, int, float})


def _type(wanted: str | list[str]) -> Fits:
    if isinstance(wanted, str):
        return _TYPES[wanted]
    kinds = [_TYPES[kind] for kind in wanted]
    return lambda value: any(kind(value) for kind in kinds)


def _enum(values: list[str | float]) -> Fits:
    if not all(type(value) in _PLAIN for value in values):
        raise ValueError("a choice of anything but texts and numbers")
    wanted = frozenset(values)  # to a set 1 and 1.0 are one, and so they are to JSON Schema
    return lambda value: type(value) in _PLAIN and value in wanted


def _pattern(wanted: str) -> Fits:
    # Python's `$` also fits before a last line feed, so the whole text must fit.
    fits = re.compile(wanted).fullmatch
    return lambda value: type(value) is not str or fits(value) is not None


def _unique(wanted: bool) -> Fits:  # noqa: FBT001 - a keyword's own value
    return lambda value: (
        not wanted or type(value) is not list or len(set(map(identity, value))) == len(value)
    )


_OF_VALUES: dict[str, Callable[[Any], Fits]] = {
    "type": _type,
    "const": lambda wanted: _enum([wanted]),
    "enum": _enum,
    "minimum": lambda least: lambda value: not _is_number(value) or value >= least,
    "maximum": lambda most: lambda value: not _is_number(value) or value <= most,
    "exclusiveMinimum": lambda below: lambda value: not _is_number(value) or value > below,
    "minLength": lambda least: lambda value: type(value) is not str or len(value) >= least,
    "maxLength": lambda most: lambda value: type(value) is not str or len(value) <= most,
    "pattern": _pattern,
    "minItems": lambda least: lambda value: type(value) is not list or len(value) >= least,
    "maxItems": lambda most: lambda value: type(value) is not list or len(value) <= most,
    "uniqueItems": _unique,
}
"""The keywords that say something of a value by themselves: what each makes of its own value."""

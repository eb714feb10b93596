"""Is a document of the shape that its schema asks for, and where it is not.

`shape` decides, since it is quick to load and to run. Only a document that it refuses is given to
`jsonschema`, and only then is what tells its errors in our own words loaded (`refusals`).
"""

from __future__ import annotations

import functools
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal

from msgspec import json

from meshlint.datafiles import data_folder
from meshlint.site.problem import InputError
from meshlint.site.shape import Shape

if TYPE_CHECKING:
    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

SchemaName = Literal["site", "catalogue", "card", "policy", "accepted", "report"]
Schema = dict[str, Any]

# Refusals of the schema that are looked at to find the problems that are told.
MOST_REFUSALS = 1000


def check(document: Document, schema_name: SchemaName) -> None:
    """Raise `InputError`, with every independent problem, unless the schema takes the document."""
    if not _shape(schema_name).fits(document.value):
        from meshlint.site.refusals import problems

        raise InputError.first(problems(document, _schema(schema_name), MOST_REFUSALS))


def refused_at(document: Document, name: SchemaName) -> set[Pointer]:
    """Return where a schema refuses something, in no more places than are looked at."""
    from meshlint.site.explainer import explainer

    errors = islice(explainer(_schema(name)).iter_errors(document.value), MOST_REFUSALS)
    return {tuple(error.absolute_path) for error in errors}


def schema_text(name: SchemaName) -> str:
    """Return a schema as it lies on disk, JSON Schema 2020-12."""
    return (data_folder("schemas") / f"{name}.schema.json").read_text(encoding="utf-8")


@functools.cache
def _schema(name: SchemaName) -> Schema:
    schema: Schema = json.decode(schema_text(name))
    return schema


@functools.cache
def _shape(name: SchemaName) -> Shape:
    return Shape(_schema(name))

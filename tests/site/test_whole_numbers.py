"""JSON Schema 2020-12 (validation, 6.1.1) takes 7.0 for an integer, and so must all behind it."""

from __future__ import annotations

import json
from pathlib import Path

import yaml

from meshlint.site.load import Catalogues, load_site
from meshlint.site.schema import schema_text

EVERYTHING = Path(__file__).parents[2] / "samples" / "branches" / "harrowmere.site.yaml"


def floated(value: object) -> object:
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, dict):
        return {key: floated(item) for key, item in value.items()}
    return [floated(item) for item in value] if isinstance(value, list) else value


def integer_keys(schema: object) -> set[str]:
    if isinstance(schema, list):
        return set().union(*map(integer_keys, schema))
    if not isinstance(schema, dict):
        return set()
    properties = schema.get("properties", {})
    own = {k for k, entry in properties.items() if "integer" in str(entry.get("type"))}
    return own.union(*map(integer_keys, schema.values()))


def keys_with_numbers(value: object) -> set[str]:
    if isinstance(value, list):
        return set().union(*map(keys_with_numbers, value))
    if not isinstance(value, dict):
        return set()
    own = {key for key, item in value.items() if isinstance(item, float)}
    return own.union(*map(keys_with_numbers, value.values()))


def test_a_site_whose_whole_numbers_have_a_point_is_the_same_site() -> None:
    stated = yaml.safe_load(EVERYTHING.read_text())
    pointed = json.loads(json.dumps(floated(stated), default=str))
    # What only a catalogue or a drawn passphrase states is put beside it.
    unit = next(iter(pointed["units"].values()))
    unit["takes_class"] = 4.0
    unit["ports"] = [{"count": 2.0, "supplies_class": 4.0, "rate_mbps": 1000.0}]
    network = next(iter(pointed["networks"].values()))
    network["secret_words"] = 6.0
    missed = integer_keys(json.loads(schema_text("site"))) - keys_with_numbers(pointed)
    assert missed <= {"second_channel"}

    def whole(value: object) -> object:
        if isinstance(value, float) and value.is_integer():
            return int(value)
        if isinstance(value, dict):
            return {key: whole(item) for key, item in value.items()}
        return [whole(item) for item in value] if isinstance(value, list) else value

    built = [
        load_site(json.dumps(entry).encode(), str(EVERYTHING), Catalogues())[0]
        for entry in (pointed, whole(pointed))
    ]
    assert built[0] == built[1]

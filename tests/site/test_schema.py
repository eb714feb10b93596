"""The schemas themselves, and who decides whether a document fits them.

Outside references: the JSON Schema 2020-12 metaschema (carried by `jsonschema`), two independent
validators (`jsonschema`, `jsonschema-rs`) that must agree, and the booleans of YAML 1.1
(https://yaml.org/type/bool.html).
"""

from __future__ import annotations

import copy
import json
import re
import types
import typing
from pathlib import Path
from typing import Any, TypeAlias

import jsonschema
import jsonschema_rs
import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meshlint import datafiles
from meshlint.run import shipped_rules
from meshlint.site import model, places, refusals, schema
from meshlint.site.explainer import explainer
from meshlint.site.patterns import FORMS
from meshlint.site.problem import InputError
from meshlint.site.schema import check, schema_text
from meshlint.site.shape import Shape
from meshlint.site.source import Document, read_document

Json: TypeAlias = Any
EVERYTHING = Path(__file__).with_name("everything.yaml")
NAMES: tuple[schema.SchemaName, ...] = ("site", "catalogue")
SITE: dict[str, Any] = json.loads(schema_text("site"))
CATALOGUE: dict[str, Any] = json.loads(schema_text("catalogue"))
SCHEMAS = {"site": SITE, "catalogue": CATALOGUE}
SECRETS = ("passphrase", "password", "psk", "key")


def everything() -> Json:
    return read_document(EVERYTHING.read_bytes(), "everything.site.yaml").value


def read(text: str) -> Document:
    return read_document(text.encode(), "a.site.yaml")


def subschemas(node: dict[str, Any], name: str = "top") -> typing.Iterator[tuple[str, Any]]:
    """Yield every schema within a schema with a name, the schema itself first."""
    yield name, node
    for key in ("properties", "$defs"):
        for child, entry in node.get(key, {}).items():
            yield from subschemas(entry, f"{name}/{child}")
    for key in ("items", "additionalProperties"):
        if isinstance(node.get(key), dict):
            yield from subschemas(node[key], f"{name}/{key}")


def properties(node: dict[str, Any]) -> typing.Iterator[tuple[str, str, Any]]:
    for name, sub in subschemas(node):
        for key, entry in sub.get("properties", {}).items():
            yield f"{name}/{key}", key, entry


# --- the schemas ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_valid_json_schema_2020_12(name: str) -> None:
    assert SCHEMAS[name]["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])
    assert SCHEMAS[name]["$id"] == f"urn:meshlint:{name}:1"


@pytest.mark.parametrize("name", NAMES)
def test_every_property_has_a_title_and_a_description(name: str) -> None:
    bare = [
        where
        for where, _, entry in properties(SCHEMAS[name])
        if not entry.get("title") or not str(entry.get("description", "")).endswith(".")
    ]
    assert bare == []


@pytest.mark.parametrize("name", NAMES)
def test_no_object_takes_unknown_keys(name: str) -> None:
    loose = [
        where
        for where, sub in subschemas(SCHEMAS[name])
        if sub.get("type") == "object"
        and (
            sub["additionalProperties"] is not False
            if "properties" in sub
            else "$ref" not in sub["additionalProperties"]
        )
    ]
    assert loose == []


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_uses_no_alternatives_and_no_outside_reference(name: str) -> None:
    for _, sub in subschemas(SCHEMAS[name]):
        assert not {"anyOf", "oneOf", "allOf", "not", "if", "$dynamicRef", "$anchor"} & set(sub)
        if "$ref" in sub:
            assert sub["$ref"].removeprefix("#/$defs/") in SCHEMAS[name]["$defs"]


@pytest.mark.parametrize("name", NAMES)
def test_every_keyword_that_can_refuse_has_a_writer(name: str) -> None:
    tells_nothing = {"$schema", "$id", "$defs", "$ref", "title", "description", "format"}
    tells_nothing |= {"properties", "items", "deprecated", "writeOnly"}
    # Read by editors alone.
    tells_nothing |= {"examples", "enumDescriptions", "patternErrorMessage"}
    used = {keyword for _, sub in subschemas(SCHEMAS[name]) for keyword in sub}
    assert used - tells_nothing <= set(refusals._WRITERS)


def test_every_pattern_has_words_and_is_anchored_at_both_ends() -> None:
    texts = [schema_text(name) for name in ("site", "catalogue", "card", "policy", "accepted")]
    found = (re.findall(r'"pattern": ("[^"]*")', text) for text in texts)
    patterns = {json.loads(pattern) for patterns in found for pattern in patterns}
    assert patterns == set(FORMS)
    assert all(p.startswith("^") and p.endswith("$") for p in patterns)


@pytest.mark.parametrize("name", ["site", "catalogue", "card", "policy", "accepted"])
def test_an_editor_says_in_words_what_a_pattern_wants(name: str) -> None:
    """yaml-language-server shows `patternErrorMessage`, and without it the pattern itself."""
    for _, sub in subschemas(json.loads(schema_text(name))):
        if "pattern" in sub:
            assert sub["patternErrorMessage"] == f"Expected {FORMS[sub['pattern']]}."


def choices(node: Json) -> typing.Iterator[dict[str, Any]]:
    """Yield every schema with a choice of values, wherever it stands."""
    if isinstance(node, dict):
        if isinstance(node.get("enum"), list):
            yield node
        node = list(node.values())
    if isinstance(node, list):
        for entry in node:
            yield from choices(entry)


@pytest.mark.parametrize("name", typing.get_args(schema.SchemaName))
def test_every_value_of_a_choice_has_a_description_for_editors(name: schema.SchemaName) -> None:
    """`enumDescriptions` is what yaml-language-server and VS Code show next to each value.

    A choice of `const` with a title each would be `oneOf`, which no editor explains better and
    which makes every error "fits none of these".
    """
    found = list(choices(json.loads(schema_text(name))))
    assert found
    for entry in found:
        told = entry.get("enumDescriptions", [])
        assert len(told) == len(entry["enum"]), f"one each for {entry['enum']}: {told}"
        assert len(set(told)) == len(told), told
        for words in told:
            assert re.fullmatch(r"[A-Z0-9].*\.", words), words
            assert len(words) <= 100, words


def test_examples_fit_where_they_stand_and_name_every_rule_that_can_be_waived() -> None:
    found = {where: entry for where, _, entry in properties(SCHEMAS["site"]) if "examples" in entry}
    assert len(found) == 3
    for entry in found.values():
        checker = jsonschema.Draft202012Validator(entry)
        assert all(checker.is_valid(example) for example in entry["examples"])
    (rules,) = (entry["examples"] for where, entry in found.items() if where.endswith("/rule"))
    cards = shipped_rules()
    waivable = {c.id for c in cards.cards if c.waivable or c.milder_waivable}
    assert set(rules) == waivable - cards.of_fleets


def test_a_model_is_described_alike_in_both_schemas() -> None:
    for name, shape in CATALOGUE["$defs"].items():
        assert SITE["$defs"][name] == shape


def test_no_key_and_no_value_is_a_boolean_of_yaml_1_1() -> None:
    booleans = {"y", "yes", "n", "no", "true", "false", "on", "off"}
    words = {key for _, key, _ in properties(SITE)}
    words |= {w for _, sub in subschemas(SITE) for w in sub.get("enum", ()) if isinstance(w, str)}
    assert not {word.lower() for word in words} & booleans


# Where a key of the file has another name in the records, and what only one side has.
RECORDS: dict[str, tuple[type, dict[str, str], set[str]]] = {
    "about": (model.About, {"class": "site_class"}, set()),
    "geo_place": (places.GeoPlace, {}, set()),
    "internet_line": (model.InternetLine, {}, {"name"}),
    "building": (places.Building, {}, {"name"}),
    "level": (places.Level, {}, {"name"}),
    "floor": (places.Slab, {}, set()),
    "wall": (places.Wall, {}, set()),
    "obstacle": (places.Obstacle, {}, set()),
    "area": (places.Area, {}, {"name"}),
    "position": (places.Position, {}, set()),
    "powered": (model.Power, {"from": "source", "class": "power_class"}, set()),
    "ports": (model.Ports, {}, set()),
    "radio": (model.Radio, {}, {"name", "unit", "of_model", "pointer"}),
    "model_radio": (model.ModelRadio, {}, set()),
    "unit": (model.Unit, {}, {"name", "model_radios", "has_no_radio"}),
    "link": (model.Link, {"from": "from_unit", "to": "to_unit"}, {"name", "whole"}),
    "cable_route": (model.CableRoute, {}, set()),
    "client_group": (model.ClientGroup, {"in": "area"}, {"name"}),
    "addresses": (model.Addresses, {"from": "server"}, set()),
    "network": (model.Network, {"for": "purpose"}, {"key"}),
    "neighbour": (model.Neighbour, {}, set()),
    "reading": (model.Reading, {}, set()),
    "waiver": (model.Waiver, {}, {"position"}),
}


TURNED_INTO_OTHERS = {
    *(("radio", "beam_deg"), ("model_radio", "beam_deg")),
    *(("link", "radios"), ("unit", "like"), ("unit", "airtime_fairness")),
    *(("level", "rooms"), ("level", "room_grid"), ("level", "between")),
    *(("level", "rooms_as"), ("level", "doors")),
}
"""Keys that become others on the way to the records."""


def literals(hint: Json) -> set[Json]:
    """Return the words of every `Literal` within a type."""
    origin: object = typing.get_origin(hint)
    if origin is typing.Literal:
        return set(typing.get_args(hint))
    if origin in (typing.Union, types.UnionType, tuple):
        return set().union(*map(literals, typing.get_args(hint)))
    return set()


@pytest.mark.parametrize("name", RECORDS)
def test_a_record_and_its_schema_have_the_same_keys_and_words(name: str) -> None:
    record, renamed, only_record = RECORDS[name]
    entries = {
        renamed.get(key, key): entry
        for key, entry in SITE["$defs"][name]["properties"].items()
        if not (name == "network" and key in SECRETS) and (name, key) not in TURNED_INTO_OTHERS
    }
    assert set(entries) == {f.name for f in msgspec.structs.fields(record)} - only_record
    for field, hint in typing.get_type_hints(record).items():
        # `auto` stands in a pattern, since a channel may be a number too.
        if (words := literals(hint)) and field != "channel":
            entry = entries[field]
            assert set(entry.get("enum") or entry["items"]["enum"]) == words


def test_every_required_key_is_one_without_a_default_in_its_record() -> None:
    for name, (record, renamed, only_record) in RECORDS.items():
        needed = {f.name for f in msgspec.structs.fields(record) if f.required}
        required = {renamed.get(key, key) for key in SITE["$defs"][name].get("required", ())}
        assert required == needed - only_record, name


# --- documents that fit ---------------------------------------------------------------------------


def test_the_site_with_everything_fits() -> None:
    check(read_document(EVERYTHING.read_bytes(), "everything.site.yaml"), "site")


def used_keys(node: dict[str, Any], value: Json, name: str) -> typing.Iterator[tuple[str, str]]:
    if "$ref" in node:
        name = node["$ref"].removeprefix("#/$defs/")
        node = SITE["$defs"][name]
    members = value.items() if isinstance(value, dict) else ()
    for key, member in members:
        if "properties" in node:
            yield name, key
            yield from used_keys(node["properties"][key], member, f"{name}/{key}")
        else:
            yield from used_keys(node["additionalProperties"], member, name)
    for member in value if isinstance(value, list) else ():
        yield from used_keys(node["items"], member, name)


def test_the_site_with_everything_has_every_key_of_the_schema() -> None:
    known = {("top", key) for key in SITE["properties"]}
    known |= {(n, key) for n, d in SITE["$defs"].items() for key in d.get("properties", ())}
    assert set(used_keys(SITE, everything(), "top")) == known


def test_a_catalogue_of_its_own_fits() -> None:
    models = json.dumps(everything()["models"])
    check(read(f"meshlint: 1\nmodels: {models}"), "catalogue")


SMALL = "meshlint: 1\nsite: {name: Tarn}\nprimary: gate\nunits: {gate: {}}\n"


@pytest.mark.parametrize("band", ["5", "5.0", "2.4", "6"])
def test_a_whole_number_may_be_written_with_a_decimal_point(band: str) -> None:
    check(read(SMALL.replace("gate: {}", f"gate: {{radios: {{r: {{band: {band}}}}}}}")), "site")


@pytest.mark.parametrize("category", ["5e", "6", "'6'", "6A", "Cat6a", "cat 6", "OM3"])
def test_a_category_may_be_written_as_people_write_it(category: str) -> None:
    route = f"cable_routes: [{{between: [gate, barn], state: laid, category: {category}}}]"
    check(read(SMALL + route), "site")


# --- the two libraries agree ----------------------------------------------------------------------

ODD: list[Json] = [
    *(None, True, False, "", "x", "auto", "auto\n", "no", "5", "44", "NO\n", "2026-05-03\n"),
    *(
        "2026-13-40",
        "\u0662\u0660\u0662\u0666-\u0660\u0665-\u0660\u0663",
        "éé",
        0,
        1,
        1.0,
        -1,
        5,
        5.0,
        2.4,
        2.5,
        20.0,
        4094.0,
        1e9,
    ),
    *(10**15, -0.0, 1e-9, [], {}, [1, 1.0], ["a", "a"], [[]], [None], {"x": 1}, "a" * 33),
]
KEYS = sorted({key for _, key, _ in properties(SITE)} | {"", "chanel", "x y", "é", "a:b", "on"})


def pointers(value: Json, here: model.Pointer = ()) -> typing.Iterator[model.Pointer]:
    steps = value.items() if isinstance(value, dict) else enumerate(value)
    for step, member in steps:
        yield (*here, step)
        if isinstance(member, dict | list):
            yield from pointers(member, (*here, step))


def kept_secrets(value: Json, key: object = None) -> typing.Iterator[str]:
    """Yield the invented secrets that still stand under a key for secrets.

    A text that was moved under another key is an ordinary text, which may be repeated.
    """
    if isinstance(value, str) and key in SECRETS and "invented, number" in value.lower():
        yield value
    if isinstance(value, dict):
        for step, member in value.items():
            yield from kept_secrets(member, step)
    elif isinstance(value, list):
        for member in value:
            yield from kept_secrets(member, key)


@st.composite
def mutated(draw: st.DrawFn) -> Json:
    """Return the site with everything, spoilt in one to three places."""
    value = copy.deepcopy(everything())
    for _ in range(draw(st.integers(1, 3))):
        pointer = draw(st.sampled_from(list(pointers(value))))
        parent = value
        for step in pointer[:-1]:
            parent = parent[step]
        how = draw(st.sampled_from(["delete", "rename", "retype", "respell"]))
        old = parent[pointer[-1]]
        if how == "delete":
            del parent[pointer[-1]]
        elif how == "rename" and isinstance(parent, dict):
            parent[draw(st.sampled_from(KEYS))] = parent.pop(pointer[-1])
        elif how == "respell" and isinstance(old, str | int | float):
            spellings = [str(old), str(old).upper(), f"{old}\n", f" {old}", [old], {"x": old}]
            parent[pointer[-1]] = draw(st.sampled_from(spellings))
        else:
            parent[pointer[-1]] = copy.deepcopy(draw(st.sampled_from(ODD)))
        if not isinstance(value, dict) or not value:
            break
    return value


@pytest.mark.slow
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mutated())
def test_all_three_agree_on_every_spoilt_site_and_it_is_explained(value: Json) -> None:
    document = read(json.dumps(value))
    decided = jsonschema_rs.Draft202012Validator(SITE).is_valid(document.value)
    assert explainer(SITE).is_valid(document.value) == decided
    assert Shape(SITE).fits(document.value) == decided
    if decided:
        check(document, "site")
        return
    with pytest.raises(InputError) as caught:
        check(document, "site")
    assert caught.value.problems
    told = str(caught.value)
    assert not [secret for secret in kept_secrets(value) if secret in told]


EVERY_SCHEMA: list[dict[str, Any]] = [
    json.loads(schema_text(name)) for name in typing.get_args(schema.SchemaName)
]
PARTS = [
    {**part, "$defs": whole.get("$defs", {})}
    for whole in EVERY_SCHEMA
    for _, part in subschemas(whole)
    if isinstance(part, dict)
]
WORDS = sorted({word for part in PARTS for word in part.get("enum", ()) if isinstance(word, str)})
PLAIN = (
    st.none()
    | st.booleans()
    | st.integers(-2, 7000)
    | st.floats(-2, 7000).map(lambda number: round(number, 1))
    | st.sampled_from([*WORDS, "", "auto", "GB", "GB\n", "a-b", "2026-09-14", "1.0", "x" * 70])
)


def values(part: dict[str, Any]) -> st.SearchStrategy[Json]:
    """Return values of all kinds, mappings with keys of the schema among them."""
    keys = st.sampled_from([*part.get("properties", ()), "a", "1"])
    return st.recursive(
        PLAIN, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4)
    )


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_each_part_of_each_schema_takes_what_an_independent_library_takes(
    data: st.DataObject,
) -> None:
    part = data.draw(st.sampled_from(PARTS))
    value = data.draw(values(part))
    assert Shape(part).fits(value) == jsonschema_rs.Draft202012Validator(part).is_valid(value)


@pytest.mark.parametrize(
    ("schema", "value"),
    [
        ({"enum": [1, 2]}, True),
        ({"enum": [1, 2]}, 1.0),
        ({"enum": ["a"]}, ["a"]),
        ({"const": 0}, False),
        ({"type": "integer"}, 7.0),
        ({"type": "number"}, True),
        ({"uniqueItems": True}, [1, True, 1.5]),
        ({"uniqueItems": True}, [1, 1.0]),
        ({"uniqueItems": True}, [{"a": [1]}, {"a": [1.0]}]),
        ({"properties": {"a": False}}, {"a": 1}),
        ({"propertyNames": {"maxLength": 1}}, {"ab": 1}),
        ({"exclusiveMinimum": 0}, 0),
        ({"maxLength": 1}, "\U0001f600"),
        ({"$defs": {"t": {"items": {"$ref": "#/$defs/t"}}}, "$ref": "#/$defs/t"}, [[[]]]),
    ],
)
def test_what_is_easily_taken_for_equal_or_for_a_number_is_told_apart(
    schema: dict[str, Any], value: Json
) -> None:
    expected = jsonschema_rs.Draft202012Validator(schema).is_valid(value)
    assert Shape(schema).fits(value) == expected


def test_every_keyword_of_our_schemas_is_known_and_no_other_is_passed_over() -> None:
    for part in PARTS:
        assert isinstance(Shape(part).fits(None), bool)
    with pytest.raises(ValueError, match="dependentRequired"):
        Shape({"dependentRequired": {"a": ["b"]}})


def test_the_libraries_differ_where_python_lets_a_line_feed_pass() -> None:
    """The reason for a `pattern` of our own in the explaining validator."""
    value = {**read(SMALL).value, "site": {"name": "Tarn", "country": "NO\n"}}  # type: ignore[dict-item]
    assert jsonschema.Draft202012Validator(SITE).is_valid(value)
    assert not jsonschema_rs.Draft202012Validator(SITE).is_valid(value)
    assert not explainer(SITE).is_valid(value)


# --- where the files lie --------------------------------------------------------------------------


def test_data_files_lie_beside_the_package_in_a_checkout_and_inside_it_in_a_wheel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "meshlint"
    package.mkdir()
    monkeypatch.setattr(datafiles, "_PACKAGE", package)
    assert datafiles.data_folder("rules") == tmp_path / "rules"
    (package / "data" / "rules").mkdir(parents=True)
    assert datafiles.data_folder("rules") == package / "data" / "rules"

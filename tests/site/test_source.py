"""Reading: values, places, limits, and what becomes of input that nobody should write."""

from __future__ import annotations

import io
import json
import re
from typing import TYPE_CHECKING

import pytest
import yaml
from hypothesis import example, given
from hypothesis import strategies as st

from meshlint.site.problem import InputError, Place
from meshlint.site.source import Document, Limits, Value, pointer_text, read_document

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.source import Pointer, Scalar

# YAML 1.2.2, section 10.3.2, example 10.9 (core tag resolution), without its last line ("Also
# floats"), whose values are refused here.
EXAMPLE_10_9 = """\
A null: null
Also a null: # Empty
Not a null: ""
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]
"""

# Text for YAML 1.2 and something else for YAML 1.1 (its type repository: bool, int, float,
# timestamp, merge), or near to a number of YAML 1.2 without being one.
TEXT = (
    *("NO", "no", "No", "on", "ON", "off", "yes", "y", "n", "TRue", "nULL", "none", "12:30"),
    *("190:20:30", "1_36", "0b101", "0o8", "0o", "0x", "0xfg", "-0x1", "+0o7", "2026-09-14"),
    *("2026-09-14T10:00:00Z", "1e", "1e+", "e3", ".e1", ".", "+", "--", "1.2.3", "1,5"),
    *("5GHz", "802.11ax", ".info", ".Nan", "+.nan", "1e1e1", "١٢", "½", "=", "6A", "nan"),
    *("inf", "Infinity", "~x"),
)

# Read off the regular expressions of YAML 1.2.2, section 10.3.2.
NUMBERS: list[tuple[str, Scalar]] = [
    ("1e3", 1000.0),
    ("1.5E-2", 0.015),
    ("+7", 7),
    ("007", 7),
    ("-0", 0),
    ("-.5", -0.5),
    ("0xffFF", 65535),
    ("0o777", 511),
    ("999999999999999999", 10**18 - 1),
    ("-999999999999999999", 1 - 10**18),
    ("0" * 6000 + "12", 12),
    ("-" + "0" * 30 + "12", -12),
    ("0." + "1" * 6000, 1 / 9),
    ("1e-999", 0.0),
]

text_values = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12
)
scalars = (
    st.none()
    | st.booleans()
    | st.integers(1 - 10**18, 10**18 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | text_values
)
# Null alone is as good as an empty file, and refused.
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(text_values, inner, max_size=4),
    max_leaves=12,
).filter(lambda value: value is not None)


def read(text: str | bytes, limits: Limits | None = None) -> Document:
    """Read a document under the name of f."""
    data = text.encode() if isinstance(text, str) else text
    return read_document(data, "f") if limits is None else read_document(data, "f", limits)


def complaints(text: str | bytes, limits: Limits | None = None) -> list[tuple[int, int, str]]:
    """Return what is said of a file that must be refused: line, column, message."""
    with pytest.raises(InputError) as refused:
        read(text, limits)
    return [(p.place.line, p.place.column, p.message) for p in refused.value.problems]


def as_json(value: Value, indent: int | None = None) -> str:
    """Return JSON text, with those characters escaped that YAML does not take as they are."""
    return re.sub(
        "[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]",
        lambda found: f"\\u{ord(found.group()):04x}",
        json.dumps(value, ensure_ascii=False, indent=indent),
    )


def pointers(value: Value, above: Pointer = ()) -> Iterator[tuple[Pointer, Value]]:
    """Yield every pointer into a value, with what it points to."""
    yield above, value
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from pointers(inner, (*above, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from pointers(inner, (*above, index))


def index_of(text: str, place: Place) -> int:
    """Return the index of a place in a text whose lines end in line feeds."""
    return sum(len(line) + 1 for line in text.split("\n")[: place.line - 1]) + place.column - 1


def test_the_example_of_the_core_schema_is_read_as_published() -> None:
    expected = {
        "A null": None,
        "Also a null": None,
        "Not a null": "",
        "Booleans": [True, True, False, False],
        "Integers": [0, 7, 58, -19],
        "Floats": [0.0, -0.0, 0.5, 12000.0, -200000.0],
    }
    assert repr(read(EXAMPLE_10_9).value) == repr(expected)


@pytest.mark.parametrize(("written", "meant"), NUMBERS)
def test_numbers_are_those_of_the_core_schema(written: str, meant: Scalar) -> None:
    assert repr(read(f"a: {written}").value) == repr({"a": meant})


@pytest.mark.parametrize("written", TEXT)
def test_what_yaml_1_2_calls_text_stays_text(written: str) -> None:
    assert read(f"a: {written}").value == {"a": written}


@pytest.mark.parametrize("written", ["6", "true", ".inf", "~", "1e3", "9" * 40, ""])
def test_quoted_and_block_scalars_are_text(written: str) -> None:
    text = f"a: \"{written}\"\nb: '{written}'\nc: |-\n  {written}\nd: >-\n  {written}\n"
    assert read(text).value == dict.fromkeys("abcd", written)


@pytest.mark.parametrize("key", ["6", "5e", "NO", "true", "null", "~", "0x3A", ".nan", "1e3"])
def test_a_key_of_any_look_is_its_text(key: str) -> None:
    assert read(f"{key}: 1\n").value == {key: 1}


@given(values)
@example({"": {"<<": [[], {}, "\x01\x1b\u2028\U0001f600", -0.0, 5e-324, 1.7976931348623157e308]}})
def test_json_reads_back_equal(value: Value) -> None:
    assert repr(read(as_json(value)).value) == repr(value)


@given(values, st.sampled_from([None, 0, 3]))
def test_a_place_is_where_the_value_begins(value: Value, indent: int | None) -> None:
    text = as_json(value, indent)
    document = read(text)
    for pointer, inner in pointers(value):
        at = index_of(text, document.place(pointer))
        assert repr(json.JSONDecoder().raw_decode(text, at)[0]) == repr(inner)
        if pointer and isinstance(pointer[-1], str):
            at = index_of(text, document.key_place(pointer))
            assert json.JSONDecoder().raw_decode(text, at)[0] == pointer[-1]
        else:
            assert document.key_place(pointer) == document.place(pointer)


@given(values, st.sampled_from([None, False, True]))
def test_places_agree_with_the_marks_of_pyyaml(value: Value, flow: bool | None) -> None:
    # Reference: PyYAML's own composer and parser in Python, which share no code with libyaml.
    # The copy through JSON keeps the dumper from writing aliases for shared parts.
    text = yaml.safe_dump(json.loads(as_json(value)), default_flow_style=flow, sort_keys=False)
    document = read(text)

    def compare(node: yaml.Node, pointer: Pointer) -> None:
        assert document.place(pointer) == marked(node)
        if isinstance(node, yaml.MappingNode):
            for key, inner in node.value:
                assert document.key_place((*pointer, key.value)) == marked(key)
                compare(inner, (*pointer, key.value))
        elif isinstance(node, yaml.SequenceNode):
            for index, inner in enumerate(node.value):
                compare(inner, (*pointer, index))

    whole = yaml.compose(text, Loader=yaml.SafeLoader)
    assert whole is not None
    compare(whole, ())


def marked(node: yaml.Node) -> Place:
    """Return where PyYAML says that a node begins."""
    return Place("f", node.start_mark.line + 1, node.start_mark.column + 1)


@given(st.lists(st.sampled_from(["\n", "\r\n", "\r", "\x85", "\u2028", "\u2029"]), min_size=1))
def test_lines_are_counted_as_editors_count_them(breaks: list[str]) -> None:
    # The text ends a line at each of these (YAML 1.1 does, and so does libyaml); editors and
    # compilers count CR LF, CR and LF only, which is what universal newlines mean in Python.
    text = "".join(f"😀{number}: 0{sign}" for number, sign in enumerate(breaks)) + "last: 0"
    document = read(text)
    before = io.StringIO(text[: text.index("last")], newline=None).read()
    place = document.key_place(("last",))
    assert place == Place("f", before.count("\n") + 1, len(before) - before.rfind("\n"))
    whole = io.StringIO(text, newline=None).read()
    assert document.line_text(place.line) == whole.split("\n")[-1]


def test_a_missing_pointer_is_placed_at_its_nearest_ancestor() -> None:
    document = read("units:\n  desk: {at: {x_m: 1}}\nlist:\n  - a\n  - {b: 1}\n")
    assert document.place(("units", "desk", "at", "x_m")) == Place("f", 2, 20)
    assert document.key_place(("units", "desk", "at", "x_m")) == Place("f", 2, 15)
    assert document.place(("units", "desk", "at", "y_m")) == Place("f", 2, 10)
    assert document.key_place(("units", "desk", "at", "y_m")) == Place("f", 2, 10)
    assert document.place(("units", "desk", "model", "name")) == Place("f", 2, 3)
    assert document.place(("list", 1, "c")) == Place("f", 5, 5)
    assert document.place(("list", 2)) == Place("f", 3, 1)
    assert document.place(("list", "1")) == Place("f", 3, 1)
    assert document.place(("sites",)) == Place("f", 1, 1)
    assert document.place(()) == Place("f", 1, 1)


def test_nothing_after_a_colon_is_placed_after_the_colon() -> None:
    assert read("a:\nb: 1\n").place(("a",)) == Place("f", 1, 3)


def test_a_line_past_the_end_is_empty() -> None:
    document = read("a: 1\r\nb: 2")
    assert [document.line_text(line) for line in (0, 1, 2, 3)] == ["", "a: 1", "b: 2", ""]


def test_a_pointer_reads_as_a_path() -> None:
    assert pointer_text(("units", "desk", "at")) == "units/desk/at"
    assert pointer_text(("walls", 2)) == "walls/2"


@pytest.mark.parametrize("mark", ["", "\ufeff", "\ufeff\ufeff"])
def test_a_byte_order_mark_counts_for_nothing(mark: str) -> None:
    document = read(f"{mark}é: 1\n")
    assert document.value == {"é": 1}
    assert document.place(("é",)) == Place("f", 1, 4)


def test_a_version_line_is_read_over() -> None:
    assert read("%YAML 1.2\n---\na: NO\n").value == {"a": "NO"}
    assert read("%YAML 1.1\n---\na: NO\n...\n").value == {"a": "NO"}


def test_an_alias_is_a_copy_of_its_own() -> None:
    document = read("a: &a {b: [1]}\nc: *a\nd: &d x\ne: [*d, *a]\n")
    assert document.value == {
        "a": {"b": [1]},
        "c": {"b": [1]},
        "d": "x",
        "e": ["x", {"b": [1]}],
    }
    assert isinstance(document.value, dict)
    assert document.value["a"] is not document.value["c"]
    assert document.place(("c",)) == Place("f", 2, 4)
    assert document.place(("c", "b", 0)) == Place("f", 1, 12)
    assert document.key_place(("e", 1, "b")) == Place("f", 1, 8)


def test_an_anchor_given_anew_names_the_newer_value() -> None:
    # YAML 1.2.2, section 7.1: an alias refers to the most recent node that has the anchor.
    assert read("[&a 1, *a, &a 2, *a, &b [&b 3, *b], *b]").value == [1, 1, 2, 2, [3, 3], 3]


def test_mistakes_that_do_not_hang_together_are_told_in_one_go() -> None:
    text = "a: 1\nb: [.nan, !!int 3]\na: 2\n<<: {}\n? [1]\n: 2\nc: 5 6: 7\n"
    assert [(line, column) for line, column, _ in complaints(text)] == [
        (2, 5),
        (2, 11),
        (3, 1),
        (4, 1),
        (5, 3),
        (7, 7),
    ]


def test_a_repeated_key_is_found_behind_other_keys_and_deep_values() -> None:
    text = "z: a\nx: {a: 0}\na: &a [{a: 1}, {x: 2}]\n? b\n: *a\nx: 1\n'a': 2\n"
    said = complaints(text)
    assert [place[:2] for place in said] == [(6, 1), (7, 1)]
    assert "this key is given twice in one map, on lines 2 and 6" in said[0][2]
    assert "this key is given twice in one map, on lines 3 and 7" in said[1][2]


def test_a_flood_of_mistakes_is_cut_short() -> None:
    said = complaints("a: 1\n" * 10_000)
    assert len(said) < 100
    assert "too many mistakes" in said[-1][2]


def test_limits_are_those_given() -> None:
    limits = Limits(bytes=40, depth=2, nodes=20)
    assert read("a: [1, 2]", limits).value == {"a": [1, 2]}
    assert complaints("a: [[1]]", limits) == [(1, 5, "lists and maps stand more than 2 deep")]
    assert complaints("#" * 41, limits) == [(1, 1, "the file holds 41 bytes; at most 40 are read")]
    assert complaints("[" + "1," * 19 + "]", limits)[0][2] == "the file has more than 20 parts"
    many = complaints("[&a [1,2,3,4],*a,*a,*a,*a]", limits)
    assert many == [(1, 24, "aliases copy more than 20 parts in all")]
    deep = complaints("[&a [1], [*a]]", limits)
    assert deep == [(1, 11, "with this alias, lists and maps stand more than 2 deep")]


def test_the_depth_limit_holds_for_every_way_of_nesting() -> None:
    assert read("[" * 64 + "]" * 64).value is not None
    assert complaints("[" * 65 + "]" * 65) == [(1, 65, "lists and maps stand more than 64 deep")]
    assert "deep" in complaints("[" * 100_000)[0][2]
    assert "deep" in complaints("{a: " * 100_000)[0][2]
    assert "deep" in complaints("- " * 100_000)[0][2]
    assert "deep" in complaints("".join(" " * level + "a:\n" for level in range(100)))[0][2]


def test_an_alias_bomb_does_not_go_off() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]\n"]
    for level in range(1, 30):
        inner = ", ".join([f"*a{level - 1}"] * 9)
        lines.append(f"a{level}: &a{level} [{inner}]\n")
    ((line, _, message),) = complaints("".join(lines))
    assert line < 10
    assert "aliases copy more than" in message


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try_everything(data)


PIECES = (
    *"[]{}:,-?#&*!|>'\"%@`~=\\\t\n\r\0é😀\x85\u2028\ufeff a1",
    *(": ", "- ", "&a ", "*a ", "!x ", "!!int ", "!%ED%A0%80 ", "<<: ", "a: ", "\n  ", "|\n"),
    *("%YAML 1.2\n", "%TAG ! x\n", "---\n", "...\n", ".nan", "1e999", "0x", "\\ud800"),
)


@given(st.lists(st.sampled_from(PIECES), max_size=25).map("".join))
@example("!%ED%A0%80 x")
@example("? [1]\n: x\n'': y\n")
def test_any_sequence_of_signs_is_read_or_refused(text: str) -> None:
    try_everything(text.encode())


def try_everything(data: bytes) -> None:
    """Read; whatever comes of it, every place must stand within the file."""
    lines = io.StringIO(data.decode(errors="replace"), newline=None).read().split("\n")
    places = places_in(data)
    assert places
    for place in places:
        assert 1 <= place.line <= len(lines)
        assert 1 <= place.column <= len(lines[place.line - 1]) + 1


def places_in(data: bytes) -> list[Place]:
    """Return the places of everything that a file holds, or else of what is wrong with it."""
    try:
        document = read(data)
    except InputError as error:
        return [problem.place for problem in error.problems]
    return [document.place(pointer) for pointer, _ in pointers(document.value)]

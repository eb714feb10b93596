"""Edits change the meant places of a file and keep every other byte."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from meshlint.edits.rewriting import Append, Drop, Edit, RefusedError, Set, rewritten
from meshlint.edits.spans import Part, parts, span
from meshlint.site.source import Document, Pointer, read_document

ROOT = Path(__file__).parents[2]


def texts() -> list[bytes]:
    """Return every sample and every rule case, as they are and with other line breaks."""
    found = [path.read_bytes() for path in sorted(ROOT.glob("samples/**/*.yaml"))]
    for path in sorted(ROOT.glob("tests/rules/*.yaml")):
        found += [t.encode() for t in re.split(r"^---\n", path.read_text(), flags=re.MULTILINE)]
    odd = [b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n") for data in found[:40:3]]
    return found + odd


def pointers(value: Any, at: Pointer = ()) -> list[Pointer]:
    """Return the places of all values in a value."""
    names = (
        value if isinstance(value, dict) else range(len(value) if isinstance(value, list) else 0)
    )
    return [at, *(p for name in names for p in pointers(value[name], (*at, name)))]


def at(value: Any, pointer: Pointer) -> Any:
    for step in pointer:
        value = value[step]
    return value


def sample_of(document: Document) -> list[Pointer]:
    """Return some of the places of a document, other ones of others."""
    found = pointers(document.value)[1:]
    step = max(1, len(found) // 4)
    return found[len(document.text) % step :: step]


def test_the_span_of_every_value_holds_that_value() -> None:
    counted = 0
    for data in texts():
        document = read_document(data, "x")
        raw = document.text.encode()
        waiting: list[tuple[Any, Part, Pointer]] = [(document.value, parts(document), ())]
        for value, part, pointer in waiting:
            said = document.text[part.start : part.end]
            if part.inner:
                waiting += [(value[n], p, (*pointer, n)) for n, p in part.inner.items()]
            elif not isinstance(value, dict | list) and said[:1] not in ("*", "&", "|", ">"):
                assert (read_document(said.encode(), "x").value if said else None) == value
                counted += 1
        for pointer in sample_of(document)[:1]:
            start, end = span(document, pointer)
            if not isinstance(at(document.value, pointer), dict | list):
                assert raw[start:end].decode() == document.text[start:end] or not raw.isascii()
    assert counted > 5_000


@pytest.mark.parametrize("kind", ["set", "add", "drop", "append"])
def test_an_edit_changes_the_meant_place_and_keeps_every_other_byte(kind: str) -> None:
    made = refused = others = 0
    for data in texts():
        document = read_document(data, "x")
        for pointer in sample_of(document):
            value = at(document.value, pointer)
            edit: Edit
            if kind == "set":
                edit = Set(pointer, 987654)
            elif kind == "drop":
                edit = Drop(pointer)
            elif kind == "add" and isinstance(value, dict):
                edit = Set((*pointer, "new key"), ["a b", 3, {"x": True}])
            elif kind == "append" and isinstance(value, list):
                edit = Append(pointer, {"x": "true"})
            else:
                continue
            try:
                after = rewritten(data, [edit])  # reads again, and compares with what is meant
            except RefusedError as error:
                refused += 1
                others += "anchor" not in str(error)
                continue
            made += 1
            kept_before = len(_common(data, after))
            kept_after = len(_common(data[::-1], after[::-1]))
            stretch = len(data) - kept_before - kept_after
            top = parts(document)
            part = top
            for step in pointer:
                part = part.inner[step]
            most = len(document.text[part.first : part.end].encode())
            line = 2 + max(len(line) for line in data.split(b"\n"))
            assert stretch <= (most + line if kind in ("set", "drop") else 0)
    assert made > 100
    assert refused < made
    assert others == 0


def _common(one: bytes, other: bytes) -> bytes:
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        if one[:middle] == other[:middle]:
            low = middle
        else:
            high = middle - 1
    return one[:low]


TEXT = b"""\
# head
a: {x: 1, y: 2}   # why a
b:                # why b
  - k: 1
    l: 2
  - z
c:
d: [1,  # one
    2]
"""


@pytest.mark.parametrize(
    ("edits", "before", "after"),
    [
        ([Set(("a", "x"), 7)], b"{x: 1,", b"{x: 7,"),
        ([Set(("a", "z"), "no")], b"y: 2}", b'y: 2, z: "no"}'),
        ([Drop(("a", "x"))], b"{x: 1, y", b"{y"),
        ([Drop(("a", "y"))], b"1, y: 2}", b"1}"),
        ([Set(("c",), "t")], b"c:\n", b"c: t\n"),
        ([Set(("c", "k"), 1)], b"c:\n", b"c: {k: 1}\n"),
        ([Append(("b",), 5)], b"  - z\n", b"  - z\n  - 5\n"),
        ([Set(("b", 0, "m"), 5)], b"    l: 2\n", b"    l: 2\n    m: 5\n"),
        ([Drop(("b", 0, "k"))], b"- k: 1\n    l", b"- l"),
        ([Drop(("d", 1))], b"[1,  # one\n    2]", b"[1  # one\n]"),
        ([Drop(("d", 0))], b"[1,  # one", b"[# one"),
        ([Drop(("c",)), Set(("a", "x"), 3)], b"c:\n", b""),
    ],
)
def test_an_edit_reads_as_a_person_would_have_made_it(
    edits: list[Edit], before: bytes, after: bytes
) -> None:
    wanted = TEXT.replace(before, after)
    if len(edits) > 1:
        wanted = wanted.replace(b"x: 1", b"x: 3")
    assert rewritten(TEXT, edits) == wanted


def test_what_an_anchor_shares_is_refused_with_the_reason() -> None:
    for pointer in (("a", "x"), ("b", "x"), ("b",)):
        with pytest.raises(RefusedError, match="shared by an anchor"):
            rewritten(b"a: &n {x: 1}\nb: *n\n", [Set(pointer, 2)])


@pytest.mark.parametrize("text", ["\x7f", "a\x9bb", "\u2028", "\ufeff", "\U0001f600", "\x85", '"'])
def test_any_text_that_a_file_can_mean_is_written_so_that_it_reads_back(text: str) -> None:
    after = rewritten(b"a: {x: 1}\n", [Set(("a", "y"), text), Set(("a", text), 2)])
    assert read_document(after, "x").value == {"a": {"x": 1, "y": text, text: 2}}

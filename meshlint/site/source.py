"""Bytes of a YAML file to plain values, with the place of everything in it.

Reading follows the YAML 1.2 core schema, narrowed to what a hand-written description needs: one
document, text keys, no tags, no merge keys, no NaN or infinity.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct
from yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    Event,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
)

from meshlint.site.compose import Composer, Value, start
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.lines import Lines
from meshlint.site.problem import InputError, Place, Problem
from meshlint.site.scalars import Scalar

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

__all__ = [
    "LIMITS",
    "Document",
    "Limits",
    "Pointer",
    "Scalar",
    "Value",
    "pointer_text",
    "read_document",
]

Pointer: TypeAlias = tuple[str | int, ...]

_BOM = b"\xef\xbb\xbf"


class Document(Struct, frozen=True, eq=False, dict=True):
    """A file that was read: its plain value and the place of everything in it."""

    path: str
    value: Value
    _lines: Lines
    _events: Sequence[Event]
    _origins: Mapping[Pointer, Pointer] = {}

    def saying(self, value: Value, origins: Mapping[Pointer, Pointer]) -> Document:
        """Return the same file with another value; `origins` say what derived parts come from."""
        return Document(self.path, value, self._lines, self._events, origins)

    @cached_property
    def _outline(self) -> _Node:
        return _outline(self._events)

    @property
    def events(self) -> Sequence[Event]:
        """What the reader found, in the order of the text; their marks are indexes of `text`."""
        return self._events

    @property
    def text(self) -> str:
        """The file as text, without a byte order mark and with its line breaks as they are."""
        return self._lines.text

    def place(self, pointer: Pointer) -> Place:
        """Return the place of a value, or of the key of its nearest ancestor that exists."""
        node, missing = self._find(pointer)
        return self._place(node.key if missing and node.key is not None else node.value)

    def key_place(self, pointer: Pointer) -> Place:
        """Return the place of the key that leads to a value, or else what `place` returns."""
        node, _ = self._find(pointer)
        return self._place(node.value if node.key is None else node.key)

    def line_text(self, line: int) -> str:
        """Return a line of the file (counted from one) without its break; empty past the end."""
        return self._lines.text_of(line)

    def comments(self) -> Iterator[tuple[int, str]]:
        """Yield (line, text) of what may be comments; quoted text after a `#` is among them."""
        return self._lines.comments()

    def _place(self, event: Event) -> Place:
        return self._lines.place(self.path, start(event))

    def _origin(self, pointer: Pointer) -> Pointer:
        """Return where the words stand that a derived part, or a value in it, comes from."""
        for end in range(len(pointer), 0, -1) if self._origins else ():
            if pointer[:end] in self._origins:
                return (*self._origins[pointer[:end]], *pointer[end:])
        return pointer

    def _find(self, pointer: Pointer) -> tuple[_Node, bool]:
        node = self._outline
        for step in self._origin(pointer):
            child = node.children.get(step)
            if child is None:
                return node, True
            node = child
        return node, False


def read_document(data: bytes, path: str, limits: Limits = LIMITS) -> Document:
    """Return the document that a file's bytes hold; `path` is the name to show in places.

    Raises `InputError` with every independent mistake that could be found.
    """
    if len(data) > limits.bytes:
        raise InputError.at(
            Place(path),
            f"the file holds {len(data)} bytes; at most {limits.bytes} are read",
        )
    while data.startswith(_BOM):
        data = data[len(_BOM) :]
    lines = Lines(_decoded(data, path))
    composer = Composer(lines, limits)
    composer.read(data)
    if composer.problems:
        raise InputError(
            Problem(lines.place(path, at), message) for at, message in composer.problems
        )
    return Document(path, composer.top[0], lines, composer.events)


def pointer_text(pointer: Pointer) -> str:
    """Return a pointer as people read it, such as ``units/desk/at``."""
    return "/".join(map(str, pointer))


def _decoded(data: bytes, path: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError.at(Place(path), "the file is in UTF-16 or UTF-32; save it as UTF-8")
    try:
        return data.decode()
    except UnicodeDecodeError as error:
        before = Lines(data[: error.start].decode())
        raise InputError.at(
            before.place(path, len(before.text)),
            f"byte {data[error.start]:#04x} is not UTF-8; save the file as UTF-8",
        ) from None


class _Node(Struct, frozen=True):
    """The event with which a value begins, that of its key, and what stands in the value."""

    value: Event
    key: Event | None
    children: dict[str | int, _Node]


def _outline(events: Sequence[Event]) -> _Node:
    """Return the places in a document without mistakes."""
    top: dict[str | int, _Node] = {}
    into, key, in_map = top, None, False
    outer: list[tuple[dict[str | int, _Node], bool]] = []
    anchors: dict[str, dict[str | int, _Node]] = {}
    for event in events:
        if isinstance(event, ScalarEvent) and in_map and key is None:
            key = event
            if event.anchor is not None:
                anchors[event.anchor] = {}
        elif isinstance(event, NodeEvent):
            children: dict[str | int, _Node] = {}
            if event.anchor is not None:
                if isinstance(event, AliasEvent):
                    children = anchors[event.anchor]
                anchors[event.anchor] = children
            name = len(into) if key is None else key.value
            into[name] = _Node(event, key, children)
            key = None
            if isinstance(event, CollectionStartEvent):
                outer.append((into, in_map))
                into, in_map = children, isinstance(event, MappingStartEvent)
        elif isinstance(event, CollectionEndEvent):
            into, in_map = outer.pop()
    return top[0]

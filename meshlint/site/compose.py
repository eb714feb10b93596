"""Plain values put together from the events into which libyaml splits a text.

Depth, size, aliases and repeated keys are checked as they come, so that nothing can grow past its
limit first. The events are kept: places are worked out from them only when somebody asks.
"""

from __future__ import annotations

import re
from itertools import islice
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct
from yaml.error import MarkedYAMLError
from yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)
from yaml.reader import ReaderError

from meshlint.site.problem import MOST_PROBLEMS, TOO_MANY
from meshlint.site.scalars import STARTS, RefusedError, Scalar, resolved
from meshlint.site.syntax import TAG, explain

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meshlint.site.limits import Limits
    from meshlint.site.lines import Lines

Value: TypeAlias = "Scalar | list[Value] | dict[str, Value]"


# YAML 1.2.2, production 1 (c-printable), as libyaml applies it.
_UNPRINTABLE = re.compile("[^\t\n\r -~\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class _StopError(Exception):
    """A mistake after which reading on makes no sense."""

    def __init__(self, at: int, message: str) -> None:
        super().__init__(message)
        self.at = at
        self.message = message


class _Anchor(Struct):
    """What an anchor names; `size` is in events, zero as long as it is still being read."""

    value: Value
    size: int
    begins: int = 0


class Composer:
    """Puts values together from events; `problems` are (index in the text, message).

    `top` holds the value of the document, once it is read and there are no problems.
    """

    def __init__(self, lines: Lines, limits: Limits) -> None:
        """Make ready to read a text, given as its lines."""
        self.lines = lines
        self.limits = limits
        self.events: list[Event] = []
        self.problems: list[tuple[int, str]] = []
        self.top: list[Value] = []
        # Where the next value goes, and under which key (None: the next scalar is the key).
        self.into: list[Value] | dict[str, Value] = self.top
        self.key: str | None = None
        self.outer: list[tuple[list[Value] | dict[str, Value], str | None, _Anchor | None]] = []
        self.anchors: dict[str, _Anchor] = {}
        self.copied = 0
        self.begun = False

    def read(self, data: bytes) -> None:
        """Read the text, given as the UTF-8 bytes that it is, without a byte-order mark."""
        try:
            self._consume(data)
        except _StopError as stop:
            self.problems.append((stop.at, stop.message))
        except MarkedYAMLError as error:
            self.problems.append(explain(error, self.lines.text, self.lines.line_of))
        except ReaderError:
            self._note_unprintable()
        except UnicodeDecodeError:
            # PyYAML decodes a tag's escapes without care; nothing else can fail so.
            self.problems.append((_end(self.events[-1]), TAG))

    def _consume(self, data: bytes) -> None:
        try:
            from yaml import CBaseLoader
        except ImportError as error:
            message = "this PyYAML is built without libyaml; install a wheel of it, or libyaml-dev"
            raise RuntimeError(message) from error
        # Keyed by exact type: this loop is most of the time that reading takes.
        actions: dict[type[Event], Callable[..., None]] = {
            ScalarEvent: self._scalar,
            MappingStartEvent: self._begin_map,
            MappingEndEvent: self._end_collection,
            SequenceStartEvent: self._begin_list,
            SequenceEndEvent: self._end_collection,
            AliasEvent: self._alias,
            DocumentStartEvent: self._begin_document,
            StreamEndEvent: self._end_stream,
        }
        keep = self.events.append
        event: Event | None = None
        for event in islice(iter(CBaseLoader(data).get_event, None), self.limits.nodes):
            keep(event)
            action = actions.get(type(event))
            if action is not None:
                action(event)
        if type(event) is not StreamEndEvent:
            at = start(self.events[-1]) if self.events else 0
            raise _StopError(at, f"the file has more than {self.limits.nodes} parts")

    def _note(self, event: Event, message: str) -> None:
        if len(self.problems) == MOST_PROBLEMS:
            raise _StopError(start(event), TOO_MANY)
        self.problems.append((start(event), message))

    def _note_unprintable(self) -> None:
        # Each character once: a file in UTF-16 holds little but NUL.
        first: dict[str, int] = {}
        for found in islice(_UNPRINTABLE.finditer(self.lines.text), MOST_PROBLEMS):
            first.setdefault(found.group(), found.start())
        for character, at in first.items():
            message = f"character U+{ord(character):04X} cannot stand in a YAML file"
            if character == "\0":
                message += "; if the file is in UTF-16, save it as UTF-8"
            self.problems.append((at, message))

    def _put(self, value: Value) -> None:
        into = self.into
        if type(into) is list:
            into.append(value)
        elif type(into) is dict and self.key is not None:
            into[self.key] = value
            self.key = None

    def _scalar(self, event: ScalarEvent) -> None:
        text = event.value
        if len(text) > self.limits.text:
            self._note(
                event,
                f"a text of {len(text)} characters; at most {self.limits.text} are read",
            )
        if event.style == '"' and "\0" in text:
            self._note(event, "a text cannot hold U+0000: other programs would end it there")
        if event.tag is not None:
            self._note_tag(event)
        if type(self.into) is dict and self.key is None:
            if text in self.into or text in ("", "<<"):
                self._check_key(event, text)
            self.key = text
            if event.anchor is not None:
                self.anchors[event.anchor] = _Anchor(text, 1)
            return
        value: Scalar = text
        if not event.style and text[:1] in STARTS:
            try:
                value = resolved(text)
            except RefusedError as refused:
                self._note(event, str(refused))
        if event.anchor is not None:
            self.anchors[event.anchor] = _Anchor(value, 1)
        self._put(value)

    def _begin_map(self, event: MappingStartEvent) -> None:
        self._begin_collection(event, {})

    def _begin_list(self, event: SequenceStartEvent) -> None:
        self._begin_collection(event, [])

    def _begin_collection(
        self, event: CollectionStartEvent, value: list[Value] | dict[str, Value]
    ) -> None:
        if len(self.outer) == self.limits.depth:
            raise _StopError(
                start(event), f"lists and maps stand more than {self.limits.depth} deep"
            )
        if event.tag is not None:
            self._note_tag(event)
        if type(self.into) is dict and self.key is None:
            self._note(event, "a key must be text, not a list or a map")
            key_afterwards: str | None = ""
        else:
            self._put(value)
            key_afterwards = None
        anchor = None
        if event.anchor is not None:
            anchor = _Anchor(value, 0, begins=len(self.events) + self.copied)
            self.anchors[event.anchor] = anchor
        self.outer.append((self.into, key_afterwards, anchor))
        self.into = value
        self.key = None

    def _end_collection(self, _event: CollectionEndEvent) -> None:
        self.into, self.key, anchor = self.outer.pop()
        if anchor is not None:
            anchor.size = len(self.events) + self.copied - anchor.begins + 1

    def _alias(self, event: AliasEvent) -> None:
        anchor = self.anchors.get(event.anchor or "")
        value: Value = None
        if anchor is None:
            self._note(event, "no anchor of this name stands before this alias")
        elif anchor.size == 0:
            self._note(event, "this alias stands within what it names")
        else:
            self.copied += anchor.size
            if self.copied > self.limits.nodes:
                raise _StopError(
                    start(event), f"aliases copy more than {self.limits.nodes} parts in all"
                )
            value = self._copy(anchor.value, len(self.outer), event)
        if type(self.into) is dict and self.key is None:
            self._note(event, "a key must be text, not an alias")
            self.key = ""
        else:
            self._put(value)

    def _copy(self, value: Value, depth: int, event: AliasEvent) -> Value:
        if not isinstance(value, list | dict):
            return value
        if depth == self.limits.depth:
            raise _StopError(
                start(event),
                f"with this alias, lists and maps stand more than {self.limits.depth} deep",
            )
        if isinstance(value, list):
            return [self._copy(item, depth + 1, event) for item in value]
        return {key: self._copy(item, depth + 1, event) for key, item in value.items()}

    def _begin_document(self, event: DocumentStartEvent) -> None:
        if self.begun:
            raise _StopError(start(event), "a second document begins here; a file holds one")
        self.begun = True
        if event.tags:
            self._note(event, "'%TAG' is not read; only '%YAML 1.2' may stand before '---'")

    def _end_stream(self, _event: StreamEndEvent) -> None:
        if self.top in ([], [None]) and not self.problems:
            raise _StopError(0, "the file holds nothing, or only comments")

    def _note_tag(self, event: Event) -> None:
        self._note(event, "this tag is not read; write the value without it, text in quotes")

    def _check_key(self, event: ScalarEvent, key: str) -> None:
        if not event.style and key == "<<":
            self._note(event, "'<<' (merging) is not read; write the keys out")
        elif not event.style and not key:
            self._note(event, "expected a key before ':'")
        elif key in self.into:
            line = self.lines.line_of(start(_first_key(self.events, key)))
            again = self.lines.line_of(start(event))
            words = f"this key is given twice in one map, on lines {line} and {again}"
            self._note(event, words)


def start(event: Event) -> int:
    """Return the index in the text at which an event begins."""
    return event.start_mark.index if event.start_mark is not None else 0


def _end(event: Event) -> int:
    return event.end_mark.index if event.end_mark is not None else 0


def _first_key(events: Sequence[Event], key: str) -> Event:
    """Return the event of the first such key in the map whose newest event is the last."""
    parts: list[Event] = []
    level = 0
    for event in reversed(events):
        if isinstance(event, CollectionEndEvent):
            level += 1
        elif isinstance(event, NodeEvent):
            level -= isinstance(event, CollectionStartEvent)
            if level < 0:
                break
            if level == 0:
                parts.append(event)
    keys = parts[::-1][::2]
    return next(part for part in keys if isinstance(part, ScalarEvent) and part.value == key)

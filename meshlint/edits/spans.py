"""Where every value of a document begins and ends, from the reader's own events."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from yaml.events import Event

    from meshlint.site.source import Document, Pointer


class Part(Struct):
    """One value of a text: `start` and `end` are indexes of its characters.

    `key` is where the key that leads to it begins and ends. A value that was left out begins and
    ends behind the colon or the dash. `named` says that it has an anchor or is an alias, and
    `flow` that it is a collection in brackets.
    """

    start: int
    end: int
    key: tuple[int, int] | None
    kind: str
    flow: bool
    named: bool
    inner: dict[str | int, Part]

    @property
    def first(self) -> int:
        """Where the value begins, its key included."""
        return self.start if self.key is None else self.key[0]


def span(document: Document, pointer: Pointer) -> tuple[int, int]:
    """Return where a value begins and ends in the UTF-8 bytes of a text, counted without its mark.

    The end is that of the last thing in it: comments and empty lines that follow are not part of
    it. Raises `KeyError` for a pointer that leads nowhere.
    """
    part = way(parts(document), pointer)[-1]
    start = len(document.text[: part.start].encode())
    return start, start + len(document.text[part.start : part.end].encode())


def way(top: Part, pointer: Pointer) -> list[Part]:
    """Return the parts from the top down to a value; raise `KeyError` where there is none."""
    found = [top]
    for step in pointer:
        found.append(found[-1].inner[step])
    return found


def parts(document: Document) -> Part:
    """Return the whole of a document's text in its parts."""
    events = iter(document.events)
    event = next(e for e in events if isinstance(e, NodeEvent))
    return _part(document.text, event, events, None, 0)


def _part(
    text: str, event: Event, events: Iterator[Event], key: tuple[int, int] | None, least: int
) -> Part:
    """Return a value and what is in it; `least` is where it may begin at the earliest."""
    start, end = _marks(event)
    named = isinstance(event, AliasEvent) or getattr(event, "anchor", None) is not None
    if not isinstance(event, CollectionStartEvent):
        end = start + len(text[start:end].rstrip())
        if start == end:  # left out: the event stands where the reader noticed
            start = end = least
        kind = "alias" if isinstance(event, AliasEvent) else "scalar"
        return Part(start, end, key, kind, flow=False, named=named, inner={})
    inner: dict[str | int, Part] = {}
    is_map = isinstance(event, MappingStartEvent)
    last = start
    for child in events:
        if isinstance(child, CollectionEndEvent):
            if event.flow_style:
                last = _marks(child)[1]
            break
        if is_map:
            assert isinstance(child, ScalarEvent)  # the reader refuses other keys
            begin, until = _marks(child)
            colon = text.index(":", until) + 1
            found = _part(text, next(events), events, (begin, until), colon)
            inner[child.value] = found
        else:
            found = _part(text, child, events, None, _marks(child)[0])
            inner[len(inner)] = found
        last = max(last, found.end)
    kind = "map" if is_map else "list"
    return Part(start, last, key, kind, flow=bool(event.flow_style), named=named, inner=inner)


def _marks(event: Event) -> tuple[int, int]:
    assert event.start_mark is not None
    assert event.end_mark is not None
    return event.start_mark.index, event.end_mark.index

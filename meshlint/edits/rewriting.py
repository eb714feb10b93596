"""Keys and list items set, added and dropped in the bytes of a file, and nothing else touched.

Each edit replaces the smallest stretch of text; comments, blank lines, line breaks and a byte order
mark stay. The result is read again, and must differ from what was there at the meant places only.
"""

from __future__ import annotations

import copy
import re
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from meshlint.edits.spans import parts
from meshlint.site.flow_style import in_flow_style
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.problem import InputError
from meshlint.site.source import pointer_text, read_document

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.edits.spans import Part
    from meshlint.site.source import Document, Pointer, Value

_BOM = b"\xef\xbb\xbf"
_WIDTH = 100


class RefusedError(Exception):
    """An edit that cannot be made without touching more than it means; the text says why."""


class Set(Struct, frozen=True):
    """A value to stand at a place: a key or item that is there, or a key that is not yet."""

    pointer: Pointer
    value: Value


class Append(Struct, frozen=True):
    """An item to stand at the end of a list."""

    pointer: Pointer
    value: Value


class Drop(Struct, frozen=True):
    """A key or a list item to take out."""

    pointer: Pointer


Edit = Set | Append | Drop


def rewritten(data: bytes, edits: Iterable[Edit], limits: Limits = LIMITS) -> bytes:
    """Return the bytes of a file after some edits, each made where the ones before it left it.

    Raises `RefusedError` where an edit cannot be made alone, and `InputError` for bytes that are
    no YAML.
    """
    for edit in edits:
        data = _edited(data, edit, limits)
    return data


def _edited(data: bytes, edit: Edit, limits: Limits) -> bytes:
    document = read_document(data, "", limits)
    if isinstance(edit, Set):
        edit = _with_what_leads_to_it(document.value, edit)
    start, end, text = _patch(document, edit)
    marks = len(data) - len(document.text.encode())
    new = document.text[:start] + text + document.text[end:]
    result = data[:marks] + new.encode()
    where = pointer_text(edit.pointer)
    try:
        again = read_document(result, "", limits).value
    except InputError as error:
        raise RefusedError(f"{where} cannot be rewritten as the file is laid out") from error
    meant = _meant(document.value, edit)
    if not same(again, meant):
        raise RefusedError(f"{where} cannot be rewritten without changing something else")
    return result


def _with_what_leads_to_it(value: Value, edit: Set) -> Set:
    """Return the edit that sets the first key missing on the way, and in it all that follows."""
    for at, step in enumerate(edit.pointer[:-1]):
        if not isinstance(value, dict) or isinstance(edit.pointer[at + 1], int):
            return edit
        if step not in value:
            inner = edit.value
            for key in reversed(edit.pointer[at + 1 :]):
                inner = {str(key): inner}
            return Set(edit.pointer[: at + 1], inner)
        value = value[step]
    return edit


def same(one: Value, other: Value) -> bool:
    """Return whether two values are the same, their types included (`1` is not `true`)."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    return type(one) is type(other) and one == other


def _meant(value: Value, edit: Edit) -> Value:
    # Aliases share values; a copy through JSON's own shapes parts them.
    whole: Any = [_parted(value)]
    steps: tuple[Any, ...] = (0, *edit.pointer)
    into = whole
    for step in steps[:-1]:
        if into[step] is None:
            into[step] = {}
        into = into[step]
    if isinstance(edit, Drop):
        del into[steps[-1]]
    elif isinstance(edit, Append):
        into[steps[-1]].append(copy.deepcopy(edit.value))
    else:
        into[steps[-1]] = copy.deepcopy(edit.value)
    return whole[0]  # type: ignore[no-any-return]


def _parted(value: Value) -> Value:
    if isinstance(value, dict):
        return {key: _parted(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_parted(inner) for inner in value]
    return value


def _patch(document: Document, edit: Edit) -> tuple[int, int, str]:
    """Return the stretch of text that an edit replaces, and by what."""
    top, text, pointer = parts(document), document.text, edit.pointer
    where = pointer_text(pointer)
    above = _above(top, pointer)
    target = above[-1].inner.get(pointer[-1]) if pointer else None
    there = [*above, target] if target is not None else above
    if any(part.named for part in there) or (target is not None and _has_names(target)):
        raise RefusedError(f"{where} is shared by an anchor ('&' or '*')")
    if isinstance(edit, Drop):
        if target is None:
            raise RefusedError(f"nothing stands at {where}")
        return _dropped(text, above[-1], pointer[-1])
    if isinstance(edit, Append):
        if target is None or target.kind != "list":
            raise RefusedError(f"no list stands at {where}")
        return _added(text, target, in_flow_style(edit.value))
    if target is not None:
        return _replaced(text, target, edit.value)
    name = pointer[-1]
    if above[-1].kind == "scalar" and above[-1].start == above[-1].end:
        return _replaced(text, above[-1], {str(name): edit.value})
    if above[-1].kind != "map" or not isinstance(name, str):
        raise RefusedError(f"{pointer_text(pointer[:-1])} is no map that could take a key")
    into = above[-1]
    first = min((part.first for part in into.inner.values()), default=0)
    column = first - _line_start(text, first)
    block = _block(name, edit.value, column, _break(text)) if into.inner and not into.flow else ""
    return _added(text, into, block or f"{in_flow_style(name)}: {in_flow_style(edit.value)}")


def _above(top: Part, pointer: Pointer) -> list[Part]:
    """Return the parts on the way to a place, as far as no alias leads elsewhere."""
    above = [top]
    for step in pointer[:-1]:
        if above[-1].kind == "alias":
            break
        if step not in above[-1].inner:
            raise RefusedError(f"nothing stands at {pointer_text(pointer[:-1])}")
        above.append(above[-1].inner[step])
    return above


def _has_names(part: Part) -> bool:
    return part.named or any(map(_has_names, part.inner.values()))


def _block(name: str, value: Value, column: int, line_break: str) -> str:
    """Return a key and its value from a column on: in one line, or its keys below each other."""
    line = f"{in_flow_style(name)}: {in_flow_style(value)}"
    if column + len(line) <= _WIDTH or not isinstance(value, dict) or not value:
        return line
    start = line_break + " " * (column + 2)
    inner = (_block(key, entry, column + 2, line_break) for key, entry in value.items())
    return f"{in_flow_style(name)}:{start}{start.join(inner)}"


def _replaced(text: str, target: Part, value: Value) -> tuple[int, int, str]:
    gap = (
        " " if target.start == target.end and text[target.start - 1 : target.start] in ":-" else ""
    )
    return target.start, target.end, gap + in_flow_style(value)


def _added(text: str, into: Part, entry: str) -> tuple[int, int, str]:
    if not into.inner:
        closing = into.end - 1
        return closing, closing, entry
    first, last = next(iter(into.inner.values())), list(into.inner.values())[-1]
    if into.flow:
        column = first.first - _line_start(text, first.first)
        used = last.end - _line_start(text, last.end)
        closing = len(text[last.end : _line_end(text, last.end)].rstrip())
        if used + len(entry) + 2 + closing > _WIDTH and column + len(entry) < _WIDTH:
            return last.end, last.end, "," + _break(text) + " " * column + entry
        return last.end, last.end, f", {entry}"
    at = first.first if into.kind == "map" else into.start
    indent = " " * (at - _line_start(text, at))
    dash = "" if into.kind == "map" else "- "
    end = _line_end(text, last.end)
    return end, end, _break(text) + indent + dash + entry


def _dropped(text: str, out_of: Part, name: str | int) -> tuple[int, int, str]:
    entries = list(out_of.inner.values())
    target = out_of.inner[name]
    if len(entries) == 1:
        return out_of.start, out_of.end, "{}" if out_of.kind == "map" else "[]"
    at = next(i for i, entry in enumerate(entries) if entry is target)
    following = entries[at + 1] if at + 1 < len(entries) else None
    if out_of.flow:
        return _out_of_flow(text, target, following, entries[at - 1])
    begin = target.first
    if out_of.kind == "list":
        begin = text.rindex("-", 0, begin + 1)
    line = _line_start(text, begin)
    if text[line:begin].strip():  # the first key after a dash: the next one takes its place
        assert following is not None
        return begin, following.first, ""
    end = _line_end(text, target.end)
    if end == len(text):
        return max(line - len(_break(text)), 0), end, ""
    return line, end + len(_break(text, end)), ""


def _out_of_flow(
    text: str, target: Part, following: Part | None, before: Part
) -> tuple[int, int, str]:
    if following is not None:
        comma = _comma(text, target.end)
        rest = text[comma + 1 :]
        return target.first, comma + 1 + len(rest) - len(rest.lstrip(" ")), ""
    comma = _comma(text, before.end)
    between = text[comma + 1 : target.first]
    if "#" in between:  # a comment that belongs to what stays
        return comma, target.end, between.rstrip(" ")
    return comma, target.end, ""


def _comma(text: str, at: int) -> int:
    """Return where the next comma stands that is no part of a comment."""
    found = re.compile(r"(?:\s+#[^\r\n]*|\s)*,").match(text, at)
    assert found is not None
    return found.end() - 1


def _line_start(text: str, at: int) -> int:
    return max(text.rfind("\n", 0, at), text.rfind("\r", 0, at)) + 1


def _line_end(text: str, at: int) -> int:
    found = re.compile(r"[\r\n]").search(text, at)
    return found.start() if found else len(text)


def _break(text: str, at: int = 0) -> str:
    """Return how a text breaks its lines, at a place or next after it."""
    found = re.compile(r"\r\n|\n|\r").search(text, at)
    return found[0] if found else "\n"

"""Messages with numbers in them: text of a card in which `{link.hops}` stands for a fact.

`{link.clients_behind person|people}` writes the number with the word that fits it, and
`{link.who_is_behind hangs|hang}` the names with the verb that fits them.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from meshlint.workings.fact import NO_SIGNAL, Kind, has_no_signal, written
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.lint.condition import Value
    from meshlint.workings.fact import Fact, Spread

    class Shown(Protocol):
        """Where a text looks a fact up: its value, the ends of it, or `Unknown`."""

        def __getitem__(self, name: str, /) -> Value | Spread:
            """Return what is known of the fact."""


_PLACEHOLDER = r"\{([^{}]*)\}"
_INSIDE = r"([a-z_]+)\.([a-z_0-9]+)(?: ([^|{}]+)\|([^|{}]+))?"


_BETWEEN_SENTENCES = r"(?<=[.!?]) +(?=[A-Z])"

_NOT_KNOWN = "unknown"


class TemplateError(Exception):
    """A placeholder that names nothing; `offset` counts from nought within the text."""

    def __init__(self, message: str, offset: int) -> None:
        self.offset = offset
        super().__init__(message)


class Placeholder(Struct, frozen=True):
    """One placeholder: a fact or a limit, and the words for one and for many."""

    name: str
    one: str = ""
    many: str = ""


class Template(Struct, frozen=True):
    """A text with placeholders, taken apart when first filled."""

    text: str

    @property
    def pieces(self) -> tuple[str | Placeholder, ...]:
        """Return what it is made of, in order."""
        return _pieces(self.text)

    @property
    def reads(self) -> tuple[str, ...]:
        """Return the facts that the text shows."""
        names = (piece.name for piece in self.pieces if isinstance(piece, Placeholder))
        return tuple(dict.fromkeys(n for n in names if not n.startswith("limit.")))

    def fill(
        self,
        facts: Mapping[str, Fact],
        known: Shown,
        limits: Mapping[str, float],
    ) -> str:
        """Return the text with its numbers, without the sentences that need one nobody knows.

        Where no sentence is left, as much of the first as comes before what is unknown: up to its
        last colon or comma. It may be nothing.
        """
        parts: list[str] = []
        for piece in self.pieces:
            if not isinstance(piece, str):
                parts.append(_shown(piece, facts, known, limits))
            elif parts and parts[-1] is NO_SIGNAL:
                parts.append(piece.removeprefix(" dBm"))
            else:
                parts.append(piece)
        return _told(parts) if any(part is _NOT_KNOWN for part in parts) else "".join(parts)


def _told(parts: list[str]) -> str:
    """Return the sentences that hold nothing unknown, or what comes before it in the first."""
    sentences: list[list[str]] = [[]]
    for part in parts:
        first, *others = re.split(_BETWEEN_SENTENCES, part)
        sentences[-1].append(part if part is _NOT_KNOWN else first)
        sentences += [[other] for other in others]
    whole = [s for s in sentences if not any(part is _NOT_KNOWN for part in s)]
    if whole:
        return " ".join("".join(sentence).strip() for sentence in whole)
    first_unknown = next(at for at, part in enumerate(sentences[0]) if part is _NOT_KNOWN)
    before = "".join(sentences[0][:first_unknown])
    cut = max(before.rfind(mark) for mark in (": ", ", ", " ("))
    return f"{before[:cut]}." if cut > 0 else ""


def _shown(
    slot: Placeholder,
    facts: Mapping[str, Fact],
    known: Shown,
    limits: Mapping[str, float],
) -> str:
    if slot.name.startswith("limit."):
        return f"{limits[slot.name[6:]]:g}"
    value = known[slot.name]
    if isinstance(value, Unknown):
        counted = slot.many and facts[slot.name].kind is not Kind.TEXTS
        return f"an unknown number of {slot.many}" if counted else _NOT_KNOWN
    if has_no_signal(facts[slot.name], value):
        return NO_SIGNAL
    text = written(facts[slot.name], value)
    if not slot.many:
        return text
    alone = len(value) <= 1 if isinstance(value, tuple) else text == "1"
    return f"{text} {slot.one if alone else slot.many}"


def parse(
    text: str, facts: Mapping[str, Fact], limits: Mapping[str, object], scope: str
) -> Template:
    """Return the text as a template, or raise `TemplateError` at the placeholder at fault."""
    end = 0
    for match in re.finditer(_PLACEHOLDER, text):
        _refuse_braces(text, end, match.start())
        _settle(match, facts, limits, scope)
        end = match.end()
    _refuse_braces(text, end, len(text))
    return Template(text)


@cache
def _pieces(text: str) -> tuple[str | Placeholder, ...]:
    pieces: list[str | Placeholder] = []
    end = 0
    for match in re.finditer(_PLACEHOLDER, text):
        pieces.append(text[end : match.start()])
        if inside := re.fullmatch(_INSIDE, match[1]):
            pieces.append(Placeholder(f"{inside[1]}.{inside[2]}", inside[3] or "", inside[4] or ""))
        end = match.end()
    pieces.append(text[end:])
    return tuple(piece for piece in pieces if piece != "")


def _refuse_braces(text: str, start: int, end: int) -> None:
    brace = next((at for at in range(start, end) if text[at] in "{}"), None)
    if brace is not None:
        raise TemplateError("a brace without its partner", brace)


def _settle(
    match: re.Match[str], facts: Mapping[str, Fact], limits: Mapping[str, object], scope: str
) -> None:
    inside = re.fullmatch(_INSIDE, match[1])
    if inside is None:
        raise TemplateError(
            f"expected {{fact}} or {{fact one|many}}, found {match[0]}", match.start()
        )
    group, rest = inside[1], inside[2]
    name = f"{group}.{rest}"
    if group == "limit":
        if rest not in limits:
            raise TemplateError(f"this card declares no limit '{rest}'", match.start())
    elif name not in facts:
        raise TemplateError(f"there is no fact {name}", match.start())
    elif group not in (scope, "site"):
        raise TemplateError(f"{name} is no fact about a {scope}", match.start())
    elif inside[3] and facts[name].kind not in (Kind.COUNT, Kind.NUMBER, Kind.TEXTS):
        message = f"{name} is neither a number nor a list, so it takes no words"
        raise TemplateError(message, match.start())

"""Where a card says something, and whether it says more than may be asked of a run.

A card that has been read keeps no places: they are looked up when something goes wrong.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError, Place
from meshlint.site.references import mapping
from meshlint.site.source import read_document

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.limits import Limits
    from meshlint.site.model import Pointer
    from meshlint.site.source import Document


def refuse_excess(document: Document, limits: Limits) -> None:
    """Raise `InputError` where a card of the right shape holds more than a policy allows."""
    raw = mapping(document.value)
    conditions = list(_conditions(raw))
    if len(conditions) > limits.conditions:
        words = f"the card has {len(conditions)} conditions and roots; at most {limits.conditions}"
        raise InputError.at(document.key_place(conditions[-1][0]), f"{words} are judged")
    texts = [raw["says"], raw["remedy"], *(step["says"] for step in raw.get("adds", ()))]
    characters = sum(map(len, texts))
    if characters > limits.texts:
        words = f"says, adds and remedy have {characters} characters; at most {limits.texts}"
        raise InputError.at(document.key_place(("says",)), f"{words} are read")


def place_in_card(path: str, condition: str | None) -> Place:
    """Return where the card in a file has a condition, `None` for what it says."""
    try:
        document = read_document(read_bytes(Path(path), path), path)
    except InputError:  # it has changed since it was read
        return Place(path)
    conditions = _conditions(mapping(document.value))
    at = next((pointer for pointer, text in conditions if text == condition), ("says",))
    return document.place(at)


def _conditions(raw: dict[str, Any]) -> Iterator[tuple[Pointer, str]]:
    """Yield the conditions of a card, and its roots, which cost as much where they have none."""
    for key in ("when", "expect"):
        if key in raw:
            yield (key,), raw[key]
    for key in ("severity_when", "adds", "follows_from"):
        for position, step in enumerate(raw.get(key, ())):
            yield (key, position, "if"), step.get("if", "")

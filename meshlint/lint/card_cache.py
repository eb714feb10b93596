"""The shipped cards as one file that is quick to read: `meshlint/data/cards.json`.

Reading some eighty YAML files would take longer than checking a site. The pack holds each card as
it comes out of its file, with a digest of the file's bytes, and counts only while that agrees: a
card that has been edited, added or taken away is read from its own file, which is what holds.
The build and `python -m meshlint.docs` write the pack. In a wheel, where nobody edits cards, it is
taken as it is, and no file of a card is opened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import DecodeError, Struct, json
from msgspec.structs import replace

from meshlint.datafiles import PACK, data_folder, in_a_wheel
from meshlint.digest import blake2b
from meshlint.lint.card import Card, card_as_it_stands, rulebook
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from meshlint.lint.card import Rulebook
    from meshlint.site.problem import Problem
    from meshlint.workings.fact import Fact


class Packed(Struct, frozen=True):
    """A card without its path, and the digest of the file that it came from."""

    digest: str
    card: Card


def shipped_rulebook(facts: Mapping[str, Fact]) -> Rulebook:
    """Return the cards that come with the program; raise `InputError` for one that was spoilt."""
    folder, known = data_folder("rules"), packed(PACK)
    if known and in_a_wheel():
        cards = [replace(card, path=str(folder / f"{card.id}.yaml")) for card in known.values()]
    else:
        cards = _cards(sorted(folder.glob("*.yaml")), known, facts)
    return rulebook(cards, facts)


def packed(pack: Path) -> dict[str, Card]:
    """Return what a pack holds, by digest; nothing if it cannot be used."""
    try:
        return {p.digest: p.card for p in json.decode(pack.read_bytes(), type=list[Packed])}
    except (OSError, DecodeError):
        return {}


def pack_text(facts: Mapping[str, Fact]) -> str:
    """Return the pack of the cards as their files stand, one card to a line."""
    lines = []
    for path in sorted(data_folder("rules").glob("*.yaml")):
        data = path.read_bytes()
        card = replace(card_as_it_stands(data, str(path), facts), path="")
        lines.append(json.encode(Packed(_digest(data), card)).decode())
    return "[\n" + ",\n".join(lines) + "\n]\n"


def _cards(
    paths: Iterable[Path], known: Mapping[str, Card], facts: Mapping[str, Fact]
) -> list[Card]:
    cards: list[Card] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            data = read_bytes(path, str(path))
            card = known.get(_digest(data))
            cards.append(
                replace(card, path=str(path))
                if card is not None
                else card_as_it_stands(data, str(path), facts)
            )
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return cards


def _digest(data: bytes) -> str:
    return blake2b(data, digest_size=16).hexdigest()

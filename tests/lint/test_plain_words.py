"""Whether a person can read what the cards say: reading ease, old words, whole sentences.

Reading ease is Flesch's, 206.835 - 1.015 words a sentence - 84.6 syllables a word (Journal of
Applied Psychology 32(3), 1948); 60 and more is plain English. `pyphen` counts syllables, from a
dictionary that it brings. A placeholder, a figure with its unit and the name of a key each count as
one short word: a convention of ours.
"""

from __future__ import annotations

import re
from pathlib import Path
from statistics import mean
from typing import TYPE_CHECKING

import click
import pyphen
import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.run import shipped_rules
from meshlint.workings.catalogue import FACTS

if TYPE_CHECKING:
    from meshlint.lint.card import Card
    from meshlint.workings.fact import Fact

SCHEMAS = Path(__file__).parents[2] / "schemas"

CARDS = shipped_rules().cards

PLAIN, HARDEST, COUNTS_FROM = 60, 45, 30
LONGEST = 32
"""Words of a sentence, each placeholder one of them."""

OLD_WORDS = re.compile(
    r"\b(whoever|for want of|beside|hangs? on|hung on|in place of|of which|nought|anew|so to|"
    r"that comes to|as it stands|say again|says again|thereof|hence|whereby|wherein|shall|unto|"
    r"whilst|lest|save for|better of it|have no (?:need|want) of)\b",
    re.IGNORECASE,
)

_SYLLABLES = pyphen.Pyphen(lang="en_US", left=1, right=1)
_UNIT = r"(?: ?(?:Mb/s|Gb/s|dBm|dBi|dB|MHz|GHz|m2|m|W|s|h|mm|%))?"


def told(card: Card) -> str:
    """Return all that a finding of a card may say, as sentences."""
    parts = (card.says, *(addition.says for addition in card.additions), card.remedy)
    return " ".join(part.text[:1].upper() + part.text[1:] for part in parts)


def words_of(text: str) -> list[list[str]]:
    """Return the words of each sentence."""
    text = re.sub(r"`[^`]*`", "it", text)
    text = re.sub(r"\{[^{}|]* [^{}|]*\|([^{}]*)\}", r"two \1", text)
    text = re.sub(r"\{[^{}]*\}" + _UNIT, "it", text)
    text = re.sub(r"\b\d[\d.,]*" + _UNIT, "two", text)
    sentences = re.split(r"(?<=[.!?])\s+", text)
    return [found for s in sentences if (found := re.findall(r"[A-Za-z][A-Za-z'-]*", s))]


def ease(text: str) -> float:
    """Return the Flesch reading ease of a text."""
    sentences = words_of(text)
    words = [word for sentence in sentences for word in sentence]
    syllables = sum(len(_SYLLABLES.inserted(word.strip("-")).split("-")) for word in words)
    return 206.835 - 1.015 * len(words) / len(sentences) - 84.6 * syllables / len(words)


def test_the_measure_agrees_with_a_worked_example() -> None:
    # Ten words of eleven syllables in one sentence.
    assert ease("The cat sat on the mat and ate the rabbit.") == pytest.approx(
        206.835 - 1.015 * 10 - 84.6 * 11 / 10
    )


def test_findings_are_plain_english_on_the_whole() -> None:
    assert mean(ease(told(card)) for card in CARDS) >= PLAIN


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_no_finding_is_hard_to_read(card: Card) -> None:
    text = told(card)
    if sum(map(len, words_of(text))) >= COUNTS_FROM:
        assert ease(text) >= HARDEST


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_no_sentence_of_a_finding_runs_on(card: Card) -> None:
    assert [s for s in words_of(told(card)) if len(s) > LONGEST] == []


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_cards_have_no_words_that_nobody_says(card: Card) -> None:
    texts = (card.title, card.asks, card.why, card.rationale, card.blind_spots, told(card))
    because = (limit.because for limit in card.limits.values())
    supports = (source.supports for source in card.sources)
    found = [OLD_WORDS.findall(text) for text in (*texts, *because, *supports)]
    assert not any(found), found


@pytest.mark.parametrize("fact", FACTS.values(), ids=lambda fact: fact.qualified)
def test_facts_have_no_words_that_nobody_says(fact: Fact) -> None:
    assert OLD_WORDS.findall(f"{fact.meaning} {fact.source}") == []


@pytest.mark.parametrize("path", sorted(SCHEMAS.glob("*.json")), ids=lambda path: path.name)
def test_schemas_have_no_words_that_nobody_says(path: Path) -> None:
    words = r'"(?:title|description|patternErrorMessage)": "([^"]*)"'
    texts = re.findall(words, path.read_text(encoding="utf-8"))
    assert len(texts) > 10
    assert [found for text in texts for found in OLD_WORDS.findall(text)] == []


@pytest.mark.parametrize("name", cli.list_commands(click.Context(cli)))
def test_help_has_no_words_that_nobody_says(name: str) -> None:
    done = CliRunner().invoke(cli, [name, "--help"])
    assert done.exit_code == 0
    assert OLD_WORDS.findall(done.output) == []


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_every_card_says_what_stays_open_without_it(card: Card) -> None:
    assert re.fullmatch(r"(whether|how|who|what) .*[^.]", card.asks)

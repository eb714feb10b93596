"""A card that means nothing is refused before any site is read, at its line and column."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.card import Rulebook

CARD = """\
id: few-hops
status: preview
since: "0.1"
about: unit
severity: note
title: Few hops
why: Hops cost air.
rationale: Hops cost air.
blind_spots: None known.
limits:
  most: {default: 2, minimum: 0, maximum: 9, unit: hops, because: "A house rule."}
when: unit.joined
expect: unit.hops <= limit.most
says: clients at {unit.name} are far away.
remedy: move {unit.name} nearer.
point_at: [self]
practice: few hops
"""


def problems(load: Callable[..., Rulebook], *cards: str) -> list[tuple[str, int, int, str]]:
    with pytest.raises(InputError) as refused:
        load(*cards)
    return [
        (Path(p.place.path).name, p.place.line, p.place.column, p.message)
        for p in refused.value.problems
    ]


def test_the_card_that_the_others_are_made_from_is_sound(
    rulebook: Callable[..., Rulebook],
) -> None:
    (card,) = rulebook(CARD).cards
    assert card.id == "few-hops"
    assert card.expect.reads == ("unit.hops",)


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "words"),
    [
        ("  most: {", "  5most: {", 11, 10, "limits/5most: expected a name of small letters"),
        ("id: few-hops", "id: Few hops", 1, 5, "expected small letters and hyphens"),
        ("unit.hops <=", "unit . hops <=", 13, 9, "a fact is written in one piece"),
        ("unit.hops <=", "unit.hopz <=", 13, 9, "there is no fact unit.hopz; did you mean"),
        ("limit.most\n", "limit.least\n", 13, 22, "this card declares no limit 'least'"),
        ("expect: unit.hops <= limit.most", "expect: unit.name", 13, 9, "not a text"),
        ("when: unit.joined", "when: '!unit.joind'", 12, 9, "there is no fact unit.joind"),
        ("when: unit.joined", 'when: "!unit.joined && unit.joind"', 12, 24, "unit.joind"),
        ("when: unit.joined", "when: >-\n  unit.joined\n  && unit.joind", 14, 6, "unit.joind"),
        # The word stands there before: in a text, twice in one, a line above, in a longer one.
        ("when: unit.joined", "when: unit.name == 'unit.up' || unit.up", 12, 33, "no fact unit.up"),
        ("when: unit.joined", "when: unit.name == 'xx y xx z' && xx", 12, 35, "reference to 'xx'"),
        ("when: unit.joined", "when: >-\n  unit.name == 'xx'\n  || xx", 14, 6, "reference to 'xx'"),
        ("are far away", "{unit.nam}", 14, 30, "there is no fact unit.nam"),
        ("when: unit.joined", "when: unit.name == '$$$' && $", 12, 29, "Syntax error"),
        ("are far away", "and {unit.nam}", 14, 34, "there is no fact unit.nam"),
        (
            "says: clients at {unit.name} are",
            "says: >-\n  {unit.name} is\n\n  {unit.names}",
            17,
            3,
            "there is no fact unit.names",
        ),
        ("remedy: move {unit.name}", "remedy: move {link.channel}", 15, 14, "no fact about a unit"),
        ("[self]", "[self, first_secret]", 16, 18, "no anchor 'first_secret'"),
        ("practice: few hops\n", "cause: link.channel\npractice: few hops\n", 17, 8, "no fact"),
    ],
)
def test_a_word_that_names_nothing_is_shown_where_it_stands(
    rulebook: Callable[..., Rulebook], old: str, new: str, line: int, column: int, words: str
) -> None:
    assert CARD.count(old) == 1
    (found,) = problems(rulebook, CARD.replace(old, new))
    assert found[:3] == ("first.yaml", line, column)
    assert words in found[3]


def test_all_that_is_wrong_in_all_cards_is_told_at_once(
    rulebook: Callable[..., Rulebook],
) -> None:
    first = CARD.replace("unit.joined", "unit.joind").replace("{unit.name} are", "{unit.nam} are")
    second = CARD.replace("few-hops", "other").replace("severity: note", "severity: grave")
    found = problems(rulebook, first, second)
    assert [(name, line) for name, line, *_ in found] == [
        ("first.yaml", 12),
        ("first.yaml", 14),
        ("second.yaml", 5),
    ]


def test_a_card_that_its_schema_refuses_is_shown_at_the_key(
    rulebook: Callable[..., Rulebook],
) -> None:
    ((_, line, column, message),) = problems(rulebook, CARD.replace("severity:", "severty:"))
    assert (line, column) == (5, 1)
    assert "severity" in message


def test_two_cards_of_one_name_are_refused_with_both_places(
    rulebook: Callable[..., Rulebook],
) -> None:
    ((name, line, column, message),) = problems(rulebook, CARD, CARD)
    assert (name, line, column) == ("second.yaml", 1, 5)
    assert "first.yaml:1:5" in message


def test_a_card_without_source_or_practice_is_refused(rulebook: Callable[..., Rulebook]) -> None:
    ((*_, message),) = problems(rulebook, CARD.replace("practice: few hops\n", ""))
    assert "at least one source" in message


@pytest.mark.parametrize("default", [-1, 10])
def test_a_limit_outside_its_own_range_is_refused(
    rulebook: Callable[..., Rulebook], default: int
) -> None:
    (found,) = problems(rulebook, CARD.replace("default: 2", f"default: {default}"))
    assert found[1:3] == (11, 19)
    assert "between 0 and 9" in found[3]


def test_an_expression_beyond_the_bound_is_refused(rulebook: Callable[..., Rulebook]) -> None:
    long = " || ".join(["unit.joined"] * 200)
    ((*_, message),) = problems(rulebook, CARD.replace("when: unit.joined", f"when: {long}"))
    assert "2000 characters" in message


@pytest.mark.parametrize(
    ("severity", "root", "column", "words"),
    [
        ("note", "few-hopps, subject: self", 23, "there is no rule 'few-hopps' to follow from"),
        ("note", "few-hops, subject: unit.nam", 42, "there is no fact unit.nam about a unit"),
        ("note", "few-hops, subject: self, if: unit.joind", 52, "there is no fact unit.joind"),
        ("caution", "few-hops, subject: self", 15, "a caution is a kind of its own"),
    ],
)
def test_what_a_rule_cannot_follow_from_is_refused(
    rulebook: Callable[..., Rulebook], severity: str, root: str, column: int, words: str
) -> None:
    """A caution under a fault would be in neither section of a report."""
    other = CARD.replace("id: few-hops", "id: rate-holds").replace("note", severity)
    ((_, line, at, told),) = problems(rulebook, CARD, f"{other}follows_from: [{{rule: {root}}}]\n")
    assert told.startswith(words)
    assert (line, at) == (18, column)


def test_a_rule_may_follow_from_one_of_its_own_folder(rulebook: Callable[..., Rulebook]) -> None:
    other = CARD.replace("id: few-hops", "id: rate-holds")
    rules = rulebook(CARD, f"{other}follows_from: [{{rule: few-hops, subject: self}}]\n")
    (step,) = {card.id: card.follows_from for card in rules.cards}["rate-holds"]
    assert (step.rule, step.subject, step.condition) == ("few-hops", "self", None)

"""The rule language: what is refused when a card loads, and the traps of evaluation.

Meaning of the operators with errors and absent names: the Common Expression Language definition,
"Logical Operators" (`false && error` is false in either order, `true || error` is true).
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.lint.expression import (
    Expression,
    ExpressionError,
    Language,
    names_in,
    with_limits,
)
from meshlint.workings.catalogue import FACTS
from meshlint.workings.unknown import Unknown

LIMITS = ("most", "least")
LANGUAGE = Language(FACTS, LIMITS)


def compiled(text: str, scope: str = "unit") -> Expression:
    return LANGUAGE.compile(text, LIMITS, scope)


def judged(text: str, **values: object) -> str:
    named = {f"unit.{name}": value for name, value in values.items()}
    return outcome(compiled(text), named, {})


def outcome(condition: Expression, values: dict[str, Any], limits: dict[str, float]) -> str:
    """Judge as every run does, and as the library alone does, which must say the same."""

    known = defaultdict(lambda: Unknown(()), values)
    functions = (LANGUAGE.prepared(condition, limits), LANGUAGE.by_library(condition, limits))
    values_of_both = [function(known) for function in functions]
    first, second = (
        "unknown" if v not in (True, False) else str(v).lower() for v in values_of_both
    )
    assert first == second
    return first


@pytest.mark.parametrize(
    ("text", "words", "line", "column"),
    [
        ("unit.joined && unit.hopz > 1.0", "did you mean unit.hops?", 1, 16),
        ("unit.joined &&\n  unit.hopz > 1.0", "no fact unit.hopz", 2, 3),
        ("unit.hops > 1.0 || unit.hop > 1.0", "no fact unit.hop;", 1, 20),
        ("unit.name == 'unit.hop' || unit.hop > 1.0", "no fact unit.hop;", 1, 28),
        ("unit.hops > limit.more", "this card declares no limit 'more'", 1, 13),
        ("link.medium == 'radio'", "a fact about a link; this card is about a unit", 1, 1),
        ("unit.hops == 'two'", "(double, string)", 1, 11),
        ("unit.hops > 1", "write 1.0 for 1", 1, 11),
        ("unit.hops", "a condition, true or false, not a number", 1, 1),
        ("unit.path", "not a text", 1, 1),
        ("unit.units_behind", "not a list", 1, 1),
        ("hops > 1.0", "undeclared reference to 'hops'", 1, 1),
        ("unit.joined &&", "Syntax error", 1, 15),
    ],
)
def test_what_means_nothing_is_refused_where_it_stands(
    text: str, words: str, line: int, column: int
) -> None:
    with pytest.raises(ExpressionError) as refused:
        compiled(text)
    assert words in str(refused.value)
    assert (refused.value.line, refused.value.column) == (line, column)


def test_an_expression_may_be_as_long_as_the_bound_and_no_longer() -> None:
    text = "unit.joined"
    fits = text + " " * (2000 - len(text))
    assert compiled(fits).reads == ("unit.joined",)
    with pytest.raises(ExpressionError, match="2000 characters at most"):
        compiled(fits + " ")


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("unit.hops > 1.0", "unknown"),
        ("!(unit.hops > 1.0)", "unknown"),
        ("false && unit.hops > 1.0", "false"),
        ("unit.hops > 1.0 && false", "false"),
        ("true || unit.hops > 1.0", "true"),
        ("unit.hops > 1.0 || true", "true"),
        ("true && unit.hops > 1.0", "unknown"),
        ("unit.hops > 1.0 || false", "unknown"),
        ("unit.hops > 1.0 ? true : false", "unknown"),
        ("unit.units_behind.size() == 0", "unknown"),
    ],
)
def test_an_absent_fact_is_unknown_unless_the_rest_decides(text: str, outcome: str) -> None:
    assert judged(text) == outcome


@given(st.sampled_from([True, False, None]), st.sampled_from([True, False, None]))
def test_and_and_or_follow_kleenes_three_valued_logic(one: bool | None, other: bool | None) -> None:
    """Kleene, Introduction to Metamathematics (1952), section 64: the strong tables."""
    known = {"joined": one, "is_primary": other}
    values = {name: value for name, value in known.items() if value is not None}
    both = False if False in (one, other) else (None if None in (one, other) else True)
    either = True if True in (one, other) else (None if None in (one, other) else False)
    said = {True: "true", False: "false", None: "unknown"}
    assert judged("unit.joined && unit.is_primary", **values) == said[both]
    assert judged("unit.joined || unit.is_primary", **values) == said[either]


def test_whole_numbers_are_handed_over_as_the_language_wants_them() -> None:
    assert judged("unit.hops == 2.0", hops=2) == "true"
    assert judged("unit.hops > 1.5", hops=2) == "true"
    assert judged("unit.joined", joined=True) == "true"


def test_lists_of_names_can_be_counted_and_searched() -> None:
    assert judged("unit.units_behind.size() == 2", units_behind=("loft", "barn")) == "true"
    assert judged("'loft' in unit.units_behind", units_behind=("loft", "barn")) == "true"
    assert judged("unit.units_behind.size() == 0", units_behind=()) == "true"


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("unit.units_behind[0] == 'loft'", {"units_behind": ()}),
        ("unit.name.matches('(')", {"name": "loft"}),
    ],
)
def test_an_expression_that_fails_for_another_reason_is_no_unknown(
    text: str, values: dict[str, object]
) -> None:
    with pytest.raises(ExpressionError, match="cannot be evaluated"):
        judged(text, **values)


def test_names_within_quotes_are_no_facts_and_no_limits() -> None:
    text = "unit.name == 'unit.hops limit.most' && unit.radio_hops > limit.most"
    assert names_in(text) == ("unit.name", "unit.radio_hops", "limit.most")
    assert with_limits(text, {"most": 3.0}) == (
        "unit.name == 'unit.hops limit.most' && unit.radio_hops > (3.0)"
    )


def test_a_limit_of_one_name_may_have_a_number_for_each_card() -> None:
    condition = LANGUAGE.compile("unit.hops > limit.most", LIMITS, "unit")
    outcomes = [outcome(condition, {"unit.hops": 2}, {"most": most}) for most in (1.0, 3.0)]
    assert outcomes == ["true", "false"]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_limit_means_in_the_language_what_it_means_here(number: float) -> None:
    """Negative ones and those that Python writes with an exponent, too."""
    condition = LANGUAGE.compile("unit.hops - limit.most == 0.0", LIMITS, "unit")
    assert outcome(condition, {"unit.hops": number}, {"most": number}) == "true"


def test_facts_about_the_site_are_in_reach_of_every_subject() -> None:
    for scope in ("unit", "radio", "link", "pair", "waiver"):
        assert compiled("site.units > 1.0", scope).reads == ("site.units",)

"""What is judged in Python comes out as the library has it, for every shipped condition and others.

The library (`cel-expr-python`, over Google's own implementation in C++) is the reference.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.lint.condition import in_python
from meshlint.lint.expression import Expression, Language
from meshlint.run import shipped_rules
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import Kind
from meshlint.workings.unknown import Unknown

RULES = shipped_rules()
LANGUAGE = Language(FACTS, ["most", "least"])

CONDITIONS = [
    (card.id, condition)
    for card in RULES.cards
    for condition in (
        *filter(None, [card.when, card.expect]),
        *(step.condition for step in card.raises),
        *(addition.condition for addition in card.additions),
        *(step.condition for step in card.follows_from if step.condition is not None),
    )
]

NUMBERS = st.sampled_from([0.0, 1.0, -1.0, 2.0, 2.5, -67.0, 1e300]) | st.floats(width=32)
VALUES = {
    Kind.NUMBER: NUMBERS,
    Kind.COUNT: st.integers(0, 5),
    Kind.TRUTH: st.booleans(),
    Kind.TEXT: st.sampled_from(["", "cable", "radio", "loft", "é"]),
    Kind.TEXTS: st.lists(st.sampled_from(["loft", "barn", "radio"]), max_size=3).map(tuple),
}


def same(left: object, right: object) -> bool:
    """Whether two outcomes are one; what is unknown is so for whichever reason."""
    return left is right or (isinstance(left, Unknown) and isinstance(right, Unknown))


def reading(values: dict[str, Any]) -> Any:
    return defaultdict(lambda: Unknown(()), values)


@pytest.mark.parametrize(
    ("rule", "condition"), CONDITIONS, ids=[f"{rule}: {c.text[:40]}" for rule, c in CONDITIONS]
)
@given(st.data())
def test_a_shipped_condition_comes_out_as_the_library_has_it(
    rule: str, condition: Expression, data: st.DataObject
) -> None:
    values = {
        name: data.draw(VALUES[FACTS[name].kind], name)
        for name in condition.reads
        if data.draw(st.integers(0, 3), f"{name} is known")
    }
    limits = RULES.limits[rule]
    ready = in_python(condition.text, limits)
    assert ready is not None, "no shipped card needs the library to judge"
    assert same(
        ready(reading(values)), RULES.language.by_library(condition, limits)(reading(values))
    )


numbers = st.deferred(
    lambda: (
        st.sampled_from(["unit.hops", "unit.radio_hops", "limit.most", "1.0", "0.0", "2.5e3", ".5"])
        | st.builds("({} {} {})".format, numbers, st.sampled_from("+-*/"), numbers)
        | st.builds("{} {} {}".format, numbers, st.sampled_from("+-*/"), numbers)
        | st.builds("-{}".format, numbers)
    )
)
truths = st.deferred(
    lambda: (
        st.sampled_from(["unit.joined", "unit.is_primary", "true", "false"])
        | st.builds(
            "{} {} {}".format, numbers, st.sampled_from(["<", "<=", ">", ">=", "==", "!="]), numbers
        )
        | st.builds("!{}".format, st.sampled_from(["unit.joined", "!unit.joined", "(unit.joined)"]))
        | st.builds("!unit.joined {} {}".format, st.sampled_from(["==", "!="]), truths)
        | st.builds("({})".format, truths)
        | st.builds("!({})".format, truths)
        | st.builds("{} {} {}".format, truths, st.sampled_from(["&&", "||"]), truths)
        | st.sampled_from(
            [
                "unit.name == 'loft'",
                'unit.name != "a && b"',
                "unit.name in ['loft', 'barn']",
                "'loft' in unit.units_behind",
                "unit.name in unit.units_behind",
                "unit.units_behind.size() == 1",
                "unit.units_behind.size() > 0",
                "unit.name < 'm'",
                "unit.name.size() == 4",
                "unit.joined ? unit.is_primary : unit.hops > 1.0",
                "unit.name.startsWith('l')",
                "unit.units_behind.exists(n, n == 'loft')",
            ]
        )
    )
)


@given(
    truths,
    st.fixed_dictionaries(
        {},
        optional={
            "unit.hops": NUMBERS,
            "unit.radio_hops": NUMBERS,
            "unit.joined": VALUES[Kind.TRUTH],
            "unit.is_primary": VALUES[Kind.TRUTH],
            "unit.name": VALUES[Kind.TEXT],
            "unit.units_behind": VALUES[Kind.TEXTS],
        },
    ),
    NUMBERS.filter(lambda number: abs(number) < 1e6),
)
def test_any_condition_comes_out_as_the_library_has_it(
    text: str, values: dict[str, Any], most: float
) -> None:
    from meshlint.lint.expression import ExpressionError

    try:
        condition = LANGUAGE.compile(text, ["most"], "unit")
    except ExpressionError:
        return  # a text that means nothing is never judged
    ready = LANGUAGE.prepared(condition, {"most": most})
    by_library = LANGUAGE.by_library(condition, {"most": most})
    assert same(ready(reading(values)), by_library(reading(values)))


@pytest.mark.parametrize(
    "text",
    [
        "unit.hops % 2.0 == 0.0",
        "unit.joined ? true : false",
        r"unit.name == 'a\n'",
        "unit.name == b'a'",
        "unit.name.matches('a')",
        "size(unit.name) == 1",
        "unit.units_behind.exists(n, n == 'a')",
        "unit.units_behind[0] == 'a'",
        "unit.units_behind.size() / 2 == 1",
        "1 + 1 == 2",
        "unit.hops // 2.0 == 1.0",
        "unit.hops ** 2.0 == 1.0",
        "unit.joined is True",
        "not unit.joined",
        "[x for x in unit.units_behind] == []",
        "__import__('os').getcwd() == ''",
        "unit.hops < 1.0 < 2.0",
        "--unit.name == 'a'",
        "- -'a' in unit.units_behind",
        "!!unit.hops > 0.1",
        "(" * 600 + "unit.joined" + ")" * 600,
    ],
)
def test_what_python_would_read_otherwise_is_left_to_the_library(text: str) -> None:
    assert in_python(text, {}) is None


def test_a_fact_that_cannot_matter_is_never_asked_for() -> None:
    asked: dict[str, bool] = defaultdict(bool)  # keeps what was asked for
    ready = in_python("unit.joined && unit.hops > 1.0", {})
    assert ready is not None
    assert ready(asked) is False
    assert list(asked) == ["unit.joined"]

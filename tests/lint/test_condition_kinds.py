"""The language of cards is a part of CEL, and is all that is needed where the library is missing.

The library (`cel-expr-python`, over Google's own implementation in C++) is the reference: what is
taken without it, it takes too, as the same kind; what is called a mistake, it refuses.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from meshlint.lint import expression
from meshlint.lint.condition import in_python
from meshlint.lint.condition_kinds import NotPlainError, kind_of
from meshlint.lint.expression import ExpressionError, Language
from meshlint.run import shipped_rules
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import Kind

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.card import Rulebook

CHECKOUT = Path(__file__).parents[2]
LANGUAGE = Language(FACTS, ["most"])
TYPES = {
    Kind.NUMBER: "DOUBLE", Kind.COUNT: "INT", Kind.TRUTH: "BOOL", Kind.TEXT: "STRING",
    Kind.TEXTS: "LIST",
}  # fmt: skip


def type_by_library(text: str) -> str | None:
    """Return the library's name for what a text gives, or nothing where it means nothing."""
    try:
        compiled = expression._compiled(LANGUAGE._environment, text)
    except ExpressionError:
        return None
    return compiled.return_type().name().partition("<")[0]


LEAVES = [
    "unit.hops", "unit.units_served", "limit.most", "unit.name", "unit.joined", "unit.path",
    "unit.units_behind", "1.0", "2.5e3", ".5", "1", "0", "true", "false", "'a'", '"b && c"', "'é'",
    "hops", "['a', 'b']", "[]", "['a',]", "1.", "1_0.5", "01.5", "0x10", "1e999", "'a' 'b'",
    "r'a'", "b'a'", "9223372036854775808", "'a\\n'",
]  # fmt: skip
SIGNS = ["==", "!=", "<", "<=", ">", ">=", "&&", "||", "+", "-", "*", "/", "in", "%", "and", "is"]
CALLS = ["size()", "startsWith({})", "endsWith({})", "contains({})", "contains({},)", "matches({})"]

texts = st.recursive(
    st.sampled_from(LEAVES),
    lambda parts: (
        st.builds("{} {} {}".format, parts, st.sampled_from(SIGNS), parts)
        | st.builds("({})".format, parts)
        | st.builds("{}{}".format, st.sampled_from(["!", "-", "not "]), parts)
        | st.builds(
            lambda one, call, other: f"{one}.{call.format(other)}",
            parts, st.sampled_from(CALLS), parts,
        )
    ),
    max_leaves=6,
)  # fmt: skip
ODD = [
    "(", ")", "!", ".", ",", "[", "]", "\n", "\t", "\r", "\f", "#", "//", "\\", "~", ":=", "unit",
    "name", "lambda", "x if y else z",
    "\N{FULLWIDTH LATIN SMALL LETTER U}nit.hops",  # which Python takes for the plain letter
]  # fmt: skip
soup = st.lists(st.sampled_from([*LEAVES, *SIGNS, *ODD]), max_size=8).map(" ".join)


@pytest.mark.slow
@given(texts | soup)
@settings(max_examples=600)
@example("'a'.contains('a',)")
@example("unit.name in ['a',]")
@example("(unit).hops > 1.0")
@example("unit.joined and unit.joined")
@example("unit.name == 'a' 'b'")
@example("!!unit.joined == --1.0 > -1.0")
def test_what_is_taken_the_library_takes_as_the_same_kind(text: str) -> None:
    if re.search(expression._HIDDEN, re.sub(expression._TEXT, expression._in_guillemets, text)):
        return  # refused before anybody asks for a kind
    try:
        kind = kind_of(text, FACTS)
    except NotPlainError as error:
        refused = error
    else:
        assert type_by_library(text) == TYPES[kind]
        return
    assert 0 <= refused.offset <= max(0, len(text))
    if refused.is_mistake:
        assert type_by_library(text) is None, "no mistake to the library"


@pytest.mark.slow
@given(texts)
@settings(max_examples=300)
def test_what_is_taken_as_a_condition_is_judged_without_the_library(text: str) -> None:
    try:
        kind = kind_of(text, FACTS)
    except NotPlainError:
        return
    if kind is Kind.TRUTH:
        assert in_python(text, {"most": 1.0}) is not None


def test_every_shipped_condition_is_in_the_language() -> None:
    for card in shipped_rules().cards:
        for condition in filter(None, [card.when, card.expect]):
            assert kind_of(condition.text, FACTS) is Kind.TRUTH


# --- without the library --------------------------------------------------------------------------


@pytest.fixture
def without_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cel_expr_python", None)


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
expect: EXPECT
says: clients at {unit.name} are far away.
remedy: move {unit.name} nearer.
point_at: [self]
practice: few hops
"""


@pytest.mark.usefixtures("without_library")
@pytest.mark.parametrize(
    ("expect", "column", "words"),
    [
        ("unit.name.matches('^a')", 9, "'matches'; for all of CEL install meshlint[cel]"),
        ("unit.joined || unit.hops % 2.0 == 0.0", 34, "install meshlint[cel]"),
        ("unit.joined && unit.units_behind.exists(n, n == 'a')", 24, "the function 'exists'"),
        ("!!unit.joined", 9, "two of one sign in a row"),
        ("unit.hops > 1", 21, "write 1.0 for 1"),
        ("unit.joined && unit.hops", 24, "expected a truth, found a number"),
        ("unit.name", 9, "expected a condition, true or false, not a text"),
        ("unit.joined && hops > 1.0", 24, "there is no 'hops'; a fact is written as in unit.hops"),
        ("unit.units_behind < unit.units_behind", 9, "a list of texts has no order"),
    ],
)  # fmt: skip
def test_a_card_outside_the_language_is_one_error_at_its_place(
    rulebook: Callable[..., Rulebook], expect: str, column: int, words: str
) -> None:
    from meshlint.site.problem import InputError

    quoted = f'"{expect}"' if expect.startswith("!") else expect
    with pytest.raises(InputError) as refused:
        rulebook(CARD.replace("EXPECT", quoted))
    (problem,) = refused.value.problems
    assert words in problem.message
    assert (problem.place.line, problem.place.column) == (10, column + (quoted != expect))
    is_mistake = "[cel]" not in words and "function" not in words and "sign" not in words
    assert ("meshlint[cel]" in problem.message) == (not is_mistake)


@pytest.mark.usefixtures("without_library")
def test_the_cards_of_the_page_of_rules_need_no_library(rulebook: Callable[..., Rulebook]) -> None:
    readme = (CHECKOUT / "rules/README.md").read_text(encoding="utf-8")
    cards = re.findall(r"<!-- own card -->\n```yaml\n(.*?)```", readme, re.DOTALL)
    assert len(rulebook(*cards).cards) == len(cards) == 3


def run(program: str, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    code = f"import sys\n{program}\nfrom meshlint.cli import main\nmain()\n"
    return subprocess.run(
        [sys.executable, "-c", code, *words], cwd=CHECKOUT, capture_output=True, text=True,
        check=False, env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.slow
def test_every_report_is_the_same_without_the_library() -> None:
    words = ("check", "samples", "--no-cache", "--format", "json", "--today", "2026-11-25")
    with_it, without = (run(p, *words) for p in ("", "sys.modules['cel_expr_python'] = None"))
    assert with_it.stdout == without.stdout != ""
    assert with_it.returncode == without.returncode == 1


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_part_that_the_installation_lacks_is_said_in_a_sentence(jobs: str) -> None:
    """numpy is asked for where a plan is drawn, in the middle of a run and in workers."""
    done = run(
        "sys.modules['numpy'] = None\nimport meshlint.fleet.runner as r\nr._WORTH_S = 0.0",
        "check", "samples", "--no-cache", "--jobs", jobs,
    )  # fmt: skip
    assert done.returncode == 3
    assert done.stderr.splitlines()[-1] == (
        "meshlint: the installation has a part missing: there is no module 'numpy'; install "
        "meshlint again with all that it needs"
    )
    assert "Traceback" not in done.stderr
    assert "please report" not in done.stderr

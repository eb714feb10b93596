"""Messages with numbers: what a placeholder may name, and how what it names is written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.lint.template import Template, TemplateError, parse
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import FactValue, phrase, written
from meshlint.workings.unknown import Unknown


def filled(text: str, values: dict[str, FactValue | Unknown], scope: str = "link") -> str:
    template = parse(text, FACTS, {"low": None}, scope)
    return template.fill(FACTS, values, {"low": 12.5})


@pytest.mark.parametrize(
    ("text", "words", "at"),
    [
        ("a {link.hopz} b", "no fact link.hopz", 2),
        ("a {unit.hops} b", "unit.hops is no fact about a link", 2),
        ("{link.channel} at {limit.high}", "no limit 'high'", 18),
        ("a {link} b", "expected {fact}", 2),
        ("a {} b", "expected {fact}", 2),
        ("{link.channel one|many}", "neither a number nor a list", 0),
        ("{link.units_behind unit} b", "expected {fact}", 0),
        ("{link.channel} and { more", "a brace without its partner", 19),
        ("a } b", "a brace without its partner", 2),
    ],
)
def test_a_placeholder_that_names_nothing_is_refused_where_it_stands(
    text: str, words: str, at: int
) -> None:
    with pytest.raises(TemplateError) as refused:
        filled(text, {})
    assert words in str(refused.value)
    assert refused.value.offset == at


@pytest.mark.parametrize(
    ("count", "shown"),
    [
        (0.0, "0 devices"),
        (1.0, "1 device"),
        (2.0, "2 devices"),
        (Unknown(()), "an unknown number of devices"),
    ],
)
def test_a_number_takes_the_word_that_fits_it(count: FactValue | Unknown, shown: str) -> None:
    values = {"link.clients_behind": count}
    assert filled("{link.clients_behind device|devices}", values) == shown


@pytest.mark.parametrize(
    ("names", "shown"),
    [
        ((), "nobody hangs"),
        (("loft",), "loft hangs"),
        (("loft", "barn"), "loft and barn hang"),
        (tuple("abcdef"), "a, b, c and 3 more hang"),
        (Unknown(()), ""),
    ],
)
def test_a_list_takes_the_verb_that_fits_it(names: FactValue | Unknown, shown: str) -> None:
    assert filled("{link.who_is_behind hangs|hang}", {"link.who_is_behind": names}) == shown


def test_names_from_the_file_are_shown_and_never_read_as_placeholders() -> None:
    values: dict[str, FactValue | Unknown] = {
        "link.from_unit": "{link.to_unit}",
        "link.to_unit": "x",
    }
    assert filled("from {link.from_unit}", values) == "from {link.to_unit}"


def test_limits_are_shown_as_short_as_they_can_be() -> None:
    assert filled("at least {limit.low} %", {}) == "at least 12.5 %"


@pytest.mark.parametrize(
    ("fact", "value", "shown"),
    [
        ("pair.band_ghz", 2.4, "2.4"),
        ("pair.band_ghz", 5.0, "5"),
        ("pair.apart_m", 12.04, "12"),
        ("pair.apart_m", 12.06, "12.1"),
        ("pair.overlap_percent", 14.6, "14.6"),
        ("link.clients_behind", 100.0, "100"),
        ("unit.mbps_gained_as_primary", -0.2, "0"),
        ("unit.joined", True, "yes"),
    ],
)
def test_a_value_is_shown_with_its_declared_digits_at_most(
    fact: str, value: FactValue, shown: str
) -> None:
    assert written(FACTS[fact], value) == shown


@given(st.lists(st.sampled_from(["loft", "barn", "desk"]), min_size=1, max_size=12))
def test_a_phrase_accounts_for_every_name(names: list[str]) -> None:
    text = phrase(tuple(names))
    words = text.replace(",", "").split()
    more = int(words[-2]) if words[-1] == "more" else 0
    assert sum(word in names for word in words) + more == len(names)


def test_a_sentence_that_needs_something_unknown_is_left_out() -> None:
    known = {"unit.name": "desk", "unit.hops": Unknown(())}

    def told(words: str) -> str:
        return Template(words).fill(FACTS, known, {})

    assert told("Move {unit.name}. It is {unit.hops} away.") == "Move desk."
    assert told("It is {unit.hops} away. Move {unit.name}.") == "Move desk."
    assert told("Move {unit.name}, which is {unit.hops} away.") == "Move desk."
    assert told("It is {unit.hops} away.") == ""

"""The paperwork of every shipped card: cases, texts, limits, sources, and places to point at."""

from __future__ import annotations

import inspect
import json
import re
import types
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import meshlint.workings
from meshlint.datafiles import data_folder
from meshlint.lint.card import load_rulebook
from meshlint.run import shipped_rules
from meshlint.site.schema import schema_text
from meshlint.site.source import read_document
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import Fact, Kind
from meshlint.workings.subjects import SCOPES
from meshlint.workings.unknown import Missing, need

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.lint.card import Card

RULES = Path(__file__).parents[2] / "rules"
CASES = Path(__file__).parents[1] / "rules"
CARDS = shipped_rules().cards

# Words that this project leaves to existing products and programmes, and the codes of other tools.
AVOIDED = re.compile(
    r"\b(satellites?|pods?|pucks?|points?|leaf|(non-)?root|MAP|RAP|MPP|controllers?|agents?"
    r"|adopt(s|ed|ion)?|health|scores?|Wi-?Fi \d|WPA\d?|certif(ied|y)|[A-Z]{1,3}\d{2,4})\b",
    re.IGNORECASE,
)

# What is asked of a whole fleet has its cases in tests/fleet.
ALONE = [card for card in CARDS if card.id not in shipped_rules().of_fleets]

each_card = pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)


def raw(card: Card) -> dict[str, Any]:
    path = RULES / f"{card.id}.yaml"
    value = read_document(path.read_bytes(), str(path)).value
    assert isinstance(value, dict)
    return value


def texts(card: Card) -> Iterator[tuple[str, str]]:
    """Yield every text of a card that a person is shown, with the key that it stands under."""
    written = raw(card)
    for key in ("id", "title", "why", "rationale", "blind_spots", "says", "remedy", "practice"):
        yield key, written.get(key, "")
    for entry in written.get("adds", ()):
        yield "adds", entry["says"]
    for limit in written.get("limits", {}).values():
        yield "because", limit["because"]


# --- cases ----------------------------------------------------------------------------------------


def markers(card: Card) -> set[str]:
    found = re.findall(r"# (expect|ok|not-judged): (\S+)", (CASES / f"{card.id}.yaml").read_text())
    return {kind for kind, rule in found if rule == card.id}


def can_lack_input(card: Card) -> bool:
    """Whether any fact that decides the card, or the finding of its subjects, can be unknown."""
    names = [*card.expect.reads, *(card.when.reads if card.when else ())]
    if any(can_raise_missing(FACTS[name].compute) for name in names):
        return True
    # The site itself is always there; anchors of it that cannot be told are left out.
    return card.about != "site" and can_raise_missing(SCOPES[card.about].find)


def can_raise_missing(compute: Callable[..., object]) -> bool:
    """Whether code of the workings can reach `Missing`, the one way in which a fact is unknown.

    Follows every name that the code mentions, so it may say yes too often and never no too often.
    """
    waiting: list[object] = [compute]
    seen: set[object] = set()
    while waiting:
        found = waiting.pop()
        if found in (need, Missing):
            return True
        if isinstance(found, Fact):
            found = found.compute
        if not isinstance(found, types.FunctionType) or found in seen:
            continue
        seen.add(found)
        if found.__module__.startswith(meshlint.workings.__name__):
            waiting.extend(mentioned(found))
    return False


def mentioned(function: types.FunctionType) -> Iterator[object]:
    codes = [function.__code__]
    while codes:
        code = codes.pop()
        codes.extend(c for c in code.co_consts if isinstance(c, types.CodeType))
        known = [function.__globals__[n] for n in code.co_names if n in function.__globals__]
        yield from known
        for module in filter(inspect.ismodule, known):
            yield from (getattr(module, n) for n in code.co_names if hasattr(module, n))


def test_every_card_has_a_file_of_cases_and_every_file_a_card() -> None:
    assert sorted(path.stem for path in CASES.glob("*.yaml")) == [card.id for card in ALONE]


@pytest.mark.parametrize("card", ALONE, ids=lambda card: card.id)
def test_a_card_has_cases_that_break_it_keep_it_and_leave_it_open(card: Card) -> None:
    wanted = {"expect", "ok"} | ({"not-judged"} if can_lack_input(card) else set())
    assert markers(card) == wanted


def test_few_cards_can_always_be_judged() -> None:
    """What the file lists is known as soon as it can be read; all else may lack something."""
    assert {card.id for card in ALONE if not can_lack_input(card)} == {
        "model-described",  # that nothing is told is its finding
        "no-secret-in-file",
        "waiver-current",
        "waiver-ends-soon",
    }


# --- texts ----------------------------------------------------------------------------------------


@each_card
def test_a_card_is_called_after_its_file(card: Card) -> None:
    assert Path(card.path).stem == card.id == raw(card)["id"]


def test_every_shipped_card_compiles() -> None:
    """A run of the program takes them on trust; nothing but this holds them to the checks."""
    strict = load_rulebook(sorted(data_folder("rules").glob("*.yaml")), FACTS)
    assert strict.cards == CARDS
    assert strict.limits == shipped_rules().limits


@each_card
def test_a_title_is_a_phrase_and_the_other_texts_are_sentences(card: Card) -> None:
    written = raw(card)
    assert not written["title"].endswith(".")
    assert written["title"][0].isupper() or written["title"][0].isdigit()
    for key in ("why", "rationale", "blind_spots", "says", "remedy"):
        assert written[key].strip().endswith("."), key
    assert "\n" not in written["why"].strip()
    assert written["why"].count(". ") <= 1, "two short sentences at most"
    for entry in written.get("adds", ()):
        assert entry["says"].strip().endswith(".")


@each_card
def test_no_message_starts_with_a_name_from_the_file(card: Card) -> None:
    """The first letter of a message is made large, and a name is not ours to change."""
    for text in (card.says, card.remedy, *(addition.says for addition in card.additions)):
        first = text.pieces[0]
        assert isinstance(first, str) or FACTS[first.name].kind in (Kind.NUMBER, Kind.COUNT)


@each_card
def test_a_message_tells_of_the_subject_at_hand(card: Card) -> None:
    """Each shows a fact of the very thing that the rule is about, or it could be any other."""
    scopes = {name.partition(".")[0] for name in card.says.reads}
    assert card.about in scopes


@each_card
def test_no_text_uses_a_word_that_is_left_to_others(card: Card) -> None:
    for key, text in texts(card):
        plain = re.sub(r"\{[^}]*\}", "", text)
        found = AVOIDED.search(plain)
        assert found is None, f"{key}: {found}"


# --- limits and sources ---------------------------------------------------------------------------


@each_card
def test_limits_lie_within_their_range_and_are_read(card: Card) -> None:
    conditions = [card.expect, card.when, *card.raises, *card.additions]
    read = {
        name
        for condition in conditions
        for name in getattr(getattr(condition, "condition", condition), "limits", ())
    }
    assert read == set(card.limits)
    for limit in card.limits.values():
        assert limit.minimum <= limit.default <= limit.maximum
        assert limit.because.endswith(".")
        assert limit.unit


@each_card
def test_a_source_says_what_it_supports_and_a_clause_read_by_nobody_is_not_called_read(
    card: Card,
) -> None:
    assert card.sources
    for source in card.sources:
        assert source.supports
        assert source.document
        if source.document != "common practice":
            assert source.edition or source.clause or re.search(r"\d", source.document)


def test_hop_limits_rise_with_the_severity() -> None:
    (card,) = (card for card in CARDS if card.id == "hop-depth")
    limits = [card.limits[f"{severity}_hops"].default for severity in ("note", "warning", "error")]
    assert limits == sorted(limits)


@each_card
def test_graver_severities_come_first(card: Card) -> None:
    """The first condition that is met counts, so a milder one must not stand before a graver."""
    order = ["error", "warning", "note"]
    steps = [order.index(step.severity) for step in card.raises]
    assert steps == sorted(steps)


# --- places ---------------------------------------------------------------------------------------

SITE_SCHEMA = json.loads(schema_text("site"))["$defs"]
SHAPE_OF = {
    **{scope: scope for scope in ("unit", "radio", "link", "network", "waiver")},
    "cable": "link",
    "group": "client_group",
    "dropping_link": "link",
    **dict.fromkeys(("unguarded_unit", "second_router", "longest_way_end"), "unit"),
    "site": "about",
    **dict.fromkeys(("radar_radio", "radar_channel_radio", "weather_band_radio"), "radio"),
    **dict.fromkeys(("two_four_radio", "two_four_other"), "radio"),
    **dict.fromkeys(
        ("from_radio", "to_radio", "client_radio", "first_radio", "second_radio"), "radio"
    ),
    **dict.fromkeys(("from_unit", "to_unit"), "unit"),
    "route": "cable_route",
    "fleet_site": "about",
}


@each_card
def test_a_card_points_at_keys_that_a_file_can_have(card: Card) -> None:
    for anchor in card.point_at:
        head, *keys = anchor.split(".")
        shape = SHAPE_OF.get(card.about if head == "self" else head)
        assert len(keys) <= 1
        for key in keys:
            assert shape is not None, anchor
            assert key in SITE_SCHEMA[shape]["properties"], anchor


# --- facts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("fact", FACTS.values(), ids=lambda fact: fact.qualified)
def test_a_fact_says_what_it_means_and_where_it_comes_from(fact: Fact) -> None:
    assert fact.scope in SCOPES
    assert fact.meaning
    assert fact.source
    assert not fact.meaning.endswith(".")
    suffix = {"_percent": "%", "_mhz": "MHz", "_mbps": "Mb/s", "_m": "m", "_s": "s", "_dbm": "dBm"}
    for ending, unit in suffix.items():
        if fact.name.endswith(ending):
            assert fact.unit == unit


def test_every_fact_of_every_module_is_in_the_catalogue_once() -> None:
    """Each decorated function of the sources is there, and none under the name of another."""
    package = Path(meshlint.workings.__file__).parent
    declared = [
        name
        for path in package.rglob("*.py")
        for name in re.findall(r'^@fact\(\s*"([a-z0-9_.]+)"', path.read_text(), re.MULTILINE)
    ]
    assert sorted(declared) == sorted(FACTS)

"""Rule cards that would compute for ever, fill the memory, or fail on some sites only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from meshlint.lint.expression import Expression, ExpressionError, Language
from meshlint.site.limits import LIMITS, MOST
from meshlint.workings.catalogue import FACTS

if TYPE_CHECKING:
    from pathlib import Path

LANGUAGE = Language(FACTS)
LISTED = "unit.units_behind"

REFUSED = {
    "too long": " || ".join(["unit.joined"] * 200),
    "deep brackets": "(" * 200 + "unit.joined" + ")" * 200,
    "deep lists": "[" * 200 + "]" * 200 + " == []",
    "long chain": f"{LISTED}" + "[0]" * 300 + " == ''",
    "joined text": "unit.name + unit.name == ''",
    "joined lists": f"{LISTED} + {LISTED} == []",
    "doubled again and again": "['x']" + ".map(x, x + x)" * 60 + ".size() > 0",
    "lists in lists in lists": ".all(x, ".join([LISTED] * 3) + ".all(x, x == x" + ")" * 3,
    "no such function": "system('ls') == ''",
    "no condition": "unit.hops",
    "nothing": "",
    "huge number": f"{'9' * 100} == 1",
    "half a text": "unit.name == 'a",
    "half a letter": r"unit.name == '\ud800'",
    # What hides a fact's name from us and not from the library: it could never be known.
    "blank before the point": "unit .joined",
    "blank after the point": "unit. joined",
    "break in a name": "unit\n.joined",
    "point in front": ".unit.joined",
    "point in front of a list": "unit.name in .unit.units_behind",
    "name in back quotes": "unit.`joined`",
    "comment in a name": "unit.//x\njoined",
    "text in three quotes": "unit.name == '''a'b.c'''",
    "fact of a fleet, hidden": "fleet_unit. other_sites == []",
}


@pytest.mark.parametrize("text", REFUSED.values(), ids=REFUSED)
def test_an_expression_that_could_hold_the_program_up_is_refused_when_it_is_read(text):
    with pytest.raises(ExpressionError):
        LANGUAGE.compile(text, (), "unit")


def test_the_longest_expression_that_any_policy_may_allow_is_judged_quickly():
    language = Language(FACTS, most_characters=MOST.expression)
    part = "(unit.name.matches('(x+x+)+y') || unit.hops < 3.0) && "
    text = part * ((MOST.expression - 20) // len(part)) + "unit.joined"
    condition = language.prepared(language.compile(text, (), "unit"), {})
    values = {"unit.name": "x" * 100_000, "unit.hops": 9.0, "unit.joined": True}
    assert condition(values) is False


@pytest.mark.parametrize("name", ["\x1f", "\U0010ffff", "\u202e", "'", '"', "\\"])
def test_odd_texts_pass_the_rule_language_whole(name):
    condition = LANGUAGE.by_library(Expression("unit.name.size() > 0 && unit.joined"), {})
    assert condition({"unit.name": name, "unit.joined": True}) is True


CARD = """\
id: own-card
status: stable
since: "1.0"
about: unit
severity: error
title: Something holds
why: Because.
rationale: Because.
blind_spots: None.
expect: EXPECT
says: "{unit.name} is not so"
remedy: Make it so.
point_at: [self]
practice: common practice
"""
SITE = "meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}}\n"


def repository(folder: Path, expect: str) -> Path:
    (folder / "cards").mkdir(parents=True)
    (folder / ".git").mkdir()
    (folder / "cards" / "own-card.yaml").write_text(CARD.replace("EXPECT", expect))
    (folder / "meshlint.yaml").write_text("meshlint: 1\ncards: [{folder: cards, name: own}]\n")
    (folder / "a.site.yaml").write_text(SITE)
    return folder


@pytest.mark.parametrize(
    "expect",
    ["int(unit.name) == 1", "unit.units_behind[7] == 'a'", "unit.name.matches('(')"],
)
def test_a_card_that_fails_on_a_site_is_its_authors_mistake_and_named(
    meshlint, files_of, tmp_path, expect
):
    folder = repository(tmp_path, f'"{expect}"')
    text = SITE + "backhaul: {}\n"
    (folder / "a.site.yaml").write_text(text)
    done = meshlint(folder, "check", "--no-cache", "--format", "json")
    assert done.returncode == 2, done.stderr
    (problem,) = files_of(done.stdout)["a.site.yaml"]["problems"]
    assert "own-card" in problem["message"]
    assert problem["place"]["path"].endswith("own-card.yaml")
    expected = CARD.splitlines().index("expect: EXPECT") + 1
    assert (problem["place"]["line"], problem["place"]["column"]) == (expected, 9)


def test_a_card_that_is_a_link_out_of_the_repository_is_refused_unread(meshlint, tmp_path):
    folder = repository(tmp_path / "repository", "unit.joined")
    (tmp_path / "elsewhere.yaml").write_text("secret words\n")
    (folder / "cards" / "other.yaml").symlink_to(tmp_path / "elsewhere.yaml")
    done = meshlint(folder, "check", "--no-cache")
    assert done.returncode == 2
    assert b"leads out of the repository" in done.stdout
    assert b"secret" not in done.stdout


@pytest.mark.parametrize("folder", ["..", "/etc", "out"])
def test_a_folder_of_cards_outside_of_the_repository_is_refused(meshlint, tmp_path, folder):
    top = repository(tmp_path / "repository", "unit.joined")
    (top / "out").symlink_to(tmp_path)
    (top / "meshlint.yaml").write_text(f"meshlint: 1\ncards: [{{folder: {folder}, name: own}}]\n")
    done = meshlint(top, "check", "--no-cache")
    assert done.returncode == 2
    assert b"repository" in done.stdout


def test_too_many_cards_are_refused_before_they_are_read(meshlint, tmp_path):
    folder = repository(tmp_path, "unit.joined")
    for position in range(LIMITS.cards):
        (folder / "cards" / f"c{position}.yaml").write_text("x: [")
    done = meshlint(folder, "check", "--no-cache")
    assert done.returncode == 2
    assert b"at most 500 are read" in done.stdout


@pytest.mark.parametrize("name", [".git", ".git/cards", ".GIT"])
def test_what_git_keeps_of_its_own_is_no_folder_of_cards(meshlint, tmp_path, name):
    top = repository(tmp_path, "unit.joined")
    (top / name).mkdir(parents=True, exist_ok=True)
    (top / "meshlint.yaml").write_text(f"meshlint: 1\ncards: [{{folder: {name}, name: own}}]\n")
    done = meshlint(top, "check", "--no-cache")
    assert done.returncode == 2
    assert b"which is git's own" in done.stdout


def test_no_reference_in_a_schema_leads_to_a_network_or_a_file():
    from meshlint.datafiles import data_folder

    for schema in data_folder("schemas").glob("*.json"):
        text = schema.read_text()
        assert all(part.startswith("#/") for part in text.split('"$ref": "')[1:]), schema

"""A caution asks a person to look: it is no fault, no pass, and moves no exit status."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from meshlint.report import as_json, text
from meshlint.report.lines import Look
from meshlint.run import shipped_rules
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.card import Card, Rulebook
    from meshlint.lint.finding import SiteResult

    Check = Callable[..., SiteResult]
    Load = Callable[..., Rulebook]

CARD = """\
id: stands-outdoors
status: preview
since: "0.1"
about: unit
severity: caution
{more}
title: A caution of a test
why: It tests.
rationale: It tests.
blind_spots: All else.
expect: "!unit.outdoors"
says: "{{unit.name}} is outdoors."
remedy: ask a person.
point_at: [self]
practice: none
"""
SITE = """\
meshlint: 1
site: {name: Brook Street}
primary: desk
units:
  desk: {}
  yard: {outdoors: true}
"""
WAIVER = """\
waivers:
  - {rule: stands-outdoors, subject: units/yard, because: Looked at, until: 2035-01-01}
"""


def test_a_raised_caution_is_no_fault_and_one_not_raised_is_no_pass(
    check_text: Check, rulebook: Load
) -> None:
    result = check_text(SITE, rulebook(CARD.format(more="")))
    assert [c.label for c in result.cautions] == ["yard"]
    assert result.open_findings == ()
    assert result.held == ()
    assert result.idle == ()


def test_reports_keep_cautions_in_a_section_and_a_count_of_their_own(
    check_text: Check, rulebook: Load
) -> None:
    result = check_text(SITE, rulebook(CARD.format(more="")))
    said = text.render([result], Look())
    assert said.index(text.CAUTIONS[:20]) < said.index("caution, stands-outdoors")
    assert said.endswith("1 site checked: no findings; 1 caution for a licensed person.\n")
    report = json.loads(as_json.render([result]))
    counts = {key: report["summary"][key] for key in ("errors", "warnings", "notes", "cautions")}
    assert counts == {"errors": 0, "warnings": 0, "notes": 0, "cautions": 1}
    assert [f["kind"] for f in report["files"][0]["findings"]] == ["caution"]


def test_a_caution_that_somebody_answers_for_is_accepted(check_text: Check, rulebook: Load) -> None:
    result = check_text(SITE + WAIVER, rulebook(CARD.format(more="")))
    assert result.cautions == ()
    assert [f.rule for f in result.accepted] == ["stands-outdoors"]


def test_a_caution_cannot_turn_into_a_fault(rulebook: Load) -> None:
    graver = "severity_when: [{if: unit.outdoors, severity: error}]"
    with pytest.raises(InputError, match="a caution is a kind of its own and never graver"):
        rulebook(CARD.format(more=graver))


CAUTIONS = [card for card in shipped_rules().cards if card.is_caution]


@pytest.mark.parametrize("card", CAUTIONS, ids=[card.id for card in CAUTIONS])
def test_a_caution_leaves_the_decision_to_a_person_and_the_code(card: Card) -> None:
    assert re.search(r"licensed|competent", card.remedy.text)
    assert re.search(r"local (wiring )?code|maker's compliance distance", card.remedy.text)
    assert "certif" not in card.remedy.text + card.rationale


def test_the_cautions_are_those_of_cable_mains_and_antennas() -> None:
    assert [card.id for card in CAUTIONS] == [
        "cable-fire-rating",
        "copper-between-buildings",
        "keep-clear-of-antennas",
        "mains-work",
        "outdoor-copper",
    ]

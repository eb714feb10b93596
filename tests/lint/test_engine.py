"""Cards against a site: what counts as held, what is told once, in what order, under what name."""

from __future__ import annotations

import itertools
from datetime import date
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from builders import over_radio, site
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.card import Rulebook
    from meshlint.lint.finding import SiteResult

    Check = Callable[..., SiteResult]

FAULTY = """\
meshlint: 1
site: {name: Brook Street, country: GB}
primary: desk
units:
  desk:
    {routing_mbps: 400, ports: [{count: 2, rate_mbps: 1000}], memory_mb: 256,
     radios: {mid: {band: 5, channel: 100, width_mhz: 20, carries: [clients, backhaul]}}}
  hall:
    {routing_mbps: 940, ports: [{count: 2, rate_mbps: 1000}], memory_mb: 256,
     radios: {mid: {band: 5, channel: 100, width_mhz: 20, carries: [clients, backhaul]}}}
  loft:
    {routing_mbps: 940, ports: [{count: 2, rate_mbps: 1000}], memory_mb: 256,
     radios: {mid: {band: 5, channel: 100, width_mhz: 20, carries: [clients, backhaul]}}}
backhaul:
  hall to desk: {from: hall, to: desk, over: radio}
  loft to hall: {from: loft, to: hall, over: radio}
"""

CARD = """\
id: {name}
status: preview
since: "0.1"
about: unit
severity: note
title: A rule of a test
why: It tests.
rationale: It tests.
blind_spots: All else.
{conditions}
says: "{{unit.name}} is at fault."
remedy: mend it.
point_at: [self]
practice: none
"""


def card(name: str, conditions: str) -> str:
    return CARD.format(name=name, conditions=conditions)


def judged(result: SiteResult) -> tuple[int, int, int]:
    return len(result.findings), len(result.not_judged), len(result.held)


BARE = "meshlint: 1\nsite: {name: Brook Street}\nprimary: desk\nunits: {desk: {}, loft: {}}\n"


def test_one_cause_is_told_once_with_what_follows_from_it(check_text: Check) -> None:
    found = {f.rule: f for f in check_text(FAULTY).findings}
    assert len(found) == len(check_text(FAULTY).findings)
    assert found["strongest-unit-primary"].follows == ("loft",)
    assert found["backhaul-off-radar"].follows == ("loft to hall",)
    assert found["backhaul-dedicated-band"].label == "loft to hall"  # the worse of the two
    assert found["backhaul-dedicated-band"].follows == ("hall to desk",)


def test_what_is_told_once_is_told_as_grave_as_its_gravest(check_text: Check) -> None:
    names = ["desk", *(f"unit {number}" for number in range(1, 5))]
    links = {f"link {far}": over_radio(far, near) for near, far in itertools.pairwise(names)}
    text = site(dict.fromkeys(names, ""), links)
    (found,) = (f for f in check_text(text).findings if f.rule == "hop-depth")
    assert (found.severity, found.subject) == ("error", "units/unit 4")
    assert found.follows == ("unit 2", "unit 3")


def test_unknown_is_neither_held_nor_broken(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(card("few-hops", "expect: unit.hops <= 9.0"))
    assert judged(check_text(BARE, rules)) == (0, 2, 0)


def test_a_condition_that_cannot_be_told_leaves_the_rule_unjudged_and_not_idle(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(card("a-rule", "when: unit.clients > 0.0\nexpect: unit.name == 'attic'"))
    result = check_text(BARE, rules)
    assert judged(result) == (0, 2, 0)
    assert result.idle == ()
    assert {i.key for n in result.not_judged for i in n.inputs} == {"clients"}


def test_what_is_as_expected_holds_whether_or_not_the_rule_is_about_it(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    """`when` or not, there is nothing against desk; loft hangs on it (Kleene's implication)."""
    rules = rulebook(card("a-rule", "when: unit.clients > 0.0\nexpect: unit.is_primary"))
    result = check_text(BARE, rules)
    assert judged(result) == (0, 1, 1)
    assert [entry.subject for entry in result.not_judged] == ["units/loft"]


def test_what_a_rule_is_not_about_is_no_gap_though_nobody_knows_what_to_expect(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(card("a-rule", "when: unit.is_primary\nexpect: unit.clients > 0.0"))
    result = check_text(BARE, rules)
    assert [entry.subject for entry in result.not_judged] == ["units/desk"]


def test_what_a_condition_that_cannot_be_told_may_keep_off_is_no_error(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    """BARE has no list of that length: with `when` true, the library would refuse the index."""
    conditions = "when: unit.clients > 0.0\nexpect: site.two_four_overlaps[7] == ''"
    result = check_text(BARE, rulebook(card("a-rule", conditions)))
    assert judged(result) == (0, 2, 0)


def test_a_rule_that_nothing_falls_under_is_idle(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(
        card("a-rule", "when: unit.name == 'attic'\nexpect: unit.is_primary"),
        card("other-rule", "expect: unit.is_primary"),
    )
    result = check_text(BARE, rules)
    assert result.idle == ("a-rule",)
    assert [f.subject for f in result.findings] == ["units/loft"]
    assert result.held == ("other-rule",)


def test_only_the_inputs_that_are_missing_are_asked_for(check_text: Check) -> None:
    result = check_text(BARE)
    (entry,) = (n for n in result.not_judged if n.rule == "every-unit-joined")
    assert [(i.pointer, i.wanted) for i in entry.inputs] == [
        (("backhaul",), "the links between the units")
    ]


def test_the_most_valuable_missing_input_comes_first(check_text: Check) -> None:
    wanted = check_text(BARE).wanted
    assert [len(row[3]) for row in wanted] == sorted((len(row[3]) for row in wanted), reverse=True)
    assert wanted[0][0] == "backhaul"


def test_a_severity_is_raised_where_its_condition_is_known_and_met(check_text: Check) -> None:
    def severity(text: str) -> str:
        (found,) = (f for f in check_text(text).findings if f.rule == "strongest-unit-primary")
        return found.severity

    line = "internet_lines: {{main: {{enters_at: desk, down_mbps: {}}}}}\n"
    assert severity(FAULTY) == "warning"
    assert severity(FAULTY + line.format(400)) == "note"
    assert severity(FAULTY + line.format(401)) == "error"


def test_numbers_of_a_finding_are_those_of_its_message(check_text: Check) -> None:
    (found,) = (f for f in check_text(FAULTY).findings if f.rule == "backhaul-off-radar")
    assert found.numbers["link.radar_shared_mhz"] == 20.0
    assert "20 MHz" in found.message
    assert found.numbers["link.who_is_behind"] == ("hall", "loft")
    assert "hall and loft lose their connection" in found.message
    assert "link.clients_behind" not in found.numbers  # nobody said who uses the site


def test_a_finding_points_at_the_value_first_and_then_at_what_bears_on_it(
    check_text: Check,
) -> None:
    (found,) = (f for f in check_text(FAULTY).findings if f.rule == "backhaul-off-radar")
    place = found.place
    text = FAULTY.splitlines()[place.line - 1]
    assert place.line == FAULTY.splitlines().index("  hall:") + 3
    assert text[place.column - 1 :].startswith("100,")
    assert [r.place.line for r in found.related] == [
        FAULTY.splitlines().index("  desk:") + 3,
        place.line,
    ]


def test_findings_stand_in_the_order_of_the_file(check_text: Check) -> None:
    places = [f.place for f in check_text(FAULTY).findings]
    assert len(places) > 3
    assert places == sorted(places)


def test_the_same_file_gives_the_same_result(check_text: Check) -> None:
    assert check_text(FAULTY) == check_text(FAULTY)


def test_fingerprints_tell_findings_apart(check_text: Check) -> None:
    findings = check_text(FAULTY).findings
    assert len({f.fingerprint for f in findings}) == len(findings)


@settings(max_examples=25)
@given(st.lists(st.integers(0, 9), max_size=6))
def test_fingerprints_stay_when_lines_move(above: list[int]) -> None:
    lines = FAULTY.splitlines(keepends=True)
    for at in sorted(above, reverse=True):
        lines.insert(at, "# a remark\n")

    def prints(text: str) -> set[tuple[str, str]]:
        day = date(2026, 11, 25)
        result = check_bytes(text.encode(), "x.yaml", shipped_rules(), Catalogues(), day)
        return {(f.rule, f.fingerprint) for f in result.findings}

    assert prints("".join(lines)) == prints(FAULTY)


def test_a_radio_that_only_the_model_tells_of_is_missed_once_and_by_its_name(
    check_text: Check,
) -> None:
    models = "models: {m: {radios: {low: {band: 2.4}, mid: {band: 5}}}}\n"
    low = "low: {channel: 1, width_mhz: 20, carries: [clients]}"
    left_out = site({"a": f"model: m, radios: {{{low}}}"}, {}, models, country="DE")
    told = "radio mid of a, which its model has"
    missed = [row for row in check_text(left_out).wanted if row[0].startswith("units.*.radios.*")]
    assert [row[1] for row in missed if row[0] == "units.*.radios.*"] == [told]
    about_mid = [x for x in check_text(left_out).not_judged if x.subject == "units/a/radios/mid"]
    assert about_mid
    assert {
        wanted.wanted for x in about_mid for wanted in x.inputs if wanted.pointer[0] == "units"
    } == {told}
    listed = site({"a": f"model: m, radios: {{{low}, mid: {{}}}}"}, {}, models, country="DE")
    assert told not in {row[1] for row in check_text(listed).wanted}

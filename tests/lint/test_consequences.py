"""Findings beside their causes: a chain with many faults, and rules that follow from each other."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.lint import engine, folding
from meshlint.report import as_json, junit, markdown, sarif
from meshlint.report.lines import Look
from meshlint.report.text import render
from meshlint.run import shipped_rules

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from meshlint.lint.card import Rulebook
    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.lint.folding import Candidate

    Check = Callable[..., SiteResult]

RADIO = "generation: 802.11ac, streams: 2, power_dbm: 20, antenna_gain_dbi: 3"


def school(
    names: tuple[str, ...] = ("office", "hall", "gym", "annexe"),
    down: float = 2,
    apart_m: float = 37,
) -> str:
    """Return a school whose units hang on each other in a row, all on one channel of each band."""
    units = "".join(
        f"  {name}:\n"
        f"    at: {{level: ground, x_m: {4 + apart_m * number}, y_m: 8, height_m: 2.4}}\n"
        "    routing_mbps: 900\n"
        "    radios:\n"
        f"      low: {{band: 2.4, channel: 1, width_mhz: 20, {RADIO}, carries: [clients],"
        " lowest_basic_mbps: 1}\n"
        f"      mid: {{band: 5, channel: 36, width_mhz: 80, {RADIO}, carries: [clients, backhaul],"
        " lowest_basic_mbps: 6}\n"
        for number, name in enumerate(names)
    )
    links = "".join(
        f"  {far} up: {{from: {far}, to: {near}, over: radio, from_radio: mid, to_radio: mid}}\n"
        for near, far in pairwise(names)
    )
    groups = "".join(
        f"  {name} tablets: {{count: 20, near: {name}, network: staff, band: 5, "
        f"generation: 802.11ac, streams: 2, down_mbps: {down}, up_mbps: 0.5}}\n"
        for name in names
    )
    phones = (
        f"  phones: {{count: 4, near: {names[-1]}, network: staff, band: 5, use: voice, "
        "roams: true, generation: 802.11ac, streams: 1, down_mbps: 0.1, up_mbps: 0.1}\n"
    )
    aids = "neighbour_reports: true, transition_advice: true"
    return (
        "meshlint: 1\n"
        "site: {name: Row School, country: GB, surroundings: home}\n"
        f"primary: {names[0]}\n"
        f"internet_lines: {{main: {{enters_at: {names[0]}, down_mbps: 500, up_mbps: 100}}}}\n"
        "levels: {ground: {outline_m: [[0, 0], [130, 0], [130, 16], [0, 16]], ceiling_m: 3}}\n"
        f"units:\n{units}backhaul:\n{links}clients:\n{groups}{phones}"
        f"networks: {{staff: {{akm: sae, {aids}}}, pupils: {{akm: sae, {aids}}}, "
        f"guests: {{akm: owe, {aids}}}, things: {{akm: psk, radios: [low]}}}}\n"
        "neighbours: []\ncable_routes: []\n"
    )


def before_folding(check: Callable[[], SiteResult]) -> tuple[list[Candidate], SiteResult]:
    """Return what was found before anything was folded, and the result."""
    seen: list[Candidate] = []

    def looked_at(told: Iterable[Candidate]) -> list[Finding]:
        seen.extend(told)
        return folding.fold(seen)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "fold", looked_at)
        result = check()
    return seen, result


def raw_findings(check: Callable[[], SiteResult]) -> tuple[Counter[tuple[str, str]], SiteResult]:
    """Return each rule and label that was found before anything was folded, and the result."""
    seen, result = before_folding(check)
    return Counter((entry.finding.rule, entry.finding.label) for entry in seen), result


def heads(result: SiteResult) -> list[Finding]:
    return [finding for finding in result.findings if not finding.under]


def under(result: SiteResult, root: str) -> set[str]:
    marks = {finding.fingerprint for finding in result.findings if finding.rule == root}
    return {finding.rule for finding in result.findings if finding.under in marks}


@pytest.mark.parametrize("down", [0.01, 0.5, 2, 30])
@pytest.mark.parametrize("units", [2, 3, 4, 5])
def test_no_finding_is_lost_and_none_hides_under_a_milder_one(
    check_text: Check, units: int, down: float
) -> None:
    text = school(("office", "hall", "gym", "annexe", "barn")[:units], down)
    before, result = raw_findings(lambda: check_text(text))
    after = Counter(
        (finding.rule, label)
        for finding in result.findings
        for label in (finding.label, *finding.follows)
    )
    assert after == before
    order = ("error", "warning", "note")
    by_mark = {finding.fingerprint: finding for finding in result.findings}
    for finding in result.findings:
        if finding.under:
            root = by_mark[finding.under]
            assert root.under == ""
            assert order.index(root.severity) <= order.index(finding.severity)


def test_a_row_of_four_units_is_told_by_its_causes(check_text: Check) -> None:
    before, result = raw_findings(lambda: check_text(school()))
    assert before.total() == 44
    assert Counter(f.rule for f in heads(result)) == {
        "names-on-air": 1,
        "airtime-room": 1,
        "power-permitted": 1,
        "own-cells-apart": 1,
        "backhaul-dedicated-band": 1,
        "backhaul-in-reach": 3,  # each link stands where it stands
        "hop-depth": 1,
        "one-failure": 1,  # nobody covers the people of a unit that is lost
    }
    assert under(result, "names-on-air") == {"slow-basic-rates"}
    assert under(result, "airtime-room") == {
        "clients-get-their-rate",
        "voice-ready",
    }
    assert under(result, "own-cells-apart") == {"overlap-not-too-much"}
    assert under(result, "backhaul-in-reach") == {"backhaul-carries-demand"}


def test_what_is_told_under_another_is_in_every_format(check_text: Check) -> None:
    result = check_text(school())
    told = [finding for finding in result.findings if finding.under]
    cards = {card.id: card for card in shipped_rules().cards}
    for report in (
        render([result], Look()),
        as_json.render([result]),
        sarif.render([result], cards),
        junit.render([result]),
        markdown.render([result]),
    ):
        assert all(finding.rule in report for finding in told)
    roots = {finding.fingerprint: finding for finding in result.findings}
    for report in (sarif.render([result], cards), junit.render([result])):
        for finding in told:
            root = roots[finding.under]
            assert f"Follows from {root.rule} for {root.label}" in report
    assert result.failing


def test_a_link_that_carries_nothing_is_the_one_fault_of_what_hangs_on_it(
    check_text: Check,
) -> None:
    text = school(("office", "hall", "gym"), 0.01, apart_m=9)
    dead = text.replace("to: office, over: radio,", "to: office, over: radio, measured_mbps: 0,")
    result = check_text(dead)
    (link,) = (f for f in result.findings if f.rule == "backhaul-carries-demand")
    assert (link.severity, link.subject) == ("error", "backhaul/hall up")
    assert link.message.startswith("Clients at hall and gym share at most 0 Mb/s")
    assert "clients-get-their-rate" in under(result, "backhaul-carries-demand")
    alive = {finding.rule for finding in check_text(text).findings}
    assert {f.rule for f in heads(result)} - {"backhaul-carries-demand"} <= alive


def test_an_air_full_of_beacons_alone_is_told_with_them(check_text: Check) -> None:
    names = ", ".join(f"n{number}: {{}}" for number in range(18))
    text = (
        "meshlint: 1\nsite: {name: Brook Street}\nprimary: desk\n"
        "units: {desk: {radios: {low: {band: 2.4, channel: 1, width_mhz: 20, carries: [clients],"
        " generation: 802.11n, streams: 1, lowest_basic_mbps: 1}}}}\n"
        f"backhaul: {{}}\nneighbours: []\nnetworks: {{{names}}}\n"
    )
    group = "count: 10, near: desk, generation: 802.11n, streams: 1, up_mbps: 0, down_mbps"
    light = check_text(f"{text}clients: {{a: {{{group}: 0.5}}}}\n")
    heavy = check_text(f"{text}clients: {{a: {{{group}: 3}}}}\n")
    assert "airtime-room" in under(light, "names-on-air")
    assert "airtime-room" not in under(heavy, "names-on-air")
    assert "airtime-room" in {f.rule for f in heads(heavy)}


CARD = """\
id: {name}
status: stable
since: "0.1"
about: unit
severity: {severity}
title: A unit is the primary
why: It is.
rationale: It is.
blind_spots: None known.
expect: unit.is_primary
says: "{{unit.name}} is not."
remedy: make it so.
point_at: [self]
practice: it is
"""
SITE = "meshlint: 1\nsite: {name: S}\nprimary: a\nunits: {a: {}, b: {}, c: {}}\nbackhaul: {}\n"


def card(name: str, severity: str, more: str = "") -> str:
    return CARD.format(name=name, severity=severity) + more


def told(result: SiteResult) -> list[tuple[str, str, str]]:
    """Return the rule and label of each finding, and the rule that it is told under."""
    rules = {finding.fingerprint: finding.rule for finding in result.findings}
    return sorted((f.rule, f.label, rules.get(f.under, "")) for f in result.findings)


def test_a_consequence_of_a_consequence_is_told_under_the_first_cause(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(
        card("x", "error"),
        card("y", "warning", "follows_from: [{rule: x, subject: self}]\n"),
        card("z", "note", "follows_from: [{rule: y, subject: self, if: unit.name == 'b'}]\n"),
    )
    assert told(check_text(SITE, rules)) == [
        ("x", "b", ""),
        ("x", "c", ""),
        ("y", "b", "x"),
        ("y", "c", "x"),
        ("z", "b", "x"),
        ("z", "c", ""),
    ]


def test_findings_that_follow_from_each_other_are_all_told(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(
        card("x", "note", "follows_from: [{rule: y, subject: self}]\n"),
        card("y", "note", "follows_from: [{rule: x, subject: self}]\n"),
        card("z", "note", "follows_from: [{rule: x, subject: self}]\n"),
    )
    assert all(root == "" for _, _, root in told(check_text(SITE, rules)))


def test_a_graver_finding_is_no_consequence_of_a_milder(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(
        card("x", "warning"), card("y", "error", "follows_from: [{rule: x, subject: self}]\n")
    )
    assert all(root == "" for _, _, root in told(check_text(SITE, rules)))


def test_of_one_cause_what_follows_from_something_else_is_told_apart(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    rules = rulebook(
        card("x", "note").replace("expect: unit.is_primary", "expect: unit.name != 'b'"),
        card("y", "note", "cause: unit.primary\nfollows_from: [{rule: x, subject: self}]\n"),
    )
    found = check_text(SITE.replace("c: {}", "c: {}, d: {}"), rules)
    assert told(found) == [("x", "b", ""), ("y", "b", "x"), ("y", "c", "")]
    assert [f.follows for f in found.findings if f.label == "c"] == [("d",)]


def test_the_worst_of_one_cause_is_the_one_that_is_told(
    check_text: Check, rulebook: Callable[..., Rulebook]
) -> None:
    site = SITE.replace("backhaul: {}", "backhaul: {b: {from: b, to: a, over: cable}, "
                        "c: {from: c, to: b, over: cable}}")  # fmt: skip
    plain = card("x", "note", "cause: unit.primary\n")
    assert [f.label for f in check_text(site, rulebook(plain)).findings] == ["b"]
    by_hops = rulebook(plain + "worst_by: unit.hops\n")
    assert [f.label for f in check_text(site, by_hops).findings] == ["c"]


def test_rules_that_follow_name_rules_that_are_there_and_never_go_round() -> None:
    cards = {card.id: card for card in shipped_rules().cards}
    assert {step.rule for card in cards.values() for step in card.follows_from} <= set(cards)
    left = {
        name: {step.rule for step in card.follows_from if step.condition is None}
        for name, card in cards.items()
    }
    while left:
        free = {name for name, named in left.items() if not named & set(left)}
        assert free, f"in a circle: {sorted(left)}"
        left = {name: named for name, named in left.items() if name not in free}


SITES = Path(__file__).with_name("consequences.yaml").read_text().split("\n---\n")


def steps_shown(result: SiteResult) -> set[tuple[str, str]]:
    """Return each rule told under another, with that other."""
    return {(rule, root) for rule, _, root in told(result) if root}


@pytest.mark.parametrize(
    "site", SITES, ids=lambda site: site.split("# under: ", 1)[1].split("\n")[0]
)
def test_each_consequence_is_told_under_its_cause(check_text: Check, site: str) -> None:
    claimed = {
        tuple(line.removeprefix("# under: ").split(", "))
        for line in site.split("\n")
        if line.startswith("# under: ")
    }
    assert claimed
    assert claimed <= steps_shown(check_text(site))


def steps_taken(seen: list[Candidate], result: SiteResult) -> set[tuple[str, str]]:
    """Return each rule of which a finding is told under another, and the rule of its own step."""
    under = {
        (finding.rule, label)
        for finding in result.findings
        if finding.under
        for label in (finding.label, *finding.follows)
    }
    there = {(entry.finding.rule, entry.finding.subject) for entry in seen}
    return {
        (entry.finding.rule, next(rule for rule, key in entry.roots if (rule, key) in there))
        for entry in seen
        if (entry.finding.rule, entry.finding.label) in under
    }


@pytest.mark.slow
def test_every_step_that_a_card_names_is_taken_by_some_site(check_text: Check) -> None:
    cases = Path(__file__).parents[1].joinpath("rules").glob("*.yaml")
    texts = [*SITES, school(), *(d for p in cases for d in p.read_text().split("\n---\n"))]
    taken: set[tuple[str, str]] = set()
    for text in texts:
        taken |= steps_taken(*before_folding(lambda text=text: check_text(text)))  # type: ignore[misc]
    cards = shipped_rules().cards
    named = {(card.id, step.rule) for card in cards for step in card.follows_from}
    assert named - taken == set()

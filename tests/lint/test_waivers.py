"""Waivers: which findings they accept, until when, and what becomes of those that fit nothing."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

    Check = Callable[..., SiteResult]

# One cause (the island of loft and barn) and one rule that reads what the file does not state.
SITE = """\
meshlint: 1
site: {name: Brook Street}
primary: desk
units:
  desk: {radios: {low: {band: 2.4, channel: 7, width_mhz: 80}}}
  loft: {}
  barn: {}
backhaul:
  barn to loft: {from: barn, to: loft, over: cable}
"""

GOOD = "because: Moved next week, approved_by: estates, until: 2027-02-01"


def with_waivers(*entries: str) -> str:
    return SITE + "waivers:\n" + "".join(f"  - {{{entry}}}\n" for entry in entries)


def joined(result: SiteResult) -> list[tuple[str, bool, tuple[str, ...]]]:
    return [
        (f.subject, f.waiver is not None, f.follows)
        for f in result.findings
        if f.rule == "every-unit-joined"
    ]


def complaints(result: SiteResult) -> list[str]:
    return [f.message for f in result.findings if f.rule == "waiver-current"]


def test_without_a_waiver_one_cause_is_one_open_finding(check_text: Check) -> None:
    assert joined(check_text(SITE)) == [("units/loft", False, ("barn",))]


def test_a_waiver_accepts_the_finding_of_its_rule_and_subject(check_text: Check) -> None:
    entries = [
        f"rule: every-unit-joined, subject: units/{name}, {GOOD}" for name in ("loft", "barn")
    ]
    result = check_text(with_waivers(*entries))
    assert joined(result) == [("units/loft", True, ()), ("units/barn", True, ())]
    assert complaints(result) == []
    accepted = [f.waiver for f in result.findings if f.waiver]
    assert [(w.because, w.approved_by, w.until) for w in accepted] == [
        ("Moved next week", "estates", date(2027, 2, 1))
    ] * 2
    assert {f.rule for f in result.open_findings} == {"channel-exists", "two-four-narrow"}


@pytest.mark.parametrize(("waived", "left"), [("loft", "barn"), ("barn", "loft")])
def test_an_accepted_finding_neither_hides_nor_is_hidden_by_another_of_its_cause(
    check_text: Check, waived: str, left: str
) -> None:
    result = check_text(with_waivers(f"rule: every-unit-joined, subject: units/{waived}, {GOOD}"))
    assert sorted(joined(result)) == sorted(
        [(f"units/{waived}", True, ()), (f"units/{left}", False, ())]
    )


def test_a_waiver_counts_to_the_end_of_its_last_day(check_text: Check) -> None:
    text = with_waivers(f"rule: every-unit-joined, subject: units/loft, {GOOD}")
    last = date(2027, 2, 1)
    assert ("units/loft", True, ()) in joined(check_text(text, today=last))
    assert complaints(check_text(text, today=last)) == []
    after = check_text(text, today=last + timedelta(days=1))
    assert joined(after) == [("units/loft", False, ("barn",))]
    (complaint,) = complaints(after)
    assert "ended on 2027-02-01" in complaint


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ("rule: every-unit-joined, subject: units/loft, until: 2027-02-01", "no reason"),
        (
            "rule: every-unit-joined, subject: units/loft, because: ' ', until: 2027-02-01",
            "no reason",
        ),
        ("rule: every-unit-joined, subject: units/loft, because: Soon", "no end date"),
        ("rule: unjoined, subject: units/loft, because: Soon, until: 2027-02-01", "no rule"),
        (f"rule: every-unit-joined, subject: units/desk, {GOOD}", "matches no finding"),
        (f"rule: every-unit-joined, subject: units/attic, {GOOD}", "matches no finding"),
        (f"rule: management-inside, subject: units/desk, {GOOD}", "nobody may waive"),
        (f"rule: waiver-current, subject: waivers/0, {GOOD}", "nobody may waive"),
    ],
)
def test_a_waiver_that_does_not_count_is_itself_a_finding_and_accepts_nothing(
    check_text: Check, entry: str, words: str
) -> None:
    result = check_text(with_waivers(entry))
    (complaint,) = complaints(result)
    assert words in complaint
    assert all(f.waiver is None for f in result.findings)
    assert joined(result) == [("units/loft", False, ("barn",))]


def test_every_fault_of_a_waiver_is_told_in_one_finding(check_text: Check) -> None:
    (complaint,) = complaints(check_text(with_waivers("rule: unjoined, subject: units/loft")))
    assert all(words in complaint for words in ("there is no rule", "no reason", "no end date"))


def test_a_secret_cannot_be_waived(check_text: Check) -> None:
    text = with_waivers(f"rule: no-secret-in-file, subject: site, {GOOD}")
    text += 'networks: {staff: {passphrase: "invented for this test"}}\n'
    result = check_text(text)
    (found,) = (f for f in result.findings if f.rule == "no-secret-in-file")
    assert found.waiver is None
    assert "nobody may waive" in complaints(result)[0]
    assert "invented" not in "".join(f"{f.message}{f.numbers}" for f in result.findings)


def test_a_rule_that_could_not_be_judged_keeps_its_waiver_current(check_text: Check) -> None:
    link = f"rule: cable-where-it-can-run, subject: backhaul/loft to desk, {GOOD}"
    pair = f"rule: overlap-enough, subject: pairs/desk+loft/5, {GOOD}"
    text = with_waivers(link, pair).replace("loft: {}", "loft: {radios: {mid: {band: 5}}}")
    text = text.replace(
        "backhaul:\n", "backhaul:\n  loft to desk: {from: loft, to: desk, over: radio}\n"
    )
    result = check_text(text)
    assert {"cable-where-it-can-run", "overlap-enough"} <= {n.rule for n in result.not_judged}
    assert complaints(result) == []


def test_of_two_waivers_of_one_finding_one_in_date_is_enough(check_text: Check) -> None:
    old = "rule: every-unit-joined, subject: units/loft, because: Last year, until: 2025-12-01"
    new = f"rule: every-unit-joined, subject: units/loft, {GOOD}"
    for entries in ((old, new), (new, old)):
        result = check_text(with_waivers(*entries))
        assert ("units/loft", True, ()) in joined(result)
        assert len(complaints(result)) == 1


AUTO = """\
meshlint: 1
site: {name: Brook Street, country: DE}
primary: desk
units: {desk: {outdoors: true, radios: {mid: {band: 5, CHANNEL, width_mhz: 80}}}}
waivers: [{rule: indoor-only-outdoors, subject: units/desk/radios/mid, because: It is told where it
    hangs, approved_by: estates, until: 2027-02-01}]
"""


@pytest.mark.parametrize(
    ("channel", "severity", "accepted"),
    [("channel: auto", "warning", True), ("channel: 36", "error", False)],
)
def test_a_warning_of_a_rule_of_law_may_be_waived_and_an_offence_may_not(
    check_text: Check, channel: str, severity: str, accepted: bool
) -> None:
    result = check_text(AUTO.replace("CHANNEL", channel))
    (found,) = (f for f in result.findings if f.rule == "indoor-only-outdoors")
    assert found.severity == severity
    assert (found.waiver is not None) == found.waivable == accepted
    assert (complaints(result) == []) == accepted

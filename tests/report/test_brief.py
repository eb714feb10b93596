"""The short report: order and length, and what of the inputs that lack it names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meshlint.report.lines import Look
from meshlint.report.text import render

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

# Ten things wrong, of every severity: an invented house.
MANY = """
meshlint: 1
site: {name: Mill House, country: GB, surroundings: home}
primary: hall
units:
  hall:
    routes: true
    radios:
      low: {band: 2.4, channel: 3, width_mhz: 40, carries: [clients]}
      mid: {band: 5, channel: 100, width_mhz: 160, carries: [clients, backhaul]}
  loft:
    routes: true
    radios:
      low: {band: 2.4, channel: 1, width_mhz: 40, carries: [clients]}
      mid: {band: 5, channel: 100, width_mhz: 160, carries: [clients, backhaul]}
  shed:
    radios:
      mid: {band: 5, channel: 37, width_mhz: 80, carries: [clients, backhaul]}
backhaul:
  loft to hall: {from: loft, to: hall, over: radio}
networks:
  house: {name: default-router, for: staff, vlan: 10, akm: psk, cipher: wep, secret_length: 6}
  guests: {name: Mill Guests, for: guests, vlan: 10, akm: open}
clients:
  phones: {count: 6, near: loft, network: house}
  screens: {count: 2, near: shed, network: house}
"""

WIDE = Look(width=100)


@dataclass(frozen=True)
class Headline:
    severity: str
    rule: str


def headlines(report: str) -> list[Headline]:
    found = []
    for line in report.splitlines():
        parts = line.split(": ", 1)
        if len(parts) == 2 and not line.startswith(" ") and parts[1].count(", ") >= 1:
            severity, rule = parts[1].split(", ")[:2]
            if severity in ("error", "warning", "note"):
                found.append(Headline(severity, rule.rstrip(",")))
    return found


def test_ten_findings_and_what_is_open_take_at_most_fifty_lines(
    check_text: Callable[[str], SiteResult],
) -> None:
    result = check_text(MANY)
    report = render([result], WIDE)
    told = headlines(report)
    assert len(told) >= 10
    assert len(report.splitlines()) <= 5 * len(told)
    assert max(map(len, report.splitlines())) <= WIDE.width


def test_the_gravest_come_first_and_then_what_most_devices_depend_on(
    check_text: Callable[[str], SiteResult],
) -> None:
    result = check_text(MANY)
    told = [line.severity for line in headlines(render([result], WIDE))]
    assert told == sorted(told, key=["error", "warning", "note"].index)
    assert {"error", "warning"} <= set(told)
    devices = {f.rule: f.devices for f in result.findings if f.severity == "error"}
    assert max(devices.values()) > min(devices.values())
    errors = [h.rule for h in headlines(render([result], WIDE)) if h.severity == "error"]
    shown = [devices[rule] for rule in errors if rule in devices]
    assert shown[0] == max(shown)


def test_reasons_and_sources_come_on_request(check_text: Callable[[str], SiteResult]) -> None:
    result = check_text(MANY)
    short, long = (render([result], Look(explain=explain)) for explain in (False, True))
    assert "because" not in short
    assert "source  " not in short
    for finding in result.open_findings:
        assert finding.why.split()[0] in long
    assert len(long) > 2 * len(short)


def test_open_questions_take_three_lines_that_say_what_cannot_be_told(
    check_text: Callable[[str], SiteResult],
) -> None:
    report = render([check_text(MANY)], WIDE)
    asked = report[report.index("Cannot tell ") :].replace("\n", " ")
    assert asked.count("Cannot tell ") == asked.count(" more, without ") == 3
    assert "`--explain` lists all" in report


def test_no_finding_shows_a_word_that_means_nothing_to_a_person(
    check_text: Callable[[str], SiteResult],
) -> None:
    for finding in check_text(MANY).findings:
        for text in (finding.message, finding.remedy):
            assert "unknown" not in text
            assert "None" not in text

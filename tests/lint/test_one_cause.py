"""One cause is told once: folded within a rule, and under its root across rules."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING

from markdown_it import MarkdownIt
from msgspec.structs import replace

from meshlint.report import as_json, junit, markdown, sarif
from meshlint.report.lines import Look
from meshlint.report.text import render
from meshlint.run import shipped_rules

if TYPE_CHECKING:
    from collections.abc import Callable

    from markdown_it.token import Token

    from meshlint.lint.finding import Finding, SiteResult

    Check = Callable[..., SiteResult]

LINE = """\
meshlint: 1
site: {name: Brook School}
primary: office
internet_lines: {main: {down_mbps: 20, up_mbps: 2}}
units: {office: {routing_mbps: 900}, hall: {}, attic: {}}
backhaul:
  hall: {from: hall, to: office, over: powerline, measured_mbps: 900}
  attic: {from: attic, to: office, over: powerline, measured_mbps: 900}
clients:
  desks: {count: 4, wired_to: office, down_mbps: 5, up_mbps: 2}
  screens: {count: 4, wired_to: hall, down_mbps: 5, up_mbps: 2}
  tills: {count: 4, wired_to: attic, down_mbps: 5, up_mbps: 2}
"""


def found_by(result: SiteResult, rule: str) -> list[Finding]:
    return [finding for finding in result.findings if finding.rule == rule]


def test_what_a_full_line_does_to_clients_is_told_under_the_line(check_text: Check) -> None:
    result = check_text(LINE)
    (line,) = found_by(result, "line-carries-demand")
    (clients,) = found_by(result, "clients-get-their-rate")
    assert clients.under == line.fingerprint
    assert clients.follows == ("screens", "tills")
    told = render([result], Look(explain=True))
    head = f"warning, {line.rule}"
    assert told.count("clients-get-their-rate") == 1
    assert "and so" in told[told.index(head) :]


def test_every_format_tells_what_a_consequence_follows_from(check_text: Check) -> None:
    result = check_text(LINE)
    (line,) = found_by(result, "line-carries-demand")
    (clients,) = found_by(result, "clients-get-their-rate")
    assert result.cause_of(clients) == line
    assert result.cause_of(line) is None

    report = json.loads(as_json.render([result]))
    under = {f["rule"]: f["under"] for f in report["files"][0]["findings"]}
    assert under["clients-get-their-rate"] == line.fingerprint

    cards = {card.id: card for card in shipped_rules().cards}
    log = json.loads(sarif.render([result], cards))
    by_rule = {r["ruleId"]: r for r in log["runs"][0]["results"]}
    root, following = by_rule["line-carries-demand"], by_rule["clients-get-their-rate"]
    mark = following["properties"]["followsFrom"]
    assert mark == root["partialFingerprints"]["meshlintFinding/v1"]
    related = following["relatedLocations"][-1]
    assert related["physicalLocation"] == root["locations"][0]["physicalLocation"]
    assert related["message"]["text"].startswith("follows from line-carries-demand: ")
    (relationship,) = following["locations"][0]["relationships"]
    assert relationship == {"target": related["id"], "kinds": ["relevant"]}
    assert "properties" not in root
    assert "Follows from line-carries-demand for Brook School." in following["message"]["text"]

    told = ET.fromstring(junit.render([result]))  # noqa: S314 - our own text
    (case,) = (c for c in told.iter("testcase") if "clients-get" in str(c.get("name")))
    said = "".join(case.itertext())
    assert f"Follows from line-carries-demand for Brook School: {line.message}" in said


def test_markdown_lists_consequences_under_their_cause(check_text: Check) -> None:
    """CommonMark itself, by an independent parser, says what stands in what."""
    depth, found = 0, {}
    for token in MarkdownIt().parse(markdown.render([check_text(LINE)])):
        depth += {"list_item_open": 1, "list_item_close": -1}.get(token.type, 0)
        for rule in ("line-carries-demand", "clients-get-their-rate", "shared-wire-measured"):
            if token.type == "inline" and f"warning {rule}," in plain(token):
                found[rule] = depth
    assert found == {"line-carries-demand": 1, "clients-get-their-rate": 2}


def plain(token: Token) -> str:
    return "".join(child.content for child in token.children or ())


def test_what_is_cut_from_markdown_is_counted_with_its_consequences(check_text: Check) -> None:
    one = check_text(LINE)
    many = [
        replace(
            one,
            path=f"{n}.site.yaml",
            # Each in words of its own: what reads the same is told once.
            findings=tuple(replace(f, message=f"{f.message} {n}") for f in one.findings),
        )
        for n in range(60)
    ]
    report = markdown.render(many)
    told = report.count("**warning**")
    cut = int(re.search(r"- and ([0-9]+) more", report)[1])  # type: ignore[index]
    assert told + cut == sum(len(result.open_findings) for result in many)
    assert markdown.MOST <= told <= markdown.MOST + 1


def test_a_root_that_is_accepted_takes_nothing_into_hiding(check_text: Check) -> None:
    waiver = (
        "waivers:\n  - {rule: line-carries-demand, subject: site, because: A new one is ordered., "
        "approved_by: E. Thwaite, until: 2027-01-31}\n"
    )
    result = check_text(LINE + waiver)
    (line,) = found_by(result, "line-carries-demand")
    assert line.waiver is not None
    assert [finding.under for finding in found_by(result, "clients-get-their-rate")] == [""]
    assert "clients-get-their-rate, " in render([result], Look())


def test_a_cable_too_long_for_its_rate_tells_of_its_watts_too(check_text: Check) -> None:
    result = check_text("""\
meshlint: 1
site: {name: Dairy}
primary: house
units:
  house: {}
  dairy: {takes_class: 4, powered: {by: cable, from: rack}}
  rack: {kind: switch, supply_budget_w: 200, ports: [{count: 8, supplies_class: 4}]}
backhaul:
  rack: {from: rack, to: house, over: cable, category: 6, length_m: 2, rate_mbps: 1000}
  dairy: {from: dairy, to: rack, over: cable, category: 6, length_m: 118, rate_mbps: 1000}
""")
    (reach,) = found_by(result, "cable-reach")
    (watts,) = found_by(result, "power-over-cable-budget")
    assert watts.under == reach.fingerprint


def test_the_same_lack_keeps_groups_out_of_one_network_once(check_text: Check) -> None:
    groups = "".join(
        f"  {name}: {{count: 3, near: desk, network: staff, band: 5, akms: [{akms}]}}\n"
        for name, akms in (("a", "psk"), ("b", "psk"), ("c", "dot1x"))
    )
    result = check_text(f"""\
meshlint: 1
site: {{name: Brook Street}}
primary: desk
units: {{desk: {{radios: {{mid: {{band: 5, channel: 36, width_mhz: 20, carries: [clients]}}}}}}}}
networks: {{staff: {{akm: sae}}}}
clients:
{groups}""")
    assert [f.follows for f in found_by(result, "clients-can-join")] == [("b",), ()]


def test_outdoor_copper_is_one_caution_of_a_site_and_speaks_of_what_is_buried(
    check_text: Check,
) -> None:
    result = check_text("""\
meshlint: 1
site: {name: Brook Street}
primary: desk
units: {desk: {}, barn: {}, shed: {}}
backhaul:
  buried: {from: barn, to: desk, over: cable, category: 6, path: outdoors}
  aerial: {from: shed, to: desk, over: cable, category: 6, path: outdoors}
""")
    (caution,) = found_by(result, "outdoor-copper")
    assert caution.follows == ("aerial",)
    assert caution.message.startswith("The copper cable between barn and desk runs outdoors")
    assert "marked before anybody digs" in caution.remedy

"""What a report of one site advises holds when it is followed, one line of it or all of it."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.edits.advice import advised
from meshlint.run import Checker, shipped_rules

if TYPE_CHECKING:
    from meshlint.lint.finding import Finding, Fix

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
RANK = ("error", "warning", "note", "caution")

HOUSE = """\
meshlint: 1
site: {name: House, country: GB, surroundings: home}
primary: hall
units:
  hall:
    radios:
      low: {band: 2.4, channel: 3, width_mhz: 20, carries: [clients]}  # as it was sold
      mid: {band: 5, channel: 100, width_mhz: 80, carries: [backhaul]}
  loft:
    radios:
      low: {band: 2.4, channel: 1, width_mhz: 20, carries: [clients]}
      mid: {band: 5, channel: 100, width_mhz: 80, carries: [backhaul]}
backhaul:
  loft to hall: {from: loft, to: hall, over: radio}
"""


def followed(data: bytes, fix: Fix) -> bytes:
    """Put the lines of a fix into a file as a program that reads the report does."""
    lines = data.decode().split("\n")
    for part in reversed(fix.replacements):
        new = part.text.split("\n")
        assert not new[-1] or part.last_line == len(lines)
        lines[part.first_line - 1 : part.last_line] = new if new[-1] else new[:-1]
    return "\n".join(lines).encode()


def sites() -> list[tuple[str, bytes]]:
    paths = (*ROOT.glob("samples/branches/*"), *ROOT.glob("samples/house/*.site.yaml"))
    found = [(str(path), path.read_bytes()) for path in sorted(paths)]
    for path in sorted(ROOT.glob("tests/rules/*.yaml")):
        texts = re.split(r"^---\n", path.read_text(), flags=re.MULTILINE)
        found += [(str(path.with_suffix(".site.yaml")), text.encode()) for text in texts[::5]]
    return found


def by_name(findings: tuple[Finding, ...]) -> dict[tuple[str, str], Finding]:
    return {(found.rule, found.subject): found for found in findings}


@pytest.mark.slow
def test_each_change_that_is_advised_mends_what_it_stands_under_by_itself() -> None:
    apart, tried = Checker(TODAY, apart=True), 0
    for path, data in sites():
        checker = Checker(TODAY)
        then = by_name(apart.check(data, path).findings)
        for finding in advised(checker, data, path, checker.check(data, path)).open_findings:
            for fix in finding.fixes[:1]:
                now = by_name(apart.check(followed(data, fix), path).findings)
                left = now.get((finding.rule, finding.subject))
                if fix.label == finding.label:
                    assert (left.severity if left else "") == fix.left
                new = [found for name, found in now.items() if name not in then]
                assert all(RANK.index(f.severity) >= RANK.index(finding.severity) for f in new)
                tried += 1
    assert tried > 30


def test_all_that_is_advised_can_be_followed_together(tmp_path: Path) -> None:
    site = tmp_path / "a.site.yaml"
    site.write_text(HOUSE)
    for _ in range(9):
        done = CliRunner().invoke(cli, ["check", "--format", "json", str(site)])
        findings = json.loads(done.stdout)["files"][0]["findings"]
        fixes = [fix for finding in findings for fix in finding["fixes"]]
        if not fixes:
            break
        lines = site.read_text().splitlines(keepends=True)
        for part in fixes[0]["replacements"]:
            lines[part["first_line"] - 1 : part["last_line"]] = [part["text"]]
        site.write_text("".join(lines))
    assert not {"two-four-spacing", "backhaul-off-radar"} & {f["rule"] for f in findings}


def said(tmp_path: Path, *words: str, copies: int = 1) -> str:
    names = [f"{number}.site.yaml" for number in range(copies)]
    for name in names:
        (tmp_path / name).write_text(HOUSE.replace("House", f"House {name[0]}"))
    files = [str(tmp_path / name) for name in names]
    return CliRunner().invoke(cli, ["check", *words, *files]).stdout


def test_one_site_is_told_what_to_set_and_many_are_told_the_principle(tmp_path: Path) -> None:
    named = r"Do: Set radio mid of loft and hall to channel \d+ at \d+ MHz|Do: Set radio mid of h"
    assert re.search(named, said(tmp_path))
    both = said(tmp_path, copies=2)
    assert "Do: Set radio" not in both
    assert "Here, use a channel free of radar at both ends" in both


def test_a_folder_is_told_the_principle_even_where_it_holds_one_site(tmp_path: Path) -> None:
    said(tmp_path)
    done = CliRunner().invoke(cli, ["check", str(tmp_path)])
    assert "Do: Set radio" not in done.stdout


def test_advice_is_the_same_when_the_result_was_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MESHLINT_CACHE_DIR", str(tmp_path / "cache"))
    fresh = said(tmp_path, "--no-cache")
    assert said(tmp_path) == said(tmp_path) == fresh


def test_code_review_is_given_the_change_as_lines(tmp_path: Path) -> None:
    log = json.loads(said(tmp_path, "--format", "sarif"))
    fixes = [fix for result in log["runs"][0]["results"] for fix in result.get("fixes", ())]
    assert fixes
    for fix in fixes:
        [change] = fix["artifactChanges"]
        assert change["artifactLocation"]["uri"].endswith("0.site.yaml")
        for part in change["replacements"]:
            region = part["deletedRegion"]
            assert region["startColumn"] == region["endColumn"] == 1
            assert part["insertedContent"]["text"].endswith("\n")


def test_a_choice_of_rules_does_not_hide_what_a_change_would_break(tmp_path: Path) -> None:
    """A change is held to all rules, whichever of them the report is about."""
    whole = json.loads(said(tmp_path, "--format", "json"))["files"][0]["findings"]
    one = said(tmp_path, "--format", "json", "--rule", "two-four-spacing")
    [found] = json.loads(one)["files"][0]["findings"]
    assert found["fixes"]
    assert {fix["words"] for fix in found["fixes"]} <= {
        fix["words"] for finding in whole for fix in finding["fixes"]
    }


def test_every_verdict_can_be_listed_and_none_is_listed_unasked(tmp_path: Path) -> None:
    [told] = json.loads(said(tmp_path, "--format", "json", "--verdicts"))["files"]
    words = {(entry["rule"], entry["subject"]): entry["verdict"] for entry in told["verdicts"]}
    assert len(words) == len(told["verdicts"])
    assert words["two-four-spacing", "site"] == "broken"
    assert "does not apply" in words.values()
    cautions = {card.id for card in shipped_rules().cards if card.is_caution}
    held = [pair for pair, word in words.items() if word == "held" and pair[0] not in cautions]
    summary = json.loads(said(tmp_path, "--format", "json"))
    assert summary["summary"]["held"] == len(held)
    assert {(e["rule"], e["subject"]) for e in told["not_judged"]} == {
        pair for pair, word in words.items() if word == "not judged"
    }
    assert "verdicts" not in summary["files"][0]


def test_verdicts_want_json() -> None:
    done = CliRunner().invoke(cli, ["check", "--verdicts", str(ROOT / "samples/house")])
    assert done.exit_code == 2
    assert "--format json" in done.output


def test_an_offence_is_put_right_even_at_the_price_of_a_rule_that_may_be_waived(
    tmp_path: Path,
) -> None:
    """Outdoors in Germany 5150-5350 MHz is closed, and 5470-5725 MHz is shared with radar."""
    path = tmp_path / "a.site.yaml"
    radio = "mid: {band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}"
    path.write_text(
        "meshlint: 1\nsite: {name: Pool, country: DE, surroundings: home}\nprimary: desk\nunits:\n"
        f"  desk: {{at: {{x_m: 0, y_m: 0}}, radios: {{{radio}}}}}\n"
        f"  pool: {{at: {{x_m: 9, y_m: 0}}, outdoors: true, radios: {{{radio}}}}}\n"
        "backhaul: {pool: {from: pool, to: desk, over: radio}}\n"
    )
    words = ["check", str(path), "--no-cache", "--today", "2026-11-25", "--format", "json"]
    report = json.loads(CliRunner().invoke(cli, words).stdout)
    (found,) = (f for f in report["files"][0]["findings"] if f["rule"] == "indoor-only-outdoors")
    assert "to channel 100" in found["fixes"][0]["words"]
    assert found["fixes"][0]["words"].endswith("at the price of backhaul-off-radar")

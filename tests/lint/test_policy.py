"""A policy: what holds for which site, from which line, and what in it means nothing."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from meshlint.run import Checker

if TYPE_CHECKING:
    from pathlib import Path

    from meshlint.lint.finding import SiteResult

DAY = date(2026, 11, 25)
SITE = """\
meshlint: 1
site: {name: Brook Street, class: branch, country: GB}
primary: desk
units:
  desk: {radios: {low: {band: 2.4, channel: 1, width_mhz: 40, carries: [clients]}}}
  loft: {}
backhaul: {}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def checked(path: str, text: str = SITE) -> SiteResult:
    return Checker(DAY).check(text.encode(), path)


def severities(result: SiteResult) -> dict[str, str]:
    assert result.problems == ()
    return {finding.rule: finding.severity for finding in result.findings}


def complaints(result: SiteResult) -> list[tuple[str, str]]:
    return [(str(problem.place), problem.message) for problem in result.problems]


@pytest.mark.usefixtures("here")
def test_without_a_policy_every_rule_holds_as_its_card_says() -> None:
    found = severities(checked("a.site.yaml"))
    assert found["every-unit-joined"] == "error"
    assert found["two-four-narrow"] == "warning"


def test_a_policy_sets_severities_and_switches_rules_off(here: Path) -> None:
    write(
        here,
        "meshlint.yaml",
        "meshlint: 1\nfail_at: warning\nrules:\n  every-unit-joined: {severity: note}\n"
        "  two-four-narrow: {switched_off: Nobody else is near}\n",
    )
    result = checked("sites/a.site.yaml")
    found = severities(result)
    assert found["every-unit-joined"] == "note"
    assert "two-four-narrow" not in found
    assert result.fail_at == "warning"


def test_a_limit_of_the_policy_is_the_one_that_is_judged(here: Path) -> None:
    chain = SITE.replace("backhaul: {}\n", "").replace("loft: {}", "loft: {}\n  barn: {}")
    chain += (
        "backhaul:\n  one: {from: loft, to: desk, over: radio}\n"
        "  two: {from: barn, to: loft, over: radio}\n"
    )
    assert severities(checked("a.site.yaml", chain))["hop-depth"] == "note"
    write(here, "meshlint.yaml", "meshlint: 1\nrules: {hop-depth: {limits: {note_hops: 2}}}\n")
    assert "hop-depth" not in severities(checked("a.site.yaml", chain))


def test_the_nearest_policy_holds_alone(here: Path) -> None:
    write(here, "meshlint.yaml", "meshlint: 1\nrules: {every-unit-joined: {severity: note}}\n")
    write(here, "inner/meshlint.yaml", "meshlint: 1\n")
    assert severities(checked("a.site.yaml"))["every-unit-joined"] == "note"
    assert severities(checked("inner/a.site.yaml"))["every-unit-joined"] == "error"


def test_a_policy_above_the_repository_is_not_looked_at(here: Path) -> None:
    write(here, "meshlint.yaml", "meshlint: 1\nrules: {every-unit-joined: {severity: note}}\n")
    (here / "vendored" / ".git").mkdir(parents=True)
    assert severities(checked("vendored/a.site.yaml"))["every-unit-joined"] == "error"


@pytest.mark.parametrize(
    ("block", "path", "severity"),
    [
        ("sites: ['branches/*.site.yaml']", "branches/a.site.yaml", "note"),
        ("sites: ['branches/*.site.yaml']", "depots/a.site.yaml", "error"),
        ("sites: [branches/]", "branches/north/a.site.yaml", "note"),
        ("sites: ['*', '!branches/']", "depots/a.site.yaml", "note"),
        ("classes: [depot, branch]", "a.site.yaml", "note"),
        ("classes: [depot]", "a.site.yaml", "error"),
    ],
)
def test_a_block_holds_for_its_sites_alone(
    here: Path, block: str, path: str, severity: str
) -> None:
    write(
        here,
        "meshlint.yaml",
        f"meshlint: 1\nblocks: [{{{block}, rules: {{every-unit-joined: {{severity: note}}}}}}]\n",
    )
    assert severities(checked(path))["every-unit-joined"] == severity


def test_a_later_block_has_the_last_word_on_each_setting(here: Path) -> None:
    write(
        here,
        "meshlint.yaml",
        "meshlint: 1\nfail_at: note\nblocks:\n"
        "  - {classes: [branch], fail_at: warning, rules: {every-unit-joined: {severity: note}}}\n"
        "  - {sites: [a.site.yaml], rules: {every-unit-joined: {severity: warning}}}\n",
    )
    result = checked("a.site.yaml")
    assert severities(result)["every-unit-joined"] == "warning"
    assert result.fail_at == "warning"


def test_a_catalogue_of_the_policy_serves_sites_that_name_none(here: Path) -> None:
    write(here, "shared/equipment.yaml", "meshlint: 1\nmodels: {tri: {routing_mbps: 90}}\n")
    write(here, "meshlint.yaml", "meshlint: 1\ncatalogue: shared/equipment.yaml\n")
    text = SITE.replace("loft: {}", "loft: {model: tri}")
    checker = Checker(DAY)
    assert checker.check(text.encode(), "branches/a.site.yaml").problems == ()
    wrong = text.replace("model: tri", "model: tree")
    ((place, message),) = complaints(checker.check(wrong.encode(), "branches/a.site.yaml"))
    assert "there is 'tri'" in message
    assert place.startswith("branches/a.site.yaml:6")


def test_a_catalogue_of_the_policy_must_stay_in_the_repository(here: Path) -> None:
    write(here, "meshlint.yaml", "meshlint: 1\ncatalogue: ../equipment.yaml\n")
    ((place, message),) = complaints(checked("a.site.yaml"))
    assert place == "meshlint.yaml:2:12"
    assert "out of the repository" in message


def test_radars_of_the_policy_count_for_every_site(here: Path) -> None:
    write(
        here,
        "meshlint.yaml",
        "meshlint: 1\nradars: [{name: Hollin Fell, latitude: 54.4, longitude: -2.6}]\n",
    )
    checker = Checker(DAY)
    own = SITE + "radars: [{name: Quarry Top, latitude: 54.5, longitude: -2.7}]\n"
    for text, names in ((SITE, ["Hollin Fell"]), (own, ["Quarry Top", "Hollin Fell"])):
        site = checker.open(text.encode(), "a.site.yaml").site
        assert [radar.name for radar in site.radars or ()] == names


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("rules: {hop-dept: {severity: note}}", "2:9", "did you mean hop-depth?"),
        ("rules: {hop-depth: {limits: {hops: 3}}}", "2:30", "it has: note_hops"),
        ("rules: {hop-depth: {limits: {note_hops: 11}}}", "2:41", "from 0 to 10 hops"),
        ("rules: {hop-depth: {severty: note}}", "2:21", "did you mean 'severity'"),
        ("rules: {hop-depth: {severity: grave}}", "2:31", "error, warning or note"),
        ("rules: {no-secret-in-file: {switched_off: x}}", "2:29", "nobody may waive"),
        ("blocks: [{rules: {}}]", "2:10", "either which `sites` or which `classes`"),
        ("blocks: [{sites: [a], classes: [b]}]", "2:10", "either which `sites`"),
        ("blocks: [{classes: [x], rules: {hop-dept: {}}}]", "2:33", "did you mean hop-depth?"),
        ("cards: [{folder: rules, name: own}]", "2:18", "there is no folder 'rules'"),
        ("cards: [{folder: ../x, name: own}]", "2:18", "out of the repository"),
        ("facts: [nowhere]", "2:9", "no installed package offers facts called 'nowhere'"),
        ("fail_at: never", "2:10", "error, warning or note"),
        ("ruls: {}", "2:1", "did you mean 'rules'"),
        ("blocks: [{sites: ['!']}]", "2:18", "this is no pattern"),
    ],
)
def test_what_means_nothing_is_told_at_its_place(
    here: Path, text: str, place: str, words: str
) -> None:
    write(here, "meshlint.yaml", f"meshlint: 1\n{text}\n")
    result = checked("a.site.yaml")
    ((at, message),) = complaints(result)
    assert at == f"meshlint.yaml:{place}"
    assert words in message


CARD = """\
id: unit-labelled
status: stable
since: "0.1"
about: unit
severity: error
title: Units bear the site's label
why: Nobody finds them otherwise.
rationale: Nobody finds them otherwise.
blind_spots: It reads names only.
limits:
  most: {default: 1, minimum: 0, maximum: 9, unit: hops, because: "Ours."}
expect: unit.name.startsWith('qb-') && unit.radio_hops <= limit.most
says: nobody finds {unit.name}.
remedy: call it qb-{unit.name}.
point_at: [self]
practice: our own labels
"""


def test_own_cards_are_held_under_the_name_of_their_folder(here: Path) -> None:
    write(here, "rules/unit-labelled.yaml", CARD)
    write(here, "meshlint.yaml", "meshlint: 1\ncards: [{folder: rules, name: quillbeck}]\n")
    result = checked("a.site.yaml")
    found = [f for f in result.findings if f.rule == "quillbeck/unit-labelled"]
    assert [finding.subject for finding in found] == ["units/desk", "units/loft"]
    write(
        here,
        "meshlint.yaml",
        "meshlint: 1\ncards: [{folder: rules, name: quillbeck}]\n"
        "rules: {quillbeck/unit-labelled: {severity: note}}\n",
    )
    assert severities(checked("a.site.yaml"))["quillbeck/unit-labelled"] == "note"


def test_an_own_card_that_means_nothing_is_told_at_its_place(here: Path) -> None:
    write(here, "rules/unit-labelled.yaml", CARD.replace("unit.name.starts", "unit.nam.starts"))
    write(here, "meshlint.yaml", "meshlint: 1\ncards: [{folder: rules, name: quillbeck}]\n")
    ((place, message),) = complaints(checked("a.site.yaml"))
    assert place.endswith("rules/unit-labelled.yaml:12:9")
    assert "there is no fact unit.nam" in message


def test_a_waiver_for_a_rule_that_is_switched_off_is_not_blamed(here: Path) -> None:
    waiver = (
        "waivers: [{rule: two-four-narrow, subject: units/desk/radios/low, because: x,"
        " until: 2030-01-01}]\n"
    )
    text = SITE.replace("width_mhz: 40", "width_mhz: 20") + waiver
    assert "waiver-current" in severities(checked("a.site.yaml", text))
    write(here, "meshlint.yaml", "meshlint: 1\nrules: {two-four-narrow: {switched_off: why}}\n")
    assert "waiver-current" not in severities(checked("a.site.yaml", text))

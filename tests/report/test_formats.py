"""Every format says the same, each held against its own published form and an independent reader.

SARIF: the OASIS schema of version 2.1.0 (vendored beside this file) and the reader
`sarif-pydantic`. JUnit XML: the reader `junitparser`. Markdown: the CommonMark parser
`markdown-it-py`. JSON: our own published schema, by `jsonschema`.
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections import Counter
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

import jsonschema
import junitparser
import pytest
import sarif_pydantic
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from msgspec.structs import replace

from meshlint.lint.finding import Finding, Listed, NotJudged, SiteResult, Source, wanted_by
from meshlint.report import as_json, junit, markdown, places, sarif, text
from meshlint.report.lines import Look
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues
from meshlint.site.model import Waiver
from meshlint.site.problem import Place, Problem
from meshlint.workings.unknown import Input

if TYPE_CHECKING:
    from collections.abc import Callable

SAMPLES = Path(__file__).parents[2] / "samples" / "branches"
SARIF = json.loads((Path(__file__).parent / "sarif-schema-2.1.0.json").read_text())
OURS = json.loads((Path(__file__).parents[2] / "schemas" / "report.schema.json").read_text())
DAY = date(2026, 11, 25)
CARDS = {card.id: card for card in shipped_rules().cards}


def finding(rule: str = "hop-depth", **given: Any) -> Finding:
    known: dict[str, Any] = {
        "site": "Brook Street",
        "rule": rule,
        "severity": "warning",
        "title": "Few hops",
        "subject": "units/loft",
        "label": "loft",
        "place": Place("a.site.yaml", 4, 3),
        "message": "It is far away.",
        "why": "Hops cost air.",
        "remedy": "Move it.",
        "sources": (Source("A book", "all of it"),),
        "numbers": {"unit.hops": 3, "unit.path": ("a", "b"), "unit.joined": True},
    }
    return Finding(**{**known, **given})


LISTED = Listed(
    rule="hop-depth",
    subject="units/barn",
    severity="warning",
    fingerprint="0" * 20,
    since=DAY,
    because="There before.",
    place=Place("meshlint-accepted.yaml", 5, 7),
)
WAIVER = Waiver(0, "hop-depth", "units/loft", "A listed wall", "estates", date(2027, 4, 30))

ALL_KINDS = (
    SiteResult(
        path="a.site.yaml",
        site="Brook Street",
        fail_at="warning",
        findings=(
            finding(),
            finding(severity="note", subject="units/shed"),
            finding(severity="error", subject="units/desk", follows=("barn", "byre")),
            finding(severity="caution", subject="units/mast"),
            finding(subject="units/attic", waiver=WAIVER),
            finding(subject="units/cellar", listed=LISTED),
        ),
        not_judged=(
            NotJudged(
                "overlap-enough",
                "site",
                "Brook Street",
                Place("a.site.yaml", 2, 1),
                (Input(("units", "loft", "at"), "where the unit stands"),),
            ),
        ),
        held=("every-unit-joined", "every-unit-joined", "hop-depth"),
        idle=("waiver-current",),
        vanished=(LISTED,),
    ),
    SiteResult(path="b.site.yaml", problems=(Problem(Place("b.site.yaml", 3, 9), "no such key"),)),
    SiteResult(path="c.site.yaml", fault="ZeroDivisionError: a fault"),
    SiteResult(path="d.site.yaml", site="Sound", held=("every-unit-joined",)),
)


def sarif_log(results: Any = ALL_KINDS, *, whole_record: bool = True) -> Any:
    return json.loads(sarif.render(results, CARDS, whole_record=whole_record))


@pytest.fixture(scope="module")
def of_samples() -> list[SiteResult]:
    catalogues = Catalogues()
    return [
        check_bytes(path.read_bytes(), str(path), shipped_rules(), catalogues, DAY)
        for path in sorted(SAMPLES.glob("*.site.yaml"))
    ]


# --- SARIF ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("whole_record", [False, True])
@pytest.mark.parametrize("results", [ALL_KINDS, (), ALL_KINDS[1:2]], ids=["all", "none", "unread"])
def test_sarif_fits_the_schema_of_the_standard(
    results: tuple[SiteResult, ...], whole_record: bool
) -> None:
    log = sarif_log(results, whole_record=whole_record)
    jsonschema.Draft7Validator(SARIF, format_checker=jsonschema.FormatChecker()).validate(log)
    assert isinstance(log["runs"][0]["results"], list)


def test_the_samples_fit_the_schema_too(of_samples: list[SiteResult]) -> None:
    jsonschema.Draft7Validator(SARIF).validate(sarif_log(of_samples))


def test_another_program_reads_from_sarif_what_was_found() -> None:
    (run,) = sarif_pydantic.Sarif.model_validate(sarif_log()).runs
    read = [
        (r.rule_id, str(r.kind), str(r.level.value if r.level else None)) for r in run.results or ()
    ]
    assert read == [
        ("hop-depth", "fail", "warning"),
        ("hop-depth", "fail", "note"),
        ("hop-depth", "fail", "error"),
        ("hop-depth", "review", "none"),
        ("hop-depth", "fail", "warning"),
        ("hop-depth", "fail", "warning"),
        ("overlap-enough", "open", "none"),
        ("hop-depth", "informational", "none"),
        ("file-not-understood", "fail", "error"),
        ("program-fault", "fail", "error"),
    ]
    suppressed = [[s["kind"] for s in r.suppressions or ()] for r in run.results or ()]
    assert suppressed == [[], [], [], [], ["inSource"], ["external"], [], [], [], []]


def test_a_service_that_takes_each_result_for_an_alert_is_given_open_findings_only() -> None:
    """GitHub's page "SARIF support for code scanning": `kind` and `suppressions` are not read."""
    (run,) = sarif_pydantic.Sarif.model_validate(sarif_log(whole_record=False)).runs
    read = [(r.rule_id, str(r.kind), r.level.value if r.level else None) for r in run.results or ()]
    assert read == [
        ("hop-depth", "fail", "warning"),
        ("hop-depth", "fail", "note"),
        ("hop-depth", "fail", "error"),
        ("file-not-understood", "fail", "error"),
        ("program-fault", "fail", "error"),
    ]
    counted = sarif_log(whole_record=False)["runs"][0]["properties"]
    assert counted == {
        "held": 4, "heldAssumed": 0, "notJudged": 1, "cautions": 1,
        "acceptedByWaiver": 1, "acceptedByList": 1,
        "acceptedNoLongerThere": 1,
    }  # fmt: skip


def test_every_result_has_a_fingerprint_that_moved_lines_do_not_change() -> None:
    def marks(results: Any) -> list[str]:
        found = sarif_log(results)["runs"][0]["results"]
        return [result["partialFingerprints"][sarif.FINGERPRINT] for result in found]

    assert len(marks(ALL_KINDS)) == 10
    at_line_3, at_line_9 = (
        (SiteResult(path="b", problems=(Problem(Place("b", line, 1), "no such key"),)),)
        for line in (3, 9)
    )
    other = (SiteResult(path="b", problems=(Problem(Place("b", 3, 1), "no such word"),)),)
    assert marks(at_line_3) == marks(at_line_9) != marks(other)


def test_places_are_relative_to_the_repository_wherever_the_check_was_run_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "repo" / ".git").mkdir(parents=True)
    (tmp_path / "repo" / "sites" / "north").mkdir(parents=True)
    (tmp_path / "short").symlink_to(tmp_path / "repo")

    def where(path: str) -> Any:
        found = sarif_log((SiteResult(path=path, problems=(Problem(Place(path, 1, 1), "x"),)),))
        return found["runs"][0]["results"][0]["locations"][0]["physicalLocation"][
            "artifactLocation"
        ]

    top = {"uriBaseId": "%SRCROOT%"}
    monkeypatch.chdir(tmp_path / "repo" / "sites")
    assert where("north/a b.site.yaml") == {"uri": "sites/north/a%20b.site.yaml", **top}
    assert where("../a.site.yaml") == {"uri": "a.site.yaml", **top}
    assert where(str(tmp_path / "short" / "sites" / "a.yaml")) == {"uri": "sites/a.yaml", **top}
    assert where(str(tmp_path / "a.yaml")) == {"uri": (tmp_path / "a.yaml").as_uri()}
    assert where("-") == {"uri": "stdin"}
    log = sarif_log(())
    assert top["uriBaseId"] in log["runs"][0]["originalUriBaseIds"]
    assert str(tmp_path) not in json.dumps(log)


def test_only_what_failed_has_a_level_as_section_3_27_10_asks() -> None:
    for result in sarif_log()["runs"][0]["results"]:
        assert (result["level"] == "none") == (result["kind"] != "fail")


def test_a_state_against_a_baseline_is_on_all_results_or_on_none_as_section_3_27_24_asks() -> None:
    results = sarif_log()["runs"][0]["results"]
    assert {"baselineState" in result for result in results} == {False}
    assert all(isinstance(result["suppressions"], list) for result in results)


def test_results_point_at_their_rules_and_rules_help() -> None:
    run = sarif_log()["runs"][0]
    rules = run["tool"]["driver"]["rules"]
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
    assert {rule["id"] for rule in rules} >= set(CARDS)
    for rule in rules:
        assert rule["help"]["text"]


def test_no_line_of_sarif_is_below_one_and_an_unread_file_is_no_success() -> None:
    result = SiteResult(path="a", problems=(Problem(Place("a", 0, 0), "empty"),))
    run = sarif_log((result,))["runs"][0]
    region = run["results"][0]["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 1, "startColumn": 1}
    assert run["invocations"][0]["executionSuccessful"] is False
    assert sarif_log(())["runs"][0]["invocations"][0]["executionSuccessful"] is True
    assert sarif_log(ALL_KINDS[3:])["runs"][0]["invocations"][0]["executionSuccessful"] is True


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1))
def test_a_file_name_is_a_uri_without_a_bare_colon_and_comes_back(name: str) -> None:
    """RFC 3986: a relative reference is not mistaken for one with a scheme."""
    uri = places.uri_of(f"sites:{name}.site.yaml")
    parts = urlsplit(uri)
    if parts.scheme == "":
        assert ":" not in uri
        assert Path(unquote(parts.path)) == Path(f"sites:{name}.site.yaml")
    else:
        assert parts.scheme == "file"
    assert uri.isascii()


# --- JUnit ----------------------------------------------------------------------------------------


def test_another_program_reads_from_junit_what_was_found(tmp_path: Path) -> None:
    path = tmp_path / "report.xml"
    path.write_text(junit.render(ALL_KINDS), encoding="utf-8")
    suites = list(junitparser.JUnitXml.fromfile(str(path)))
    assert [suite.name for suite in suites] == [
        "Brook Street", "b.site.yaml", "c.site.yaml", "Sound",
    ]  # fmt: skip
    found = Counter(
        type(case.result[0]).__name__ if case.result else "Passed"
        for suite in suites
        for case in suite
    )
    # Failures: the warning and the error of a site that fails at warnings. Skipped: caution,
    # waiver, accepted list, not judged. Errors: the file not understood, and the program's fault.
    assert found == {"Failure": 2, "Skipped": 4, "Error": 2, "Passed": 4}
    for suite in suites:
        kinds = Counter(type(case.result[0]).__name__ for case in suite if case.result)
        assert (suite.failures, suite.errors, suite.skipped) == (
            kinds["Failure"], kinds["Error"], kinds["Skipped"],
        )  # fmt: skip
        assert suite.tests == len(list(suite))


def test_a_reader_that_cuts_a_class_name_at_its_last_dot_keeps_the_path() -> None:
    path = "v1.2/a.b.site.yaml"
    (result,) = (replace(ALL_KINDS[3], path=path),)
    (case,) = junitparser.TestSuite.fromstring(
        ET.tostring(next(iter(ET.fromstring(junit.render([result])))), "unicode")  # noqa: S314
    )
    assert case.classname == "v1_2/a_b"
    assert case._elem.get("file") == path


def test_junit_says_its_totals_and_times_where_readers_look_for_them() -> None:
    root = ET.fromstring(junit.render(ALL_KINDS))  # noqa: S314 - our own text
    for kind in ("tests", "failures", "errors", "skipped"):
        assert int(root.get(kind, "")) == sum(int(suite.get(kind, "")) for suite in root)
    assert int(root.get("tests", "")) == len(list(root.iter("testcase"))) == 12
    assert {
        case.get("time") for case in (root, *root.iter("testsuite"), *root.iter("testcase"))
    } == {"0"}
    at = {case.get("name"): case.get("line") for case in root.iter("testcase")}
    assert at["hop-depth: units/loft"] == "4"
    assert at["every-unit-joined"] is None


def test_what_was_not_judged_is_skipped_with_its_reason() -> None:
    root = ET.fromstring(junit.render(ALL_KINDS))  # noqa: S314 - our own text
    (case,) = (c for c in root.iter("testcase") if "overlap-enough" in str(c.get("name")))
    skipped = case.find("skipped")
    assert skipped is not None
    assert "units/loft/at (where the unit stands)" in str(skipped.get("message"))


# --- JSON -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("results", [ALL_KINDS, ()], ids=["all", "none"])
def test_json_fits_its_published_schema(results: tuple[SiteResult, ...]) -> None:
    jsonschema.Draft202012Validator.check_schema(OURS)
    jsonschema.Draft202012Validator(OURS).validate(json.loads(as_json.render(results)))


def test_the_samples_fit_the_published_schema(of_samples: list[SiteResult]) -> None:
    report = json.loads(as_json.render(of_samples))
    jsonschema.Draft202012Validator(OURS).validate(report)
    assert report["summary"]["files"] == len(of_samples) == len(report["files"])


# --- the same in all ------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["text", "json", "sarif-all", "junit", "markdown"])
def test_every_format_tells_of_every_kind_and_of_nothing_that_is_not_there(form: str) -> None:
    """Each kind has a bird of its own; a report without that kind must not know it.

    What the accepted list holds is only counted where people read.
    """
    here = Place("a.site.yaml", 2, 1)
    lacking = Input(("units", "barn", "at"), "a nuthatch")
    unjudged = NotJudged("no-gaps", "site", "Brook Street", here, (lacking,))
    kinds: dict[str, dict[str, Any]] = {
        "heron": {"findings": (finding(message="A heron."),)},
        "kestrel": {"findings": (finding(severity="caution", message="A kestrel."),)},
        "lapwing": {"findings": (finding(waiver=replace(WAIVER, because="A lapwing")),)},
        "magpie": {"findings": (finding(listed=replace(LISTED, because="A magpie")),)},
        "nuthatch": {"not_judged": (unjudged,), "wanted": wanted_by((unjudged,))},
        "osprey": {"vanished": (replace(LISTED, subject="units/osprey"),)},
        "plover": {"problems": (Problem(here, "no key plover"),)},
        "quail": {"fault": "ZeroDivisionError: quail"},
    }
    write = {
        "text": lambda results: text.render(results, Look(width=1000)),
        "json": as_json.render,
        "sarif-all": lambda results: sarif.render(results, CARDS, whole_record=True),
        "junit": junit.render,
        "markdown": markdown.render,
    }[form]
    results = {
        bird: SiteResult(path="a.site.yaml", site="Brook Street", fail_at="warning", **parts)
        for bird, parts in kinds.items()
    }
    whole = write(tuple(results.values()))
    counted = {"magpie": "1 by the accepted list"} if form in {"text", "markdown"} else {}
    for bird in kinds:
        mark = counted.get(bird, bird)
        assert mark in whole
        assert mark not in write(tuple(r for other, r in results.items() if other != bird))


def test_markdown_says_what_is_new_first() -> None:
    report = markdown.render(ALL_KINDS)
    titles = [line for line in report.splitlines() if line.startswith("#")]
    assert titles == [
        "## meshlint: 1 error, 1 warning, 1 note, 1 file not understood, 1 fault of the program "
        "in 2 sites",
        "### New findings",
        "### Accepted, and no longer there",
        "### Not understood",
        "### For a licensed person to review",
        "### Accepted by waiver",
    ]


def test_a_long_markdown_report_is_cut_and_says_so() -> None:
    many = tuple(finding(subject=f"units/{n}", label=f"unit {n}") for n in range(60))
    report = markdown.render([replace(ALL_KINDS[0], findings=many)])
    assert report.count("- **warning**") == markdown.MOST
    assert "- and 10 more" in report


@given(st.integers(0, 400), st.integers(0, 400), st.integers(1, 4000))
@settings(max_examples=30)
def test_a_markdown_report_fits_a_comment_and_counts_what_it_left_out(
    grave: int, mild: int, length: int
) -> None:
    """GitHub takes 65,536 characters."""
    many = tuple(
        finding(
            subject=f"units/{n}",
            label=f"unit {n}",
            message="*" * length,
            severity="note" if n < mild else "error",
            under="" if n % 3 or not n else finding(subject="units/0").fingerprint,
        )
        for n in range(mild + grave)
    )
    unread = SiteResult(path="b", problems=(Problem(Place("b", 1, 1), "#" * length),) * 50)
    report = markdown.render([replace(ALL_KINDS[0], findings=many), unread])
    assert len(report) <= 65_000
    new = report.partition("### New findings")[2].partition("###")[0]
    told = len(re.findall(r"\*\*(?:error|note)\*\*", new))
    left = sum(map(int, re.findall(r"- and (\d+) more", new)))
    assert told + left == mild + grave
    assert "### Not understood" in report


def test_back_quotes_of_a_remedy_are_code_and_those_of_a_name_are_not() -> None:
    told = markdown.with_code("Set `width_mhz` of a`b *c* to `[20, 40]`, and `x")
    assert told == "Set `width_mhz` of a\\`b \\*c\\* to `[20, 40]`, and \\`x"


# --- names are data -------------------------------------------------------------------------------

NASTY = [
    "<script>alert(1)</script>",
    "](http://example.invalid)[x",
    "![x](y)",
    "a`b``c",
    "*bold* _it_ ~~gone~~",
    "</testcase>&amp;]]>",
    "\x1b[31mred\x07",
    "\u202eesrever\u2066",
    "line\nbreak\r\ttab",
    "@everyone #1 :tada: www.example.invalid http://example.invalid",
    "{0} {1} }} {{",
    "1. x\n# y\n- z",
    "$x$ | a | b |",
    "\ufffe\uffff\u0085\u2028",
    "\"quoted\" 'single' \\ backslash",
]

names = st.sampled_from(NASTY) | st.text(
    st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40
)


def named(name: str) -> tuple[SiteResult, ...]:
    place = Place(name, 1, 1)
    cause = finding(site=name, subject=name, label=name, message=name, remedy=name, place=place)
    following = finding(
        severity="error", follows=(name,), numbers={"unit.name": name}, under=cause.fingerprint
    )
    gone = SiteResult(
        path=name, site=name, vanished=(replace(LISTED, subject=name, place=place),), is_gone=True
    )
    result = SiteResult(
        path=name,
        site=name,
        findings=(cause, following),
        not_judged=(NotJudged("hop-depth", name, name, place, (Input(("units", name), name),)),),
    )
    return (result, SiteResult(path=name, problems=(Problem(place, name),)), gone)


@pytest.mark.slow
@given(names)
def test_no_name_breaks_the_machine_formats(name: str) -> None:
    log = sarif_log(named(name))
    jsonschema.Draft7Validator(SARIF).validate(log)
    assert sarif_pydantic.Sarif.model_validate(log).runs
    jsonschema.Draft202012Validator(OURS).validate(json.loads(as_json.render(named(name))))
    root = ET.fromstring(junit.render(named(name)))  # noqa: S314 - our own text
    assert len(list(root.iter("testcase"))) == 5


@given(names)
def test_no_name_becomes_markup(name: str) -> None:
    parsed = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    tokens = parsed.parse(f"- x {markdown.escaped(name)} y\n")
    inline = [child for token in tokens for child in token.children or ()]
    assert {child.type for child in inline} <= {"text", "text_special"}
    shown = "".join(child.content for child in inline).replace("@\u200b", "@")
    assert shown.removeprefix("x ").removesuffix(" y").split() == plainly(name).split()


@given(names, names)
def test_no_name_becomes_more_than_code_beside_a_card_s_own_code(name: str, other: str) -> None:
    parsed = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    text = f"{name} `key` {other}"
    tokens = parsed.parse(f"- x {markdown.with_code(text)} y\n")
    inline = [child for token in tokens for child in token.children or ()]
    assert {child.type for child in inline} <= {"text", "text_special", "code_inline"}
    shown = "".join(child.content for child in inline).replace("@\u200b", "@")
    bare = shown.removeprefix("x ").removesuffix(" y").replace("`", "")
    assert bare.split() == plainly(text).replace("`", "").split()


def plainly(name: str) -> str:
    from meshlint.report.plain import visible

    return visible(name)


@given(names)
def test_no_name_moves_the_cursor(name: str) -> None:
    report = text.render(named(name), Look())
    assert not any(ord(c) < 32 and c != "\n" for c in report)
    assert not set(report) & set("\x7f\x85\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067")


@given(names)
def test_a_sarif_message_means_the_text_that_it_was_made_from(name: str) -> None:
    """Sections 3.11.5 and 3.11.6 read backwards: doubled braces, escaped brackets."""
    written = sarif.message_text(name)
    assert "](" not in written.replace("\\]", "") or "](" not in name
    if "](" not in name:
        assert written.replace("{{", "{").replace("}}", "}") == name


@pytest.mark.parametrize("render", [as_json.render, junit.render, markdown.render])
def test_a_report_is_the_same_each_time(render: Callable[..., str]) -> None:
    assert render(ALL_KINDS) == render(ALL_KINDS)


def test_waived_findings_stand_under_a_heading_of_their_own() -> None:
    """Not in the list of what is broken in the most sites, which they once seemed to be part of."""
    many = [replace(ALL_KINDS[0], path=f"{n}.site.yaml") for n in range(4)]
    lines = text.render(many, Look()).splitlines()
    at = lines.index("Accepted by waiver:")
    assert lines[at + 1].startswith("  hop-depth for loft (a.site.yaml:4:3) by estates until 2027-")
    broken = lines.index("Broken in the most sites:")
    assert at < broken
    assert "estates" not in " ".join(lines[broken:])


def test_no_line_of_a_summary_is_wider_than_the_look() -> None:
    many = [replace(ALL_KINDS[0], path=f"{n}.site.yaml") for n in range(1000)]
    for width in (72, 96):
        report = text.render(many, Look(width)).splitlines()
        assert max(map(len, report)) <= width


def test_a_catalogue_is_no_site_in_what_is_counted() -> None:
    about = finding("catalogue-model-in-use", site="equipment.yaml", subject="models/duo")
    catalogue = SiteResult(path="equipment.yaml", findings=(about,), held=("x",))
    told = text.render([*ALL_KINDS[:1] * 4, catalogue], Look())
    assert told.startswith("Brook Street, a.site.yaml\n")
    assert "\nequipment.yaml\n" in told
    assert "4 sites and 1 catalogue checked:" in told
    assert "catalogue-model-in-use" not in told[told.index("Broken in the most sites:") :]
    assert " in 4 sites" in markdown.render([*ALL_KINDS[:1] * 4, catalogue])


def test_markdown_shows_the_gravest_of_all_files_first_and_cuts_the_mildest() -> None:
    mild = tuple(finding(subject=f"units/{n}", severity="note") for n in range(60))
    grave = finding(subject="units/last", label="last", severity="error")
    results = [replace(ALL_KINDS[0], findings=mild), replace(ALL_KINDS[0], findings=(grave,))]
    entries = [line for line in markdown.render(results).splitlines() if line.startswith("- ")]
    assert entries[0].startswith("- **error** hop-depth, last, ")
    assert f"- and {61 - markdown.MOST} more" in entries


def test_a_unit_and_a_link_of_one_name_have_headings_of_their_own() -> None:
    both = (finding(subject="units/loft"), finding(subject="backhaul/loft"))
    alone = finding(subject="units/shed", label="shed")
    site = replace(ALL_KINDS[0], findings=(*both, alone))
    lines = text.render([site], Look(explain=True)).splitlines()
    headings = [line for line in lines if line.startswith("  ") and line[2] != " "]
    assert headings[:3] == ["  loft (backhaul)", "  loft (units)", "  shed"]


def test_a_mistake_in_a_policy_is_told_once_however_many_sites_it_is_in_the_way_of() -> None:
    shared = Problem(Place("meshlint.yaml", 7, 3), "there is no rule 'hop-deph'")
    own = Problem(Place("2.site.yaml", 1, 1), "no such key")
    results = [SiteResult(path=f"{n}.site.yaml", problems=(shared,)) for n in range(9)]
    results[2] = SiteResult(path="2.site.yaml", problems=(shared, own))
    told = text.render(results, Look())
    # Once more where there is something else to say, and in the list of the files that it stops.
    assert told.count("no rule 'hop-deph'") == 3
    assert "(meshlint.yaml:7:3): 7 more files, 1.site.yaml, 3.site.yaml, " in " ".join(told.split())
    assert "9 files could not be understood, 7 of them for what is told of another." in told
    said = markdown.render(results)
    assert said.count("no rule 'hop-deph'") == said.count("no such key") == 1
    assert "9 files not understood" in said
    (run,) = sarif_log(results)["runs"]
    assert [r["message"]["text"] for r in run["results"]] == [shared.message, own.message]
    notified = run["invocations"][0]["toolExecutionNotifications"]
    where = [n["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for n in notified]
    assert where == sorted([f"{n}.site.yaml" for n in range(9)] + ["2.site.yaml"])
    files = json.loads(as_json.render(results))["files"]
    assert [len(file["problems"]) for file in files] == [1, 1, 2, 1, 1, 1, 1, 1, 1]
    assert junit.render(results).count("<error") == 10

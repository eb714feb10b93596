"""Formats that are lists, each held to the published rules of the service that reads it.

GitHub: "Workflow commands for GitHub Actions", read backwards here. GitLab: "Code Quality report
format", its required fields and severities as a JSON Schema. `concise`: the pattern that editors
and compilers have in common, `path:line:column: words`.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from meshlint.lint.finding import Finding, SiteResult, Source
from meshlint.report.concise import ConciseWriter
from meshlint.report.github import GitHubWriter
from meshlint.report.gitlab import GitLabWriter
from meshlint.report.plain import visible
from meshlint.site.problem import Place, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from meshlint.report.formats import Writer

SEVERITIES = ("note", "caution", "warning", "error")

# https://docs.gitlab.com/ci/testing/code_quality/#code-quality-report-format
GITLAB = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["description", "check_name", "fingerprint", "severity", "location"],
        "additionalProperties": False,
        "properties": {
            "description": {"type": "string"},
            "check_name": {"type": "string"},
            "fingerprint": {"type": "string", "minLength": 1},
            "severity": {"enum": ["info", "minor", "major", "critical", "blocker"]},
            "location": {
                "type": "object",
                "required": ["path", "lines"],
                "properties": {
                    "path": {"type": "string", "pattern": r"^(?!\./|/)"},
                    "lines": {
                        "type": "object",
                        "required": ["begin"],
                        "properties": {"begin": {"type": "integer", "minimum": 1}},
                    },
                },
            },
        },
    },
}


def finding(**given: Any) -> Finding:
    known: dict[str, Any] = {
        "site": "Brook Street", "rule": "hop-depth", "severity": "warning", "title": "Few hops",
        "subject": "units/loft", "label": "loft", "place": Place("a.site.yaml", 4, 3),
        "message": "It is far away.", "why": "Hops cost air.", "remedy": "Move it.",
        "sources": (Source("A book", "all of it"),), "numbers": {},
    }  # fmt: skip
    return Finding(**{**known, **given})


RESULTS = (
    SiteResult(
        path="a.site.yaml",
        site="Brook Street",
        findings=tuple(finding(severity=s, subject=f"units/{s}", label=s) for s in SEVERITIES),
        held=("hop-depth",),
    ),
    SiteResult(path="b.site.yaml", problems=(Problem(Place("b.site.yaml", 0, 0), "no such key"),)),
    SiteResult(path="c.site.yaml", fault="ZeroDivisionError: 100 %"),
)

names = st.text(
    st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40
) | st.sampled_from(["a,b:c", "100%0A", "::error::x", "##[error]", "x\r\ny", "%25%2C", "a::b"])


def written(writer: Writer, results: Iterable[SiteResult]) -> str:
    return "".join([*map(writer.add, results), writer.finish()])


def unescaped(text: str, codes: dict[str, str]) -> str:
    return re.sub("|".join(codes), lambda found: codes[found[0]], text) if codes else text


DATA = {"%25": "%", "%0D": "\r", "%0A": "\n"}
PROPERTY = DATA | {"%3A": ":", "%2C": ","}


def commands(log: str) -> list[tuple[str, dict[str, str], str]]:
    """Return (command, properties, message) as the service's runner would read each line."""
    found = []
    for line in log.splitlines()[:-1]:
        parts = re.fullmatch(r"::(error|warning|notice) ([^:]*)::(.*)", line)
        assert parts, line
        pairs = (pair.split("=", 1) for pair in parts[2].split(","))
        properties = {name: unescaped(value, PROPERTY) for name, value in pairs}
        found.append((parts[1], properties, unescaped(parts[3], DATA)))
    return found


def test_workflow_commands_come_gravest_first_each_at_its_place() -> None:
    log = written(GitHubWriter(), RESULTS)
    read = commands(log)
    assert [(command, properties["title"]) for command, properties, _ in read] == [
        ("error", "error file-not-understood"),
        ("error", "error program-fault"),
        ("error", "error hop-depth, error"),
        ("notice", "caution hop-depth, caution"),
        ("warning", "warning hop-depth, warning"),
        ("notice", "note hop-depth, note"),
    ]
    assert read[2][1] == {
        "file": "a.site.yaml", "line": "4", "col": "3", "title": "error hop-depth, error",
    }  # fmt: skip
    assert read[2][2] == "It is far away.\nBecause: Hops cost air.\nRemedy: Move it."
    assert (read[0][1]["line"], read[0][1]["col"]) == ("1", "1")
    assert log.splitlines()[-1].startswith("1 site checked: 1 error, 1 warning, 1 note; ")


@given(names)
def test_no_name_ends_a_workflow_command_or_begins_one(name: str) -> None:
    result = replace(
        RESULTS[0], path=name, findings=(finding(label=name, message=name, remedy=name),)
    )
    ((command, properties, message),) = commands(written(GitHubWriter(), (result,)))
    assert command == "warning"
    assert set(properties) == {"file", "line", "col", "title"}
    assert properties["title"] == f"warning hop-depth, {visible(name)}"
    assert message == f"{visible(name)}\nBecause: Hops cost air.\nRemedy: {visible(name)}"


def test_a_code_quality_report_has_what_the_service_asks_for() -> None:
    report = json.loads(written(GitLabWriter(), RESULTS))
    jsonschema.Draft202012Validator(GITLAB).validate(report)
    assert [(entry["check_name"], entry["severity"]) for entry in report] == [
        ("hop-depth", "minor"),
        ("hop-depth", "major"),
        ("hop-depth", "critical"),
        ("hop-depth", "info"),
        ("file-not-understood", "blocker"),
        ("program-fault", "blocker"),
    ]
    fingerprints = {f.fingerprint for f in RESULTS[0].findings}
    assert fingerprints < {entry["fingerprint"] for entry in report}
    assert json.loads(written(GitLabWriter(), ())) == []


def test_two_sites_of_one_name_do_not_hide_each_other_in_a_code_quality_report() -> None:
    twice = (RESULTS[0], replace(RESULTS[0], path="copy.site.yaml"))
    report = json.loads(written(GitLabWriter(), twice))
    assert len({entry["fingerprint"] for entry in report}) == len(report) == 8


def test_concise_lines_are_what_editors_jump_by() -> None:
    *lines, last = written(ConciseWriter(), RESULTS).splitlines()
    pattern = re.compile(r"([^:]+):([1-9]\d*):([1-9]\d*): (\w+) ([\w-]+): (.+)")
    read = [match.groups() for line in lines if (match := pattern.fullmatch(line))]
    assert len(read) == len(lines) == 6
    assert read[0] == (
        "a.site.yaml", "4", "3", "error", "hop-depth", "It is far away. Move it.",
    )  # fmt: skip
    assert [severity for _, _, _, severity, _, _ in read[:4]] == [
        "error", "caution", "warning", "note",
    ]  # fmt: skip
    assert read[4][5] == "no such key"
    assert not pattern.fullmatch(last)
    assert last.startswith("1 site checked: ")


@given(names)
def test_no_name_breaks_a_concise_line(name: str) -> None:
    result = replace(RESULTS[0], findings=(finding(label=name, message=name, remedy=name),))
    assert len(written(ConciseWriter(), (result,)).splitlines()) == 2


@pytest.mark.parametrize("writer", [ConciseWriter, GitHubWriter, GitLabWriter])
def test_a_mistake_in_a_shared_file_stands_in_a_list_once(writer: type[Writer]) -> None:
    shared = Problem(Place("meshlint.yaml", 7, 3), "there is no rule 'hop-deph'")
    results = [SiteResult(path=f"{n}.site.yaml", problems=(shared,)) for n in range(9)]
    assert written(writer(), results).count("no rule 'hop-deph'") == 1


def test_lists_name_files_from_the_top_and_concise_from_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / ".git").mkdir()
    (tmp_path / "sites").mkdir()
    monkeypatch.chdir(tmp_path / "sites")
    result = replace(RESULTS[0], findings=(finding(),))
    assert commands(written(GitHubWriter(), (result,)))[0][1]["file"] == "sites/a.site.yaml"
    (entry,) = json.loads(written(GitLabWriter(), (result,)))
    assert entry["location"]["path"] == "sites/a.site.yaml"
    assert written(ConciseWriter(), (result,)).startswith("a.site.yaml:4:3: warning ")

"""The accepted list: what a finding is known by, and what of it is still new."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.lint.accepted import accepted_text, read_accepted
from meshlint.lint.finding import Listed, fingerprint
from meshlint.run import Checker
from meshlint.site.problem import InputError, Place

if TYPE_CHECKING:
    from pathlib import Path

    from meshlint.lint.finding import SiteResult

DAY = date(2026, 11, 25)
SITE = """\
meshlint: 1
site: {name: Brook Street}
primary: desk
units: {desk: {}, loft: {}, barn: {}}
backhaul: {}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    (tmp_path / "meshlint.yaml").write_text("meshlint: 1\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def checked(text: str = SITE, path: str = "a.site.yaml", *, apart: bool = False) -> SiteResult:
    result = Checker(DAY, apart=apart).check(text.encode(), path)
    assert result.problems == ()
    return result


def listing(result: SiteResult, **changed: str) -> Listed:
    (found, *_) = result.findings
    known = {
        "rule": found.rule,
        "subject": found.subject,
        "severity": found.severity,
        "fingerprint": found.fingerprint,
    }
    return Listed(
        **{**known, **changed},  # type: ignore[arg-type]
        since=DAY,
        because="There before.",
        place=Place("x"),
    )


def accept(folder: Path, *entries: Listed, site: str = "Brook Street") -> None:
    (folder / "meshlint-accepted.yaml").write_text(accepted_text({site: entries}))


def test_an_accepted_finding_is_not_open_and_the_next_of_its_kind_is(here: Path) -> None:
    first = checked(apart=True)
    assert [f.subject for f in first.findings] == ["units/loft", "units/barn"]
    accept(here, listing(first))
    result = checked(apart=True)
    assert [f.subject for f in result.open_findings] == ["units/barn"]
    assert [f.subject for f in result.accepted] == ["units/loft"]
    assert result.vanished == ()


@pytest.mark.parametrize(
    ("text", "path"),
    [
        (f"# a comment\n\n{SITE}", "a.site.yaml"),
        (SITE, "moved/elsewhere.site.yaml"),
        (SITE.replace("{desk: {}, loft: {}, barn: {}}", "{barn: {}, loft: {}, desk: {}}"), "a"),
        ("backhaul: {}\n" + SITE.replace("backhaul: {}\n", ""), "a.site.yaml"),
    ],
)
def test_moved_lines_renamed_files_and_reordered_keys_change_nothing(
    here: Path, text: str, path: str
) -> None:
    accept(here, listing(checked(apart=True)))
    assert "units/loft" not in {f.subject for f in checked(text, path, apart=True).open_findings}


@pytest.mark.parametrize(
    "text",
    [SITE.replace("Brook Street", "Mill Lane"), SITE.replace("loft", "attic")],
    ids=["another site", "another subject"],
)
def test_another_site_or_subject_is_new(here: Path, text: str) -> None:
    accept(here, listing(checked(apart=True)))
    result = checked(text, apart=True)
    assert result.accepted == ()
    assert len(result.open_findings) == 2


def test_another_rule_has_another_fingerprint() -> None:
    marks = {fingerprint(site, rule, s) for site in "ab" for rule in "cd" for s in "ef"}
    assert len(marks) == 8


def test_one_that_became_graver_is_new(here: Path) -> None:
    accept(here, listing(checked(apart=True), severity="warning"))
    assert "units/loft" in {f.subject for f in checked(apart=True).open_findings}
    accept(here, listing(checked(apart=True), severity="error"))
    assert "units/loft" not in {f.subject for f in checked(apart=True).open_findings}


def test_one_that_is_gone_is_told_of(here: Path) -> None:
    entry = listing(checked(apart=True))
    accept(here, entry)
    joined = SITE.replace("backhaul: {}", "backhaul: {x: {from: loft, to: desk, over: cable}}")
    (gone,) = checked(joined).vanished
    assert (gone.rule, gone.subject) == (entry.rule, entry.subject)
    assert str(gone.place).endswith("meshlint-accepted.yaml:6:7")


def test_one_that_cannot_be_judged_is_not_called_gone(here: Path) -> None:
    accept(here, listing(checked(apart=True)))
    assert checked(SITE.replace("backhaul: {}\n", "")).vanished == ()


def test_a_new_subject_of_an_accepted_cause_does_not_hide_behind_it(here: Path) -> None:
    """Findings of one cause are told as one; what is accepted stands for itself alone."""
    entries = [listing(checked(apart=True))]
    accept(here, *entries)
    assert [f.subject for f in checked().open_findings] == ["units/barn"]


def test_a_rule_that_nobody_may_waive_is_not_accepted_by_a_list(here: Path) -> None:
    secret = SITE + "networks: {staff: {name: S, akm: psk, secret: hunter22hunter22}}\n"
    rules = {f.rule: f for f in checked(secret).findings}
    found = rules["no-secret-in-file"]
    accept(
        here,
        Listed(found.rule, found.subject, "error", found.fingerprint, DAY, "x", Place("x")),
    )
    assert "no-secret-in-file" in {f.rule for f in checked(secret).open_findings}


texts = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=30
)


@given(st.dictionaries(texts, st.lists(st.tuples(texts, texts), unique=True, max_size=3)))
def test_a_list_comes_back_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory, sites: dict[str, list[tuple[str, str]]]
) -> None:
    entries = {
        site: tuple(
            Listed(rule, subject, "note", fingerprint(site, rule, subject), DAY, rule, Place("x"))
            for rule, subject in pairs
        )
        for site, pairs in sites.items()
    }
    text = accepted_text(entries)
    path = tmp_path_factory.mktemp("lists") / "accepted.yaml"
    path.write_text(text, encoding="utf-8")
    read = read_accepted(path, "accepted.yaml")
    assert accepted_text(read) == text
    assert {s: {(e.rule, e.subject) for e in listed} for s, listed in read.items()} == {
        site: set(pairs) for site, pairs in sites.items() if pairs
    }


def test_one_finding_is_one_line() -> None:
    entry = Listed("a-rule", "units/loft", "error", "0" * 20, DAY, "Because\nof that.", Place("x"))
    before, after = accepted_text({}), accepted_text({"Brook Street": (entry,)})
    assert len(after.splitlines()) - len(before.splitlines()) == 2
    assert r"Because\nof that." in after


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('fingerprint: "', 'fingerprint: "0', "fingerprint"),
        ("units/loft", "units/lift", "not the fingerprint of that rule and subject"),
        ("2026-11-25", "2026-02-30", "no day 2026-02-30"),
        ("severity: error", "severity: grave", "error, warning, note or caution"),
        ("because:", "becase:", "because"),
    ],
)
def test_a_list_edited_wrongly_is_told_at_its_line(
    here: Path, old: str, new: str, words: str
) -> None:
    accept(here, listing(checked(apart=True)))
    path = here / "meshlint-accepted.yaml"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(InputError) as refused:
        read_accepted(path, "meshlint-accepted.yaml")
    assert words in str(refused.value)
    assert all(problem.place.line == 6 for problem in refused.value.problems)


@pytest.mark.slow
def test_two_runs_that_accept_at_once_lose_nothing(here: Path) -> None:
    """Each reads the list and writes it again; between the two it is alone."""
    folders = [f"f{number}" for number in range(4)]
    for name in folders:
        (here / name).mkdir()
        (here / name / "a.site.yaml").write_text(SITE.replace("Brook Street", f"Site {name}"))
    slow = (
        "import sys, time, meshlint.lint.accepted as accepted\n"
        "real = accepted.accepted_text\n"
        "def text(entries):\n"
        "    time.sleep(0.5)\n"
        "    return real(entries)\n"
        "accepted.accepted_text = text\n"
        "from meshlint.cli import main\n"
        "sys.argv = ['meshlint', 'accept', sys.argv[1]]\n"
        "main()\n"
    )
    runs = [subprocess.Popen([sys.executable, "-c", slow, name], cwd=here) for name in folders]
    assert [run.wait(timeout=60) for run in runs] == [0] * 4
    listed = read_accepted(here / "meshlint-accepted.yaml", "x")
    assert sorted(listed) == [f"Site {name}" for name in folders]
    assert all(len(entries) == 2 for entries in listed.values())

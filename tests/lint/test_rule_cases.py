"""Every shipped rule finds what its cases say, at the very line, and nothing else.

The cases stand in tests/rules/<rule>.yaml, one smallest site to a YAML document, with markers in
comments. Three kinds name a line and together must be all that the rule says of that site:

- `# expect: <rule>`      a finding points here
- `# not-judged: <rule>`  here is a subject for which an input is missing
- `# ok: <rule>`          here is a subject, looked at and sound: it has neither of the above, and
                          the rule held exactly as often in the site as the site has such markers
                          (a caution that is not raised never counts as held)
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues, load_site
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects

CASES = Path(__file__).parents[1] / "rules"
TODAY = date(2026, 11, 25)
MARKER = re.compile(r"# (expect|ok|not-judged): ([a-z-]+)$")

QUOTED = re.compile(r"(?<!\w)'[^']*'(?!\w)")


@dataclass(frozen=True)
class Case:
    """One document, padded with empty lines so that its lines have the numbers of its file."""

    rule: str
    title: str
    text: str

    def marked(self, kind: str) -> list[int]:
        return [
            number
            for number, line in enumerate(self.text.split("\n"), 1)
            if (found := MARKER.search(line)) and found.groups() == (kind, self.rule)
        ]


def cases() -> list[Case]:
    found = []
    for path in sorted(CASES.glob("*.yaml")):
        above = 0
        for document in re.split(r"^---\n", path.read_text(), flags=re.MULTILINE):
            title = re.search(r"^# case: (.+)$", document, re.MULTILINE)
            assert title, f"{path.name}: a document without `# case:` after line {above}"
            found.append(Case(path.stem, title[1], "\n" * above + document))
            above += document.count("\n") + 1
    return found


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"{case.rule}: {case.title}")
def test_a_rule_finds_exactly_what_its_case_marks(case: Case) -> None:
    path = f"tests/rules/{case.rule}.yaml"
    data = case.text.encode()
    result = check_bytes(data, path, shipped_rules(), Catalogues(), TODAY)
    assert result.problems == ()
    broken = [finding for finding in result.findings if finding.rule == case.rule]
    unjudged = [entry for entry in result.not_judged if entry.rule == case.rule]

    assert sorted(finding.place.line for finding in broken) == case.marked("expect")
    assert sorted(entry.place.line for entry in unjudged) == case.marked("not-judged")
    (card,) = (card for card in shipped_rules().cards if card.id == case.rule)
    assert result.held.count(case.rule) == (0 if card.is_caution else len(case.marked("ok")))
    taken = {entry.subject for entry in (*broken, *unjudged)}
    labels = {label for finding in broken for label in finding.follows}
    sound = {
        line
        for key, label, line in lines_of_subjects(case, path)
        if key not in taken and label not in labels
    }
    assert set(case.marked("ok")) <= sound


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"{case.rule}: {case.title}")
def test_messages_say_names_without_quotes(case: Case) -> None:
    """One style for all cards, the plainer one: a name stands beside the word for what it is."""
    result = check_bytes(case.text.encode(), "a.site.yaml", shipped_rules(), Catalogues(), TODAY)
    told = [(f.rule, said) for f in result.findings for said in (f.message, f.remedy, f.label)]
    told += [(n.rule, wanted.wanted) for n in result.not_judged for wanted in n.inputs]
    assert [entry for entry in told if QUOTED.search(entry[1])] == []


def lines_of_subjects(case: Case, path: str) -> list[tuple[str, str, int]]:
    """Return (key, label, line) of everything in the site that the rule could speak about."""
    site, document = load_site(case.text.encode(), path, Catalogues())
    (about,) = (card.about for card in shipped_rules().cards if card.id == case.rule)
    found = [(s.key, s.label, s.pointer) for s in subjects(Workings(site), about)[0]]
    if about == "waiver":
        found = [("/".join(map(str, w.pointer)), "", w.pointer) for w in site.waivers]
    return [(key, label, document.key_place(at).line) for key, label, at in found]


@pytest.mark.parametrize("path", sorted(CASES.glob("*.yaml")), ids=lambda path: path.stem)
def test_no_marker_is_misspelt_or_names_another_rule(path: Path) -> None:
    for number, line in enumerate(path.read_text().splitlines(), 1):
        if re.search(r"#\s*(expect|ok|not.?judged)\b", line):
            found = MARKER.search(line)
            assert found, f"{path.name}:{number}"
            assert found[2] == path.stem, f"{path.name}:{number}"

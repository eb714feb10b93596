"""Of eighty places where a passphrase may stand by mistake, which repeat it in a report.

Where secrets are thought of, under `networks`, none may; elsewhere fewer than five, and in a report
that is kept or uploaded none. Two passphrases: one drawn, one of plain letters.
"""

from __future__ import annotations

import html
import json
from datetime import date
from itertools import product

import pytest

from meshlint.report.formats import FORMATS, writer
from meshlint.report.lines import Look
from meshlint.run import Checker

SECRETS = ("Tr0ub4dor&3xQ", "sunshinevalley")


@pytest.fixture(scope="module")
def repeated(passphrases):
    """Return by format the places that repeat a passphrase."""
    places = passphrases.places()
    assert len(places) == 80
    found = {form: set() for form in FORMATS}
    checker = Checker(date(2026, 11, 25))
    for secret, (name, (_, text)) in product(SECRETS, places.items()):
        result = checker.check(text.replace("@", secret).encode(), "a.site.yaml")
        assert result.problems or result.findings, name
        assert not result.fault
        for form in FORMATS:
            to = writer(form, Look(), dict)
            said = to.add(result) + to.finish()
            # A format writes some characters its own way, and wraps lines.
            said = "".join((said + html.unescape(said).replace("\\", "")).split())
            if secret in said:
                found[form].add(name)
    return found


def test_under_networks_no_place_repeats_a_passphrase(repeated, passphrases):
    private = {name for name, (under, _) in passphrases.places().items() if under}
    assert len(private) >= 45
    assert {name for names in repeated.values() for name in names & private} == set()


def test_elsewhere_fewer_than_five_of_them_do(repeated):
    assert all(len(names) < 5 for names in repeated.values()), repeated


@pytest.mark.parametrize("form", ["sarif", "junit"])
def test_a_report_that_is_uploaded_repeats_none(repeated, form):
    assert repeated[form] == set()


def test_a_slip_of_the_hand_is_still_shown_to_people_and_not_uploaded(meshlint, tmp_path):
    text = "meshlint: 1\nsite: {name: A, surroundings: offce}\nprimary: dsek\nunits: {desk: {}}\n"
    (tmp_path / "a.site.yaml").write_text(text)
    said = {
        form: meshlint(tmp_path, "check", "--no-cache", "--format", form).stdout.decode()
        for form in FORMATS
    }
    for form in ("text", "json"):
        assert "found 'offce'; did you mean 'office'?" in " ".join(said[form].split())
        assert "no unit 'dsek'; did you mean 'desk'?" in " ".join(said[form].split())
    for form in ("sarif", "junit"):
        assert "offce" not in said[form]
        assert "dsek" not in said[form]
        assert "did you mean" in said[form]
    json.loads(said["sarif"])

"""A finding cites what holds in the country of its site, and says what was read of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from meshlint.report.lines import Look
from meshlint.report.text import render

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

RADAR = """
meshlint: 1
site: {name: Mill House, country: COUNTRY}
primary: hall
units:
  hall: {radios: {mid: {band: 5, channel: 100, width_mhz: 20, carries: [backhaul]}}}
  loft: {radios: {mid: {band: 5, channel: 100, width_mhz: 20, carries: [backhaul]}}}
backhaul: {loft to hall: {from: loft, to: hall, over: radio}}
"""


@pytest.mark.parametrize(
    ("country", "cited", "left_out"),
    [("GB", "EN 301 893", "47 CFR"), ("US", "47 CFR", "EN 301 893"), ("US", "47 CFR", "ECC")],
)
def test_a_finding_cites_the_rules_of_its_own_country(
    check_text: Callable[[str], SiteResult], country: str, cited: str, left_out: str
) -> None:
    result = check_text(RADAR.replace("COUNTRY", country))
    (found,) = (f for f in result.findings if f.rule == "backhaul-off-radar")
    documents = " ".join(map(str, found.sources))
    assert cited in documents
    assert left_out not in documents


def test_the_explained_report_marks_what_was_not_read(
    check_text: Callable[[str], SiteResult],
) -> None:
    report = render([check_text(RADAR.replace("COUNTRY", "GB"))], Look(explain=True))
    told = " ".join(report.split())
    assert "ETSI EN 301 893, V2.2.1, clause 4.2.6, Table D.1 (second-hand)" in told

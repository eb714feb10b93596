"""How grave the rules of the trade are by degree, at the bounds that NSA, NIST and TIA give."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

    Check = Callable[..., SiteResult]

NETWORK = """\
meshlint: 1
site: {{name: Brook Street}}
primary: desk
units: {{desk: {{}}}}
networks: {{n: {{akm: psk, secret_length: {}}}}}
"""
CABLE = """\
meshlint: 1
site: {{name: Brook Street}}
primary: desk
units: {{desk: {{}}, hall: {{}}}}
backhaul: {{c: {{from: hall, to: desk, over: cable, category: {}, length_m: {}, rate_mbps: {}}}}}
"""


def severity(result: SiteResult, rule: str) -> str:
    return next((f.severity for f in result.findings if f.rule == rule), "held")


@pytest.mark.parametrize(
    ("length", "expected"),
    [
        *((7, "error"), (8, "error"), (11, "error"), (12, "warning"), (15, "warning")),
        *((16, "note"), (19, "note"), (20, "held"), (63, "held"), (64, "held"), (65, "error")),
    ],
)
def test_a_shorter_passphrase_is_a_graver_matter(
    check_text: Check, length: int, expected: str
) -> None:
    # 8 to 63: IEEE 802.11; 15: NIST SP 800-63B; 20: NSA 2023.
    assert severity(check_text(NETWORK.format(length)), "passphrase-length") == expected


@pytest.mark.parametrize(
    ("category", "length_m", "rate_mbps", "expected"),
    [
        ("6", 37, 10000, "held"),
        ("6", 37.5, 10000, "warning"),
        ("6", 55, 10000, "warning"),
        ("6", 55.5, 10000, "error"),
        ("5e", 1, 10000, "error"),
        ("5e", 90, 2500, "warning"),
        ("5e", 101, 2500, "error"),
        ("8", 30, 40000, "held"),
        ("8", 31, 40000, "error"),
    ],
)
def test_what_a_test_could_settle_is_a_warning_and_what_nothing_can_an_error(
    check_text: Check, category: str, length_m: float, rate_mbps: int, expected: str
) -> None:
    # 37 and 55 m, and never on 5e: TIA TSB-155; 30 m: IEEE 802.3bq.
    result = check_text(CABLE.format(category, length_m, rate_mbps))
    assert severity(result, "cable-reach") == expected


@pytest.mark.parametrize(
    ("category", "length_m", "rate_mbps", "remedy"),
    [
        (
            *("6", 48, 10000),
            "have the run tested for 10000 Mb/s and state it under `tested_mbps`, or set both ends "
            "to 5000 Mb/s, or lay a cable of a category that carries the rate so far.",
        ),
        ("6", 118, 1000, "lay fibre, or put a switch half way."),
        (
            *("om3", 400, 10000),
            "set both ends to 1000 Mb/s, or use optics or a grade of fibre that are made for the "
            "rate and the length.",
        ),
    ],
)
def test_a_cable_past_its_reach_gets_remedies_that_can_help(
    check_text: Check, category: str, length_m: int, rate_mbps: int, remedy: str
) -> None:
    """No balanced copper below category 8 carries anything past 100 m: ISO/IEC 11801-1."""
    text = CABLE.format(category, length_m, rate_mbps)
    (finding,) = (f for f in check_text(text).findings if f.rule == "cable-reach")
    assert finding.remedy == f"So that the rate is sure: {remedy}"


def test_the_longest_length_and_the_rate_to_count_on_are_told(check_text: Check) -> None:
    (finding,) = (
        f for f in check_text(CABLE.format("6", 48, 10000)).findings if f.rule == "cable-reach"
    )
    assert "48 m of category 6 at 10000 Mb/s. At that rate 37 m are sure." in finding.message
    assert "may run to 55 m if this very run passes a test" in finding.message
    assert "Without a test you can count on 5000 Mb/s." in finding.message

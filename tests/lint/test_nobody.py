"""Nobody is told of clients that the file knows none of, without being told so."""

from __future__ import annotations

from datetime import date

from meshlint.lint.telling import NOBODY
from meshlint.run import Checker

CHAIN = """\
meshlint: 1
site: {name: Chain, country: GB, surroundings: home}
primary: a
units: {a: {}, b: {}, c: {}, d: {}}
backhaul:
  b: {from: b, to: a, over: radio}
  c: {from: c, to: b, over: radio}
  d: {from: d, to: c, over: radio}
clients: {phones: {count: 6, near: NEAR}}
"""


def hops(near: str, *, apart: bool = False) -> dict[str, str]:
    checker = Checker(date(2026, 11, 25), apart=apart, usual=False)
    found = checker.check(CHAIN.replace("NEAR", near).encode(), "a.site.yaml").findings
    return {finding.label: finding.in_short for finding in found if finding.rule == "hop-depth"}


def test_a_unit_without_clients_is_told_as_such() -> None:
    assert hops("a")["d"].endswith(NOBODY)


def test_a_unit_with_clients_or_with_some_behind_it_is_not() -> None:
    assert NOBODY not in hops("d")["d"]


def test_findings_told_as_one_are_about_somebody_if_any_of_them_is() -> None:
    """The worst is d, where nobody is; c is told with it, and there are the phones."""
    told = hops("c")
    assert list(told) == ["d"]
    assert NOBODY not in told["d"]


def test_nothing_is_said_where_no_clients_are_stated() -> None:
    text = CHAIN.split("clients:", maxsplit=1)[0].encode()
    found = Checker(date(2026, 11, 25), usual=False).check(text, "a.site.yaml").findings
    assert not any(NOBODY in finding.message for finding in found)

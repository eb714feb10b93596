"""Country codes against ISO 3166-1 as the PyPI package pycountry carries it."""

from __future__ import annotations

import pycountry

from meshlint.law.codes import COUNTRY_CODES, known_country_code, meant_country_code
from meshlint.law.regulatory import countries


def test_the_codes_are_those_of_iso_3166() -> None:
    assert {c.alpha_2 for c in pycountry.countries} == COUNTRY_CODES
    assert len(COUNTRY_CODES) == 249


def test_the_database_knows_no_other_country() -> None:
    """`00` is the world, AN the Netherlands Antilles, dissolved in 2010 (ISO 3166-3)."""
    assert set(countries()) - COUNTRY_CODES == {"00", "AN"}


def test_kosovo_has_a_code_in_use_that_is_not_assigned() -> None:
    """XK, in the range that ISO 3166-1 leaves to its users; the other codes of it mean nobody."""
    assert known_country_code("XK")
    assert meant_country_code("xk") == "XK"
    assert not known_country_code("XX")
    assert "XK" not in countries()


def test_a_wrong_code_gets_the_one_that_is_meant() -> None:
    assert known_country_code("GB")
    assert not known_country_code("UK")
    assert meant_country_code("UK") == "GB"
    assert meant_country_code("de") == "DE"
    assert meant_country_code("GB") is None
    assert meant_country_code("Germany") is None

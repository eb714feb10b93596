"""A word for power narrows what is usual of it, and says nothing else.

Outside reference: a half, a quarter and a sixteenth of a power are 3, 6 and 12 dB below it.
"""

from __future__ import annotations

import math
from datetime import date

import pytest

from meshlint.run import Checker
from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError
from meshlint.usual.fillings import gaps_of
from meshlint.workings.governance.usual_ranges import RANGES, of_power_word, range_of

SITE = """\
meshlint: 1
site: {name: Mill House, country: GB, surroundings: home}
primary: gate
units: {gate: {radios: {mid: {band: 5, channel: 36, width_mhz: 80 MORE}}}}
"""


def power(more: str) -> tuple[float, float, float] | None:
    site, _ = load_site(SITE.replace(" MORE", more).encode(), "a.site.yaml", Catalogues())
    found = [g.range for g in gaps_of(site) if g.pointer[-1] == "power_dbm"]
    return (found[0].low, found[0].usual, found[0].high) if found else None  # type: ignore[return-value]


def test_words_lie_below_one_another_within_full_power() -> None:
    full = range_of(RANGES, "units.*.radios.*.power_dbm", 5, "indoors")
    assert full is not None
    high, medium, low = (power(f", power: {word}") for word in ("high", "medium", "low"))
    assert high is not None
    assert medium is not None
    assert low is not None
    assert (high[0], high[2]) == (full.usual, full.high)
    assert low[0] < medium[0] < high[0]
    assert low[2] < medium[2] < high[2]
    assert all(a <= b <= c for a, b, c in (high, medium, low))


@pytest.mark.parametrize("word", ["auto", None])
def test_auto_says_no_more_than_nothing(word: str | None) -> None:
    assert power(f", power: {word}" if word else "") == power("")


@pytest.mark.parametrize(
    ("word", "most_of", "least_of"),
    [("high", 1, 1), ("medium", 1 / 2, 1 / 4), ("low", 1 / 4, 1 / 16)],
)
def test_a_word_is_a_share_of_the_power_that_a_radio_has(
    word: str, most_of: float, least_of: float
) -> None:
    found = power(f", power: {word}, max_power_dbm: 20")
    assert found is not None
    full_mw = 10 ** (20 / 10)
    assert found[2] == pytest.approx(10 * math.log10(full_mw * most_of), abs=0.05)
    assert found[0] == pytest.approx(10 * math.log10(full_mw * least_of), abs=0.05)


def test_a_range_in_words_says_whose_meaning_it_is() -> None:
    usual = range_of(RANGES, "units.*.radios.*.power_dbm", 5, "indoors")
    assert usual is not None
    said = of_power_word(usual, "low")
    assert said.words == "the radio's power, over all chains, where it is low"
    assert said.source.endswith("what low means is common practice")
    assert of_power_word(usual, "auto") is usual


def test_a_word_is_no_number() -> None:
    data = SITE.replace(" MORE", ", power: high, power_dbm: 20").encode()
    with pytest.raises(InputError) as caught:
        load_site(data, "a.site.yaml", Catalogues())
    (problem,) = caught.value.problems
    assert problem.message.startswith("power_dbm says how strong it sends in numbers")
    checker = Checker(date(2026, 11, 25), usual=False)
    result = checker.check(SITE.replace(" MORE", ", power: high").encode(), "x")
    assert any(i.pointer[-1] == "power_dbm" for entry in result.not_judged for i in entry.inputs)

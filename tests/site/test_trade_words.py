"""Words of the trade that are not ours are answered with the word that is."""

from __future__ import annotations

import pytest

from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError

SITE = """\
meshlint: 1
site: {name: Mill House, surroundings: SURROUNDINGS}
primary: gate
units: {gate: {AT}, loft: {}}
networks: {home: {NETWORK}}
backhaul: {up: {from: loft, to: gate, over: OVER}}
"""


def refused(**said: str) -> str:
    text = SITE
    usual = {"at": "", "network": "", "over": "cable", "surroundings": "home"}
    for word, value in {**usual, **said}.items():
        text = text.replace(word.upper(), value)
    with pytest.raises(InputError) as caught:
        load_site(text.encode(), "a.site.yaml", Catalogues())
    (problem,) = caught.value.problems
    return problem.message


@pytest.mark.parametrize(
    ("place", "said", "ours"),
    [
        ("network", "akm: wpa2", "psk"),
        ("network", "akm: wpa3", "sae"),
        ("network", "cipher: aes", "ccmp"),
        ("network", "for: family", "staff"),
        ("over", "plc", "powerline"),
        ("over", "wifi", "radio"),
        ("surroundings", "house", "home"),
        ("surroundings", "flat", "home"),
        ("surroundings", "warehouse", "industrial"),
    ],
)
def test_a_word_of_the_trade_is_answered_with_ours(place: str, said: str, ours: str) -> None:
    assert refused(**{place: said}).endswith(f"did you mean '{ours}'?")


def test_a_level_that_is_not_there_is_to_be_added() -> None:
    message = refused(at="at: {level: ground, x_m: 1, y_m: 1}")
    assert message == "there is no level 'ground'; add it under `levels`"


def test_mistakes_of_both_kinds_are_told_in_one_go() -> None:
    text = """\
meshlint: 1
site: {name: Mill House, country: UK}
primary: gat
units: {gate: {outdoors: no, at: {level: grund, x_m: 1, y_m: 1}}, loft: {}}
levels: {ground: {}}
backhaul: {up: {from: lof, to: gate, over: cabel}}
clients: []
"""
    with pytest.raises(InputError) as caught:
        load_site(text.encode(), "a.site.yaml", Catalogues())
    told = "\n".join(problem.message for problem in caught.value.problems)
    for word in ("'UK' is no country", "unit 'gat'", "write false", "level 'grund'", "unit 'lof'"):
        assert word in told
    assert "did you mean 'cable'?" in told
    assert "clients: expected lines" in told


@pytest.mark.parametrize(
    ("said", "hint"), [("lark-4", "did you mean 'lark-3'?"), ("owl", "there is 'lark-3'; describe")]
)
def test_a_model_that_no_catalogue_has_is_told_with_what_to_write(said: str, hint: str) -> None:
    text = f"""\
meshlint: 1
site: {{name: Mill House}}
primary: gate
models: {{lark-3: {{}}}}
units: {{gate: {{model: {said}}}}}
"""
    with pytest.raises(InputError) as caught:
        load_site(text.encode(), "a.site.yaml", Catalogues())
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.place.column) == (5, 23)
    assert f"there is no model '{said}'; {hint}" in problem.message

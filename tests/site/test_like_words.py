"""A unit described by the words of its box, instead of a model.

Outside references: 802.11n works at 2.4 and 5 GHz, 802.11ac at 5 GHz alone, 802.11ax and
802.11be at 2.4, 5 and 6 GHz (IEEE 802.11-2020, clauses 19 and 21, and the amendments; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from meshlint.edits.rewriting import Set, rewritten
from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from meshlint.site.model import Unit

SITE = """\
meshlint: 1
site: {name: Mill House, country: GB}
primary: gate
units:
  gate: {like: "WORDS"}
"""


def unit(words: str, more: str = "") -> Unit:
    text = SITE.replace('WORDS"', f'{words}"{more}')
    return load_site(text.encode(), "a.site.yaml", Catalogues())[0].units["gate"]


def told(words: str, more: str = "") -> str:
    with pytest.raises(InputError) as caught:
        unit(words, more)
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.place.column) == (5, 16)
    return problem.message


@pytest.mark.parametrize(
    ("words", "radios"),
    [
        (
            "three bands, 802.11ax, 2 streams",
            {"low": (2.4, "ax", 2), "mid": (5, "ax", 2), "high": (6, "ax", 2)},
        ),
        ("Two bands, generation 6, 2x2", {"low": (2.4, "ax", 2), "mid": (5, "ax", 2)}),
        ("3 bands, 6E", {k: (b, "ax", None) for k, b in (("low", 2.4), ("mid", 5), ("high", 6))}),
        ("5 GHz, 802.11ac, one stream", {"mid": (5, "ac", 1)}),
        ("2.4 and 5 GHz, 802.11ac", {"low": (2.4, "n", None), "mid": (5, "ac", None)}),
        ("2.4 + 5 + 5 GHz, 7", {k: (b, "be", None) for k, b in
                                (("low", 2.4), ("mid", 5), ("mid 2", 5))}),
    ],
)  # fmt: skip
def test_words_give_the_radios_of_a_unit(
    words: str, radios: dict[str, tuple[float, str, int | None]]
) -> None:
    found = {k: (r.band, r.generation, r.streams) for k, r in unit(words).radios.items()}
    assert found == {k: (band, f"802.11{letters}", n) for k, (band, letters, n) in radios.items()}


def test_ports_and_their_rate_are_words_too() -> None:
    (ports,) = unit("two bands, 4 ports of 2.5 Gb/s").ports or ()
    assert (ports.count, ports.rate_mbps) == (4, 2500)
    (ports,) = unit("two bands, 2 ports", ", ports: [{count: 1}]").ports or ()
    assert ports.count == 1


def test_what_a_radio_states_counts_before_the_words() -> None:
    more = ", radios: {mid: {channel: 36, streams: 4}}"
    radios = unit("two bands, 802.11ax, 2 streams", more).radios
    assert (radios["mid"].channel, radios["mid"].streams, radios["low"].streams) == (36, 4, 2)
    assert radios["mid"].band == 5
    own = unit("802.11ac, 2 streams", ", radios: {yard: {band: 5}}").radios
    assert {k: (r.generation, r.streams) for k, r in own.items()} == {"yard": ("802.11ac", 2)}


def test_a_word_that_is_not_known_is_told_with_those_that_are() -> None:
    message = told("two bands, quick")
    assert message.startswith("'quick' is not known here; known are two bands (2.4 and 5 GHz)")
    for word in ("three bands", "802.11ax", "generation 4", "2 streams", "2 ports"):
        assert word in message


def test_a_word_that_may_be_a_passphrase_is_not_repeated() -> None:
    assert "tr0ub4dor&3" not in told("two bands, tr0ub4dor&3")


@pytest.mark.parametrize(
    ("words", "more", "message"),
    [
        ("one band, 802.11ax", "", "say which band, such as 5 GHz"),
        ("two bands, three bands", "", "this says the bands twice"),
        ("three bands, 802.11ac", "", "802.11ac has no 6 GHz; for two radios at 5 GHz write"),
        ("three bands, generation 6", "", "generation 6 has no 6 GHz"),
        ("802.11ax", "", "say which bands it has"),
        ("two bands", ", radios: {five: {band: 5}}", "the radios of these words are low, mid;"),
        ("two bands", ", model: lark", "like stands instead of a model"),
    ],
)
def test_words_that_cannot_be_so_are_told(words: str, more: str, message: str) -> None:
    assert told(words, more).startswith(message)


def test_a_link_finds_radios_that_only_words_speak_of() -> None:
    text = SITE.replace("WORDS", "three bands, 802.11ax") + (
        '  loft: {like: "three bands, 802.11ax"}\n'
        "backhaul: {up: {from: loft, to: gate, over: radio, from_radio: high, to_radio: high}}\n"
    )
    site, document = load_site(text.encode(), "a.site.yaml", Catalogues())
    assert site.units["loft"].radios["high"].band == 6
    assert document.place(("units", "loft", "radios", "high", "channel")).line == 6


def test_a_setting_of_such_a_radio_is_written_with_what_leads_to_it() -> None:
    data = SITE.replace("WORDS", "two bands, 802.11ax").encode()
    after = rewritten(data, [Set(("units", "gate", "radios", "mid", "channel"), 36)])
    assert after == data.replace(b'802.11ax"', b'802.11ax", radios: {mid: {channel: 36}}')

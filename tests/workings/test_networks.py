"""Arithmetic of secrets, and the shapes of names, against what was published about both."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from meshlint.workings.security.networks import BITS_PER_CHARACTER, BITS_PER_WORD, PIN_TRIES

if TYPE_CHECKING:
    from collections.abc import Callable

SITE = """\
meshlint: 1
site: {{name: Brook}}
primary: desk
units: {{desk: {{}}}}
networks: {{n: {{{}}}}}
"""


def checksum(seven: int) -> int:
    """Return the last digit of an enrolment PIN: digits weighted 3 and 1 by turns sum to tens."""
    digits = [int(digit) for digit in f"{seven:07d}"]
    return -sum(d * (3 if at % 2 == 0 else 1) for at, d in enumerate(digits)) % 10


def test_a_pin_is_settled_in_as_many_tries_as_published() -> None:
    # CERT VU#723755: the halves are confirmed apart and the last digit is a checksum, so the second
    # half has as many values as are left once the first is known.
    first = {f"{number:04d}" for number in range(10**4)}
    second = {f"{number:03d}{checksum(1234 * 1000 + number)}" for number in range(10**3)}
    assert len(first) + len(second) == PIN_TRIES == 11_000
    # 12345670 is the PIN that documents give as their example.
    assert checksum(1234567) == 0


@pytest.mark.parametrize(("characters", "bits"), [(12, 71), (16, 95), (20, 119)])
def test_drawn_characters_hold_what_their_number_of_combinations_says(
    characters: int, bits: int
) -> None:
    assert (
        round(characters * BITS_PER_CHARACTER["random"])
        == bits
        == (62**characters).bit_length() - 1
    )


def test_drawn_words_hold_12_9_bits_each() -> None:
    # Published with lists of 7776 words for five dice: 6 words 77.5 bits, 7 words 90.5 bits.
    bits = 6 * BITS_PER_WORD
    assert bits == pytest.approx(77.5, abs=0.06)
    assert len(list(itertools.product(range(6), repeat=5))) == 7776
    assert pytest.approx(90.5, abs=0.05) == 7 * BITS_PER_WORD


def test_a_chosen_phrase_holds_two_and_a_half_bits_a_character() -> None:
    # IEEE 802.11i-2004 Annex H.4.1 (from memory): a passphrase of n characters, 2.5 n + 12 bits in
    # the key derived from it; the 12 bits are those of the 4096 rounds, and not the phrase's own.
    assert BITS_PER_CHARACTER["chosen"] == 2.5


@pytest.mark.parametrize(
    ("stated", "bits"),
    [
        ("secret_length: 20", 50.0),
        ("secret_length: 16, secret_made: random", 95.27),
        ("secret_length: 40, secret_made: words, secret_words: 6", 77.55),
    ],
)
def test_bits_go_by_how_the_secret_was_made(
    worked: Callable[[str], Callable[..., object]], stated: str, bits: float
) -> None:
    assert worked(SITE.format(stated))("network.secret_bits", "networks/n") == pytest.approx(
        bits, abs=0.01
    )


FACTORY = [
    *("default", "WiFi", "My WiFi", "Router 5G", "NETWORK-2.4GHz", "Setup", "HomeWifi-5G"),
    *("Net-1F3C", "Box_0A1B2C", "Hub 4D5E6F", "WLAN-123456", "Home-9C41-5G", "dlan00FF12"),
]
OWN = [
    *("Quillbeck Staff", "Cafe am See", "Brook 2026", "Reading Room", "Deadbeef Diner", "Facade"),
    *("Bad Cafe", "Level 5", "Ærø Færge", "The Old Bakery 1887", "Area 51"),
]


@pytest.mark.parametrize("name", FACTORY)
def test_names_of_the_shapes_that_makers_give_are_told(
    worked: Callable[[str], Callable[..., object]], name: str
) -> None:
    assert worked(SITE.format(f"name: '{name}'"))("network.looks_factory_set", "networks/n") is True


@pytest.mark.parametrize("name", OWN)
def test_names_that_people_give_are_not(
    worked: Callable[[str], Callable[..., object]], name: str
) -> None:
    assert (
        worked(SITE.format(f"name: '{name}'"))("network.looks_factory_set", "networks/n") is False
    )

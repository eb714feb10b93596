"""Which radios share spectrum: by the spans of their channels, whoever chose them.

Spans by the channel tables of `meshlint.physics.channels`, which their own tests hold against the
standard's; here 5 GHz spans are reckoned once more from the centre, 5000 + 5 n MHz.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders import numbered, site, with_radios
from meshlint.workings.contention.must_defer import spectrum_shared
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]


def units(*settings: str, more: str = "") -> str:
    """Return a site of units u0, u1 and so on with one radio `a` each, by what it is set to."""
    return site(numbered(with_radios(a=text) for text in settings), None, more)


def shared(worked: Worked, text: str, one: str = "u0", other: str = "u1") -> bool | None:
    """Return whether two units share spectrum, None where nobody can tell."""
    w = worked(text).workings
    ends = [w.site.units[name].radios["a"] for name in (one, other)]
    try:
        return spectrum_shared(w, *ends)
    except Missing:
        return None


@pytest.mark.parametrize(
    ("one", "other", "together"),
    [
        # One block of 80 MHz (36 to 48), whichever of its channels is the first.
        ("channel: 36, width_mhz: 80", "channel: 40, width_mhz: 80", True),
        ("channel: 36, width_mhz: 20", "channel: 36, width_mhz: 80", True),
        ("channel: 36, width_mhz: 20", "channel: 48, width_mhz: 80", True),
        ("channel: 36, width_mhz: 20", "channel: 40, width_mhz: 20", False),
        ("channel: 48, width_mhz: 80", "channel: 52, width_mhz: 80", False),
        ("channel: 48, width_mhz: 160", "channel: 64, width_mhz: 20", True),
        ("channel: auto, width_mhz: 80", "channel: auto, width_mhz: 80", None),
        ("channel: auto, width_mhz: 80", "channel: 36, width_mhz: 80", None),
        # Whatever the width, 36 holds its own 20 MHz, and 160 MHz at most: up to channel 64.
        ("channel: 36, width_mhz: 80", "channel: 36", True),
        ("channel: 36, width_mhz: 20", "channel: 40", None),
        ("channel: 36", "channel: 100, width_mhz: 80", False),
        # No such channel: on any of the band.
        ("channel: 36, width_mhz: 80", "channel: 37, width_mhz: 80", None),
        ("channel: auto, width_mhz: 80, tunes: [36-64]", "channel: 100, width_mhz: 80", False),
        ("channel: auto, width_mhz: 80, tunes: [36-64]", "channel: 52, width_mhz: 80", None),
        ("width_mhz: 160, tunes: [36-64]", "channel: 52, width_mhz: 80", True),
    ],
)
def test_radios_share_what_their_spans_share(
    worked: Worked, one: str, other: str, *, together: bool | None
) -> None:
    assert shared(worked, units(f"band: 5, {one}", f"band: 5, {other}")) is together


def test_another_band_is_another_air_whoever_chooses(worked: Worked) -> None:
    assert shared(worked, units("band: 5, channel: auto", "band: 6, channel: auto")) is False


LINKS = (
    "backhaul:\n  l1: {from: u1, to: u0, over: radio, from_radio: a, to_radio: a}\n"
    "  l2: {from: u2, to: u1, over: radio, from_radio: a, to_radio: a}\n"
)


@pytest.mark.parametrize("channel", [", channel: auto, width_mhz: 80", ""])
def test_all_that_radio_links_join_is_on_one_channel(worked: Worked, channel: str) -> None:
    """u0, u1 and u2 have one radio each, so that u1 cannot be on two channels at once."""
    text = units(*[f"band: 5{channel}"] * 4, more=LINKS)
    assert shared(worked, text, "u0", "u1") is True
    assert shared(worked, text, "u0", "u2") is True
    assert shared(worked, text, "u0", "u3") is None


def test_a_link_that_cannot_come_up_joins_nothing(worked: Worked) -> None:
    """u1 and u2 are set to different channels: what u0 chooses to meet u1 says nothing of u3."""
    radios = ("auto", "36", "100", "auto")
    links = LINKS + "  l3: {from: u3, to: u2, over: radio, from_radio: a, to_radio: a}\n"
    text = units(*(f"band: 5, channel: {c}, width_mhz: 80" for c in radios), more=links)
    assert shared(worked, text, "u0", "u1") is True
    assert shared(worked, text, "u0", "u3") is None


FIRST = {20: (36, 40, 44, 48, 52, 56, 60, 64, 100, 149), 40: (36, 40, 44, 52, 56, 100, 149)}
FIRST |= {80: (36, 40, 44, 48, 52, 56, 60, 64, 100, 149), 160: (36, 44, 64, 100)}
SET = st.sampled_from([(number, width) for width, numbers in FIRST.items() for number in numbers])
WHOLE = {20: 4, 40: 8, 80: 16, 160: 32}


def by_hand(setting: tuple[int, int]) -> tuple[float, float]:
    """Return the edges: blocks of each width tile the band from 36, 100 and 149 (at 5 MHz each)."""
    number, width = setting
    start = max(first for first in (36, 100, 149) if first <= number)
    block = start + (number - start) // WHOLE[width] * WHOLE[width]
    low = 5000 + 5 * block - 10
    return low, low + width


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.none() | SET, min_size=2, max_size=2))
def test_sharing_is_of_both_or_of_neither_and_each_shares_with_itself(
    worked: Worked, chosen: list[tuple[int, int] | None]
) -> None:
    """None stands for a radio that chooses by itself."""
    text = units(
        *(
            "band: 5, channel: auto, width_mhz: 80"
            if setting is None
            else f"band: 5, channel: {setting[0]}, width_mhz: {setting[1]}"
            for setting in chosen
        )
    )
    found = shared(worked, text)
    assert found is shared(worked, text, "u1", "u0")
    assert shared(worked, text, "u0", "u0") is True
    one, other = chosen
    if one is None or other is None:
        assert found is None
    else:
        (low, high), (there_low, there_high) = by_hand(one), by_hand(other)
        assert found is (low < there_high and there_low < high)

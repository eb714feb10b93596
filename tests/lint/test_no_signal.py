"""A level that nobody could measure is told as no signal, wherever it is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from builders import over_radio, site, stands_at, with_radios

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

RADIO = with_radios(
    mid="band: 5, channel: 36, width_mhz: 80, power_dbm: 20, antenna_gain_dbi: 3, "
    "generation: 802.11ax, streams: 2, carries: [backhaul]"
)


def linked(loss_db: float) -> str:
    return site(
        {name: f"{stands_at(x)}, {RADIO}" for name, x in (("one", 0), ("two", 10))},
        {"up": over_radio("two", "one")},
        f"levels: {{g: {{walls: [{{path_m: [[5, -5], [5, 5]], loss_db: {loss_db}}}]}}}}\n",
        surroundings="home",
    )


def test_a_finding_says_no_signal_below_what_can_be_measured(
    check_text: Callable[..., SiteResult],
) -> None:
    def told(loss_db: float) -> str:
        (found,) = (
            f for f in check_text(linked(loss_db)).findings if f.rule == "backhaul-in-reach"
        )
        return found.message

    assert "the link gets no signal over 10 m (no rate)" in told(200)
    assert "-110.3 dBm over 10 m" in told(65)  # 26 - 71.3 - 65 = -110.3 dBm

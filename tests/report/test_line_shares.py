"""Whether the internet line gets through the mesh is a line of the summary, and no finding."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from builders import site
from meshlint.report import markdown, text
from meshlint.report.lines import Look

if TYPE_CHECKING:
    from collections.abc import Callable

    Check = Callable[..., Any]

MID = "mid: {band: 5, channel: 36, width_mhz: 80, carries: [clients, backhaul]}"


def meshed(barn_mbps: int, rest: str) -> str:
    """Return a hall with two units joined by measured radio links, one of them by 300 Mb/s."""
    over = "over: radio, measured_mbps"
    return site(
        dict.fromkeys(("hall", "barn", "loft"), f"radios: {{{MID}}}"),
        {
            "barn": f"from: barn, to: hall, {over}: {barn_mbps}",
            "loft": f"from: loft, to: hall, {over}: 300",
        },
        rest,
    )


LINE = "internet_lines: {main: {down_mbps: 250, up_mbps: 50}}\n"
WHOLE = "When nobody else uses the mesh, all 250 Mb/s of your internet line still reach {}."
LESS = "Of the 250 Mb/s of your internet line the mesh brings at most 120 to barn."


def test_what_reaches_each_unit_of_the_line_is_told_in_the_summary(check_text: Check) -> None:
    result = check_text(meshed(120, LINE))
    assert result.line_shares == (WHOLE.format("loft"), LESS)
    assert LESS in text.render([result], Look(width=200))
    assert LESS in " ".join(markdown.render([result]).split())


def test_a_line_that_gets_through_whole_is_told_as_well(check_text: Check) -> None:
    assert check_text(meshed(250, LINE)).line_shares == (WHOLE.format("barn and loft"),)


def test_nothing_is_said_of_a_line_without_a_rate_or_of_units_on_cables(check_text: Check) -> None:
    assert check_text(meshed(120, "internet_lines: {main: {}}\n")).line_shares == ()
    assert check_text(meshed(120, "")).line_shares == ()
    wired = meshed(120, LINE).replace("over: radio, measured_mbps: 120", "over: cable")
    assert check_text(wired).line_shares == (WHOLE.format("loft"),)

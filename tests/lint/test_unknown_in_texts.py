"""What is not known is never printed as a number or a thing that people could read."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult


def test_hop_depth_prints_no_delay_that_it_does_not_know(
    check_text: Callable[..., SiteResult],
) -> None:
    """Of a measured link the rate is known, and not how its frames go out."""
    radio = "{mid: {band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}}"
    units = ", ".join(
        f"{name}: {{at: {{x_m: {9 * n}, y_m: 0}}, radios: {radio}}}" for n, name in enumerate("abc")
    )
    links = "b: {from: b, to: a, over: radio, measured_mbps: 200}, "
    links += "c: {from: c, to: b, over: radio, measured_mbps: 100}"
    text = (
        f"meshlint: 1\nsite: {{name: M}}\nprimary: a\nunits: {{{units}}}\nbackhaul: {{{links}}}\n"
    )
    found = [one for one in check_text(text).findings if one.rule == "hop-depth"]
    assert len(found) == 1
    assert "At best they get" in found[0].message
    assert "unknown" not in found[0].message

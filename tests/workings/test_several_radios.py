"""A link over several radios: what it carries, on whose air, and what is left when a leg is lost.

What several links of one pair carry is held against the closed form: each leg is worked out as a
link by itself, as it stood before legs were known, and added up (legs that carry at once share
nothing but the two cases) or the best taken. That the legs carry at once, and that the others go on
when one is silent, is IEEE 802.11be-2024 35.3 (from memory).
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.site.load import Catalogues, load_site
from tests.builders import site

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult
    from meshlint.site.model import Site
    from tests.conftest import Worked

BANDS = {
    "low": "band: 2.4, channel: 1, width_mhz: 20",
    "mid": "band: 5, channel: {mid}, width_mhz: 80",
    "high": "band: 6, channel: 37, width_mhz: 80",
}
CLIENTS = (
    "clients: {people: {count: 10, wired_to: loft, down_mbps: 5, up_mbps: 1, use: data}}\n"
    "networks: {}\nneighbours: []\n"
)


def text(joined: str, *, mid: int = 36, apart_m: float = 12, spoken: str = "802.11be") -> str:
    radios = ", ".join(
        f"{name}: {{{words.format(mid=mid)}, power_dbm: 18, antenna_gain_dbi: 3, "
        f"generation: {spoken}, streams: 2, carries: [backhaul]}}"
        for name, words in BANDS.items()
    )
    units = {
        "desk": f"at: {{x_m: 0, y_m: 0}}, radios: {{{radios}}}",
        "loft": f"at: {{x_m: {apart_m}, y_m: 0}}, radios: {{{radios}}}",
    }
    links = {"up": f"from: loft, to: desk, over: radio, {joined}"}
    return site(units, links, CLIENTS, country="DE", surroundings="home")


def both(*names: str) -> str:
    return f"radios: {{{', '.join(f'{name}: {name}' for name in names)}}}"


def built(written: str) -> Site:
    return load_site(written.encode(), "a.site.yaml", Catalogues())[0]


def alone(worked: Callable[[str], Worked], name: str) -> float:
    ask = worked(text(f"from_radio: {name}, to_radio: {name}"))
    return float(ask("link.goodput_mbps", "backhaul/up"))  # type: ignore[arg-type]


def test_a_link_of_one_leg_is_the_link_of_one_radio() -> None:
    assert built(text(both("mid"))) == built(text("from_radio: mid, to_radio: mid"))


@given(st.lists(st.sampled_from(list(BANDS)), min_size=2, max_size=3, unique=True))
def test_the_order_of_legs_changes_nothing(names: list[str]) -> None:
    sites = [built(text(both(*order))) for order in permutations(names)]
    assert all(other == sites[0] for other in sites)
    assert list(sites[0].backhaul or ()) == [f"up/{name}" for name in sorted(names)]


@pytest.mark.parametrize("names", [("mid", "high"), ("low", "mid"), ("low", "mid", "high")])
def test_legs_that_carry_at_once_add_up(
    worked: Callable[[str], Worked], names: tuple[str, ...]
) -> None:
    ask = worked(text(both(*names)))
    total_mbps = sum(alone(worked, name) for name in names)
    for name in names:
        leg = f"backhaul/up/radios/{name}"
        assert ask("link.goodput_mbps", leg) == pytest.approx(total_mbps)
        assert ask("link.leg_mbps", leg) == pytest.approx(alone(worked, name))
    assert ask("unit.backhaul_mbps", "units/loft") == pytest.approx(total_mbps)
    assert ask("unit.hops", "units/loft") == 1
    assert ask("site.loops", "site") == 0


@pytest.mark.parametrize(
    ("more", "spoken"), [(", simultaneous: false", "802.11be"), ("", "802.11ax")]
)
def test_legs_that_cannot_carry_at_once_give_the_best_of_them(
    worked: Callable[[str], Worked], more: str, spoken: str
) -> None:
    ask = worked(text(both("mid", "low") + more, spoken=spoken))
    low, mid = (ask("link.leg_mbps", f"backhaul/up/radios/{name}") for name in ("low", "mid"))
    assert ask("link.goodput_mbps", "backhaul/up/radios/low") == max(low, mid) == mid  # type: ignore[type-var]
    assert ask("air.backhaul_percent", "airs/up/mid") == pytest.approx(100 * 60 / mid)  # type: ignore[operator]
    assert ask("air.backhaul_percent", "airs/up/low") == 0


def test_each_air_bears_what_its_leg_carries(worked: Callable[[str], Worked]) -> None:
    """Of 60 Mb/s a leg carries the part that it has of the sum, and takes its own time for it."""
    ask = worked(text(both("mid", "low")))
    alone_mbps = {name: alone(worked, name) for name in ("mid", "low")}
    for name, mbps in alone_mbps.items():
        carried_mbps = 60 * mbps / sum(alone_mbps.values())
        expected = 100 * carried_mbps / mbps
        assert ask("air.backhaul_percent", f"airs/up/{name}") == pytest.approx(expected)


def test_a_frame_may_go_over_the_slowest_leg(worked: Callable[[str], Worked]) -> None:
    ask = worked(text(both("mid", "low")))
    single = [
        worked(text(f"from_radio: {x}, to_radio: {x}"))("link.latency_ms", "backhaul/up")
        for x in ("mid", "low")
    ]
    assert ask("link.latency_ms", "backhaul/up/radios/mid") == max(single)  # type: ignore[type-var]


def test_a_leg_that_a_radar_silences_leaves_the_others(worked: Callable[[str], Worked]) -> None:
    ask = worked(text(both("mid", "high"), mid=100))
    leg = "backhaul/up/radios/mid"
    assert ask("link.has_leg_off_radar", leg) is True
    assert ask("link.left_off_radar_mbps", leg) == pytest.approx(alone(worked, "high"))
    assert ask("link.has_leg_off_radar", "backhaul/up/radios/high") is False


def test_losing_a_leg_cuts_nobody_off(worked: Callable[[str], Worked]) -> None:
    ask = worked(text(both("mid", "high")))
    assert ask("link.dark_units", "backhaul/up/radios/mid") == ()
    assert ask("unit.fallback_after", "units/loft") == "one radio of the link between loft and desk"
    least_mbps = min(alone(worked, name) for name in ("mid", "high"))
    assert ask("unit.fallback_mbps", "units/loft") == pytest.approx(least_mbps)
    plain = worked(text("from_radio: mid, to_radio: mid"))
    assert plain("unit.fallback_after", "units/loft") == "the link between loft and desk"


def test_a_leg_whose_ends_do_not_meet_carries_nothing(worked: Callable[[str], Worked]) -> None:
    written = text(both("mid", "high")).replace("channel: 36", "channel: 149", 1)
    ask = worked(written)
    assert ask("link.ends_meet", "backhaul/up/radios/mid") is False
    assert ask("link.cut_off_units", "backhaul/up/radios/mid") == ()
    assert ask("link.carries_traffic", "backhaul/up/radios/mid") is False
    assert ask("unit.backhaul_mbps", "units/loft") == pytest.approx(alone(worked, "high"))


def test_what_was_measured_was_measured_over_all_legs(worked: Callable[[str], Worked]) -> None:
    ask = worked(text(both("mid", "high") + ", measured_mbps: 300"))
    for name in ("mid", "high"):
        assert ask("link.goodput_mbps", f"backhaul/up/radios/{name}") == 300
        assert ask("air.backhaul_percent", f"airs/up/{name}") == pytest.approx(20)
    reading = "readings: [{link: up, throughput_mbps: 300, taken: 2026-11-01, when: quiet}]\n"
    ask = worked(text(both("mid", "high")) + reading)
    assert ask("link.goodput_mbps", "backhaul/up/radios/mid") == 300
    total_mbps = alone(worked, "mid") + alone(worked, "high")
    assert ask("reading.computed_mbps", "readings/up") == pytest.approx(total_mbps)


def test_a_unit_that_lost_a_leg_may_join_another_where_that_takes_less_air(
    worked: Callable[[str], Worked],
) -> None:
    """The barn keeps 2.4 GHz to the loft, or takes its 6 GHz radio to the desk, which is better."""
    plain = text(both("low", "mid"))
    (loft,) = (line for line in plain.splitlines() if line.startswith("  loft: "))
    barn = loft.replace("loft", "barn").replace("x_m: 12, y_m: 0", "x_m: 6, y_m: 1")
    over = "  over: {from: barn, to: loft, over: radio, radios: {low: low, mid: mid}}"
    ask = worked(plain.replace("backhaul:\n", f"{barn}\nbackhaul:\n{over}\n"))
    assert ask("unit.path", "units/barn") == "barn to loft to desk"
    assert ask("unit.fallback_parent", "units/barn") == "desk"
    left_mbps = ask("link.leg_mbps", "backhaul/over/radios/low")
    assert ask("unit.fallback_mbps", "units/barn") > left_mbps  # type: ignore[operator]


def test_a_waiver_of_a_link_speaks_of_its_legs(check_text: Callable[..., SiteResult]) -> None:
    waiver = (
        "waivers: [{rule: backhaul-leg-off-radar, subject: backhaul/up, "
        "because: seldom heard here, until: 2027-01-01}]\n"
    )
    result = check_text(text(both("mid", "high"), mid=100) + waiver)
    told = {f.rule: f for f in result.findings}
    assert told["backhaul-leg-off-radar"].subject == "backhaul/up/radios/mid"
    assert told["backhaul-leg-off-radar"].is_accepted
    assert "waiver-current" not in told

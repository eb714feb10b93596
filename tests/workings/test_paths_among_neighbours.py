"""What a way carries in the time that other people's networks leave, as far as the file tells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from builders import numbered, site, uplinks, with_radios

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

MID = "band: 5, channel: 36, width_mhz: 80, carries: [backhaul]"


def chain(hops: int, scan: str, measured_mbps: float = 400, mid: str = MID) -> str:
    """Return a chain in one hearing of measured links, and what a scan heard."""
    parents = {number: number - 1 for number in range(1, hops + 1)}
    rest = f"internet_lines: {{main: {{down_mbps: 500, up_mbps: 50}}}}\nneighbours: {scan}\n"
    units = [f"routing_mbps: 900, {with_radios(mid=mid)}"] * (hops + 1)
    return site(
        numbered(units), uplinks(parents, more=f", measured_mbps: {measured_mbps}"), more=rest
    )


def heard(unit: str, load: float | None, channel: int = 40, level_dbm: int = -60) -> str:
    """Return a network of 20 MHz that a scan heard at a unit."""
    told = "" if load is None else f", load: {load}"
    return f"{{heard_at: {unit}, band: 5, channel: {channel}, level_dbm: {level_dbm}{told}}}"


@pytest.mark.parametrize(
    ("scan", "left"),
    [
        ("[]", 1.0),
        (f"[{heard('u1', 0.4)}]", 0.6),
        (f"[{heard('u0', 0.4)}]", 0.6),
        # The networks of one scan add up; what two scans hear may be the same networks.
        (f"[{heard('u1', 0.2)}, {heard('u1', 0.3, 44)}]", 0.5),
        (f"[{heard('u1', 0.4)}, {heard('u0', 0.3)}]", 0.6),
        (f"[{heard('u1', 0.9)}, {heard('u1', 0.9)}]", 0.0),
        # Not in hearing, on other spectrum, of unknown load.
        (f"[{heard('u1', 0.4, level_dbm=-90)}]", 1.0),
        (f"[{heard('u1', 0.4, 52)}]", 1.0),
        (f"[{heard('u1', None)}, {heard('u1', 0.1)}]", 0.9),
    ],
)
def test_one_hop_has_the_time_that_neighbours_leave(worked: Worked, scan: str, left: float) -> None:
    """400 Mb/s times 1 - load, from the internet as well while the line has more."""
    ask = worked(chain(1, scan))
    assert ask("unit.backhaul_mbps", "units/u1") == pytest.approx(400 * left)
    assert ask("unit.backhaul_floor_mbps", "units/u1") == pytest.approx(400 * left)
    assert ask("unit.internet_mbps", "units/u1") == pytest.approx(400 * left)
    assert ask("link.goodput_mbps", "backhaul/l1") == 400  # with nobody else on the air


def test_hops_in_turn_have_what_the_busiest_of_them_leaves(worked: Worked) -> None:
    quiet, busy = (worked(chain(2, scan)) for scan in ("[]", f"[{heard('u2', 0.25)}]"))
    for fact in ("unit.backhaul_mbps", "unit.backhaul_floor_mbps"):
        assert busy(fact, "units/u2") == pytest.approx(0.75 * quiet(fact, "units/u2"))
        assert busy(fact, "units/u1") == quiet(fact, "units/u1")


def test_neighbours_make_no_chain_longer_than_it_is(worked: Worked) -> None:
    """Half of one hop, less contention, whoever else is there: both have the same time."""
    everywhere = ", ".join(heard(f"u{n}", 0.4) for n in range(3))
    quiet, busy = (worked(chain(2, scan)) for scan in ("[]", f"[{everywhere}]"))
    share = "unit.left_of_one_hop_percent"
    assert busy(share, "units/u2") == pytest.approx(quiet(share, "units/u2"))


def test_where_nobody_scanned_a_way_is_known_as_before(worked: Worked) -> None:
    ask = worked(chain(1, "[]").replace("neighbours: []\n", ""))
    assert ask("unit.backhaul_mbps", "units/u1") == 400


def test_a_radio_that_chooses_keeps_clear_of_what_nobody_can_tell(worked: Worked) -> None:
    ask = worked(chain(1, f"[{heard('u1', 0.4)}]", mid=MID.replace("36", "auto")))
    assert ask("unit.backhaul_mbps", "units/u1") == 400


def test_of_nothing_there_is_no_share(worked: Worked) -> None:
    ask = worked(chain(2, f"[{heard('u1', 1.0)}]"))
    assert ask("unit.backhaul_mbps", "units/u2") == 0
    for fact in ("left_of_one_hop_percent", "lost_at_last_hop_percent", "fallback_percent"):
        assert ask.wants(f"unit.{fact}", "units/u2") != []

"""A use has the same frames wherever its load is worked out: as it stands, and in a scenario."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from builders import numbered, over_radio, site, with_radios
from meshlint.physics.traffic import PATTERNS
from meshlint.workings.capacity.flows import flows_of
from meshlint.workings.capacity.scenario import baseline, others_percent
from meshlint.workings.links.demand import devices_at
from meshlint.workings.links.goodput import airtime_share, radio_hop, share_of_hop

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

RADIO = (
    "band: 5, channel: 36, width_mhz: 20, generation: 802.11ax, streams: 2, power_dbm: 17, "
    "antenna_gain_dbi: 3, carries: [clients, backhaul], lowest_basic_mbps: 6"
)


def chain(use: str) -> str:
    """Return three units in a row, 10 m apart, with twenty devices of a use on the last."""
    radios = with_radios(a=RADIO)
    units = [f"routing_mbps: 900, at: {{x_m: {10 * n}, y_m: 0}}, {radios}" for n in range(3)]
    links = {"l1": over_radio("u1", "u0", "a"), "l2": over_radio("u2", "u1", "a")}
    return site(
        numbered(units),
        links,
        "internet_lines: {main: {down_mbps: 500, up_mbps: 500}}\nneighbours: []\nnetworks: {}\n"
        f"clients: {{them: {{count: 20, near: u2, use: {use}, down_mbps: 0.07, up_mbps: 0.07, "
        "generation: 802.11ax, streams: 1}}\n",
        surroundings="office",
        country="GB",
    )


@pytest.mark.parametrize("use", PATTERNS)
def test_a_scenario_has_the_frames_of_the_file(worked: Worked, use: str) -> None:
    w = worked(chain(use)).workings
    devices = devices_at(w, "u2")
    for name in ("l1", "l2"):
        link = w.site.backhaul[name]
        hop = radio_hop(w, link)
        share = airtime_share(w, link, devices)
        assert share_of_hop(hop, devices) == pytest.approx(share)
        # Seen from u1, which the devices are not on, with the link moved to where it is.
        stands = replace(baseline(w, ("u1",), strict=True))
        moved = replace(stands, hops={f"link/{name}": hop})
        percents = [others_percent(w, one, w.site.backhaul["l1"]) for one in (stands, moved)]
        assert percents[1] == pytest.approx(percents[0])


@pytest.mark.parametrize("use", PATTERNS)
def test_shares_and_ledger_have_the_same_frames(worked: Worked, use: str) -> None:
    ask = worked(chain(use))
    w = ask.workings
    (air,) = ask.subjects("air")
    asked = sum(
        one.flow.count * one.flow.wanted_mbps * share
        for one in flows_of(w, w.site.clients["them"])
        for name, share in one.flow.uses.items()
        if name == "air/radio/u2/a"
    )
    parts = ("air.clients_percent", "air.backhaul_percent")
    assert 100 * asked == pytest.approx(sum(ask(part, air) for part in parts))


def test_a_call_takes_far_more_of_the_air_than_the_same_rate_of_data(worked: Worked) -> None:
    shares = {}
    for use in ("voice", "video", "data"):
        w = worked(chain(use)).workings
        shares[use] = airtime_share(w, w.site.backhaul["l2"], devices_at(w, "u2"))
    assert shares["data"] < shares["video"] < shares["voice"]
    assert shares["voice"] > 5 * shares["data"]

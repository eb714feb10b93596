"""No advice makes a site worse: the change is made to the file, and the file worked out anew.

Random small sites; of each the design that a fact calls better is put into the text of the site,
read and worked out from the start. Nothing of what foretold the change is used to judge it: what
clients get is `group.delivered_*`, max-min fair shares of the site as it then stands.
"""

from __future__ import annotations

import copy
import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from meshlint.workings.alternatives.failures import fallback
from meshlint.workings.alternatives.parent_moves import move
from meshlint.workings.capacity.scenario import baseline, drawn

if TYPE_CHECKING:
    from collections.abc import Callable

    Raw = dict[str, Any]
    Worked = Callable[[str], Any]

pytestmark = pytest.mark.slow

NAMES = {2.4: "low", 5: "mid", 6: "high"}
POWER_DBM = {2.4: 16, 5: 18, 6: 18}
CHANNELS = {
    2.4: ((1, 20), (6, 20), (11, 20)),
    5: ((36, 80), (40, 80), (44, 40), (149, 40), (36, 20)),
    6: ((5, 80), (37, 160), (1, 20)),
}
FEW = settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much],
)


def radio(band: float, channel: tuple[int, int], carries: list[str]) -> Raw:
    """Return a radio as it stands in a file."""
    found = {"band": band, "channel": channel[0], "width_mhz": channel[1], "carries": carries}
    found |= {"power_dbm": POWER_DBM[band], "antenna_gain_dbi": 3, "power_control": True}
    found |= {"generation": "802.11ax", "streams": 2, "lowest_basic_mbps": 6}
    return found | ({"power_class": "low-indoor"} if band == 6 else {})


@st.composite
def radios(draw: Any, bands: tuple[float, ...], backhaul: Raw) -> Raw:
    """Return the radios of a unit: one that carries backhaul, and one on each other band."""
    found = {}
    for band in bands:
        alone = draw(st.integers(0, 3)) == 0
        channel = draw(st.sampled_from(CHANNELS[band]))
        found[NAMES[band]] = radio(band, channel, ["backhaul"] if alone else ["clients"])
    return found | {NAMES[backhaul["band"]]: backhaul}


@st.composite
def group(draw: Any, units: Raw) -> Raw:
    """Return a client group at one of the units, on the lowest of its bands or on the highest."""
    near = draw(st.sampled_from(sorted(units)))
    able = [r["band"] for r in units[near]["radios"].values() if "clients" in r["carries"]]
    place: Raw = {"wired_to": near}
    if able:
        band = draw(st.sampled_from((min(able), max(able))))
        generation = "802.11n" if band == 2.4 else "802.11ax"
        place = {"near": near, "band": band, "generation": generation, "streams": 1}
    down = draw(st.sampled_from((0.05, 0.5, 2, 8)))
    return place | {"count": draw(st.integers(1, 40)), "down_mbps": down, "up_mbps": 0.1}


@st.composite
def neighbour(draw: Any, units: Raw, band: float) -> Raw:
    """Return somebody else's network, heard at one of the units."""
    found = {"heard_at": draw(st.sampled_from(sorted(units))), "band": band, "level_dbm": -60}
    channel = draw(st.sampled_from(CHANNELS[band]))[0]
    return found | {"channel": channel, "load": draw(st.sampled_from((0.1, 0.4, 0.8)))}


@st.composite
def sites(draw: Any) -> Raw:
    """Return a site of two to five units that hang together by radio on one band."""
    bands = draw(st.sampled_from(((2.4, 5), (5, 6), (2.4, 5, 6))))
    used = draw(st.sampled_from(bands))
    carries = draw(st.sampled_from((["clients", "backhaul"], ["backhaul"])))
    backhaul = radio(used, draw(st.sampled_from(CHANNELS[used])), carries)
    units: Raw = {}
    for n in range(draw(st.integers(2, 5))):
        at = {"x_m": draw(st.integers(0, 50)), "y_m": draw(st.integers(0, 12)), "height_m": 2}
        units[f"u{n}"] = {"at": at, "radios": draw(radios(bands, backhaul)), "routing_mbps": 10000}
    ends = {"over": "radio", "from_radio": NAMES[used], "to_radio": NAMES[used]}
    links = {
        f"l{n}": {"from": f"u{n}", "to": f"u{draw(st.integers(0, n - 1))}", **ends}
        for n in range(1, len(units))
    }
    groups = {f"g{n}": draw(group(units)) for n in range(draw(st.integers(1, 4)))}
    heard = [draw(neighbour(units, band)) for band in bands if draw(st.booleans())]
    return {
        "meshlint": 1,
        "site": {"name": "A", "country": "GB", "surroundings": "office"},
        "primary": "u0",
        "units": units,
        "backhaul": links,
        "clients": groups,
        "internet_lines": {"main": {"enters_at": "u0", "down_mbps": 9000, "up_mbps": 9000}},
        "networks": {"home": {}},
        "neighbours": heard,
    }


def delivered(ask: Any) -> list[float]:
    """Return what each device gets down and up, those that get least first.

    Sites of which that cannot be told, since some link is too long for any rate, are passed over.
    """
    keys = ask.subjects("group")
    found = [ask(f"group.delivered_{way}_mbps", key) for key in keys for way in ("down", "up")]
    assume(all(isinstance(mbps, float) for mbps in found))
    return sorted(found)


def nobody_loses(before: Any, after: Any) -> None:
    """Hold that the worst off is no worse off; nor, where it is as before, the next, and so on.

    Fair shares know no more: what one who is badly off gains, somebody better off may have to give.
    """
    then, now = delivered(before), delivered(after)
    changed = [new - old for old, new in zip(then, now, strict=True) if abs(new - old) > 1e-9]
    assert not changed or changed[0] > 0


def moved(site: Raw, links: tuple[str, ...], words: str) -> Raw:
    """Return the site with links on a channel, told in words, and their radios set to it."""
    found = re.fullmatch(r"([\d.]+) GHz channel (\d+) at (\d+) MHz", words)
    assert found
    name, number, width = NAMES[float(found[1])], int(found[2]), int(found[3])
    site = copy.deepcopy(site)
    for link in (site["backhaul"][key] for key in links):
        for end in ("from", "to"):
            ours = site["units"][link[end]]["radios"]
            if link[f"{end}_radio"] != name:
                was = ours[link[f"{end}_radio"]]
                was["carries"] = [use for use in was["carries"] if use != "backhaul"]
            ours[name] |= {"channel": number, "width_mhz": width}
            ours[name]["carries"] = [*dict.fromkeys((*ours[name]["carries"], "backhaul"))]
            link[f"{end}_radio"] = name
    return site


@FEW
@given(sites())
def test_a_move_to_another_band_keeps_its_promise_and_takes_from_nobody(
    worked: Worked, site: Raw
) -> None:
    ask = worked(json.dumps(site))
    key = "backhaul/l1"
    best_mbps = ask("link.best_band_mbps", key)
    assume(isinstance(best_mbps, float) and best_mbps > ask("link.drawn_mbps", key))
    links, channel = ask("link.moves_with", key), ask("link.best_band_channel", key)
    after = worked(json.dumps(moved(site, links, channel)))
    for promised, had in (("best_band", "drawn"), ("best_band_least", "drawn_least")):
        promise = ask(f"link.{promised}_mbps", key)
        assert after(f"link.{had}_mbps", key) == pytest.approx(promise)
        assert promise > ask(f"link.{had}_mbps", key)
    nobody_loses(ask, after)


@FEW
@given(sites(), st.integers(1, 4))
def test_another_parent_takes_from_nobody(worked: Worked, site: Raw, number: int) -> None:
    """The unit's uplink is put to its best parent, its radios to the parent's channel."""
    key = f"units/u{number}"
    assume(f"u{number}" in site["units"])
    ask = worked(json.dumps(site))
    parent, today = ask("unit.best_parent", key), ask("unit.parent", key)
    assume(isinstance(parent, str) and parent != today)
    assume(ask("unit.best_parent_helps", key) is True)
    after = copy.deepcopy(site)
    after["backhaul"][f"l{number}"]["to"] = parent
    again = worked(json.dumps(after))
    assert again("unit.parent", key) == parent
    nobody_loses(ask, again)
    promise = move(ask.workings, ask.workings.site.units[f"u{number}"])
    standing = baseline(again.workings, tuple(promise.before), strict=True)
    before = baseline(ask.workings, promise.units, strict=True)
    if min(drawn(ask.workings, before).values()) == 0:
        standing = replace(standing, alone=True)  # as if nobody else were there
    assert drawn(again.workings, standing) == pytest.approx(promise.after)
    least_mbps = min(promise.after[unit] for unit in promise.units)
    assert least_mbps == pytest.approx(ask("unit.best_parent_least_mbps", key))
    assert least_mbps > ask("unit.drawn_least_mbps", key)


@FEW
@given(sites(), st.integers(1, 4), st.sampled_from((100, 1000)))
def test_a_cable_where_a_route_is_known_takes_from_nobody(
    worked: Worked, site: Raw, number: int, port_mbps: int
) -> None:
    key = f"backhaul/l{number}"
    assume(f"u{number}" in site["units"])
    link = site["backhaul"][f"l{number}"]
    for unit in site["units"].values():
        unit["ports"] = [{"count": 4, "rate_mbps": port_mbps}]
    route = {"between": [link["from"], link["to"]], "category": "6", "length_m": 30}
    site["cable_routes"] = [route | {"state": "possible"}]
    ask = worked(json.dumps(site))
    assume(ask("link.cable_would_slow", key) is False)
    after = copy.deepcopy(site)
    cable = {"over": "cable", "rate_mbps": port_mbps, "from": link["from"], "to": link["to"]}
    after["backhaul"][f"l{number}"] = cable
    nobody_loses(ask, worked(json.dumps(after)))


@FEW
@given(sites(), st.integers(1, 4))
def test_a_detour_serves_its_clients_as_foretold(worked: Worked, site: Raw, number: int) -> None:
    """The uplink is lost, and the unit put to its fallback parent: its one group gets its share.

    The share is what others leave who get all that they ask for first. Fair shares give no less of
    it to one group; where others are refused something, more.
    """
    key = f"units/u{number}"
    assume(f"u{number}" in site["units"])
    here = f"u{number}"
    groups = site["clients"].items()
    others = {k: g for k, g in groups if here not in (g.get("near"), g.get("wired_to"))}
    own = {"wired_to": here, "count": 9, "down_mbps": 8, "up_mbps": 0}
    site["clients"] = {**others, "own": own}
    assume(all(link["to"] != f"u{number}" for link in site["backhaul"].values()))
    ask = worked(json.dumps(site))
    assume(ask("unit.fallback_demand_known", key) is True)
    assume(ask("unit.fallback_after", key).startswith("the link"))
    way = fallback(ask.workings, ask.workings.site.units[here]).way
    assume(len(way) == 1)
    link, after = way[0].link, copy.deepcopy(site)
    ours = after["units"][here]["radios"][link.from_radio]
    theirs = after["units"][link.to_unit]["radios"][link.to_radio]
    assume(ours["width_mhz"] == theirs["width_mhz"])
    ours["channel"] = theirs["channel"]
    ends = {"from_radio": link.from_radio, "to_radio": link.to_radio}
    after["backhaul"][f"l{number}"] |= {"to": link.to_unit, **ends}
    again = worked(json.dumps(after))
    served = again("group.served_percent", "clients/own")
    assume(isinstance(served, float))
    share = ask("unit.fallback_demand_percent", key)
    assert served >= share * (1 - 1e-9)
    if all(again("group.served_percent", f"clients/{name}") == 100 for name in others):
        assert served == pytest.approx(share)

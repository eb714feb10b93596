"""What the mesh delivers along a path, which parent is best, and what is left after a loss."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders import numbered, site, stands_at, uplinks, with_radios

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

HIGH = "{channel: 37, width_mhz: 80, power_dbm: 18, carries: [backhaul]}"

KNOWN = """\
internet_lines: {main: {enters_at: u0, down_mbps: 5000, up_mbps: 5000}}
models:
  uno:
    radios: {high: {band: 6, generation: 802.11ax, streams: 2, antenna_gain_dbi: 5}}
    routing_mbps: 5000
    ports: [{count: 2, rate_mbps: 2500}]
"""


def placed(places: list[tuple[float, float]], parents: dict[int, int], more: str = "") -> str:
    units = [f"model: uno, {stands_at(x, y, 2)}, radios: {{high: {HIGH}}}" for x, y in places]
    return site(numbered(units), uplinks(parents), KNOWN + more, surroundings="office")


def chain(hops: int, measured: float, channels: tuple[int, ...] = (36,)) -> str:
    """Return a chain of measured links whose channels alternate; places are not known.

    Each unit has one radio to the unit before it and one to the next.
    """

    def radio(hop: int) -> str:
        channel = channels[hop % len(channels)]
        return f"band: 5, channel: {channel}, width_mhz: 80, carries: [backhaul]"

    units = [with_radios(up=radio(n), down=radio(n + 1)) for n in range(hops + 1)]
    ends = f"over: radio, from_radio: up, to_radio: down, measured_mbps: {measured}"
    links = {f"l{n}": f"from: u{n}, to: u{n - 1}, {ends}" for n in range(1, hops + 1)}
    return site(numbered(units), links)


# ns-3 3.44, a packet-level simulator: chains in which every node hears every other, peak of six
# offered loads as a share of one hop; UDP at 802.11ac MCS 4 and 7, TCP at MCS 7, overload with
# RTS/CTS at MCS 7.
SIMULATED = [
    (2, (0.472, 0.475, 0.472, 0.499)),
    (3, (0.299, 0.299, 0.296, 0.292)),
    (4, (0.214, 0.211)),
]


@pytest.mark.parametrize(("hops", "shares"), SIMULATED)
def test_a_chain_on_one_channel_as_a_packet_simulator_has_it(
    worked: Worked, hops: int, shares: tuple[float, ...]
) -> None:
    ask = worked(chain(hops, 400))
    left = ask("unit.left_of_one_hop_percent", f"units/u{hops}") / 100
    for share in shares:
        assert left == pytest.approx(share, rel=0.07)
    assert ask("unit.backhaul_mbps", f"units/u{hops}") == pytest.approx(400 * left)
    assert left < 1 / hops  # contention takes more than turns alone
    assert ask("unit.fewest_turns", f"units/u{hops}") == hops


def test_hops_on_channels_apart_lose_nothing(worked: Worked) -> None:
    """ns-3 3.44, two radios in each relay on alternate channels: 0.999 and 0.998 of one hop."""
    for hops in (1, 2):
        ask = worked(chain(hops, 400, (36, 100)))
        assert ask("unit.left_of_one_hop_percent", f"units/u{hops}") == pytest.approx(99.9, abs=0.2)


def test_each_hop_is_told_and_a_slow_wire_holds_all_behind_it(worked: Worked) -> None:
    text = chain(2, 400).replace(
        "over: radio, from_radio: up, to_radio: down,", "over: powerline,", 1
    )
    ask = worked(text.replace("measured_mbps: 400", "measured_mbps: 90", 1))
    assert ask("unit.backhaul_mbps", "units/u2") == 90
    assert ask("unit.goodput_by_hop", "units/u2") == ("90 Mb/s at u1", "90 Mb/s at u2")
    assert ask("unit.lost_at_last_hop_percent", "units/u2") == 0


def test_the_internet_line_and_the_primary_hold_what_the_mesh_could_carry(worked: Worked) -> None:
    text = placed([(0, 0), (5, 0)], {1: 0})
    ask = worked(text)
    assert ask("unit.internet_mbps", "units/u1") == ask("unit.backhaul_mbps", "units/u1")
    ask = worked(text.replace("down_mbps: 5000", "down_mbps: 70"))
    assert ask("unit.internet_mbps", "units/u1") == 70
    assert ask("unit.internet_held_by", "units/u1") == "the internet line"
    ask = worked(text.replace("routing_mbps: 5000", "routing_mbps: 60"))
    assert ask("unit.internet_held_by", "units/u1") == "routing at u0"


def test_delay_grows_with_each_hop(worked: Worked) -> None:
    """Below 1 ms a hop when idle (Aalborg University MISP-01-2012); far more when all are busy."""
    ask = worked(placed([(0, 0), (12, 0), (24, 0), (36, 0)], {1: 0, 2: 1, 3: 2}))
    idle = [ask("unit.latency_ms", f"units/u{n}") for n in (1, 2, 3)]
    assert all(0 < hop < 1 for hop in (idle[0], idle[1] - idle[0], idle[2] - idle[1]))
    busy = [ask("unit.busy_latency_ms", f"units/u{n}") for n in (1, 2, 3)]
    # One turn of each hop, among as many senders as hops: about 1, 2 x 2 and 3 x 3 turns.
    assert 3.5 < busy[1] / busy[0] < 4.5
    assert 8 < busy[2] / busy[0] < 10


# --- parents --------------------------------------------------------------------------------------

PLACES = st.lists(
    st.tuples(st.integers(0, 45), st.integers(0, 20)), min_size=3, max_size=6, unique=True
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(PLACES)
def test_the_best_parent_as_a_graph_library_finds_it(
    worked: Worked, places: list[tuple[int, int]]
) -> None:
    """Everybody hangs on the unit before; of all others in reach networkx finds the least sum.

    The candidates' own ways stay what they are, so the metric to each is that of the chain.
    """
    text = placed(places, {n: n - 1 for n in range(1, len(places))})
    ask = worked(text)
    last = f"units/u{len(places) - 1}"
    best = ask("unit.best_parent", last)
    if not isinstance(best, str):
        return  # the chain itself is not held somewhere
    metrics = {n: ask("unit.airtime_metric", f"units/u{n}") for n in range(len(places) - 1)}
    graph = nx.Graph()
    for n in range(len(places) - 1):
        direct = worked(placed(places, {**{m: m - 1 for m in range(1, n + 1)}, len(places) - 1: n}))
        first = direct("link.goodput_mbps", f"backhaul/l{len(places) - 1}")
        if isinstance(first, float):
            graph.add_edge("me", n, weight=8192 / first / 10.24)
            graph.add_edge(n, "primary", weight=metrics[n])
    way = nx.dijkstra_path(graph, "me", "primary")
    least = nx.dijkstra_path_length(graph, "me", "primary")
    assert ask("unit.best_airtime_metric", last) == pytest.approx(least)
    assert best == f"u{way[1]}" or least == pytest.approx(ask("unit.airtime_metric", last))


def test_a_parent_below_itself_is_none(worked: Worked) -> None:
    """u2 stands beside u0, but hangs on u1: it is no parent for u1."""
    ask = worked(placed([(0, 0), (30, 0), (29, 1)], {1: 0, 2: 1}))
    assert ask("unit.best_parent", "units/u1") == "u0"


# --- losses ---------------------------------------------------------------------------------------


def test_who_goes_dark_against_a_graph_library(worked: Worked) -> None:
    """A ring with a tail, all wired: articulation points of networkx are whose loss is felt."""
    edges = [(0, 1), (1, 2), (2, 3), (3, 0), (2, 4), (4, 5)]
    links = {f"e{a}{b}": f"from: u{a}, to: u{b}, over: cable" for a, b in edges}
    text = site(numbered([with_radios()] * 6), links)
    text += "clients:\n" + "".join(f"  c{n}: {{count: {n}, wired_to: u{n}}}\n" for n in range(6))
    ask = worked(text)
    graph = nx.Graph(edges)
    for unit in range(1, 6):
        rest = graph.copy()
        rest.remove_node(unit)
        dark = set(rest) - nx.node_connected_component(rest, 0)
        found = ask("unit.dark_units", f"units/u{unit}")
        uplink_cut = {f"u{n}" for n in dark} | ({f"u{unit}"} if unit in (4, 5) else set())
        assert set(found) == uplink_cut
    for a, b in edges:
        rest = graph.copy()
        rest.remove_edge(a, b)
        dark = {f"u{n}" for n in set(rest) - nx.node_connected_component(rest, 0)}
        assert set(ask("link.dark_units", f"backhaul/e{a}{b}")) == dark


def test_a_unit_finds_its_way_round_through_one_that_hung_on_it(worked: Worked) -> None:
    """u2 hangs on u1, both in reach of u0 only through u2: u1 comes back by way of it."""
    places = [(0.0, 0.0), (26.0, 0.0), (24.0, 6.0)]
    ask = worked(placed(places, {1: 0, 2: 1}))
    assert ask("unit.dark_units", "units/u1") == ()
    assert ask("unit.fallback_parent", "units/u1") == "u2"
    assert ask("unit.fallback_mbps", "units/u1") > 0


def test_the_loss_of_the_only_way_leaves_nothing(worked: Worked) -> None:
    ask = worked(placed([(0, 0), (10, 0), (2000, 0), (2010, 0)], {1: 0, 3: 2}))
    assert ask("unit.fallback_mbps", "units/u1") == 0
    assert ask("unit.fallback_after", "units/u1") == "the link between u1 and u0"


# --- a cable, a band, a shape ---------------------------------------------------------------------


def test_a_cable_on_a_known_route_gives_what_ports_and_category_carry(worked: Worked) -> None:
    routes = "cable_routes: [{between: [u1, u0], category: 5e, length_m: 40, state: laid}]\n"
    ask = worked(placed([(0, 0), (30, 0)], {1: 0}, routes))
    assert ask("link.with_cable_mbps", "backhaul/l1") == pytest.approx(957.1, abs=0.1)
    assert ask("link.path_mbps", "backhaul/l1") == ask("unit.backhaul_mbps", "units/u1")


@pytest.mark.parametrize(
    ("links", "shape"),
    [
        ({1: 0, 2: 0, 3: 0}, "a star of 3 around u0 over radio"),
        ({1: 0, 2: 1, 3: 2}, "a chain of 3 hops from u0 over radio"),
        ({1: 0, 2: 1, 3: 1}, "a tree of 3 below u0, 2 hops deep, over radio"),
    ],
)
def test_the_shape_of_a_site(worked: Worked, links: dict[int, int], shape: str) -> None:
    assert worked(placed([(n, 0) for n in range(4)], links))("site.shape", "site") == shape


def test_a_switch_in_the_middle_makes_a_star(worked: Worked) -> None:
    parents = {"rack": "a", "b": "rack", "c": "rack"}
    links = {unit: f"from: {unit}, to: {above}, over: cable" for unit, above in parents.items()}
    text = site({"a": "", "rack": "kind: switch", "b": "", "c": ""}, links)
    assert worked(text)("site.shape", "site") == "a star of 2 around a over cable"


def test_what_hidden_units_lose_to_collisions(worked: Worked) -> None:
    """Each sends a tenth of the time: 2 x 0.1 x (1 - 0.9^2) = 3.8 % (pure ALOHA, Abramson 1970)."""
    text = placed([(0, 0), (110, 0), (-110, 0)], {1: 0, 2: 0})
    text = text.replace("over: radio", "over: radio, measured_mbps: 50")
    clients = "clients:\n  a: {count: 1, wired_to: u1, down_mbps: 0, up_mbps: 5}\n"
    clients += "  b: {count: 1, wired_to: u2, down_mbps: 0, up_mbps: 5}\n"
    ask = worked(text + clients)
    assert ask("unit.hidden_children", "units/u0") == ("u1", "u2")
    assert ask("unit.collided_percent", "units/u0") == pytest.approx(3.8)


def test_a_link_that_carries_nothing_gives_nothing_and_has_no_shares(worked: Worked) -> None:
    text = placed([(0, 0), (5, 0)], {1: 0}).replace("over: radio", "over: powerline")
    ask = worked(text.replace("powerline}", "powerline, measured_mbps: 0}"))
    assert ask("link.goodput_mbps", "backhaul/l1") == 0
    assert ask("unit.backhaul_mbps", "units/u1") == 0
    for share in ("unit.fallback_percent", "unit.left_of_one_hop_percent"):
        assert ask.wants(share, "units/u1") == ["backhaul/l1/measured_mbps"]


def test_a_radio_link_that_carries_nothing_takes_no_known_share_of_air(worked: Worked) -> None:
    text = placed([(0, 0), (5, 0), (10, 0)], {1: 0, 2: 1})
    text = text.replace("to: u0, over: radio", "to: u0, over: radio, measured_mbps: 0")
    ask = worked(
        text + "clients: {a: {count: 1, wired_to: u2, down_mbps: 1, up_mbps: 1}}\nneighbours: []\n"
    )
    assert ask("unit.backhaul_mbps", "units/u2") == 0
    assert ask("unit.best_parent", "units/u2") == "u0"
    wants = ["backhaul/l1/measured_mbps"]
    (air,) = ask.subjects("air")
    for share, key in (
        ("air.backhaul_percent", air),
        ("unit.lost_at_last_hop_percent", "units/u2"),
        ("unit.busy_latency_ms", "units/u2"),
        ("unit.latency_ms", "units/u2"),
    ):
        assert ask.wants(share, key) == wants, share


def test_a_spare_that_carries_nothing_takes_nobody_over(worked: Worked) -> None:
    links = {
        "ab": "from: b, to: a, over: cable, rate_mbps: 1000",
        "bc": "from: c, to: b, over: cable, rate_mbps: 1000",
        "ac": "from: c, to: a, over: powerline, role: spare, measured_mbps: 60",
    }
    clients = "clients: {x: {count: 9, wired_to: c, down_mbps: 1, up_mbps: 1}}\n"
    text = site(dict.fromkeys("abc", ""), links, clients)
    assert worked(text)("unit.dark_clients", "units/b") == 0
    dead = text.replace("measured_mbps: 60", "measured_mbps: 0")
    assert worked(dead)("unit.dark_clients", "units/b") == 9

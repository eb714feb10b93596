"""Plugs and ports, held against the matching of networkx."""

from __future__ import annotations

from typing import TYPE_CHECKING

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from meshlint.site.model import Ports
from meshlint.workings.links.ports import line_ports
from meshlint.workings.wired.compatibility import _ANY, Plug, _fits, left_over

if TYPE_CHECKING:
    from collections.abc import Callable

MEDIA = st.sampled_from(["copper", "fibre", "coax"])
RATES = st.sampled_from([None, 100.0, 1000.0, 2500.0])
PLUGS = st.lists(
    st.builds(
        lambda **stated: Plug(**stated),  # noqa: PLW0108 - hypothesis would read its annotations
        words=st.just("x"),
        pointer=st.just(("backhaul", "x")),
        media=st.one_of(st.just(()), st.tuples(MEDIA), st.just(_ANY)),
        rate_mbps=RATES,
        is_line=st.booleans(),
    ),
    max_size=8,
)
PORTS = st.lists(
    st.builds(
        Ports,
        count=st.integers(0, 3),
        rate_mbps=RATES,
        media=st.one_of(st.none(), MEDIA),
        faces_internet=st.none() | st.booleans(),
    ),
    max_size=4,
).map(tuple)


@given(PLUGS, PORTS, st.booleans())
def test_as_many_are_plugged_in_as_the_largest_matching_allows(
    plugs: list[Plug], ports: tuple[Ports, ...], surely: bool
) -> None:
    graph = nx.Graph()
    left = [("plug", number) for number in range(len(plugs))]
    graph.add_nodes_from(left)
    for number, plug in enumerate(plugs):
        for group, port in enumerate(ports):
            if _fits(plug, port, line_ports(ports), surely=surely):
                graph.add_edges_from(
                    (("plug", number), ("port", group, one)) for one in range(port.count)
                )
    matching = nx.bipartite.hopcroft_karp_matching(graph, left)
    plugged = sum(node[0] == "plug" for node in matching)
    assert len(plugs) - len(left_over(plugs, ports, surely=surely)) == plugged


@given(PLUGS, PORTS)
def test_what_surely_fits_fits_at_all(plugs: list[Plug], ports: tuple[Ports, ...]) -> None:
    sure, hoped = (len(left_over(plugs, ports, surely=surely)) for surely in (True, False))
    assert hoped <= sure


SITE = """\
meshlint: 1
site: {name: Brook Street}
primary: desk
models:
  lark: {radios: {low: {band: 5, max_power_dbm: 20, antenna_gain_dbi: 5, max_width_mhz: 80}}}
units:
  desk: {model: lark, radios: {low: {radiated_dbm: 25.5, width_mhz: 80}}}
  hall: {model: lark, radios: {low: {radiated_dbm: 25, width_mhz: 160, max_width_mhz: 160}}}
"""


def test_both_values_are_told(worked: Callable[[str], Callable[..., object]]) -> None:
    w = worked(SITE)
    assert w("radio.beyond_model", "units/desk/radios/low") == (
        "20.5 dBm where 20 dBm is the most",
    )
    # What the unit says of itself does not stretch what the catalogue says of its model.
    assert w("radio.beyond_model", "units/hall/radios/low") == (
        "160 MHz wide where 80 MHz is the widest",
    )

"""Loops and rows of bridges, held against networkx."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders import numbered, site, workings_of
from meshlint.workings.topology.tree import tree
from meshlint.workings.wired import bridging

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.workings.site_workings import Workings

NAMES = "abcdefgh"

Edges = list[tuple[str, str]]


@st.composite
def meshes(draw: st.DrawFn) -> tuple[str, Edges]:
    """Return a number of units and links between them, several between two among them."""
    units = NAMES[: draw(st.integers(1, 8))]
    ends = st.tuples(st.sampled_from(units), st.sampled_from(units)).filter(lambda e: e[0] != e[1])
    return units, draw(st.lists(ends, max_size=14)) if len(units) > 1 else []


def workings(units: str, edges: Edges, more: str = "") -> Workings:
    links = {f"l{n}": f"from: {a}, to: {b}, over: cable" for n, (a, b) in enumerate(edges)}
    return workings_of(site(dict.fromkeys(units, more), links))


def graph(units: str, edges: Edges) -> nx.MultiGraph:
    found = nx.MultiGraph()
    found.add_nodes_from(units)
    for number, (a, b) in enumerate(edges):
        found.add_edge(a, b, key=f"l{number}")
    return found


def subdivided(mesh: nx.MultiGraph) -> nx.Graph:
    """Return the mesh with a unit in the middle of each link, as networkx finds bridges so."""
    found = nx.Graph()
    found.add_nodes_from(mesh)
    for a, b, key in mesh.edges(keys=True):
        nx.add_path(found, [a, (key,), b])
    return found


@given(meshes())
def test_links_on_loops_are_those_that_networkx_calls_no_bridge(mesh: tuple[str, Edges]) -> None:
    units, edges = mesh
    alone = {key for edge in nx.bridges(subdivided(graph(units, edges))) for key in edge}
    expected = {f"l{number}" for number in range(len(edges)) if (f"l{number}",) not in alone}
    assert {link.name for link in bridging.looping(workings(units, edges))} == expected


@given(meshes())
def test_the_number_of_loops_is_the_size_of_the_cycle_basis(mesh: tuple[str, Edges]) -> None:
    units, edges = mesh
    w = workings(units, edges)
    expected = len(nx.cycle_basis(subdivided(graph(units, edges))))
    assert bridging.loops.compute(w, w.site) == expected


@given(meshes())
def test_the_loop_shown_is_a_shortest_one_through_its_unit(mesh: tuple[str, Edges]) -> None:
    units, edges = mesh
    w = workings(units, edges)
    cycles = list(nx.simple_cycles(subdivided(graph(units, edges))))
    for unit in units:
        through = [len(cycle) // 2 for cycle in cycles if unit in cycle]
        found = bridging.loop_through(w, unit)
        assert len(found) == min(through, default=0)
        here = unit
        for link in found:
            here = link.far_end(here)
        assert here == unit
        assert len({link.name for link in found}) == len(found)


@given(meshes())
def test_the_longest_row_of_bridges_is_the_diameter_of_the_active_tree(
    mesh: tuple[str, Edges],
) -> None:
    units, edges = mesh
    w = workings(units, edges)
    active = nx.Graph()
    active.add_node("a")
    ways = w.once(tree)
    active.add_edges_from((unit, ways.parent(unit)) for unit in ways.order if ways.parent(unit))
    longest = bridging.longest_way.compute(w, w.site).split(" to ")
    assert bridging.most_bridges.compute(w, w.site) == nx.diameter(active) + 1 == len(longest)
    assert nx.is_path(active, longest)


@given(meshes())
def test_with_protection_everywhere_no_loop_is_unguarded(mesh: tuple[str, Edges]) -> None:
    w = workings(*mesh, more="loop_protection: mesh-routing")
    assert bridging.unguarded(w) == ()
    bare = workings(*mesh, more="loop_protection: none")
    assert bool(bridging.unguarded(bare)) == bool(bridging.looping(bare))


def test_a_unit_alone_is_not_asked_whether_it_routes_and_two_are(
    worked: Callable[[str], Any],
) -> None:
    """One unit has no rival, whatever it does; of two that say nothing both may route."""
    alone = worked(site({"a": ""}, {}))
    assert alone("site.routers", "site") == ()
    assert alone("site.rival_servers", "site") == ()
    two = worked(site({"a": "", "b": ""}, {"l": "from: b, to: a, over: cable"}))
    assert two.wants("site.routers", "site") == ["units/a/routes", "units/b/routes"]


def test_five_hundred_units_in_a_ring_are_no_trouble(worked: Callable[[str], object]) -> None:
    links = {f"l{n}": f"from: u{n}, to: u{(n - 1) % 500}, over: cable" for n in range(500)}
    text = site(numbered(["loop_protection: none"] * 500), links)
    w = worked(text).workings
    assert len(bridging.loop_through(w, "u0")) == 500
    assert bridging.loops.compute(w, w.site) == 1
    # A ring opens opposite the primary, at the last link that the search would take.
    assert bridging.most_bridges.compute(w, w.site) == pytest.approx(500, abs=1)

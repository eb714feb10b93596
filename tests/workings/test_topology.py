"""Ways to the primary, what stands behind a link, and islands, held against networkx.

Reference: networkx (`single_source_dijkstra_path_length`, `descendants`, `connected_components`)
on random sites; the program itself does not use it for this.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.workings.fact import FactValue

    Worked = Callable[[str], Callable[[str, str], FactValue | Unknown]]

MEDIA = ("cable", "coax", "powerline", "radio")


@st.composite
def sites(draw: st.DrawFn) -> dict[str, Any]:
    """Sites of one to nine units with any links between them, several to a pair at times."""
    names = [f"u{number}" for number in range(draw(st.integers(1, 9)))]
    links = {}
    if len(names) > 1:
        ends = st.lists(st.sampled_from(names), min_size=2, max_size=2, unique=True)
        for number, (one, other) in enumerate(draw(st.lists(ends, max_size=14))):
            links[f"link {number}"] = {
                "from": one,
                "to": other,
                "over": draw(st.sampled_from(MEDIA)),
                "role": draw(st.sampled_from(["main", "main", "spare"])),
            }
    counts = {name: draw(st.integers(0, 5)) for name in names}
    return {
        "meshlint": 1,
        "site": {"name": "Random"},
        "primary": draw(st.sampled_from(names)),
        "units": {name: {} for name in names},
        "backhaul": links,
        "clients": {f"at {n}": {"count": count, "near": n} for n, count in counts.items()},
    }


def facts_of(site: dict[str, Any], scope: str, *names: str) -> dict[str, list[FactValue | Unknown]]:
    built, _ = load_site(json.dumps(site).encode(), "random.yaml", Catalogues())
    w = Workings(built)
    return {
        subject.label: [w.value(FACTS[f"{scope}.{name}"], subject) for name in names]
        for subject in subjects(w, scope)[0]
    }


def graph_of(site: dict[str, Any]) -> nx.MultiGraph:
    """Return the links as a graph; a weight orders ways by spares, then radio hops, then hops."""
    graph = nx.MultiGraph()
    graph.add_nodes_from(site["units"])
    for name, link in site["backhaul"].items():
        spare, radio = link["role"] == "spare", link["over"] == "radio"
        weight = 10_000 * spare + 100 * radio + 1
        graph.add_edge(link["from"], link["to"], key=name, weight=weight)
    return graph


def tree_of(site: dict[str, Any]) -> nx.DiGraph:
    """Return our active tree, from the facts alone, with edges away from the primary."""
    tree = nx.DiGraph()
    for name, (joined, parent) in facts_of(site, "unit", "joined", "parent").items():
        if joined:
            tree.add_node(name)
            if parent:
                tree.add_edge(parent, name)
    return tree


@given(sites())
def test_every_way_is_a_shortest_one(site: dict[str, Any]) -> None:
    lengths = nx.single_source_dijkstra_path_length(graph_of(site), site["primary"])
    for name, (joined, hops, radio) in facts_of(
        site, "unit", "joined", "hops", "radio_hops"
    ).items():
        assert joined == (name in lengths)
        if joined:
            assert (radio, hops) == (lengths[name] // 100 % 100, lengths[name] % 100)
        else:
            assert isinstance(hops, Unknown)


@given(sites())
def test_the_ways_form_a_tree_of_stated_links_over_all_joined_units(site: dict[str, Any]) -> None:
    tree, graph = tree_of(site), graph_of(site)
    assert nx.is_arborescence(tree)
    assert set(tree) == nx.node_connected_component(graph, site["primary"])
    assert all(graph.has_edge(*edge) for edge in tree.edges)


@given(sites())
def test_behind_a_unit_are_its_descendants_and_their_clients(site: dict[str, Any]) -> None:
    tree = tree_of(site)
    found = facts_of(site, "unit", "joined", "units_behind", "clients_behind")
    for name, (joined, behind, clients) in found.items():
        expected = nx.descendants(tree, name) if joined else set()
        assert set(behind) == expected  # type: ignore[arg-type]
        count = sum(site["clients"][f"at {unit}"]["count"] for unit in {name, *expected})
        assert clients == count


@given(sites())
def test_behind_a_link_is_what_the_tree_loses_without_it(site: dict[str, Any]) -> None:
    tree = tree_of(site)
    found = facts_of(
        site, "link", "carries_traffic", "who_is_behind", "units_behind", "clients_behind"
    )
    carrying = [name for name, values in found.items() if values[0]]
    assert len(carrying) == tree.number_of_edges()
    for name, (carries, who, units, clients) in found.items():
        lost: set[str] = set()
        if carries:
            link = site["backhaul"][name]
            without = tree.to_undirected()
            without.remove_edge(link["from"], link["to"])
            lost = set(tree) - nx.node_connected_component(without, site["primary"])
        assert set(who) == lost  # type: ignore[arg-type]
        assert units == len(lost)
        assert clients == sum(site["clients"][f"at {unit}"]["count"] for unit in lost)


@given(sites())
def test_islands_are_the_connected_components(site: dict[str, Any]) -> None:
    found = facts_of(site, "unit", "cut_off_with", "island", "clients_cut_off")
    for component in nx.connected_components(graph_of(site)):
        first = next(name for name in site["units"] if name in component)
        count = sum(site["clients"][f"at {unit}"]["count"] for unit in component)
        for name in component:
            together, island, clients = found[name]
            assert set(together) == component  # type: ignore[arg-type]
            assert (island, clients) == (first, count)


TRIANGLE = """\
meshlint: 1
site: {name: Triangle}
primary: desk
units: {desk: {}, hall: {}, loft: {}}
backhaul:
  hall to desk: {from: hall, to: desk, over: cable}
  loft to hall: {from: loft, to: hall, over: cable}
  loft to desk: {from: loft, to: desk, over: radio}
"""


def test_two_cables_are_a_better_way_than_one_radio_hop(worked: Worked) -> None:
    ask = worked(TRIANGLE)
    assert ask("unit.path", "units/loft") == "loft to hall to desk"
    assert ask("link.carries_traffic", "backhaul/loft to desk") is False


def test_a_spare_link_is_used_only_where_nothing_else_leads(worked: Worked) -> None:
    spare = TRIANGLE.replace("over: cable}", "over: cable, role: spare}")
    assert worked(spare)("unit.path", "units/loft") == "loft to desk"
    assert worked(spare)("unit.path", "units/hall") == "hall to desk"


@pytest.mark.parametrize(("first", "second"), [("hall", "loft"), ("loft", "hall")])
def test_equal_ways_are_settled_by_the_order_of_the_file(
    worked: Worked, first: str, second: str
) -> None:
    text = f"""\
meshlint: 1
site: {{name: Square}}
primary: desk
units: {{attic: {{}}, desk: {{}}, hall: {{}}, loft: {{}}}}
backhaul:
  one: {{from: {first}, to: desk, over: cable}}
  two: {{from: {second}, to: desk, over: cable}}
  three: {{from: attic, to: hall, over: cable}}
  four: {{from: attic, to: loft, over: cable}}
"""
    assert worked(text)("unit.path", "units/attic") == f"attic to {first} to desk"


CHAIN = """\
meshlint: 1
site: {name: Chain}
primary: desk
units:
  desk: {radios: {mid: {band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}}}
  hall:
    radios:
      mid: {band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}
      high: {band: 6, channel: 37, width_mhz: 80, carries: [backhaul]}
  loft: {radios: {high: {band: 6, channel: 37, width_mhz: 80, carries: [backhaul]}}}
backhaul:
  hall to desk: {from: hall, to: desk, over: radio, from_radio: mid}
  loft to hall: {from: loft, to: hall, over: radio, to_radio: high}
"""


def test_a_radio_link_whose_ends_do_not_meet_is_no_way(worked: Worked) -> None:
    ask = worked(
        CHAIN.replace(
            "hall:\n    radios:\n      mid: {band: 5, channel: 36",
            "hall:\n    radios:\n      mid: {band: 5, channel: 100",
        )
    )
    assert ask("unit.joined", "units/loft") is False
    assert isinstance(ask("unit.radio_hops", "units/loft"), Unknown)
    assert ask("unit.dead_links", "units/loft") == ("hall to desk",)
    assert ask("link.cut_off_units", "backhaul/hall to desk") == ("hall", "loft")
    assert ask("link.cut_off_units", "backhaul/loft to hall") == ()
    assert worked(CHAIN)("unit.joined", "units/loft") is True


@pytest.mark.parametrize(
    ("links", "met"),
    [
        ("backhaul: {}", ()),
        ("backhaul: {c: {from: hall, to: desk, over: cable}}", ("main",)),
        ("backhaul: {c: {from: loft, to: hall, over: cable}}", ()),
    ],
)
def test_a_line_is_met_where_links_join_its_unit(
    worked: Worked, links: str, met: tuple[str, ...]
) -> None:
    text = "meshlint: 1\nsite: {name: x}\nprimary: desk\nunits: {desk: {}, hall: {}, loft: {}}\n"
    text += f"internet_lines: {{main: {{enters_at: hall}}}}\n{links}\n"
    assert worked(text)("unit.lines_met", "units/desk") == met


def test_clients_of_an_area_are_on_the_units_of_its_level_nearest_to_them(worked: Worked) -> None:
    """A place is nearer to the desk where 48 x + 10 y < 601: 15.2 m2 of the room's 100."""
    text = """\
meshlint: 1
site: {name: x}
primary: desk
levels: {ground: {}, first: {}}
areas: {room: {level: ground, outline_m: [[10, 0], [20, 0], [20, 10], [10, 10]]}}
units:
  desk: {at: {level: ground, x_m: 0, y_m: 0}, radios: {mid: {}}}
  hall: {at: {level: ground, x_m: 24, y_m: 5}, radios: {mid: {}}}
  loft: {at: {level: first, x_m: 15, y_m: 5}, radios: {mid: {}}}
clients: {readers: {count: 7, in: room}}
"""
    counts = [worked(text)("unit.clients", f"units/{n}") for n in ("desk", "hall", "loft")]
    assert counts == pytest.approx([7 * 0.152, 7 * 0.848, 0], abs=0.05)


def test_a_group_that_hangs_on_no_known_unit_leaves_the_count_open(worked: Worked) -> None:
    ask = worked(TRIANGLE + "clients: {readers: {count: 7}}\n")
    assert ask.wants("unit.clients", "units/desk") == ["clients/readers/near"]  # type: ignore[attr-defined]

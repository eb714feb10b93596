"""Who contends with whom: the search over squares and spectrum against every pair of a site."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from builders import numbered, over_radio, site, stands_at, with_radios, workings_of
from meshlint.workings.contention.domains import conflict, conflict_graph, contenders
from meshlint.workings.unknown import Unknown, answer

if TYPE_CHECKING:
    from meshlint.workings.site_workings import Workings

radios = st.tuples(
    st.sampled_from(["2.4, channel: 1", "2.4, channel: 6", "5, channel: 36", "5, channel: 44"])
    | st.sampled_from(["5, channel: 149", "5, channel: auto", "5"]),
    st.sampled_from([", width_mhz: 20", ", width_mhz: 40", ", width_mhz: 80", ""]),
    st.sampled_from(["clients", "backhaul", "clients, backhaul", None]),
    st.none() | st.integers(-10, 25),
)
places = st.none() | st.tuples(st.integers(-400, 400), st.integers(-400, 400))
units = st.lists(
    st.tuples(places, st.lists(radios, min_size=1, max_size=2)), min_size=2, max_size=7
)


def written(listed, parents: list[int], named: bool) -> str:
    rows = []
    for where, has in listed:
        told = {}
        for n, (band, width, carries, power) in enumerate(has):
            wide = "" if band.startswith("2.4") and width == ", width_mhz: 80" else width
            said = "" if carries is None else f", carries: [{carries}]"
            sent = "" if power is None else f", power_dbm: {power}, antenna_gain_dbi: 3"
            told[f"r{n}"] = f"band: {band}{wide}{said}{sent}"
        rows.append(f"{stands_at(*where) + ', ' if where else ''}{with_radios(**told)}")
    links = {
        f"l{n}": over_radio(f"u{n}", f"u{parents[n] % n}", "r0" if named else "")
        for n in range(1, len(rows))
    }
    return site(numbered(rows), links, country="US", surroundings="office")


def by_every_pair(w: Workings) -> dict[tuple[str, str], object]:
    """Return whether each two contenders conflict: yes, no, or what is missing to tell."""
    found = w.once(contenders).values()
    return {(a.key, b.key): answer(conflict, w, a, b) for a, b in combinations(found, 2)}


@settings(max_examples=150, deadline=None)
@given(units, st.lists(st.integers(0, 99), min_size=7, max_size=7), st.booleans())
def test_the_search_finds_every_pair_that_contends_or_may_and_no_other(listed, parents, named):
    w = workings_of(written(listed, parents, named))
    graph = w.once(conflict_graph)
    for (one, other), together in by_every_pair(w).items():
        for here, there in ((one, other), (other, one)):
            unsure = graph.unsure.get(here, {})
            assert (there in graph.near[here]) == (together is True), (here, there)
            assert (there in unsure) == isinstance(together, Unknown), (here, there)

"""Max-min fair shares against linear programmes and by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshlint.physics.fairness import Flow, max_min

RESOURCES = ("a", "b", "c")
FLOWS = st.lists(
    st.builds(
        Flow,
        st.integers(1, 20).map(float),
        st.floats(0.1, 50),
        st.dictionaries(st.sampled_from(RESOURCES), st.floats(0.001, 0.2), max_size=3),
    ),
    min_size=1,
    max_size=6,
)


def reference(flows: list[Flow], room: dict[str, float]) -> list[float]:
    """Max-min fair shares by linear programmes (scipy, HiGHS): raise the least rate, fix, repeat.

    A client is fixed at the level where no solution that leaves all others at least there gives it
    more.
    """
    from scipy.optimize import linprog

    fixed: dict[int, float] = {}
    names = sorted(room)
    use = [[flow.count * flow.uses.get(name, 0.0) for flow in flows] for name in names]
    limit = [room[name] for name in names]
    while len(fixed) < len(flows):
        left = [i for i in range(len(flows)) if i not in fixed]
        count = len(flows)
        bounds = [
            (fixed[i], fixed[i]) if i in fixed else (0, flow.wanted_mbps)
            for i, flow in enumerate(flows)
        ]
        rows = [[*row, 0.0] for row in use]
        rows += [[-float(i == j) for j in range(count)] + [1.0] for i in left]
        found = linprog(
            [0.0] * count + [-1.0],
            A_ub=rows,
            b_ub=limit + [0.0] * len(left),
            bounds=[*bounds, (0, None)],
        )
        level = found.x[-1]
        stuck = []
        for i in left:
            others = [
                bound if j in fixed else (min(level * (1 - 1e-9), bound[1]), bound[1])
                for j, bound in enumerate(bounds)
            ]
            most = linprog(
                [-float(i == j) for j in range(count)], A_ub=use, b_ub=limit, bounds=others
            )
            if -most.fun <= level * (1 + 1e-6):
                stuck.append(i)
        for i in stuck or left:
            fixed[i] = level
    return [fixed[i] for i in range(len(flows))]


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(FLOWS, st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3))
def test_fair_shares_against_a_linear_programme(flows: list[Flow], rooms: list[float]) -> None:
    room = dict(zip(RESOURCES, rooms, strict=True))
    found = [share.rate_mbps for share in max_min(flows, room)]
    assert found == pytest.approx(reference(flows, room), rel=1e-4)


@given(FLOWS, st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3))
def test_nothing_is_handed_out_twice_and_nothing_useful_is_left(
    flows: list[Flow], rooms: list[float]
) -> None:
    room = dict(zip(RESOURCES, rooms, strict=True))
    shares = max_min(flows, room)
    taken = {
        name: math.fsum(
            flow.count * share.rate_mbps * flow.uses.get(name, 0.0)
            for flow, share in zip(flows, shares, strict=True)
        )
        for name in RESOURCES
    }
    for flow, share in zip(flows, shares, strict=True):
        assert share.rate_mbps <= flow.wanted_mbps
        if share.bottleneck is None:
            assert share.rate_mbps == flow.wanted_mbps
        else:
            assert taken[share.bottleneck] == pytest.approx(room[share.bottleneck])
    assert all(taken[name] <= room[name] * (1 + 1e-9) for name in RESOURCES)


@given(FLOWS, st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3), st.integers(0, 5))
def test_a_client_more_never_lifts_the_least(
    flows: list[Flow], rooms: list[float], at: int
) -> None:
    """Max-min: the least of all rates (of those that want more) can only fall with a newcomer."""
    room = dict(zip(RESOURCES, rooms, strict=True))
    grown = flows[at % len(flows)]
    others = [flow for flow in flows if flow is not grown]
    more = [*others, Flow(grown.count + 1, grown.wanted_mbps, grown.uses)]
    before = max_min([*others, grown], room)
    after = max_min(more, room)
    least = [min(share.rate_mbps for share in shares) for shares in (before, after)]
    assert least[1] <= least[0] * (1 + 1e-9)


@given(st.lists(st.tuples(st.integers(1, 9), st.floats(0.1, 50)), min_size=1), st.floats(0.1, 1))
def test_a_client_more_on_one_air_never_helps_another(
    groups: list[tuple[int, float]], room: float
) -> None:
    flows = [Flow(count, wanted, {"air": 0.01}) for count, wanted in groups]
    before = max_min(flows, {"air": room})
    after = max_min([*flows, Flow(1, 5.0, {"air": 0.01})], {"air": room})
    for was, now in zip(before, after, strict=False):
        assert now.rate_mbps <= was.rate_mbps * (1 + 1e-9)


def test_fair_shares_by_hand() -> None:
    """Bertsekas and Gallager's kind of example: room 10 at a; the modest takes 2, two get 4 each.

    The third flow is alone on b, with room 9 there; it shares a with nobody.
    """
    flows = [
        Flow(1, 2.0, {"a": 1.0}),
        Flow(2, 100.0, {"a": 1.0}),
        Flow(1, 100.0, {"b": 1.0}),
        Flow(1, 3.0, {}),
    ]
    shares = max_min(flows, {"a": 10.0, "b": 9.0})
    assert [(s.rate_mbps, s.bottleneck) for s in shares] == [
        (2.0, None),
        (4.0, "a"),
        (9.0, "b"),
        (3.0, None),
    ]


@given(FLOWS, st.lists(st.floats(0.1, 10), min_size=6, max_size=6))
def test_a_weight_is_a_measure_of_its_own(flows: list[Flow], weights: list[float]) -> None:
    """Who rises twice as fast in Mb/s rises alike in units of two Mb/s."""
    room = dict.fromkeys(RESOURCES, 1.0)
    weighed = [flow._replace(weight=k) for flow, k in zip(flows, weights, strict=False)]
    in_units = [
        Flow(
            flow.count,
            flow.wanted_mbps / flow.weight,
            {name: use * flow.weight for name, use in flow.uses.items()},
        )
        for flow in weighed
    ]
    for flow, got, units in zip(
        weighed, max_min(weighed, room), max_min(in_units, room), strict=True
    ):
        assert got.rate_mbps == pytest.approx(units.rate_mbps * flow.weight)


def test_by_time_100_and_10_mbps_have_50_and_5_and_by_turns_9_each() -> None:
    """The bounds of a slow and a fast device on one air (computed by hand)."""
    fast, slow = Flow(1.0, 1e9, {"a": 1 / 100}), Flow(1.0, 1e9, {"a": 1 / 10})
    turns = max_min([fast, slow], {"a": 1.0})
    assert [share.rate_mbps for share in turns] == pytest.approx([100 / 11, 100 / 11])
    time = max_min([fast._replace(weight=100.0), slow._replace(weight=10.0)], {"a": 1.0})
    assert [share.rate_mbps for share in time] == pytest.approx([50, 5])

"""What a group gets at most is never less than what it gets, wherever both are known."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import workings_of
from meshlint.workings.capacity.fair_shares import served_percent
from meshlint.workings.capacity.most_shares import most_served_percent

RADIO = (
    "band: 5, width_mhz: 20, power_dbm: 17, antenna_gain_dbi: 3, generation: 802.11ac, streams: 2, "
    "lowest_basic_mbps: 6"
)
groups = st.lists(
    st.tuples(
        st.integers(1, 80),
        st.sampled_from(["near: a", "near: b", "wired_to: b"]),
        st.sampled_from([0, 0.1, 1, 7, 40]),
        st.sampled_from([0, 0.1, 2]),
    ),
    min_size=1,
    max_size=4,
)


def asking(listed, line_mbps: int, channel: int) -> str:
    """Return two units joined by a radio link, of which all is known that clients share."""
    cells = {
        "a": f"m: {{{RADIO}, channel: 36, carries: [clients, backhaul]}}",
        "b": f"m: {{{RADIO}, channel: 36, carries: [backhaul]}}, "
        f"c: {{{RADIO}, channel: {channel}, carries: [clients]}}",
    }
    units = "\n".join(
        f"  {name}: {{routing_mbps: 900, at: {{x_m: {x}, y_m: 0}}, radios: {{{radios}}}}}"
        for x, (name, radios) in zip((0, 12), cells.items(), strict=True)
    )
    asked = "\n".join(
        f"  g{n}: {{count: {count}, {at}, down_mbps: {down}, up_mbps: {up}"
        + ("}" if at.startswith("wired") else ", network: n, streams: 1, generation: 802.11ac}")
        for n, (count, at, down, up) in enumerate(listed)
    )
    return (
        "meshlint: 1\nsite: {name: A, country: DE, surroundings: office}\nprimary: a\n"
        f"internet_lines: {{main: {{enters_at: a, down_mbps: {line_mbps}, up_mbps: 40}}}}\n"
        f"units:\n{units}\nneighbours: []\nnetworks: {{n: {{}}}}\n"
        "backhaul: {l: {from: b, to: a, over: radio, from_radio: m, to_radio: m}}\n"
        f"clients:\n{asked}\n"
    )


@settings(max_examples=80, deadline=None)
@given(groups, st.sampled_from([5, 50, 1000]), st.sampled_from([36, 44]))
def test_what_a_group_gets_is_within_what_it_gets_at_most(listed, line_mbps, channel):
    w = workings_of(asking(listed, line_mbps, channel))
    for group in w.site.clients.values():
        served = served_percent.compute(w, group)
        assert served - 1e-6 <= most_served_percent.compute(w, group) <= 100


def test_a_group_alone_on_its_way_gets_what_it_gets_at_most():
    """One group, down only: nothing of its way is shared with anybody. By hand: 30 of 60 Mb/s."""
    w = workings_of(asking([(10, "near: a", 6, 0)], 30, 44))
    (group,) = w.site.clients.values()
    assert most_served_percent.compute(w, group) == pytest.approx(50)
    assert served_percent.compute(w, group) == pytest.approx(50)

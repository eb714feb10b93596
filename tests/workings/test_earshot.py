"""Whoever can hear a radio is in its earshot: the search against every pair."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from builders import numbered, site, stands_at, with_radios, workings_of
from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.contention.range_index import range_index
from meshlint.workings.unknown import Missing

units = st.lists(
    st.tuples(
        st.none() | st.tuples(st.integers(-300, 300), st.integers(-300, 300)),
        st.none() | st.integers(-5, 30),
        st.sampled_from([20, 80]),
        st.booleans(),
    ),
    min_size=1,
    max_size=12,
)


def written(listed, surroundings: str) -> str:
    rows = []
    for where, power, width, outdoors in listed:
        place = f"{stands_at(*where, 3)}, " if where else ""
        sent = "" if power is None else f"power_dbm: {power}, "
        radio = f"band: 5, channel: 36, width_mhz: {width}, {sent}antenna_gain_dbi: 3"
        rows.append(f"{place}outdoors: {str(outdoors).lower()}, {with_radios(r=radio)}")
    return site(numbered(rows), surroundings=surroundings)


@settings(max_examples=60, deadline=None)
@given(units, st.sampled_from(["office", "home", "corridor"]))
def test_nobody_who_hears_or_may_hear_is_left_out(listed, surroundings):
    text = written(listed, surroundings)
    w = workings_of(text)
    radios = tuple(unit.radios["r"] for unit in w.site.units.values())
    ears = range_index(w, radios)
    for radio in radios:
        near = ears.near(radio)
        assert list(near) == [other for other in radios if other in near]
        for other in radios:
            if other is not radio and other not in near:
                try:
                    assert not within_carrier_sense(w, radio, other)
                except Missing as missing:
                    raise AssertionError(f"{other.unit} may hear {radio.unit}") from missing

"""Whoever can hear a radio is in its earshot: the search against every pair."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from meshlint.site.load import Catalogues, load_site
from meshlint.workings.contention.carrier_sense import within_carrier_sense
from meshlint.workings.contention.range_index import range_index
from meshlint.workings.site_workings import Workings
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
    for number, (at, power, width, outdoors) in enumerate(listed):
        place = f"at: {{x_m: {at[0]}, y_m: {at[1]}, height_m: 3}}, " if at else ""
        sent = "" if power is None else f"power_dbm: {power}, "
        rows.append(
            f"  u{number}: {{{place}outdoors: {str(outdoors).lower()}, radios: {{r: {{band: 5, "
            f"channel: 36, width_mhz: {width}, {sent}antenna_gain_dbi: 3}}}}}}"
        )
    head = f"meshlint: 1\nsite: {{name: A, surroundings: {surroundings}}}\nprimary: u0\n"
    return head + "units:\n" + "\n".join(rows) + "\n"


@settings(max_examples=60, deadline=None)
@given(units, st.sampled_from(["office", "home", "corridor"]))
def test_nobody_who_hears_or_may_hear_is_left_out(listed, surroundings):
    text = written(listed, surroundings)
    w = Workings(load_site(text.encode(), "a.site.yaml", Catalogues())[0])
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

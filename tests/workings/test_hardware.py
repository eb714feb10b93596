"""Which unit is the stronger, as the catalogue and the file tell it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders import site, workings_of
from meshlint.site.model import Ports, Radio, Unit
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown
from meshlint.workings.wired.equipment import GENERATIONS, respects

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]


def two(desk: str, loft: str, more: str = "") -> str:
    return site({"desk": desk, "loft": loft}, None, more)


@pytest.mark.parametrize(
    ("desk", "loft", "better", "worse"),
    [
        (
            "routing_mbps: 400",
            "routing_mbps: 940",
            ("940 Mb/s routed against 400 Mb/s routed",),
            (),
        ),
        ("memory_mb: 512", "memory_mb: 256", (), ("256 MB of memory against 512 MB of memory",)),
        (
            "ports: [{count: 4, rate_mbps: 1000}]",
            "ports: [{count: 1, rate_mbps: 2500}, {count: 4, rate_mbps: 100}]",
            ("a 2500 Mb/s port against a 1000 Mb/s port",),
            (),
        ),
        (
            "memory_mb: 1, radios: {a: {}}",
            "memory_mb: 1, radios: {a: {}, b: {}, c: {}}",
            ("3 radios against 1 radio",),
            (),
        ),
        (
            "memory_mb: 1, radios: {a: {generation: 802.11ac}, b: {generation: 802.11n}}",
            "memory_mb: 1, radios: {a: {generation: 802.11g}, b: {generation: 802.11ax}}",
            ("802.11ax against 802.11ac",),
            (),
        ),
        (
            "memory_mb: 1, radios: {a: {streams: 2}, b: {streams: 2}}",
            "memory_mb: 1, radios: {a: {streams: 4}, b: {streams: 4}}",
            ("8 spatial streams against 4 spatial streams",),
            (),
        ),
        # What one side does not state is not compared.
        ("routing_mbps: 400", "routing_mbps: 400, memory_mb: 512", (), ()),
    ],
)
def test_units_are_compared_in_each_respect_that_both_state(
    worked: Worked, desk: str, loft: str, better: tuple[str, ...], worse: tuple[str, ...]
) -> None:
    ask = worked(two(desk, loft))
    assert ask("unit.better_than_primary", "units/loft") == better
    assert ask("unit.worse_than_primary", "units/loft") == worse


def test_what_the_file_says_of_a_unit_goes_before_its_model(worked: Worked) -> None:
    models = "models: {box: {routing_mbps: 400, memory_mb: 256}}\n"
    ask = worked(two("model: box", "model: box, routing_mbps: 900", models))
    assert ask("unit.better_than_primary", "units/loft") == (
        "900 Mb/s routed against 400 Mb/s routed",
    )


@pytest.mark.parametrize(
    ("desk", "loft", "wanted"),
    [
        ("routing_mbps: 400", "", "units/loft/model"),
        ("", "routing_mbps: 400", "units/desk/model"),
        ("radios: {a: {}}", "radios: {a: {}, b: {}}", "units/loft/model"),
    ],
)
def test_radios_alone_do_not_tell_which_unit_is_the_stronger(
    worked: Worked, desk: str, loft: str, wanted: str
) -> None:
    assert worked(two(desk, loft)).wants("unit.better_than_primary", "units/loft") == [wanted]


@pytest.mark.parametrize(
    ("line", "gained"),
    [(300, 0), (400, 0), (401, 1), (940, 540), (941, 540)],
)
def test_what_is_gained_is_bounded_by_the_line_and_by_what_each_can_route(
    worked: Worked, line: float, gained: float
) -> None:
    lines = f"internet_lines: {{main: {{enters_at: desk, down_mbps: {line}}}}}\n"
    ask = worked(two("routing_mbps: 400", "routing_mbps: 940", lines))
    assert ask("unit.mbps_gained_as_primary", "units/loft") == gained


@pytest.mark.parametrize(
    ("lines", "desk", "wanted"),
    [
        ("", "routing_mbps: 400", "internet_lines"),
        ("internet_lines: {main: {}}\n", "routing_mbps: 400", "internet_lines/main/down_mbps"),
        ("internet_lines: {main: {down_mbps: 9}}\n", "memory_mb: 1", "units/desk/routing_mbps"),
    ],
)
def test_what_is_gained_is_unknown_while_a_figure_is_missing(
    worked: Worked, lines: str, desk: str, wanted: str
) -> None:
    ask = worked(two(desk, "routing_mbps: 940", lines))
    assert ask.wants("unit.mbps_gained_as_primary", "units/loft") == [wanted]


def test_amendments_stand_in_the_order_of_their_years() -> None:
    """IEEE 802.11b and a 1999, g 2003, n 2009, ac 2013, ax 2021, be 2024 (IEEE SA pages)."""
    years = {"b": 1999, "a": 1999, "g": 2003, "n": 2009, "ac": 2013, "ax": 2021, "be": 2024}
    order = [years[name.removeprefix("802.11")] for name in GENERATIONS]
    assert order == sorted(order)
    assert len(GENERATIONS) == len(years)


UNITS = st.builds(
    Unit,
    name=st.just("x"),
    routing_mbps=st.none() | st.sampled_from([100.0, 900.0]),
    memory_mb=st.none() | st.sampled_from([128.0, 512.0]),
    ports=st.none() | st.just((Ports(2, 1000.0),)) | st.just((Ports(1, 2500.0),)),
    radios=st.dictionaries(
        st.sampled_from(["a", "b"]),
        st.builds(
            Radio,
            name=st.just("a"),
            unit=st.just("x"),
            generation=st.none() | st.sampled_from(GENERATIONS),
            streams=st.none() | st.integers(1, 4),
        ),
    ),
)


@given(UNITS)
def test_a_unit_never_outclasses_its_own_like(unit: Unit) -> None:
    names = [respect.name for respect in respects(unit)]
    assert len(names) == len(set(names))
    empty = workings_of(two("", "")).site
    twins = {name: unit.__class__(**_fields(unit) | {"name": name}) for name in ("desk", "loft")}
    w = Workings(empty.__class__(**_fields(empty) | {"units": twins}))
    subject = {s.key: s for s in subjects(w, "unit")[0]}["units/loft"]
    for fact in ("unit.better_than_primary", "unit.worse_than_primary"):
        value = w.value(FACTS[fact], subject)
        assert value == () or isinstance(value, Unknown)


def _fields(record: Any) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__slots__}

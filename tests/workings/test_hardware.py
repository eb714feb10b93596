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
from meshlint.workings.wired.equipment import GENERATIONS

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]


def two(desk: str, loft: str, more: str = "") -> str:
    return site({"desk": desk, "loft": loft}, None, more)


LIKE = {"routing_mbps": "940", "memory_mb": "512", "ports": "[{count: 3, rate_mbps: 1000}]"}
"""What two units have alike, where a case does not say otherwise."""


def unit(**other: str) -> str:
    return ", ".join(f"{key}: {value}" for key, value in (LIKE | other).items())


@pytest.mark.parametrize(
    ("desk", "loft", "better", "worse"),
    [
        (
            unit(routing_mbps="400"),
            unit(),
            ("940 Mb/s routed against 400 Mb/s routed",),
            (),
        ),
        (unit(), unit(memory_mb="256"), (), ("256 MB of memory against 512 MB of memory",)),
        (
            unit(),
            unit(ports="[{count: 1, rate_mbps: 2500}, {count: 4, rate_mbps: 100}]"),
            ("a 2500 Mb/s port for the line against a 1000 Mb/s port for the line",),
            (),
        ),
        (
            unit(),
            unit(ports="[{count: 1, rate_mbps: 100, faces_internet: true}, {count: 4}]"),
            (),
            ("a 100 Mb/s port for the line against a 1000 Mb/s port for the line",),
        ),
        # Radios are no part of the job, apart from a band that the primary sends on.
        (unit(radios="{a: {band: 5}}"), unit(radios="{a: {band: 5}, b: {band: 6}}"), (), ()),
        (
            unit(radios="{a: {band: 5}, b: {band: 2.4}}"),
            unit(radios="{a: {band: 5}}"),
            (),
            ("no radio at 2.4 GHz",),
        ),
        (unit(radios="{a: {band: 5}}"), unit(radios="{}"), (), ("no radio",)),
        (unit(radios="{a: {band: 5, carries: []}}"), unit(radios="{}"), (), ()),
    ],
)  # fmt: skip
def test_units_are_compared_in_what_the_job_needs(
    worked: Worked, desk: str, loft: str, better: tuple[str, ...], worse: tuple[str, ...]
) -> None:
    ask = worked(two(desk, loft))
    assert ask("unit.better_than_primary", "units/loft") == better
    assert ask("unit.worse_than_primary", "units/loft") == worse


@pytest.mark.parametrize(
    ("ports", "worse"),
    [
        ("[{count: 3, rate_mbps: 1000}]", ()),
        ("[{count: 2, rate_mbps: 1000}]", ("no port for internet line main",)),
        ("[{count: 1, rate_mbps: 1000}]", ("no port for a device of tills and 1 more",)),
        (
            "[{count: 1, rate_mbps: 1000}, {count: 2, rate_mbps: 100}]",
            ("a port of 100 Mb/s where 1000 Mb/s is plugged in today",),
        ),
        ("[{count: 3, rate_mbps: 1000, media: fibre}]",
         ("no port for a device of tills and 1 more",)),
    ],
)  # fmt: skip
def test_what_is_plugged_in_at_the_primary_wants_a_port_as_fast(
    worked: Worked, ports: str, worse: tuple[str, ...]
) -> None:
    more = (
        "internet_lines: {main: {enters_at: desk, down_mbps: 100}}\n"
        "clients: {tills: {count: 2, wired_to: desk}}\n"
    )
    ask = worked(two(unit(), unit(ports=ports), more))
    assert ask("unit.worse_than_primary", "units/loft") == worse


@pytest.mark.parametrize(
    ("loft", "wanted"),
    [
        ("routing_mbps: 1200, memory_mb: 512", "units/loft/ports"),
        ("routing_mbps: 1200, ports: [{count: 3, rate_mbps: 1000}]", "units/loft/memory_mb"),
        ("routing_mbps: 1200, memory_mb: 512, ports: [{count: 3}]", "units/loft/ports"),
    ],
)
def test_what_is_not_stated_is_not_taken_for_not_worse(
    worked: Worked, loft: str, wanted: str
) -> None:
    ask = worked(two(unit(), loft))
    assert ask("unit.better_than_primary", "units/loft") == (
        "1200 Mb/s routed against 940 Mb/s routed",
    )
    assert ask.wants("unit.worse_than_primary", "units/loft") == [wanted]


def test_what_the_file_says_of_a_unit_goes_before_its_model(worked: Worked) -> None:
    models = "models: {box: {routing_mbps: 400, memory_mb: 256}}\n"
    ask = worked(two("model: box", "model: box, routing_mbps: 900", models))
    assert ask("unit.better_than_primary", "units/loft") == (
        "900 Mb/s routed against 400 Mb/s routed",
    )


def test_a_port_for_the_line_bounds_what_is_gained(worked: Worked) -> None:
    ports = "[{count: 1, rate_mbps: 100, faces_internet: true}, {count: 4, rate_mbps: 1000}]"
    lines = "internet_lines: {main: {enters_at: desk, down_mbps: 500}}\n"
    ask = worked(two(unit(ports=ports), unit(), lines))
    assert ask("unit.mbps_gained_as_primary", "units/loft") == 400
    assert ask("unit.line_lost_mbps", "units/desk") == 400
    assert ask("unit.passes_held_by", "units/desk") == "the port that its line goes into"


@pytest.mark.parametrize(
    ("line", "gained"),
    [(300, 0), (400, 0), (401, 1), (940, 540), (941, 540)],
)
def test_what_is_gained_is_bounded_by_the_line_and_by_what_each_can_route(
    worked: Worked, line: float, gained: float
) -> None:
    lines = f"internet_lines: {{main: {{enters_at: desk, down_mbps: {line}}}}}\n"
    ask = worked(two(unit(routing_mbps="400"), unit(), lines))
    assert ask("unit.mbps_gained_as_primary", "units/loft") == gained


@pytest.mark.parametrize(
    ("lines", "desk", "wanted"),
    [
        ("", unit(), "internet_lines"),
        ("internet_lines: {main: {}}\n", unit(), "internet_lines/main/down_mbps"),
        (
            "internet_lines: {main: {down_mbps: 9}}\n",
            "ports: [{count: 1, rate_mbps: 9}]",
            "units/desk/routing_mbps",
        ),
        ("internet_lines: {main: {down_mbps: 9}}\n", "routing_mbps: 9", "units/desk/ports"),
    ],
)
def test_what_is_gained_is_unknown_while_a_figure_is_missing(
    worked: Worked, lines: str, desk: str, wanted: str
) -> None:
    ask = worked(two(desk, unit(), lines))
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
    empty = workings_of(two("", "")).site
    twins = {name: unit.__class__(**_fields(unit) | {"name": name}) for name in ("desk", "loft")}
    w = Workings(empty.__class__(**_fields(empty) | {"units": twins}))
    subject = {s.key: s for s in subjects(w, "unit")[0]}["units/loft"]
    for fact in ("unit.better_than_primary", "unit.worse_than_primary"):
        value = w.value(FACTS[fact], subject)
        assert value == () or isinstance(value, Unknown)


def _fields(record: Any) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__slots__}

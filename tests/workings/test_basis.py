"""What figures say that they rest on is what they were worked out for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    Worked = Callable[[str], Any]

SITE = """\
meshlint: 1
site: {{name: S}}
primary: a
units: {{a: {{}}, b: {{}}, c: {{}}}}
backhaul:
  ab: {{from: b, to: a, over: radio{ab}}}
  bc: {{from: c, to: b, over: radio{bc}}}
clients: {{g: {{count: 1, near: c}}}}
neighbours: {heard}
"""
UDP = "UDP at computed rates (TCP carries about 15 % less)"
MEASURED = ", measured_mbps: 9"
HEARD = "[{heard_at: a, band: 5, channel: 36, level_dbm: -60}]"


@pytest.mark.parametrize(
    ("ab", "bc", "rates"),
    [
        ("", "", UDP),
        (MEASURED, "", f"{UDP}, but 1 of 2 links as measured"),
        (MEASURED, MEASURED, "throughput as measured"),
    ],
)
@pytest.mark.parametrize(
    ("heard", "others"),
    [("[]", "no foreign network heard"), (HEARD, "1 foreign network as scanned")],
)
def test_measured_and_computed_and_who_else_is_on_the_air(
    worked: Worked, ab: str, bc: str, rates: str, heard: str, others: str
) -> None:
    ask = worked(SITE.format(ab=ab, bc=bc, heard=heard))
    alone = f"one busy sender alone on the mesh, {rates}"
    assert ask("unit.goodput_rests_on", "units/c") == alone
    together = f"all that the file asks for at once, {rates}, {others}"
    assert ask("group.goodput_rests_on", "clients/g") == together


def test_another_band_is_always_computed(worked: Worked) -> None:
    radio = "{radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [backhaul]}}}"
    units = f"units: {{a: {radio}, b: {radio}, c: {radio}}}"
    start, end = (
        "busy backhaul next to what clients on its air ask for, ",
        ", no foreign network heard",
    )
    for measured, rates in (("", UDP), (MEASURED, f"1 of 2 links as measured today, else {UDP}")):
        text = SITE.format(ab="", bc=measured, heard="[]")
        ask = worked(text.replace("units: {a: {}, b: {}, c: {}}", units))
        for link in ("backhaul/ab", "backhaul/bc"):
            assert ask("link.goodput_rests_on", link) == f"{start}{rates}{end}"


def test_without_a_scan_nobody_knows_who_else_is_on_the_air(worked: Worked) -> None:
    ask = worked(SITE.format(ab="", bc="", heard="[]").replace("neighbours: []\n", ""))
    assert ask.wants("group.goodput_rests_on", "clients/g") == ["neighbours"]
    assert ask.wants("unit.goodput_rests_on", "units/c") == []

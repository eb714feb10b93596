"""What goes with a change: waivers that it makes needless, readings that it makes old, links."""

from __future__ import annotations

from datetime import date

import pytest

from meshlint.edits.mending import Mend, mended
from meshlint.edits.proof import Proof, changed, judged, proven
from meshlint.edits.rewriting import Set
from meshlint.run import Checker
from meshlint.site.source import read_document

TODAY = date(2026, 11, 25)
PATH = "house.site.yaml"
HOUSE = b"""\
meshlint: 1
site: {name: House, country: GB}
primary: a
units:
  a: {radios: {low: {band: 2.4, channel: 3, width_mhz: 40, carries: [clients]}}}
  b:
    radios:
      low: {band: 2.4, channel: 3, width_mhz: 40, carries: [clients]}
      mid: {band: 5, channel: 36, width_mhz: 80, power_dbm: 20, carries: [backhaul]}
"""
WAIVED = b"""\
waivers:
  - {rule: two-four-narrow, subject: units/b/radios/low, because: Agreed, until: 2027-03-01}
  - {rule: two-four-narrow, subject: units/a/radios/low, because: Agreed too, until: 2027-03-01}
"""
PAIR = ("two-four-narrow", "units/b/radios/low")


def proof_of(data: bytes, edits: tuple[Set, ...], pair: tuple[str, str]) -> Proof:
    checker = Checker(TODAY)
    found = proven(checker, judged(checker, data, PATH), edits, pair)
    assert isinstance(found, Proof), found
    return found


def test_a_waiver_that_a_change_makes_needless_goes_with_it() -> None:
    edits = tuple(Set(("units", "b", "radios", "low", k), v) for k, v in (("width_mhz", 20),))
    proof = proof_of(HOUSE + WAIVED, edits, PAIR)
    assert proof.needless_waivers == ("two-four-narrow at units/b/radios/low",)
    assert proof.data.count(b"because") == 1
    assert b"Agreed too" in proof.data
    assert not [f for f in Checker(TODAY).check(proof.data, PATH).findings if "waiver" in f.rule]


def test_the_list_of_waivers_goes_with_the_last_of_them() -> None:
    edits = tuple(Set(("units", u, "radios", "low", "width_mhz"), 20) for u in ("a", "b"))
    proof = proof_of(HOUSE + WAIVED, edits, PAIR)
    assert "waivers" not in read_document(proof.data, PATH).value  # type: ignore[operator]


READINGS = b"""\
readings:
  - {unit: b, band: 5, at: {x_m: 1, y_m: 1}, level_dbm: -50, taken: 2026-11-01}
  - {unit: b, band: 2.4, at: {x_m: 1, y_m: 1}, level_dbm: -40, taken: 2026-11-01}
"""


@pytest.mark.parametrize(("key", "value", "left"), [("power_dbm", 17, 1), ("channel", 40, 2)])
def test_a_level_read_at_another_power_is_to_be_measured_again(
    key: str, value: int, left: int
) -> None:
    edits = (
        Set(("units", "b", "radios", "low", "width_mhz"), 20),
        Set(("units", "b", "radios", "mid", key), value),
    )
    proof = proof_of(HOUSE + READINGS, edits, PAIR)
    assert proof.data.count(b"taken") == left
    assert proof.old_readings == ("the level of b on 5 GHz",) * (2 - left)


CHAIN = """\
meshlint: 1
site: {{name: House, country: GB}}
primary: a
units:
  a: {{radios: {{mid: {{band: 5, channel: 36, width_mhz: 80, carries: [backhaul]}}}}}}
  b:
    radios:
      mid: {{band: 5, channel: {b}, width_mhz: 80, carries: [backhaul]}}
  c: {{radios: {{mid: {{band: 5, channel: {b}, width_mhz: 80, carries: [backhaul]}}}}}}
backhaul:
  b to a: {{from: b, to: a, over: radio}}
  c to b: {{from: c, to: b, over: radio}}
readings:
  - {{link: c to b, throughput_mbps: 300, taken: 2026-11-01, when: quiet}}
cable_routes:
  - {{between: [a, c], state: laid, category: 6, length_m: 20, path: indoors, through: []}}
"""


def first_of(rule: str, data: bytes) -> Mend:
    mends, left, _ = mended(Checker(TODAY), data, PATH, rule)
    assert mends, left
    return mends[0]


def test_a_laid_cable_is_used_though_it_leads_to_another_unit_than_the_parent_of_today() -> None:
    found = first_of("cable-where-it-can-run", CHAIN.format(b=36).encode())
    assert found.change.words == "use the laid cable from c to a"
    after = read_document(found.proof.data, PATH).value
    link = after["backhaul"]["c to b"]  # type: ignore[index, call-overload]
    assert (link["from"], link["to"], link["over"]) == ("c", "a", "cable")  # type: ignore[index, call-overload]
    assert found.proof.old_readings == ("the throughput of c to b",)
    assert "readings" not in after  # type: ignore[operator]


def test_ends_that_differ_are_set_alike_with_all_that_is_joined_to_them() -> None:
    found = first_of("backhaul-ends-agree", CHAIN.format(b=44).encode())
    after = read_document(found.proof.data, PATH).value
    channels = {
        unit["radios"]["mid"]["channel"]  # type: ignore[index, call-overload]
        for unit in after["units"].values()  # type: ignore[index, call-overload, union-attr]
    }
    assert len(channels) == 1


def test_what_was_measured_over_a_link_goes_when_it_leads_elsewhere_or_moves() -> None:
    """A link's own `measured_mbps` tells of its radios and ends as they were, as readings do."""
    stated = CHAIN.format(b=36).replace(
        "c to b: {from: c, to: b, over: radio}",
        "c to b: {from: c, to: b, over: radio, measured_mbps: 300}",
    )
    found = first_of("cable-where-it-can-run", stated.encode())
    assert b"measured_mbps" not in found.proof.data
    assert found.proof.old_readings == ("the throughput of c to b",)
    state = judged(Checker(TODAY), stated.encode(), PATH)
    moved = [Set(("units", unit, "radios", "mid", "channel"), 44) for unit in ("a", "b", "c")]
    done = changed(Checker(TODAY), state, tuple(moved))
    assert b"measured_mbps" not in done.after.data
    other = changed(Checker(TODAY), state, (Set(("site", "country"), "DE"),))
    assert b"measured_mbps: 300" in other.after.data

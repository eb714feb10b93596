"""What a comparison says: a chain made a star, findings gone and new, numbers that matter."""

from __future__ import annotations

import json
from datetime import date

import pytest

from builders import over_radio, site, stands_at, with_radios
from meshlint.compare import FELT, Change, Comparison, Side, compare
from meshlint.report.comparison import as_json, as_markdown, as_text
from meshlint.report.lines import Look
from meshlint.run import Checker
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import Kind

HIGH = "channel: 37, width_mhz: 80, power_dbm: 18, carries: [backhaul]"
ABOUT = {"name": "Long Hall", "country": "GB", "surroundings": "office"}
KNOWN = """\
internet_lines: {main: {enters_at: porch, down_mbps: 2000, up_mbps: 50}}
models:
  uno:
    radios:
      high: {band: 6, generation: 802.11ax, streams: 4, antenna_gain_dbi: 5, noise_figure_db: 7}
    routing_mbps: 2000
"""

PLACES = {"porch": (0, 0), "hall": (15, 5), "loft": (18, -4), "barn": (20, 4)}
CHAIN = {"hall": "porch", "loft": "hall", "barn": "loft"}
STAR = dict.fromkeys(CHAIN, "porch")


def hall(parents: dict[str, str], extra: str = "") -> str:
    units = {
        name: f"model: uno, {stands_at(*place, 3)}, {with_radios(high=HIGH)}"
        for name, place in PLACES.items()
    }
    links = {f"{child} up": over_radio(child, parent) for child, parent in parents.items()}
    return site(units, links, KNOWN + extra, **ABOUT)


def side(text: str, shown: str) -> Side:
    checker = Checker(date(2026, 11, 25))
    opened = checker.open(text.encode(), shown)
    return Side(shown, checker.judge(opened), opened.workings, opened.rules.facts)


def compared(old: str, new: str) -> Comparison:
    return compare(side(old, "old.site.yaml"), side(new, "new.site.yaml"))


def test_a_chain_turned_into_a_star_reads_as_what_it_is() -> None:
    found = compared(hall(CHAIN), hall(STAR))
    first = found.felt[0]
    assert (first.fact, first.before, first.after) == (
        "site.shape",
        "a chain of 3 hops from porch over radio",
        "a star of 3 around porch over radio",
    )
    by_fact = {(c.fact, c.subject): c for c in found.changes}
    hops = by_fact["unit.radio_hops", "units/barn"]
    assert (hops.before, hops.after, hops.verdict) == (3, 1, "better")
    goodput = by_fact["unit.internet_mbps", "units/barn"]
    assert isinstance(goodput.before, float)
    assert isinstance(goodput.after, float)
    assert goodput.after > 1.5 * goodput.before
    assert goodput.verdict == "better"
    assert {f.rule for f in found.gone} >= {"hop-depth"}
    assert "hop-depth" not in {f.rule for f in found.appeared}
    text = as_text(found, Look(200))
    assert "a chain of 3 hops from porch over radio becomes a star of 3 around porch" in text
    assert "better   radio hops to the primary: 3 becomes 1" in text


def test_the_way_back_is_worse_by_as_much() -> None:
    there = {(c.fact, c.subject): c for c in compared(hall(CHAIN), hall(STAR)).changes}
    back = {(c.fact, c.subject): c for c in compared(hall(STAR), hall(CHAIN)).changes}
    assert there.keys() == back.keys()
    opposite = {"better": "worse", "worse": "better", "other": "other"}
    for key, change in there.items():
        assert (change.before, change.after) == (back[key].after, back[key].before)
        assert back[key].verdict == opposite[change.verdict]


def test_a_site_does_not_differ_from_itself() -> None:
    found = compared(hall(CHAIN), hall(CHAIN))
    assert found.is_empty
    assert "Nothing differs." in as_text(found, Look())
    assert "Nothing differs." in as_markdown(found)
    assert json.loads(as_json(found))["changes"] == []


def test_a_number_that_hardly_moved_is_not_told() -> None:
    """8 % more goodput for a measured link is under the tenth; 12 % is not."""
    old = hall(STAR).replace("barn up: {", "barn up: {measured_mbps: 100, ")
    for measured, told in ((108, False), (112, True)):
        new = old.replace("measured_mbps: 100", f"measured_mbps: {measured}")
        facts = {change.fact for change in compared(old, new).changes}
        assert ("link.goodput_mbps" in facts) is told


def test_what_can_no_longer_be_told_says_for_want_of_what() -> None:
    old = hall(STAR)
    new = old.replace("{name: Long Hall, country: GB, surroundings: office}", "{name: Long Hall}")
    change = next(c for c in compared(old, new).changes if c.fact == "link.goodput_mbps")
    assert change.after is None
    assert "site.surroundings" in change.shown_after
    assert change.verdict == "other"


def test_units_that_came_and_went_are_named() -> None:
    shed = "  shed: {radios: {}}\n"
    with_shed = hall(STAR).replace("backhaul:\n", f"{shed}backhaul:\n")
    assert compared(hall(STAR), with_shed).added == ("units/shed",)
    assert compared(with_shed, hall(STAR)).removed == ("units/shed",)


def test_a_finding_that_became_graver_is_neither_gone_nor_new() -> None:
    """Two radio hops are a note and three a warning, at the same unit."""
    two = {"hall": "porch", "barn": "hall", "loft": "hall"}
    found = compared(hall(two), hall({"hall": "porch", "loft": "hall", "barn": "loft"}))
    assert ("note", "hop-depth") in {(before, f.rule) for before, f in found.graver}
    assert "hop-depth" not in {f.rule for f in (*found.gone, *found.appeared)}


def test_what_people_feel_comes_first_and_everything_felt_is_a_fact() -> None:
    found = compared(hall(CHAIN), hall(STAR))
    felt = [change.is_felt for change in found.changes]
    assert felt == sorted(felt, reverse=True)
    assert set(FELT) <= set(FACTS)
    for name, how in FELT.items():
        assert not how.good or FACTS[name].kind in (Kind.NUMBER, Kind.COUNT, Kind.TRUTH)


@pytest.mark.parametrize("render", [as_json, as_markdown, lambda found: as_text(found, Look())])
def test_the_same_comparison_is_the_same_bytes(render) -> None:
    assert render(compared(hall(CHAIN), hall(STAR))) == render(compared(hall(CHAIN), hall(STAR)))


def test_names_of_a_file_are_data_in_markdown() -> None:
    evil = "![x](http://example.org)"
    quoted = f'"{evil}"'
    old = hall(CHAIN).replace("Long Hall", quoted)
    shown = as_markdown(compared(old, hall(STAR).replace("Long Hall", quoted)))
    assert "![x](" not in shown


def test_a_new_error_is_told_before_whatever_got_better() -> None:
    """Channel 36 is open in Germany indoors only (ECC/DEC/(04)08 decides 2); 100 has radar duty."""
    text = (
        "meshlint: 1\nsite: {name: Yard, country: DE}\nprimary: desk\nunits:\n"
        "  desk: {radios: {mid: RADIO}}\n  shed: {outdoors: true, radios: {mid: RADIO}}\n"
        "backhaul:\n  up: {from: shed, to: desk, over: radio}\n"
    )
    radio = "{band: 5, channel: %d, width_mhz: 80, carries: [backhaul]}"
    found = compared(text.replace("RADIO", radio % 100), text.replace("RADIO", radio % 36))
    severities = [finding.severity for finding in found.appeared]
    assert "error" in severities
    assert severities == sorted(severities, key=("error", "warning", "note", "caution").index)
    told = as_text(found, Look())
    assert told.index("indoor-only-outdoors") < told.index("silence after a radar")


def test_new_findings_come_gravest_first_whatever_the_order_of_the_file() -> None:
    old = "meshlint: 1\nsite: {name: Yard, country: DE}\nprimary: desk\nunits: {desk: {}}\n"
    new = old.replace(
        "{desk: {}}",
        "{desk: {radios: {low: {band: 2.4, channel: 1, width_mhz: 40, carries: [clients]}, "
        "mid: {band: 5, channel: 165, width_mhz: 80, carries: [clients]}}}}",
    )
    severities = [finding.severity for finding in compared(old, new).appeared]
    assert len(set(severities)) > 1
    assert severities == sorted(severities, key=("error", "warning", "note", "caution").index)


RADAR = """\
meshlint: 1
site: {name: Long Hall, country: DE, surroundings: office}
primary: desk
units:
  desk: {at: {x_m: 0, y_m: 0}, radios: {mid: {RADIO}}}
  loft: {at: {x_m: 3, y_m: 0}, radios: {mid: {RADIO}, low: {LOW}}}
  barn: {at: {x_m: 3, y_m: 3}, radios: {low: {LOW}}}
backhaul:
  up: {from: loft, to: desk, over: radio, from_radio: mid, to_radio: mid}
  on: {from: barn, to: loft, over: radio, from_radio: low, to_radio: low}
clients: {c: {count: 3, near: barn}}
"""


def on_channel(channel: int, width_mhz: int) -> str:
    sends = (
        "generation: 802.11ac, streams: 2, power_dbm: 12, antenna_gain_dbi: 2, carries: [backhaul]"
    )
    mid = f"band: 5, channel: {channel}, width_mhz: {width_mhz}, {sends}"
    low = f"band: 2.4, channel: 1, width_mhz: 20, {sends}".replace("802.11ac", "802.11n")
    return RADAR.replace("RADIO", mid).replace("LOW", low)


def moved(old: str, new: str) -> dict[tuple[str, str], Change]:
    return {(change.fact, change.subject): change for change in compared(old, new).changes}


OUTAGE = ("link.radar_outage_s", "backhaul/up")


def test_an_end_of_radar_outages_that_is_bought_with_an_unlawful_channel_is_no_gain() -> None:
    """Channel 116 at 40 MHz is checked for ten minutes; channel 177 is not open in Germany."""
    found = compared(on_channel(116, 40), on_channel(177, 20))
    assert {f.rule for f in found.appeared} == {"channel-permitted"}
    outage = {(c.fact, c.subject): c for c in found.changes}[OUTAGE]
    assert (outage.before, outage.after) == (610, 0)
    assert (outage.verdict, outage.bought_with) == ("changed", ("channel-permitted",))
    words = "silence after a radar: 610 s becomes 0 s, with new errors of channel-permitted"
    assert f"    changed  {words}" in as_text(found, Look())
    assert "| changed, with new errors of channel-permitted |" in as_markdown(found)
    (entry,) = (
        change
        for change in json.loads(as_json(found))["changes"]
        if (change["fact"], change["subject"]) == OUTAGE
    )
    assert (entry["verdict"], entry["bought_with"]) == ("changed", ["channel-permitted"])


def test_the_same_end_on_a_lawful_channel_is_a_gain() -> None:
    outage = moved(on_channel(116, 40), on_channel(36, 40))[OUTAGE]
    assert (outage.before, outage.after) == (610, 0)
    assert (outage.verdict, outage.bought_with) == ("better", ())


def test_what_hangs_on_an_unlawful_link_gains_nothing_by_it_either() -> None:
    changes = moved(on_channel(36, 20), on_channel(173, 40))
    for key in (("unit.backhaul_mbps", "units/loft"), ("unit.busy_latency_ms", "units/barn")):
        change = changes[key]
        assert (change.verdict, change.bought_with) == ("changed", ("channel-permitted",))
    gained = changes["link.goodput_mbps", "backhaul/up"]
    assert isinstance(gained.before, float)
    assert isinstance(gained.after, float)
    assert gained.after > gained.before
    assert (gained.verdict, gained.bought_with) == ("changed", ("channel-permitted",))
    assert ("link.goodput_mbps", "backhaul/on") not in changes


def test_an_error_that_was_there_before_spoils_no_gain() -> None:
    gained = moved(on_channel(177, 20), on_channel(173, 40))["link.goodput_mbps", "backhaul/up"]
    assert (gained.verdict, gained.bought_with) == ("better", ())

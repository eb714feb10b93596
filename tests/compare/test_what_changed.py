"""What a comparison says of the change itself, of client groups, and of gains that are none."""

from __future__ import annotations

import json
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from meshlint.compare import Comparison, Side, compare
from meshlint.report.comparison import as_json, as_markdown, as_text
from meshlint.report.lines import Look
from meshlint.run import Checker
from meshlint.site.edits import Edit, edits

SENDS = (
    "generation: 802.11ax, streams: 2, antenna_gain_dbi: 3, noise_figure_db: 6, carries: [clients]"
)
TWO_BANDS = """\
meshlint: 1
site: {name: Long Hall, country: GB, surroundings: office}
primary: desk
units:
  desk: {at: {x_m: 0, y_m: 0, height_m: 2.5}, radios: {mid: {MID}, low: {LOW}}}
  loft: {at: {x_m: 18, y_m: 0, height_m: 2.5}, radios: {mid: {MID}, low: {LOW}}}
backhaul:
  up: {from: loft, to: desk, over: cable, length_m: 30}
clients: {phones: {count: 6, near: loft, roams: true, streams: 2, generation: 802.11ax}}
"""


def hall(width_mhz: int, low_width_mhz: int = 20) -> str:
    mid = f"band: 5, channel: 36, width_mhz: {width_mhz}, power_dbm: 17, {SENDS}"
    low = f"band: 2.4, channel: 1, width_mhz: {low_width_mhz}, power_dbm: 17, {SENDS}"
    return TWO_BANDS.replace("MID", mid).replace("LOW", low)


def side(text: str, shown: str) -> Side:
    checker = Checker(date(2026, 11, 25))
    opened = checker.open(text.encode(), shown)
    stated = opened.document.value
    assert isinstance(stated, dict)
    return Side(shown, checker.judge(opened), opened.workings, opened.rules.facts, stated)


def compared(old: str, new: str) -> Comparison:
    return compare(side(old, "old.site.yaml"), side(new, "new.site.yaml"))


def plain(text: str) -> str:
    return " ".join(text.split())


def test_a_louder_level_of_a_group_pushed_to_another_band_is_no_gain_and_says_why() -> None:
    """2.4 GHz is 8 dB louder at the same place: free-space loss goes by the frequency's square."""
    found = compared(hall(80), hall(20, 40))
    (level,) = (c for c in found.changes if c.fact == "group.second_level_dbm")
    assert isinstance(level.before, float)
    assert isinstance(level.after, float)
    assert level.after > level.before + 3
    assert level.verdict == "changed"
    assert "phones moved from radio mid of desk to radio low of desk" in level.because
    assert not [c for c in found.felt if c.subject.startswith("clients/") and c.verdict == "better"]
    for shown in (as_text(found, Look()), as_markdown(found), as_json(found)):
        assert "phones moved from radio mid of desk" in plain(shown)


CHAIN = """\
meshlint: 1
site: {name: Long Barn, country: GB, surroundings: office}
primary: desk
internet_lines: {fibre: {enters_at: desk, down_mbps: 500, up_mbps: 500}}
units:
  desk: {at: {x_m: 0, y_m: 0}, radios: {mid: &r {band: 5, channel: 36, width_mhz: 80,
         power_dbm: 17, generation: 802.11ax, streams: 2, antenna_gain_dbi: 3, noise_figure_db: 6,
         lowest_basic_mbps: 6, carries: [clients, backhaul]}}}
  loft: {at: {x_m: 8, y_m: 0}, radios: {mid: *r}}
  barn: {at: {x_m: 16, y_m: 0}, radios: {mid: *r}}
backhaul:
  loft to desk: {from: loft, to: desk, over: radio}
  barn to loft: {from: barn, to: loft, over: radio}
neighbours: []
networks: {staff: {name: Staff, akm: sae}}
clients:
  phones: {count: 6, near: loft, streams: 2, generation: 802.11ax, down_mbps: 4, up_mbps: 1}
  tills: {count: 4, near: barn, streams: 2, generation: 802.11ax, down_mbps: 2, up_mbps: 1}
"""
BARN = "  barn: {at: {x_m: 16, y_m: 0}, radios: {mid: *r}}\n"
BARN_LINK = "  barn to loft: {from: barn, to: loft, over: radio}\n"
TILLS = (
    "  tills: {count: 4, near: barn, streams: 2, generation: 802.11ax, down_mbps: 2, up_mbps: 1}\n"
)


def moved(found: Comparison, fact: str, subject: str) -> tuple[str, str]:
    (change,) = (c for c in found.changes if (c.fact, c.subject) == (fact, subject))
    return change.verdict, change.because


def test_a_chain_is_no_shorter_for_the_better_because_its_last_unit_is_gone() -> None:
    without = CHAIN.replace(BARN, "").replace(BARN_LINK, "").replace(TILLS, "")
    found = compared(CHAIN, without)
    assert moved(found, "site.deepest", "site") == ("changed", "barn is not there any more")
    cut = compared(CHAIN, CHAIN.replace(BARN_LINK, ""))
    for subject, fact in (("site", "site.deepest"), ("units/desk", "unit.dark_clients")):
        words = "barn is not joined to the primary any more"
        assert moved(cut, fact, subject) == ("changed", words)


def test_what_is_freer_because_somebody_left_or_asks_for_less_says_so() -> None:
    gone = compared(CHAIN, CHAIN.replace(TILLS, ""))
    words = "the group tills is not there any more"
    assert moved(gone, "unit.dark_clients", "units/desk") == ("changed", words)
    assert moved(gone, "air.airtime_percent", "airs/desk/mid") == ("changed", words)
    less = compared(CHAIN, CHAIN.replace("down_mbps: 4", "down_mbps: 0.1"))
    verdict, because = moved(less, "air.airtime_percent", "airs/desk/mid")
    assert verdict == "changed"
    assert because == "a device of the group phones asks for 0.1 Mb/s down, not 4"


def test_backhaul_takes_no_smaller_share_for_the_better_where_clients_are_slower() -> None:
    slower = CHAIN.replace("near: loft, streams: 2", "near: loft, streams: 1")
    verdict, because = moved(
        compared(CHAIN, slower), "unit.client_airtime_lost_percent", "units/loft"
    )
    assert verdict == "changed"
    assert "a device of phones gets " in because


def test_no_number_is_better_where_the_author_only_took_something_away() -> None:
    for taken in (TILLS, BARN_LINK, BARN_LINK + TILLS):
        text = CHAIN
        for part in taken.splitlines(keepends=True):
            text = text.replace(part, "")
        found = compared(CHAIN, text)
        glad = [(c.subject, c.fact) for c in found.changes if c.verdict == "better"]
        assert glad == [], taken


def test_a_gain_that_costs_nobody_anything_stays_one() -> None:
    found = compared(CHAIN, CHAIN.replace("from: barn, to: loft", "from: barn, to: desk"))
    assert moved(found, "site.deepest", "site") == ("better", "")
    lost = "unit.client_airtime_lost_percent"
    assert moved(found, lost, "units/barn") == ("better", "")


def test_what_every_group_gets_is_told_moved_or_not() -> None:
    worse = plain(as_text(compared(hall(80), hall(20, 40)), Look()))
    assert "worse phones, one device, with the air to itself: " in worse
    same = compared(hall(80), hall(80).replace("name: Long Hall", "name: Short Hall"))
    assert "phones, one device, with the air to itself: 264 Mb/s as before" in plain(
        as_text(same, Look())
    )
    assert {rate["verdict"] for rate in json.loads(as_json(same))["rates"]} == {"other"}


def test_a_group_that_is_new_or_gone_is_told_as_such() -> None:
    without = hall(80)[: hall(80).index("clients:")]
    assert "not there becomes 264 Mb/s" in plain(as_text(compared(without, hall(80)), Look()))
    assert "264 Mb/s becomes not there" in plain(as_text(compared(hall(80), without), Look()))


def test_what_the_author_changed_stands_first_with_old_and_new() -> None:
    found = compared(hall(80), hall(20))
    keys = [(edit.key, edit.before, edit.after) for edit in found.edits]
    assert keys == [(f"units.{u}.radios.mid.width_mhz", "80", "20") for u in ("desk", "loft")]
    told = as_text(found, Look())
    assert told.index("units.desk.radios.mid.width_mhz: 80 becomes 20") < told.index("phones")


def test_a_new_finding_names_its_unit_its_line_and_its_remedy() -> None:
    found = compared(hall(80), hall(80, 40))
    told = plain(as_text(found, Look()))
    assert "two-four-narrow for desk, radio low, new.site.yaml:5:" in told
    assert "Remedy: Set `width_mhz` to 20 on this radio of desk." in told
    narrow = [
        f for f in json.loads(as_json(found))["findings_new"] if f["rule"] == "two-four-narrow"
    ]
    entry = next(f for f in narrow if f["label"].startswith("desk"))
    assert entry["line"] == 5
    assert "`width_mhz`" in entry["remedy"]


def test_no_secret_is_shown_as_an_edit() -> None:
    old = {"networks": {"staff": {"secret": "hunter22hunter22", "akm": "psk"}}}
    new = {"networks": {"staff": {"secret": "correct-horse-9", "akm": "sae"}}}
    told = list(edits(old, new))
    assert [edit.key for edit in told] == ["networks.staff.secret", "networks.staff.akm"]
    assert not {"hunter22hunter22", "correct-horse-9"} & {told[0].before, told[0].after}
    added = next(edits({}, new))
    assert "correct-horse" not in (added.after or "")


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(0, 9) | st.sampled_from(["a", "b"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("xyz"), inner),
    max_leaves=8,
)


@given(VALUES, VALUES)
def test_edits_are_there_exactly_where_values_differ_and_read_backwards(
    before: object, after: object
) -> None:
    there, back = list(edits(before, after)), list(edits(after, before))
    assert not list(edits(before, before))
    assert bool(there) == (json.dumps(before, sort_keys=True) != json.dumps(after, sort_keys=True))
    turned = {Edit(edit.key, edit.after, edit.before) for edit in back}
    assert set(there) == turned

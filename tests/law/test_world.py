"""Every country, channel and width of the regulatory database against a reading written anew.

`regulatory.db` beside this file is the binary of the Debian package wireless-regdb
2026.09.03-1~deb12u1 (ISC licence, notice in meshlint/law/data). Neither the decoder nor the rule
joining of meshlint is used on this side: the file is taken apart by its published layout
(the kernel's net/wireless/reg.c: fwdb_header, fwdb_country, fwdb_collection, fwdb_rule), and a
channel is judged as the functions of that file are described, in kHz:

- cfg80211_does_bw_fit_range: a span fits a rule when it lies between its edges;
- freq_reg_info_regd: the first rule that the 20 MHz piece fits is the piece's;
- handle_channel_adjacent_rules: without one, a rule that holds its lower edge and a rule that
  begins where that one ends and holds its upper edge, both at once;
- reg_get_max_bandwidth_from_range: AUTO-BW takes the whole run of rules around it whose edges meet
  or overlap, in the order of the list;
- cfg80211_chandef_usable: a wide channel is usable when all its pieces are, at that width.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from pathlib import Path

import pytest

from meshlint.law.classes import CLASSES
from meshlint.law.radar_duty import radar_shared_mhz
from meshlint.law.regulatory import countries, permission
from meshlint.physics.channels import CENTRES, all_channels

pytestmark = pytest.mark.slow


DATABASE = (Path(__file__).parent / "regulatory.db").read_bytes()
INSTALLED = Path("/lib/firmware/regulatory.db-debian")

NO_OFDM, NO_OUTDOOR, DFS, NO_IR, AUTO_BW = 1, 2, 4, 8, 16


@dataclass(frozen=True)
class Row:
    low: int
    high: int
    width: int
    mbm: int
    flags: int


def read() -> dict[str, list[Row]]:
    """Take the file apart: big-endian, pointers in units of four bytes."""
    magic, version = struct.unpack_from(">II", DATABASE, 0)
    assert (magic, version) == (0x52474442, 20)
    world = {}
    at = 8
    while True:
        code, pointer = struct.unpack_from(">2sH", DATABASE, at)
        if pointer == 0:
            return world
        at += 4
        start = 4 * pointer
        size, count, _ = struct.unpack_from(">BBB", DATABASE, start)
        rules = []
        for i in range(count):
            (where,) = struct.unpack_from(">H", DATABASE, start + (size + 1) // 2 * 2 + 2 * i)
            _, flags, mbm, low, high, width = struct.unpack_from(">BBHIII", DATABASE, 4 * where)
            rules.append(Row(low, high, width, mbm, flags))
        world[code.decode()] = rules


def holding(rules: list[Row], low: int, high: int) -> list[int]:
    """Return the indices of the one rule, or the two adjoining, that a 20 MHz piece falls to."""
    for i, rule in enumerate(rules):
        if rule.low <= low and high <= rule.high:
            return [i]
    below = [i for i, r in enumerate(rules) if r.low <= low < r.high]
    above = [i for i, r in enumerate(rules) if r.low < high <= r.high]
    for i in below:
        for j in above:
            if rules[i].high == rules[j].low:
                return [i, j]
    return []


def widest(rules: list[Row], i: int) -> int:
    if not rules[i].flags & AUTO_BW:
        return rules[i].width
    first = last = i
    while first > 0 and rules[first - 1].high >= rules[first].low:
        first -= 1
    while last < len(rules) - 1 and rules[last + 1].low <= rules[last].high:
        last += 1
    return rules[last].high - rules[first].low


@dataclass(frozen=True)
class Verdict:
    open: bool
    fits: bool
    flags: int
    mbm: int | None
    radar_khz: int


def judge(rules: list[Row], low_khz: int, width_khz: int) -> Verdict:
    flags, fits, powers, radar_khz = 0, True, [], 0
    whole = True
    for low in range(low_khz, low_khz + width_khz, 20_000):
        found = holding(rules, low, low + 20_000)
        whole = whole and bool(found)
        for i in found:
            flags |= rules[i].flags
            powers.append(rules[i].mbm)
            fits = fits and widest(rules, i) >= width_khz
    # MHz by MHz, half an MHz at a time: what lies in any rule with radar duty.
    for khz in range(low_khz, low_khz + width_khz, 500):
        if any(r.flags & DFS and r.low <= khz and khz + 500 <= r.high for r in rules):
            radar_khz += 500
    return Verdict(whole, fits, flags, min(powers) if whole else None, radar_khz)


def in_a_class(code: str, band: float, low: float, high: float) -> bool:
    """Say whether a class of access point decides: at 6 GHz wherever the country has any there."""
    spans = [s for known in CLASSES if code in known.codes for s in known.spans]
    if band == 6:
        return any(s.low_mhz >= 5925 for s in spans)
    return any(s.low_mhz < high and low < s.high_mhz for s in spans)


def test_the_file_beside_this_test_is_the_one_that_the_table_was_made_from() -> None:
    """And the installed one, on machines with the Debian package of that release."""
    table = json.loads(files("meshlint.law").joinpath("data/regulatory.json").read_text())
    assert sha256(DATABASE).hexdigest() == table["source"]["sha256"]
    if INSTALLED.exists() and INSTALLED.read_bytes() != DATABASE:
        pytest.skip(f"another release than {table['source']['release']} is installed")


def test_every_country_channel_and_width_is_judged_as_the_kernel_does() -> None:
    """34 762 comparisons of five answers each, and no disagreement.

    Where access-point classes rule (6 GHz and 5850-5895 MHz in some countries), the class decides
    over the table, so only that it opens nothing which the table keeps shut is compared there.
    """
    world = read()
    assert set(world) == set(countries())
    compared = 0
    disagreements = []
    for code, rules in world.items():
        law = countries()[code]
        for band, widths in CENTRES.items():
            for width in widths:
                for channel in all_channels(band, width):
                    ours = permission(law, channel, outdoors=False)
                    outside = permission(law, channel, outdoors=True)
                    theirs = judge(rules, round(channel.low_mhz * 1000), width * 1000)
                    lawful = theirs.open and theirs.fits and not theirs.flags & NO_OFDM
                    by_class = in_a_class(code, band, channel.low_mhz, channel.high_mhz)
                    power = None if theirs.mbm is None else theirs.mbm / 100
                    same = (
                        ours.max_eirp_dbm == power
                        and bool(ours.radar_pieces) == bool(theirs.flags & DFS)
                        and radar_shared_mhz(law, channel) == theirs.radar_khz / 1000
                    )
                    if by_class:
                        same = same and (lawful or not ours.allowed)
                    else:
                        same = same and ours.allowed == (lawful and not theirs.flags & NO_IR)
                        if code != "JP":  # spans are closed there that the table leaves open
                            same = same and outside.allowed == (
                                ours.allowed and not theirs.flags & NO_OUTDOOR
                            )
                    compared += 1
                    if not same:
                        disagreements.append((code, band, channel.number, width))
    assert disagreements == []
    assert compared == 182 * sum(len(all_channels(b, x)) for b, ws in CENTRES.items() for x in ws)
    assert compared == 34_762


def test_one_country_has_radar_duty_outside_5_ghz() -> None:
    """Togo's entry has it at 2.4 and 6 GHz, so no band is free of radar in a country not stated."""
    elsewhere = {
        code
        for code, rules in read().items()
        for rule in rules
        if rule.flags & DFS and not (rule.low > 4_900_000 and rule.high < 5_925_000)
    }
    assert elsewhere == {"TG"}


def test_the_three_that_are_often_got_wrong() -> None:
    """160 MHz on 50 in Germany, on 163 in the US (adjoining rules), no 124 in Australia."""
    world = read()
    fifty = judge(world["DE"], 5_170_000, 160_000)
    assert (fifty.open, fifty.fits, bool(fifty.flags & DFS)) == (True, True, True)
    upper = judge(world["US"], 5_735_000, 160_000)
    assert (upper.open, upper.fits) == (True, True)
    assert not judge(world["AU"], 5_610_000, 20_000).open

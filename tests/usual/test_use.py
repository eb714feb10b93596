"""Links that name no radio and radios that say not what they carry, as most files leave it."""

from __future__ import annotations

from datetime import date

import pytest

from meshlint.run import Checker
from meshlint.site.load import Catalogues, load_site
from meshlint.usual.fillings import FILLINGS, Fillable, gaps_of
from meshlint.workings.site_workings import Workings

DAY = date(2026, 11, 25)

KIT = """\
meshlint: 1
site: {name: Kit, country: GB, surroundings: home}
primary: hall
units:
  hall: {at: {x_m: 0, y_m: 0}, radios: {RADIOS}}
  loft: {at: {x_m: 5, y_m: 0}, radios: {RADIOS}}
backhaul: {loft: {from: loft, to: hall, over: radio}}
"""
TWO_BANDS = (
    "low: {band: 2.4, channel: 6, width_mhz: 20}, mid: {band: 5, channel: 36, width_mhz: 80}"
)
THREE_BANDS = TWO_BANDS + ", high: {band: 6, channel: 5, width_mhz: 80}"


def kit(radios: str) -> bytes:
    return KIT.replace("RADIOS", radios).encode()


@pytest.mark.parametrize(
    ("radios", "wanted"),
    [
        (TWO_BANDS, {"mid"}),
        (THREE_BANDS, {"mid", "high"}),
        ("low: {band: 2.4, channel: 6}", {"low"}),
    ],
)
def test_a_link_takes_5_or_6_ghz_where_both_ends_have_it(radios: str, wanted: set[str]) -> None:
    site, _ = load_site(kit(radios), "a.site.yaml", Catalogues())
    fillable = Fillable(Workings(site, DAY))
    links = [
        link
        for filling in FILLINGS
        for link in (fillable.filled(filling, gaps_of(site)).site.backhaul or {}).values()
    ]
    assert {link.from_radio for link in links} == wanted
    assert all(link.from_radio == link.to_radio for link in links)


def test_what_the_file_says_of_use_stays() -> None:
    text = kit(TWO_BANDS).replace(b"over: radio", b"over: radio, from_radio: low, to_radio: low")
    site, _ = load_site(text, "a.site.yaml", Catalogues())
    filled = Fillable(Workings(site, DAY)).filled(FILLINGS[0], gaps_of(site)).site
    assert filled.backhaul is not None
    assert filled.backhaul["loft"].from_radio == "low"


def test_cells_that_share_a_channel_are_found_though_no_link_names_its_radio() -> None:
    """By the file alone the link might use 2.4 GHz, and then its two ends must share."""
    stated = Checker(DAY, usual=False).check(kit(TWO_BANDS), "a.site.yaml")
    assert "own-cells-apart" in {entry.rule for entry in stated.not_judged}
    result = Checker(DAY, apart=True).check(kit(TWO_BANDS), "a.site.yaml")
    (found,) = (f for f in result.findings if f.rule == "own-cells-apart")
    assert found.label == "hall and loft at 2.4 GHz"
    assert "backhaul at 5 or 6 GHz, where both ends have it" in found.message

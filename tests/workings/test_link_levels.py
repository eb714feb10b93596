"""What is told about radio links: losses in parts, rates, ages, and clear lines outdoors."""

from __future__ import annotations

import math
import re

import pytest

from builders import over_radio, site, stands_at, with_radios

RADIO = (
    "band: {}, channel: {}, width_mhz: {}, generation: {}, power_dbm: 20, antenna_gain_dbi: 3, "
    "streams: 2"
)


def ends(ours="802.11ax", theirs="802.11ax", band=5, levels="", apart_m=10) -> str:
    channel = {5: 36, 2.4: 1, 6: 5}[band]
    width = 40 if band != 2.4 else 20
    units = {
        name: f"{stands_at(x_m)}, {with_radios(r=RADIO.format(band, channel, width, generation))}"
        for name, x_m, generation in (("one", 0, ours), ("two", apart_m, theirs))
    }
    links = {"l": over_radio("two", "one", "r")}
    return site(units, links, levels, surroundings="office")


KEY = "backhaul/l"


def test_the_loss_is_told_in_parts_that_add_up_with_walls_named_in_place(worked):
    levels = (
        "levels: {g: {walls: [{path_m: [[4, -3], [4, 3]], material: brick, thickness_mm: 100}, "
        "{path_m: [[6, -3], [6, 3]], loss_db: 5}]}}"
    )
    w = worked(ends(levels=levels))
    assert w("link.walls_crossed", KEY) == (
        "100 mm brick wall at 4.0, 0.0",
        "wall of 5 dB at 6.0, 0.0",
    )
    assert w("link.wall_count", KEY) == 2
    assert w("link.path_loss_db", KEY) == pytest.approx(
        w("link.distance_loss_db", KEY) + w("link.walls_loss_db", KEY)
    )
    # P.2040-3 ripple-free, 100 mm brick: 3.54 dB at 5.25 GHz, a hundredth less at 5.19.
    assert w("link.walls_loss_db", KEY) == pytest.approx(8.54, abs=0.02)


@pytest.mark.parametrize(
    ("ours", "theirs", "band", "apart"),
    [
        ("802.11ax", "802.11ax", 5, 0),
        ("802.11ax", "802.11ac", 5, 1),
        ("802.11n", "802.11ax", 5, 2),
        ("802.11be", "802.11n", 5, 3),
        ("802.11ax", "802.11n", 2.4, 1),  # 802.11ac does not exist there
        ("802.11ax", "802.11ac", 2.4, 1),
        ("802.11be", "802.11ax", 6, 1),
    ],
)
def test_ages_are_counted_in_amendments_of_the_band(worked, ours, theirs, band, apart):
    assert worked(ends(ours, theirs, band))("link.amendments_apart", KEY) == apart


def test_the_older_end_costs_the_rates_that_it_does_not_know(worked):
    # 5 m: 20 + 6 - 63.8 = -37.8 dBm, 6.5 dB kept back: -44.3. At 40 MHz 802.11n ends at MCS 7 (-61
    # dBm), 802.11ax holds MCS 11 (-49 dBm): 270 and 573.5 Mb/s, two streams, 0.8 us.
    w = worked(ends("802.11n", "802.11ax", apart_m=5))
    assert w("link.rate_mbps", KEY) == pytest.approx(270.0, abs=0.1)
    assert w("link.rate_if_alike_mbps", KEY) == pytest.approx(573.5, abs=0.1)
    assert w("link.older_unit", KEY) == "one"
    assert w("link.generations", KEY) == "one speaks 802.11n and two 802.11ax"


def yard(height_m: float = 4, obstacle: str = "", apart_m: float = 100) -> str:
    radio = with_radios(r=RADIO.format(5, 36, 80, "802.11ax"))
    units = {
        name: f"outdoors: true, {stands_at(x_m, 0, height_m)}, {radio}"
        for name, x_m in (("one", 0), ("two", apart_m))
    }
    levels = f"levels: {{yard: {{base_m: 0, obstacles: [{obstacle}]}}}}\n"
    return site(units, {"l": over_radio("two", "one", "r")}, levels, surroundings="outdoors")


def test_the_ground_is_the_nearest_thing_of_a_bare_yard(worked):
    # ITU-R P.526: sqrt(lambda d / 4) = sqrt(0.05754 * 100 / 4) = 1.199 m in the middle.
    w = worked(yard(height_m=2))
    assert w("link.nearest_thing", KEY) == "the ground"
    assert w("link.clear_radius_m", KEY) == pytest.approx(1.199, abs=0.001)
    assert w("link.clearance_m", KEY) == 2.0
    assert w("link.clear_percent", KEY) == pytest.approx(166.8, abs=0.2)


def test_a_thing_in_the_line_has_no_clearance(worked):
    shed = "{outline_m: [[70, -1], [74, -1], [74, 1], [70, 1]], loss_db: 12}"
    w = worked(yard(obstacle=shed))
    assert w("link.clear_percent", KEY) == pytest.approx(-100)
    assert w("link.nearest_thing", KEY) == "obstacle of 12 dB"
    assert 26 <= w("link.nearest_thing_from_end_m", KEY) <= 30  # the `from` end is at x = 100


def test_a_thing_beside_an_end_matters_more_than_one_as_near_the_middle(worked):
    # The zone is thin at the ends: 0.5 m is 42 % of its radius in the middle, 96 % at 5 m.
    def shed(x: float) -> str:
        return f"{{outline_m: [[{x}, 0.5], [{x + 0.1}, 0.5], [{x}, 2]], loss_db: 9}}"

    near, middle = worked(yard(obstacle=shed(5))), worked(yard(obstacle=shed(50)))
    assert middle("link.clear_percent", KEY) == pytest.approx(41.7, abs=0.5)
    assert near("link.clear_percent", KEY) == pytest.approx(
        100 * 0.5 / math.sqrt(0.05754 * 5 * 95 / 100), abs=2
    )


def test_an_indoor_link_is_not_outdoors(worked):
    assert worked(ends())("link.outdoors", KEY) is False
    assert worked(yard())("link.outdoors", KEY) is True


def test_what_a_unit_says_of_itself_needs_no_place_and_goes_before_its_level(worked):
    """The word of the unit alone settles it; only a silent unit stands as its level does."""
    placeless = re.sub(r"at: {.*?}, ", "", yard())
    assert "at:" not in placeless
    assert worked(placeless)("link.outdoors", KEY) is True
    silent = placeless.replace("outdoors: true, ", "", 1)
    assert worked(silent)("link.outdoors", KEY) is False
    roofed = yard().replace("outdoors: true", "outdoors: false", 1)
    assert worked(roofed)("link.outdoors", KEY) is False
    as_its_level = yard().replace("outdoors: true, ", "")
    open_level = as_its_level.replace("{yard: {base_m", "{yard: {surroundings: outdoors, base_m")
    assert worked(open_level)("link.outdoors", KEY) is True

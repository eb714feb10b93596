"""Power limits of access points against the published figures, each by its clause."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from meshlint.law.power import PowerLimit, excess_db, power_limit
from meshlint.law.regulatory import countries, country, permission
from meshlint.physics.channels import CENTRES, all_channels, channels

if TYPE_CHECKING:
    from meshlint.law.classes import PowerClass


def limit(
    code: str,
    band: float,
    number: int,
    width: int,
    power_class: PowerClass | None = None,
    *,
    power_control: bool | None = None,
) -> PowerLimit:
    law = country(code)
    assert law is not None
    (channel,) = channels(band, number, width, block=1 if width == 320 else None)
    found = power_limit(
        law, channel, outdoors=False, power_class=power_class, power_control=power_control
    )
    assert found is not None
    return found


# 47 CFR 15.247(b)(3), (b)(4); 15.407(a)(1)(i)-(ii), (a)(2), (a)(3)(i): conducted limits of 1 W and
# 250 mW with antennas up to 6 dBi. The table of the Linux database has 30, 23, 24, 24, 30.
@pytest.mark.parametrize(
    ("band", "number", "width", "eirp", "conducted"),
    [
        (2.4, 6, 20, 36, 30),
        (5, 36, 80, 36, 30),
        (5, 52, 20, 30, 24),
        (5, 52, 80, 30, 24),
        (5, 100, 160, 30, 24),
        (5, 149, 80, 36, 30),
    ],
)
def test_fcc_access_points_may_do_more_than_the_table_says(
    *, band: float, number: int, width: int, eirp: float, conducted: float
) -> None:
    found = limit("US", band, number, width)
    assert (found.eirp_dbm, found.conducted_dbm, found.regime) == (eirp, conducted, "FCC")
    assert found.sources[0].document.startswith("47 CFR 15.")
    law = country("US")
    assert law is not None
    table = permission(law, channels(band, number, width)[0], outdoors=False).max_eirp_dbm
    assert table is not None
    assert table < eirp


# 15.407(a)(5): 5 dBm/MHz and 30 dBm in all; (a)(4): 23 dBm/MHz and 36 dBm; FCC 23-86: -5 dBm/MHz
# and 14 dBm; 15.407(a)(3)(ii): 33 dBm at 20 MHz and 36 dBm at 40 MHz and wider.
@pytest.mark.parametrize(
    ("band", "number", "width", "power_class", "eirp"),
    [
        (6, 1, 20, "low-indoor", 18),
        (6, 1, 40, "low-indoor", 21),
        (6, 1, 80, "low-indoor", 24),
        (6, 1, 160, "low-indoor", 27),
        (6, 1, 320, "low-indoor", 30),
        (6, 1, 20, None, 18),
        (6, 1, 20, "standard", 36),
        (6, 1, 160, "standard", 36),
        (6, 1, 20, "very-low", 8),
        (6, 1, 80, "very-low", 14),
        (5, 173, 20, None, 33),
        (5, 173, 40, None, 36),
    ],
)
def test_fcc_classes_are_limited_by_density_and_in_all(
    band: float, number: int, width: int, power_class: PowerClass | None, eirp: float
) -> None:
    found = limit("US", band, number, width, power_class)
    assert found.eirp_dbm == pytest.approx(eirp, abs=0.05)
    assert found.regime == "FCC"


# ECC/DEC/(04)08, decides 2 to 4; ERC/REC 70-03 annex 3; ECC/DEC/(20)01; EN 300 440 (25 mW).
@pytest.mark.parametrize(
    ("band", "number", "width", "without", "with_control"),
    [
        (2.4, 1, 20, 20, 20),
        (5, 36, 80, 23, 23),
        (5, 52, 80, 20, 23),
        (5, 100, 80, 27, 30),
        (5, 149, 20, 14, 14),
        (6, 33, 160, 23, 23),
    ],
)
@pytest.mark.parametrize("code", ["DE", "FR", "NO"])
def test_cept_grants_more_to_power_control(
    *, code: str, band: float, number: int, width: int, without: float, with_control: float
) -> None:
    declared = [
        limit(code, band, number, width, power_control=told) for told in (None, False, True)
    ]
    assert [d.eirp_dbm for d in declared] == [without, without, with_control]
    gain = with_control if with_control > without else None
    assert [d.power_control_eirp_dbm for d in declared] == [gain, gain, None]
    assert all(d.conducted_dbm is None for d in declared)


def test_very_low_power_is_14_dbm_in_cept_whatever_the_width() -> None:
    """ECC/DEC/(20)01: 14 dBm; Great Britain, Japan and Australia have 25 mW as well."""
    for code in ("DE", "GB", "JP", "AU"):
        assert limit(code, 6, 33, 20, "very-low").eirp_dbm == 14
        assert limit(code, 6, 33, 160, "very-low").eirp_dbm == 14


def test_a_channel_across_spans_takes_the_lower_limit() -> None:
    assert limit("DE", 5, 36, 160).eirp_dbm == 20
    assert limit("DE", 5, 36, 160, power_control=True).eirp_dbm == 23
    assert limit("DE", 5, 144, 20, power_control=True).eirp_dbm == 14
    assert limit("US", 5, 36, 160).eirp_dbm == 30
    assert limit("US", 5, 144, 20).eirp_dbm == 30
    assert limit("US", 5, 149, 160).eirp_dbm == 36
    assert limit("US", 5, 169, 20).eirp_dbm == pytest.approx(33, abs=0.05)


# 5470-5730 MHz: 500 mW outdoors with radar duty; 5725-5850 MHz: 200 mW indoors (the database).
@pytest.mark.parametrize(("number", "width"), [(144, 20), (140, 40), (132, 80)])
def test_where_two_rules_overlap_power_and_flags_are_of_one(number: int, width: int) -> None:
    """The kernel takes the first rule that holds a piece whole, and so all of GB's 142 and 144."""
    assert limit("GB", 5, number, width).eirp_dbm == 27
    law = country("GB")
    assert law is not None
    verdict = permission(law, channels(5, number, width)[0], outdoors=True)
    assert (verdict.allowed, len(verdict.radar_pieces)) == (True, width // 20)
    assert verdict.max_eirp_dbm == 26.98


def test_a_radio_registered_in_japan_has_the_limit_of_such_outdoors() -> None:
    """1 W for access points and repeaters at 5.2 GHz (MIC amendment of 2018, second-hand)."""
    law = country("JP")
    assert law is not None
    (channel,) = channels(5, 36, 80)
    found = {
        (outdoors, registered): power_limit(law, channel, outdoors, registered=registered)
        for outdoors in (True, False)
        for registered in (True, False)
    }
    told = {key: limit.eirp_dbm for key, limit in found.items() if limit}
    assert told == {
        (True, True): 30,
        (True, False): 20,
        (False, True): 20,
        (False, False): 20,
    }


def test_a_country_with_a_figure_of_its_own_keeps_it() -> None:
    """The database has 20 dBm for Ukraine's upper band, where CEPT's figure would be 27."""
    own = limit("UA", 5, 100, 80, power_control=True)
    assert (own.eirp_dbm, own.regime) == (20, "table")
    assert limit("CN", 5, 149, 80).regime == "table"


def test_fcc_radar_bands_ask_for_power_control_from_half_a_watt_on() -> None:
    """15.407(h)(1), from memory: required from 500 mW of radiated power on."""
    assert limit("US", 5, 52, 20, power_control=False).eirp_dbm == 27
    assert "(h)(1)" in limit("US", 5, 52, 20).notes[0]


def test_australia_doubles_its_radar_bands_for_power_control() -> None:
    """F2025L01047 Table 8: 100 and 200 mW; 500 mW and 1 W."""
    assert [limit("AU", 5, 52, 20, power_control=c).eirp_dbm for c in (False, True)] == [20, 23]
    assert [limit("AU", 5, 132, 20, power_control=c).eirp_dbm for c in (False, True)] == [27, 30]
    assert limit("AU", 6, 1, 20).eirp_dbm == 24


def test_the_classes_tell_what_they_demand_and_that_none_is_stated() -> None:
    (note,) = limit("US", 6, 37, 80).notes
    assert "no class is stated" in note
    assert "no battery" in note
    assert "frequency coordination" in limit("US", 6, 37, 80, "standard").notes[0]
    assert (
        "nothing is on record about the standard class"
        in limit("DE", 6, 37, 80, "standard").notes[0]
    )


def test_the_elevation_limit_is_told_outdoors_only() -> None:
    law = country("US")
    (channel,) = channels(5, 36, 80)
    assert law is not None
    outside, inside = (
        power_limit(law, channel, outdoors=True),
        power_limit(law, channel, outdoors=False),
    )
    assert outside is not None
    assert inside is not None
    assert "30 degrees" in outside.notes[0]
    assert inside.notes == ()


def test_excess_counts_the_antenna_and_the_conducted_limit() -> None:
    """15.407(a)(1): 30 dBm and 6 dBi are lawful at 5150-5250 MHz; 33 dBm and 0 dBi are not."""
    found = limit("US", 5, 36, 80)
    assert excess_db(found, 30, 6) == 0
    assert excess_db(found, 33, 0) == 3
    assert excess_db(found, 30, 8) == 2
    assert excess_db(limit("DE", 5, 36, 80), 20, 4.5) == 1.5


@pytest.mark.slow
def test_every_permitted_channel_of_the_world_has_a_limit_with_a_source() -> None:
    for law in countries().values():
        for band, widths in CENTRES.items():
            for width in widths:
                for channel in all_channels(band, width):
                    found = power_limit(law, channel, outdoors=False)
                    if permission(law, channel, outdoors=False).allowed:
                        assert found is not None
                        assert isinstance(found.eirp_dbm, float)
                        assert found.sources

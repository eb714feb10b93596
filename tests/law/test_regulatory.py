"""The table of the world's rules and how a channel is judged by it.

Sources: the wireless regulatory database, release 2026.09.03, decoded independently of
`meshlint.law.decode` (`DECODED` below), and counts made from it by that other decoder. Reading of
adjoining rules: Linux net/wireless/reg.c.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.law.regulatory import Permission, countries, country, permission
from meshlint.physics.channels import CENTRES, all_channels, channels

FLAG = {
    "NO": "no-outdoor",
    "D": "radar",
    "A": "auto-width",
    "I": "no-initiate",
    "NO-OFDM": "no-ofdm",
}

# Country and region; then per rule: edges in MHz, widest channel, dBm, flags.
DECODED = """
GB ETSI: 2400-2483.5 @40 20.00; 5150-5250 @80 23.01 NO A; 5250-5350 @80 20.00 NO D A; 5470-5730 @160 26.98 D; 5725-5850 @80 23.01 NO; 5925-6425 @320 23.97 NO
US FCC: 2400-2472 @40 30.00; 5150-5250 @80 23.00 A; 5250-5350 @80 24.00 D A; 5470-5730 @160 24.00 D; 5730-5850 @80 30.00 A; 5850-5895 @40 27.00 NO I A; 5925-7125 @320 12.00 NO I
DE ETSI: 2400-2483.5 @40 20.00; 5150-5250 @80 23.01 NO A; 5250-5350 @80 20.00 NO D A; 5470-5725 @160 26.98 D; 5725-5875 @80 13.97; 5945-6425 @320 23.00 NO
JP JP: 2402-2482 @40 20.00; 2474-2494 @20 20.00 NO-OFDM; 4910-4990 @40 23.00; 5170-5250 @80 20.00 A; 5250-5330 @80 20.00 D A; 5490-5730 @160 23.00 D; 5925-6425 @320 23.01 NO
AU ETSI: 2400-2483.5 @40 36.02; 5150-5250 @80 23.01 NO A; 5250-5350 @80 20.00 NO D A; 5470-5600 @80 26.98 D; 5650-5730 @80 26.98 D; 5730-5850 @80 36.02 A; 5850-5875 @20 13.97 A; 5925-6585 @320 23.97 NO
BR FCC: 2400-2483.5 @40 30.00; 5150-5250 @80 27.00 NO A; 5250-5350 @80 27.00 NO D A; 5470-5725 @160 27.00 D A; 5725-5850 @80 30.00 A; 5925-7125 @320 12.00 NO
CN FCC: 2400-2483.5 @40 20.00; 5150-5250 @80 23.00 NO A; 5250-5350 @80 20.00 NO D A; 5725-5850 @80 33.00
IN unset: 2402-2482 @40 30.00; 5150-5250 @80 30.00; 5250-5350 @80 24.00 D; 5470-5725 @160 24.00 D; 5725-5875 @80 30.00; 5925-6425 @320 24.00 NO
"""  # noqa: E501


def judged(
    code: str, band: float, number: int, width: int, *, outdoors: bool | None = None, **told: object
) -> Permission:
    law = country(code)
    assert law is not None
    (channel,) = channels(band, number, width)
    return permission(law, channel, outdoors=outdoors, **told)  # type: ignore[arg-type]


@pytest.mark.parametrize("line", DECODED.strip().splitlines())
def test_eight_countries_hold_the_rules_that_another_decoder_found(line: str) -> None:
    head, _, rest = line.partition(": ")
    code, region = head.split()
    law = country(code)
    assert law is not None
    assert law.dfs_region == region
    wifi = [r for r in law.rules if 2000 < r.low_mhz < 7200]
    told = rest.split("; ")
    assert len(wifi) == len(told)
    for rule, text in zip(wifi, told, strict=True):
        low, high, width, power, flags = re.fullmatch(
            r"([\d.]+)-([\d.]+) @(\d+) ([\d.]+) ?(.*)", text
        ).groups()  # type: ignore[union-attr]
        figures = (rule.low_mhz, rule.high_mhz, rule.max_width_mhz, rule.max_eirp_dbm)
        assert figures == (float(low), float(high), float(width), float(power))
        assert rule.flags == {FLAG[f] for f in flags.split()}
        assert rule.check_s == 0


def test_the_table_has_every_country_of_the_release() -> None:
    """182 codes and 1014 rules; regions ETSI 106, FCC 59, JP 9, unset 8."""
    laws = countries().values()
    regions = [c.dfs_region for c in laws]
    assert (len(laws), sum(len(c.rules) for c in laws)) == (182, 1014)
    assert [regions.count(r) for r in ("ETSI", "FCC", "JP", "unset")] == [106, 59, 9, 8]
    assert country("ZZ") is None


# Counted from the database by the other decoder.
CLOSED_124 = "AU AZ BB BD BO BZ CL CN DM DO EG GE ID IR MA MV NG NP PK RU SV TN UY UZ VE YE"
RADAR_149 = "AM BH BW KE KW LK NA QA RS SX SY TG TZ"


def test_channel_124_is_closed_where_the_database_closes_it() -> None:
    closed = {c for c in countries() if c != "00" and not judged(c, 5, 124, 20).allowed}
    # Cuba's upper band is open to joining only, which the count took no notice of.
    assert closed == {*CLOSED_124.split(), "CU"}


def test_channel_149_has_radar_duty_where_the_database_says_so() -> None:
    assert {c for c in countries() if judged(c, 5, 149, 20).radar_pieces} == set(RADAR_149.split())


def test_83_codes_have_no_six_ghz_rule() -> None:
    opened = {
        code
        for code in countries()
        for channel in all_channels(6, 20)
        if judged(code, 6, channel.number, 20).max_eirp_dbm is not None
    }
    shut = set(countries()) - opened
    assert len(shut) == 83


def test_rules_that_meet_open_channels_144_and_138() -> None:
    """62 countries gain channel 144 where rules meet at 5725 MHz, 61 of them 138 at 80 MHz.

    South Africa is the latest, since release 2026.09.03 of the database.
    """

    def gained(number: int, width: int) -> int:
        verdicts = {code: judged(code, 5, number, width) for code in countries()}
        across = {c: v for c, v in verdicts.items() if any("that meet" in n for n in v.notes)}
        # Cuba's upper band is open to joining only, which the count took no notice of.
        return sum(v.allowed or c == "CU" for c, v in across.items())

    assert (gained(144, 20), gained(132, 80)) == (62, 61)


def test_a_piece_across_two_rules_has_both_duties_and_the_lower_power() -> None:
    """Channel 138 in DE: radar duty and the 25 mW of the span above."""
    verdict = judged("DE", 5, 132, 80)
    assert verdict.allowed
    assert verdict.max_eirp_dbm == 13.97
    assert len(verdict.radar_pieces) == 4


@pytest.mark.parametrize(
    ("code", "number", "width", "allowed"),
    [
        ("DE", 36, 160, True),
        ("US", 36, 160, True),
        ("US", 149, 160, True),
        ("IN", 36, 160, False),
        ("AU", 36, 160, True),
        ("AU", 100, 160, False),
        ("AU", 124, 20, False),
        ("AU", 120, 20, False),
        ("AU", 116, 20, True),
        ("AU", 100, 80, True),
        ("AU", 165, 40, True),
        ("AU", 165, 80, False),
        ("GB", 144, 20, True),
        ("GB", 132, 80, True),
        ("GB", 149, 80, True),
        ("GB", 169, 20, False),
        ("GB", 165, 20, True),
        ("DE", 173, 20, True),
        ("DE", 177, 20, False),
        ("US", 177, 20, True),
        ("CN", 100, 20, False),
        ("CN", 149, 80, True),
        ("JP", 149, 20, False),
        ("JP", 144, 20, True),
    ],
)
def test_a_channel_is_judged_at_its_whole_width(
    *, code: str, number: int, width: int, allowed: bool
) -> None:
    verdict = judged(code, 5, number, width)
    assert verdict.allowed is allowed
    assert bool(verdict.reasons) is not allowed


def test_channels_12_to_14_are_national() -> None:
    assert judged("GB", 2.4, 13, 20).allowed
    assert judged("US", 2.4, 11, 20).allowed
    assert not judged("US", 2.4, 13, 20).allowed
    assert not judged("GB", 2.4, 14, 20).allowed
    assert "oldest modulation" in judged("JP", 2.4, 14, 20).reasons[0]
    below = channels(2.4, 11, 40, second="below")[0]
    us = country("US")
    assert us is not None
    assert permission(us, below, outdoors=False).allowed
    assert not permission(us, channels(2.4, 9, 40, second="above")[0], outdoors=False).allowed


@pytest.mark.parametrize(
    ("code", "number", "width", "reduced"),
    [
        ("US", 11, 20, False),
        ("US", 12, 20, True),
        ("US", 13, 20, True),
        ("PR", 13, 20, True),
        ("US", 14, 20, False),  # 2474-2494 MHz, past the end of the band
        ("TW", 13, 20, False),  # not under 47 CFR
    ],
)
def test_channels_12_and_13_are_lawful_at_reduced_power_where_the_fcc_rules(
    *, code: str, number: int, width: int, reduced: bool
) -> None:
    """FCC laboratory notice of July 2013, as a test house passes it on: tested on 12 and 13 with
    the reduced power that keeps 2483.5 MHz clean (second-hand)."""
    verdict = judged(code, 2.4, number, width)
    assert verdict.at_reduced_power is reduced
    assert ("at reduced power" in " ".join(verdict.reasons)) is reduced


# ECC/DEC/(20)01 names two classes and F2025L01047, Table 8, two; of the others only the indoor one
# was found, or none.
@pytest.mark.parametrize(
    ("code", "power_class", "settled"),
    [
        *((c, p, False) for c in ("CA", "BR", "KR", "NZ", "ZA") for p in ("standard", "very-low")),
        *((code, None, False) for code in ("CA", "BR", "KR", "NZ", "ZA")),
        *((code, "low-indoor", True) for code in ("CA", "BR", "KR", "NZ", "ZA")),
        ("GB", "standard", False),
        ("GB", None, True),
        ("GB", "very-low", True),
        ("DE", "standard", True),
        ("AU", "standard", True),
        ("US", None, True),
        ("US", "very-low", True),
    ],
)
def test_six_ghz_outdoors_is_not_judged_where_nothing_is_on_record(
    *, code: str, power_class: str | None, settled: bool
) -> None:
    outside = judged(code, 6, 37, 80, outdoors=True, power_class=power_class)
    assert (outside.unsettled is None) is settled
    if not settled:
        assert not outside.allowed
        assert "nothing is on record" in outside.reasons[0]
        assert judged(code, 6, 37, 80, outdoors=False, power_class=power_class).allowed


def test_what_the_table_opens_outdoors_needs_no_class() -> None:
    """Mongolia is the one country whose 6 GHz rule is not marked for indoors."""
    assert judged("MN", 6, 37, 80, outdoors=True).allowed
    assert judged("MN", 6, 37, 80, outdoors=True).unsettled is None


@pytest.mark.parametrize(
    ("registered", "allowed", "settled"),
    [(None, False, False), (False, False, True), (True, True, True)],
)
def test_japan_opens_36_to_48_outdoors_to_registered_radios(
    *, registered: bool | None, allowed: bool, settled: bool
) -> None:
    """MIC, outdoor use of wireless LAN, table 1: W52 outdoors by registration, W53 never."""
    verdict = judged("JP", 5, 36, 80, outdoors=True, registered=registered)
    assert (verdict.allowed, verdict.unsettled is None) == (allowed, settled)
    across = judged("JP", 5, 36, 160, outdoors=True, registered=registered)
    assert (across.allowed, across.unsettled) == (False, None)


def test_reasons_name_pieces_and_no_stretched_edge() -> None:
    (reason, width) = judged("AU", 5, 100, 160).reasons
    assert reason == (
        "the pieces from 5590 to 5650 MHz (channels 120, 124 and 128) are not open to Wi-Fi in AU"
    )
    assert "at most 80 MHz, not 160 MHz" in width
    (one,) = judged("DE", 5, 165, 80).reasons
    assert one == "the 20 MHz piece at 5885 MHz (channel 177) is not open to Wi-Fi in DE"
    for code in countries():
        for width_mhz in CENTRES[5.0]:
            for channel in all_channels(5, width_mhz):
                edges = {f"{e:g}" for p in channel.pieces for e in p}
                told = judged(code, 5, channel.number, width_mhz, outdoors=True).reasons
                spans = re.findall(r"from (\d+) to (\d+) MHz", " ".join(told))
                assert all({low, high} <= edges for low, high in spans)


def test_indoor_spans_are_closed_outdoors_and_unknown_is_told() -> None:
    assert judged("DE", 5, 36, 80, outdoors=True).reasons == (
        "channels 36, 40, 44 and 48 may be used indoors only in DE",
    )
    assert judged("DE", 5, 36, 80, outdoors=False).allowed
    unknown = judged("DE", 5, 36, 80)
    assert (unknown.allowed, unknown.indoor_only) == (True, True)
    assert judged("DE", 5, 100, 80, outdoors=True).allowed
    assert judged("US", 5, 36, 80, outdoors=True).allowed


def test_japan_is_closed_outdoors_where_the_database_has_no_flag() -> None:
    """MIC, outdoor use of wireless LAN, table 1: W53 indoors; W52 outdoors when registered."""
    assert judged("JP", 5, 52, 80, outdoors=True).reasons == (
        "channels 52, 56, 60 and 64 in JP: indoors only",
    )
    assert "registered" in judged("JP", 5, 36, 20, outdoors=True).reasons[0]
    assert judged("JP", 5, 36, 20, outdoors=False).allowed
    assert judged("JP", 5, 100, 20, outdoors=True).allowed


def test_spans_for_joining_only_are_closed_unless_a_class_opens_them() -> None:
    """47 CFR 15.407(a)(5) and (a)(3)(ii): indoor access points at 6 GHz and 5850-5895 MHz."""
    assert judged("US", 6, 37, 160, outdoors=False).allowed
    assert not judged("US", 6, 37, 160, outdoors=True).allowed
    assert judged("US", 5, 173, 20, outdoors=False).allowed
    assert not judged("US", 5, 173, 20, outdoors=True).allowed
    assert "joins a network" in judged("HN", 6, 1, 20, outdoors=False).reasons[0]
    assert "joins a network" in judged("CU", 5, 36, 20, outdoors=False).reasons[0]


def test_six_ghz_outdoors_takes_another_class() -> None:
    """Standard power in 5925-6425 and 6525-6875 only, whole channels (15.407(a)(4))."""
    assert judged("US", 6, 37, 160, outdoors=True, power_class="standard").allowed
    assert judged("US", 6, 129, 160, outdoors=True, power_class="standard").allowed
    assert not judged("US", 6, 97, 160, outdoors=True, power_class="standard").allowed
    assert not judged("US", 6, 97, 20, outdoors=True, power_class="standard").allowed
    assert not judged("US", 6, 185, 20, outdoors=True, power_class="standard").allowed
    assert judged("US", 6, 97, 20, outdoors=True, power_class="standard").reasons == (
        "channel 97 at 20 MHz does not lie whole inside a span open to the standard class in US",
    )
    assert judged("US", 6, 97, 20, outdoors=False).allowed
    assert not judged("US", 6, 37, 20, outdoors=True, power_class="very-low").allowed
    assert judged("DE", 6, 37, 20, outdoors=True, power_class="very-low").allowed
    assert not judged("DE", 6, 37, 20, outdoors=True, power_class="low-indoor").allowed
    assert not judged("DE", 6, 37, 20, outdoors=True, power_class="standard").allowed
    assert not judged("DE", 6, 97, 20, outdoors=False, power_class="very-low").allowed
    assert "very-low" in judged("GB", 6, 37, 20, outdoors=True).reasons[0]


@given(
    st.sampled_from(sorted(countries())),
    st.sampled_from([c for b, ws in CENTRES.items() for w in ws for c in all_channels(b, w)]),
)
def test_outdoors_is_never_freer_than_indoors(code: str, channel: object) -> None:
    law = countries()[code]
    inside, outside = (permission(law, channel, outdoors=o) for o in (False, True))  # type: ignore[arg-type]
    assert inside.allowed or not outside.allowed
    assert outside.allowed == (inside.allowed and not inside.indoor_only)

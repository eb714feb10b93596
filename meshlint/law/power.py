"""How strongly an access point may radiate on a channel.

The regulatory database gives one figure per span, and often not the access point's: in the US it is
the client's, in CEPT's radar bands the one without transmit power control, at 6 GHz the client's at
20 MHz (the format has no power density). Judging by it alone calls lawful radios unlawful. Where an
access point's figure was found it stands here with its source and replaces the table's; everywhere
else the table's holds, and the regime says so.

Nothing here is legal advice.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.classes import (
    CEPT_CODES,
    DEMANDS,
    FCC_CODES,
    AccessPointClass,
    PowerClass,
    class_at,
)
from meshlint.law.regulatory import permission, rules_by_piece
from meshlint.law.sources import Citation
from meshlint.physics.channels import SIX_GHZ, Span, overlap_mhz

if TYPE_CHECKING:
    from meshlint.law.regulatory import Country, Rule
    from meshlint.physics.channels import Channel

_TABLE = Citation("wireless regulatory database (Linux)", "the country's rule", "seen")

# A table figure is taken for the published one within this much: the database rounds milliwatts
# down to hundredths of a dB (500 mW is 26.98) and some countries state whole dBm.
_SAME_DB = 0.05


class PowerLimit(Struct, frozen=True):
    """The highest lawful power of an access point on a channel.

    `eirp_dbm`: mean radiated power. `conducted_dbm`: what may leave the radio whatever its antenna,
    None where the regime limits radiated power alone. `power_control_eirp_dbm`: the limit that
    declared transmit power control would give, None where it makes no difference or is declared.
    `regime`: FCC, ETSI, a country's code, or `table`.
    """

    eirp_dbm: float
    conducted_dbm: float | None
    power_control_eirp_dbm: float | None
    regime: str
    sources: tuple[Citation, ...]
    notes: tuple[str, ...]


class _Published(Struct, frozen=True):
    """An access point's limit in a span, with, without and with unstated power control.

    It replaces the table's figure only where that is about `table_dbm`, since a country that
    states another figure has a rule of its own; None replaces any.
    """

    regime: str
    codes: frozenset[str]
    span: Span
    with_control_dbm: float
    unstated_dbm: float
    without_control_dbm: float
    conducted_dbm: float | None
    table_dbm: float | None
    source: Citation
    note: str = ""
    outdoor_note: str = ""


def _fcc(
    span: Span, eirp: float, conducted: float, source: Citation, outdoor_note: str = ""
) -> _Published:
    return _Published(
        "FCC", FCC_CODES, span, eirp, eirp, eirp, conducted, None, source, "", outdoor_note
    )


def _controlled(
    regime: str, span: Span, eirp: float, without: float, source: Citation
) -> _Published:
    """Return a limit whose table figure is the one without power control."""
    codes = CEPT_CODES if regime == "ETSI" else frozenset({regime})
    return _Published(regime, codes, span, eirp, without, without, None, without, source)


_ECC = "ECC/DEC/(04)08"
_ETSI_24 = Citation("ERC/REC 70-03 annex 3; EN 300 328 V2.2.2", "4.3.2.2", "second-hand")
_AU_SOURCE = Citation("F2025L01047", "Table 8, items 3, 7 and 9 to 13", "seen")
_BR = frozenset({"BR"})
_BR_LOW = Citation("Anatel Act 14448 of 2017", "articles 10.3.2 and 10.5", "second-hand")
_BR_TPC = Citation("Anatel Act 14448 of 2017", "articles 11.1 and 11.5.1", "second-hand")
_FCC_RADAR_NOTE = (
    "from 27 dBm of radiated power on it takes transmit power control (47 CFR 15.407(h)(1), from "
    "memory)"
)

# FCC: conducted limits for antennas up to 6 dBi, 1 dB less per dB of gain above, so that radiated
# power stays at conducted + 6 dB. In the radar bands the lesser of 24 dBm and 11 dBm + 10 log B is
# 24 dBm from a 20 MHz wide emission on. Point-to-point rules (more gain) are left out.
_PUBLISHED: tuple[_Published, ...] = (
    _fcc(Span(2400, 2483.5), 36, 30, Citation("47 CFR 15.247", "(b)(3), (b)(4)", "seen")),
    _fcc(
        Span(5150, 5250), 36, 30, Citation("47 CFR 15.407", "(a)(1)(i), (ii)", "seen"),
        "outdoors at most 21 dBm above 30 degrees of elevation (47 CFR 15.407(a)(1)(i))",
    ),
    *(
        _Published(
            "FCC", FCC_CODES, span, 30, 30, 27, 24, None,
            Citation("47 CFR 15.407", "(a)(2)", "seen"), _FCC_RADAR_NOTE,
        )
        for span in (Span(5250, 5350), Span(5470, 5725))
    ),
    _fcc(Span(5725, 5850), 36, 30, Citation("47 CFR 15.407", "(a)(3)(i)", "seen")),
    _controlled("ETSI", Span(2400, 2483.5), 20, 20, _ETSI_24),
    _controlled("ETSI", Span(5150, 5250), 23, 23, Citation(_ECC, "decides 2", "seen")),
    _controlled("ETSI", Span(5250, 5350), 23, 20, Citation(_ECC, "decides 2, 4", "seen")),
    _controlled("ETSI", Span(5470, 5725), 30, 27, Citation(_ECC, "decides 3, 4", "seen")),
    _controlled("AU", Span(5250, 5350), 23, 20, _AU_SOURCE),
    _controlled("AU", Span(5470, 5600), 30, 27, _AU_SOURCE),
    _controlled("AU", Span(5650, 5725), 30, 27, _AU_SOURCE),
    _Published("BR", _BR, Span(2400, 2483.5), 36, 36, 36, 30, 30, _BR_LOW),
    _Published("BR", _BR, Span(5725, 5850), 36, 36, 36, 30, 30, _BR_LOW),
    _controlled("BR", Span(5150, 5350), 30, 27, _BR_TPC),
    _controlled("BR", Span(5470, 5725), 30, 27, _BR_TPC),
)  # fmt: skip

# Radios that are registered with the regulator for use outdoors. The radiated power of 1 W is for
# access points and repeaters; of how it falls with elevation nothing was read.
_REGISTERED: tuple[_Published, ...] = (
    _Published(
        "JP", frozenset({"JP"}), Span(5150, 5250), 30, 30, 30, None, None,
        Citation("MIC, 5.2 GHz high-power data communication systems, 2018", "", "second-hand"),
        outdoor_note="radiated upwards it is less; see what the station is registered for",
    ),
)  # fmt: skip


@cache
def power_limit(
    law: Country,
    channel: Channel,
    outdoors: bool | None,  # noqa: FBT001
    power_class: PowerClass | None = None,
    power_control: bool | None = None,  # noqa: FBT001
    registered: bool | None = None,  # noqa: FBT001
) -> PowerLimit | None:
    """Return the access point's limit on a channel, None where none may start a network there.

    A channel that reaches across spans takes the lowest limit of them. Unstated power control is
    taken as the published figure of each regime reads: CEPT grants its higher figures to equipment
    with power control, so unstated is none; the FCC limits first and asks for control above 27 dBm,
    so unstated keeps the limit and adds a note. An unstated class is judged as `low-indoor`. A
    radio that stands outdoors and is `registered` with the regulator has the limit of such radios,
    where there is one.
    """
    if permission(law, channel, outdoors=False).max_eirp_dbm is None:
        return None
    known = class_at(law.code, power_class or "low-indoor", channel)
    if known is None and power_class is not None:
        known = class_at(law.code, "low-indoor", channel)
    parts = [_class_part(known, channel, power_class)] if known else []
    if known is None or channel.band != SIX_GHZ:
        # Piece by piece by the very rules that permit it, so that power and flags are of one rule
        # where two overlap.
        parts += [
            part
            for span, rules in rules_by_piece(law, channel)
            for rule in rules
            if "no-initiate" not in rule.flags
            for part in _rule_parts(law.code, rule, span, registered=outdoors and registered)
        ]
    return _lowest(parts, power_control=power_control, outdoors=outdoors) if parts else None


def excess_db(limit: PowerLimit, conducted_dbm: float, gain_dbi: float) -> float:
    """Return by how many dB a radio exceeds a limit; negative is what it could still add.

    `conducted_dbm` is the total over all chains, `gain_dbi` the antenna's. The larger of the
    excesses in radiated and, where it is limited, in conducted power.
    """
    radiated = conducted_dbm + gain_dbi - limit.eirp_dbm
    if limit.conducted_dbm is None:
        return radiated
    return max(radiated, conducted_dbm - limit.conducted_dbm)


def _class_part(known: AccessPointClass, channel: Channel, stated: PowerClass | None) -> _Published:
    """Return the limit of a class of access point over the channel's width."""
    eirp = known.eirp_dbm(channel.width_mhz)
    if stated == known.name:
        why = ""
    elif stated is None:
        why = "; no class is stated, judged as low-indoor"
    else:
        why = f"; nothing is on record about the {stated} class, judged as low-indoor"
    note = f"the {known.name} class demands: {DEMANDS[known.name]}{why}"
    span = channel.span
    return _Published(
        known.regime, known.codes, span, eirp, eirp, eirp, None, None, known.source, note
    )


def _rule_parts(
    code: str, rule: Rule, piece: Span, *, registered: bool | None
) -> tuple[_Published, ...]:
    """Return the published limits that replace a rule's figure on a piece, or that figure."""
    shared = Span(max(rule.low_mhz, piece.low_mhz), min(rule.high_mhz, piece.high_mhz))
    found = tuple(
        row
        for row in (*(_REGISTERED if registered else ()), *_PUBLISHED)
        if code in row.codes
        and overlap_mhz(row.span, shared) > 0
        and (row.table_dbm is None or abs(row.table_dbm - rule.max_eirp_dbm) <= _SAME_DB)
    )
    if found:
        return found
    figure = round(rule.max_eirp_dbm, 1)
    codes = frozenset({code})
    return (_Published("table", codes, shared, figure, figure, figure, None, None, _TABLE),)


def _lowest(
    parts: list[_Published], *, power_control: bool | None, outdoors: bool | None
) -> PowerLimit:
    def as_declared(part: _Published) -> float:
        if power_control is None:
            return part.unstated_dbm
        return part.with_control_dbm if power_control else part.without_control_dbm

    lowest = min(parts, key=as_declared)
    eirp = float(as_declared(lowest))
    controlled = float(min(part.with_control_dbm for part in parts))
    conducted = [float(part.conducted_dbm) for part in parts if part.conducted_dbm is not None]
    notes = [part.note for part in parts if part.note]
    if outdoors is not False:
        notes += [part.outdoor_note for part in parts if part.outdoor_note]
    return PowerLimit(
        eirp_dbm=eirp,
        conducted_dbm=min(conducted, default=None),
        power_control_eirp_dbm=controlled if controlled > eirp and not power_control else None,
        regime=lowest.regime,
        sources=tuple(dict.fromkeys(part.source for part in parts)),
        notes=tuple(dict.fromkeys(notes)),
    )

"""Access-point classes: what each may do, where, and what it demands.

The regulatory database knows one figure per span. At 6 GHz, and at 5850-5895 MHz in the US, the law
instead has classes of access point, each with its own span, power, density and place. This is the
table of those classes, for the regimes whose figures were found.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias

from msgspec import Struct

from meshlint.law.sources import Citation
from meshlint.physics.channels import Span, overlap_mhz

if TYPE_CHECKING:
    from meshlint.physics.channels import SpanLike

PowerClass: TypeAlias = Literal["low-indoor", "standard", "very-low"]

# Where 47 CFR part 15 is the law: the states and the territories of the US.
FCC_CODES = frozenset({"US", "AS", "GU", "MP", "PR", "VI"})

# The 46 administrations of CEPT, from memory (https://www.cept.org, members).
CEPT_CODES = frozenset(
    {
        "AD", "AL", "AT", "AZ", "BA", "BE", "BG", "CH", "CY", "CZ", "DE", "DK",
        "EE", "ES", "FI", "FR", "GB", "GE", "GR", "HR", "HU", "IE", "IS", "IT",
        "LI", "LT", "LU", "LV", "MC", "MD", "ME", "MK", "MT", "NL", "NO", "PL",
        "PT", "RO", "RS", "SE", "SI", "SK", "SM", "TR", "UA", "VA",
    }
)  # fmt: skip

# What a unit of a class must be; the words go after the class's name.
DEMANDS: dict[PowerClass, str] = {
    "low-indoor": (
        "indoors, integrated antenna, mains or wired power and no battery, no weatherproof housing"
    ),
    "standard": (
        "an automated frequency coordination service knows its position and grants channel and "
        "power before it transmits"
    ),
    "very-low": "very low power, meant for portable equipment",
}


class AccessPointClass(Struct, frozen=True):
    """One class of access point in one regime.

    Radiated power is at most `cap_dbm` and `density_dbm_per_mhz` over the channel's width. At 6 GHz
    a channel must lie whole inside one of `spans`. `place` says where a fixed installation may
    stand.
    """

    regime: str
    codes: frozenset[str]
    name: PowerClass
    spans: tuple[Span, ...]
    cap_dbm: float
    density_dbm_per_mhz: float | None
    place: Literal["indoors", "anywhere"]
    source: Citation

    @property
    def outdoors(self) -> bool:
        """Whether a fixed installation outdoors is allowed."""
        return self.place == "anywhere"

    def eirp_dbm(self, width_mhz: float) -> float:
        """Return the highest radiated power in dBm of a channel of this width."""
        if self.density_dbm_per_mhz is None:
            return self.cap_dbm
        return min(self.cap_dbm, self.density_dbm_per_mhz + 10 * math.log10(width_mhz))

    def holds(self, where: SpanLike) -> bool:
        """Say whether a span lies whole inside one span of the class."""
        return any(s.low_mhz <= where.low_mhz and where.high_mhz <= s.high_mhz for s in self.spans)

    def touches(self, where: SpanLike) -> bool:
        """Say whether a span reaches into the class at all."""
        return any(overlap_mhz(where, s) > 0 for s in self.spans)


SIX_GHZ_SPAN = Span(5925, 7125)
_FCC_6 = (SIX_GHZ_SPAN,)
# Very low power began in these two and has since been opened in 6425-6525 and 6875-7125 MHz as well
# (from memory, no document at hand). Kept to what was read: the class is for portable equipment, so
# a fixed unit gains nothing by the rest.
_FCC_5_AND_7 = (Span(5925, 6425), Span(6525, 6875))
_CEPT_6 = (Span(5945, 6425),)
_LOWER_6 = (Span(5925, 6425),)
_ECC_20_01 = "ECC/DEC/(20)01 as amended 8 November 2024; (EU) 2021/1067"
_AU_6 = Citation("F2025L01047", "Table 8, items for 5925-6585 MHz", "seen")
_IN_6 = Citation("G.S.R. 47(E), 20 January 2026", "", "second-hand")
_JP_6 = Citation("MIC ordinance 59 of 2 September 2022", "", "second-hand")

CLASSES: tuple[AccessPointClass, ...] = (
    AccessPointClass(
        "FCC", FCC_CODES, "low-indoor", (Span(5850, 5895),), 36.0, 20.0, "indoors",
        Citation("47 CFR 15.407; 86 FR 23281", "(a)(3)(ii)", "seen"),
    ),
    AccessPointClass(
        "FCC", FCC_CODES, "low-indoor", _FCC_6, 30.0, 5.0, "indoors",
        Citation("47 CFR 15.407", "(a)(5)", "seen"),
    ),
    AccessPointClass(
        "FCC", FCC_CODES, "standard", _FCC_5_AND_7, 36.0, 23.0, "anywhere",
        Citation("47 CFR 15.407", "(a)(4)", "second-hand"),
    ),
    AccessPointClass(
        "FCC", FCC_CODES, "very-low", _FCC_5_AND_7, 14.0, -5.0, "indoors",
        Citation("FCC 23-86; 89 FR 874", "", "second-hand"),
    ),
    AccessPointClass(
        "CA", frozenset({"CA"}), "low-indoor", _FCC_6, 30.0, 5.0, "indoors",
        Citation("ISED RSS-248", "low-power indoor access points", "memory"),
    ),
    AccessPointClass(
        "BR", frozenset({"BR"}), "low-indoor", _FCC_6, 30.0, 5.0, "indoors",
        Citation("Anatel Act 14448 of 2017 as amended", "article 11", "memory"),
    ),
    AccessPointClass(
        "ETSI", CEPT_CODES - {"GB"}, "low-indoor", _CEPT_6, 23.0, 10.0, "indoors",
        Citation(_ECC_20_01, "annex, low-power indoor", "seen"),
    ),
    AccessPointClass(
        "ETSI", CEPT_CODES - {"GB"}, "very-low", _CEPT_6, 14.0, None, "anywhere",
        Citation(_ECC_20_01, "annex, very low power", "seen"),
    ),
    AccessPointClass(
        "GB", frozenset({"GB"}), "low-indoor", _LOWER_6, 24.0, None, "indoors",
        Citation("UK Interface Requirement 2030", "5925-6425 MHz, 250 mW indoors", "memory"),
    ),
    AccessPointClass(
        "GB", frozenset({"GB"}), "very-low", _LOWER_6, 14.0, None, "anywhere",
        Citation("UK Interface Requirement 2030", "5925-6425 MHz, 25 mW indoors and out", "memory"),
    ),
    AccessPointClass(
        "AU", frozenset({"AU"}), "low-indoor", (Span(5925, 6585),), 24.0, None, "indoors", _AU_6
    ),
    AccessPointClass(
        "AU", frozenset({"AU"}), "very-low", (Span(5925, 6585),), 14.0, None, "anywhere", _AU_6
    ),
    AccessPointClass("JP", frozenset({"JP"}), "low-indoor", _LOWER_6, 23.0, None, "indoors", _JP_6),
    AccessPointClass("JP", frozenset({"JP"}), "very-low", _LOWER_6, 14.0, None, "anywhere", _JP_6),
    AccessPointClass(
        "IN", frozenset({"IN"}), "low-indoor", _LOWER_6, 30.0, 11.0, "indoors", _IN_6
    ),
    AccessPointClass(
        "IN", frozenset({"IN"}), "very-low", _LOWER_6, 14.0, 1.0, "anywhere", _IN_6
    ),
)  # fmt: skip


# Where what was read sets out all classes of 6 GHz access point that there are, so that one that it
# does not name is not lawful. Elsewhere a class that is not in the table above may yet exist: only
# the indoor one was found (CA, BR), or what was found was not read (GB), or nothing was.
_ALL_CLASSES_READ = FCC_CODES | (CEPT_CODES - {"GB"}) | {"AU", "JP", "IN"}


def off_record(code: str, name: PowerClass | None) -> str:
    """Say what is not on record about a class of 6 GHz access point outdoors, nothing if enough is.

    An unstated class is judged as `low-indoor` where a class that may stand outdoors is on record,
    and cannot be judged where none is.
    """
    if code in _ALL_CLASSES_READ or name == "low-indoor":
        return ""
    if name is not None:
        found = any(known.name == name and code in known.codes for known in CLASSES)
        return "" if found else f"nothing is on record about the {name} class at 6 GHz in {code}"
    outdoors = any(
        code in known.codes and known.outdoors and known.touches(SIX_GHZ_SPAN) for known in CLASSES
    )
    return "" if outdoors else f"nothing is on record about units outdoors at 6 GHz in {code}"


def class_at(code: str, name: PowerClass, where: SpanLike) -> AccessPointClass | None:
    """Return a country's class of this name that reaches into a span, None where none is known."""
    for known in CLASSES:
        if known.name == name and code in known.codes and known.touches(where):
            return known
    return None

"""Usual ranges of what an installer seldom knows: low, usual and high, each with its source.

About one site in ten lies below low and one in ten above high. No document fixes these numbers;
the sources are what each range was set between. `better` names the end of the range that serves
the site better, so that "all weak" and "all strong" mean one thing for a gain and for a wall.
Where no document was to be had, the range says "common practice".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.site.problem import Place

Value = float | int | str


class UsualRange(Struct, frozen=True):
    """What a missing input usually is: three values, the better end, and what they rest on.

    `key` is the input's kind as reports name it. `band` and `place` narrow where the range holds;
    `place` is where the unit stands, or what a device is used for. `capped` says that the law of
    the country bounds the value together with the antenna's gain.
    """

    key: str
    words: str
    low: Value
    usual: Value
    high: Value
    unit: str
    source: str
    band: float | None = None
    place: str = ""
    better: Literal["low", "high"] = "high"
    capped: bool = False

    @property
    def span(self) -> str:
        """Return the range in words: `14 to 23 dBm`."""
        if self.low == self.high:
            return f"{self.low} {self.unit}".strip()
        return f"{self.low} to {self.high} {self.unit}".strip()


_POWER = "units.*.radios.*.power_dbm"
GAIN = "units.*.radios.*.antenna_gain_dbi"
_STREAMS = "units.*.radios.*.streams"
_GENERATION = "units.*.radios.*.generation"
_BASIC = "units.*.radios.*.lowest_basic_mbps"
_WIDTH = "units.*.radios.*.width_mhz"
_CLIENT_POWER = "clients.*.transmit_dbm"
_CLIENT_STREAMS = "clients.*.streams"
_CLIENT_GENERATION = "clients.*.generation"
HEIGHT = "units.*.at.height_m"

_POWERS = (
    "between 20 dBm of IEEE 802.11-14/0980 (from memory) and 18 dBm of 3GPP TR 36.889 A.1.1 "
    "(second-hand); common practice"
)
_GAINS = "between 0 dBi of IEEE 802.11-14/0980 and 5 dBi of 3GPP TR 36.889 A.1.1 (second-hand)"
_CLIENT_POWERS = (
    "between 15 dBm of IEEE 802.11-14/0980 and 18 dBm of 3GPP TR 36.889 A.1.1 (second-hand)"
)
_PRACTICE = "common practice"


def _power(band: float, place: str, low: int, usual: int, high: int) -> UsualRange:
    words = "the radio's power, over all chains"
    return UsualRange(_POWER, words, low, usual, high, "dBm", _POWERS, band, place, capped=True)


def _gain(band: float, place: str, low: int, usual: int, high: int) -> UsualRange:
    return UsualRange(
        GAIN, "the antenna's gain", low, usual, high, "dBi", _GAINS, band, place, capped=True
    )


def _amendments(key: str, band: float | None, low: str, usual: str, high: str) -> UsualRange:
    words = "the amendment of IEEE 802.11 that it speaks"
    return UsualRange(key, words, low, usual, high, "", _PRACTICE, band)


RANGES: tuple[UsualRange, ...] = (
    _power(2.4, "indoors", 11, 17, 20),
    _power(5.0, "indoors", 14, 18, 23),
    _power(6.0, "indoors", 14, 18, 20),
    _power(2.4, "outdoors", 14, 18, 23),
    _power(5.0, "outdoors", 17, 23, 27),
    _power(6.0, "outdoors", 14, 18, 23),
    _gain(2.4, "indoors", 2, 3, 5),
    _gain(5.0, "indoors", 2, 4, 6),
    _gain(6.0, "indoors", 2, 5, 6),
    _gain(2.4, "outdoors", 4, 6, 9),
    _gain(5.0, "outdoors", 4, 6, 13),
    _gain(6.0, "outdoors", 4, 6, 13),
    UsualRange(
        _STREAMS,
        "its spatial streams",
        2,
        2,
        4,
        "",
        "antennas of IEEE 802.11-14/0980 (from memory); common practice",
    ),
    _amendments(_GENERATION, 2.4, "802.11n", "802.11ax", "802.11ax"),
    _amendments(_GENERATION, 5.0, "802.11ac", "802.11ax", "802.11ax"),
    _amendments(_GENERATION, 6.0, "802.11ax", "802.11ax", "802.11be"),
    UsualRange(_BASIC, "its lowest basic rate", 1, 1, 6, "Mb/s", _PRACTICE, 2.4),
    UsualRange(_BASIC, "its lowest basic rate", 6, 6, 12, "Mb/s", _PRACTICE, 5.0),
    UsualRange(_BASIC, "its lowest basic rate", 6, 6, 12, "Mb/s", _PRACTICE, 6.0),
    UsualRange(_WIDTH, "its channel width", 20, 20, 40, "MHz", _PRACTICE, 2.4),
    UsualRange(_WIDTH, "its channel width", 40, 80, 80, "MHz", _PRACTICE, 5.0),
    UsualRange(_WIDTH, "its channel width", 80, 160, 160, "MHz", _PRACTICE, 6.0),
    UsualRange(_CLIENT_POWER, "the power of its devices", 10, 14, 18, "dBm", _CLIENT_POWERS, 2.4),
    UsualRange(_CLIENT_POWER, "the power of its devices", 8, 14, 18, "dBm", _CLIENT_POWERS, 5.0),
    UsualRange(_CLIENT_POWER, "the power of its devices", 5, 11, 15, "dBm", _CLIENT_POWERS, 6.0),
    UsualRange(_CLIENT_POWER, "the power of its devices", 8, 14, 18, "dBm", _CLIENT_POWERS),
    UsualRange(_CLIENT_STREAMS, "their spatial streams", 1, 1, 1, "", _PRACTICE, place="small"),
    UsualRange(
        _CLIENT_STREAMS,
        "their spatial streams",
        1,
        2,
        2,
        "",
        "at most 2 antennas in IEEE 802.11-14/0980 (from memory); common practice",
    ),
    _amendments(_CLIENT_GENERATION, 2.4, "802.11n", "802.11ax", "802.11ax"),
    _amendments(_CLIENT_GENERATION, 5.0, "802.11ac", "802.11ax", "802.11ax"),
    _amendments(_CLIENT_GENERATION, 6.0, "802.11ax", "802.11ax", "802.11be"),
    # Devices that name no band; at 2.4 GHz they fall back to what that band has.
    _amendments(_CLIENT_GENERATION, None, "802.11ac", "802.11ax", "802.11ax"),
    UsualRange(
        HEIGHT,
        "how high it hangs",
        1.0,
        2.2,
        3.0,
        "m",
        "1.5 m to a ceiling of 3 m in IEEE 802.11-14/0980 (from memory); common practice",
        place="indoors",
    ),
    UsualRange(
        HEIGHT,
        "how high it hangs",
        2.5,
        4.0,
        10.0,
        "m",
        "6 m and 10 m in 3GPP TR 36.889 A.1 (second-hand); common practice",
        place="outdoors",
    ),
)
"""Every range, the first that fits a place and band being the one that counts."""


THICKNESS_MM: dict[str, tuple[float, float, float]] = {
    "brick": (92, 102.5, 215),
    "concrete": (100, 180, 300),
    "plasterboard": (25, 25, 30),
    "wood": (35, 40, 54),
    "glass": (3, 4, 8),
    "plywood": (12, 18, 22),
    "chipboard": (18, 22, 25),
}
"""Thickness of a wall of a material: thin, usual, thick. Boards count both sides of a stud wall.

Common practice; EN 771-1 and ASTM C216 sizes for brick (second-hand), EN 1992 for concrete and EN
1279 for glass (from memory). Materials that have no usual thickness are left out.
"""

SLAB_MM: dict[str, tuple[float, float, float]] = {
    "concrete": (125, 200, 300),
    "wood": (18, 22, 40),
    "chipboard": (18, 22, 35),
    "plywood": (18, 22, 35),
}
"""The same for floors; EN 1992 and EN 1995 (from memory)."""


_BELOW_FULL_DB: dict[str, tuple[float, float]] = {
    "high": (0, 0),
    "medium": (6, 3),
    "low": (12, 6),
}
"""How far below full power a word for power lies, at most and at least: medium is a half to a
quarter of it, low a quarter to a sixteenth (common practice)."""


def of_power_word(usual: UsualRange, word: str | None, most_dbm: float | None = None) -> UsualRange:
    """Return the range of a radio's power in dBm where it is said in a word; `auto` says nothing.

    Full power is what the radio can send, `most_dbm`, or else from usual to high.
    """
    if word not in _BELOW_FULL_DB:
        return usual
    least_db, most_db = _BELOW_FULL_DB[word]
    start, end = (usual.usual, usual.high) if most_dbm is None else (most_dbm, most_dbm)
    low, high = round(float(start) - least_db, 1), round(float(end) - most_db, 1)
    return replace(
        usual,
        words=f"{usual.words}, where it is {word}",
        low=_whole(low),
        usual=_whole((low + high) / 2),
        high=_whole(high),
        source=f"{usual.source}; what {word} means is common practice",
    )


def _whole(value: float) -> float | int:
    return int(value) if value.is_integer() else value


KINDS = tuple(dict.fromkeys(found.key for found in RANGES))
"""The kinds of input that have a range, as reports name them."""


def ranges_under(own: Iterable[tuple[Mapping[str, Any], Place]]) -> tuple[UsualRange, ...]:
    """Return the ranges that hold under a policy: its own, before all others."""
    return (*(_own(raw, place) for raw, place in own), *RANGES)


def _own(raw: Mapping[str, Any], place: Place) -> UsualRange:
    key, band, where = raw["input"], raw.get("band"), raw.get("place", "")
    shipped = range_of(RANGES, key, band, where) or next(r for r in RANGES if r.key == key)
    because = raw.get("because") or f"the policy, {place}"
    return replace(
        shipped, low=raw["low"], usual=raw["usual"], high=raw["high"], source=because,
        band=band, place=where,
    )  # fmt: skip


def range_of(
    ranges: tuple[UsualRange, ...], key: str, band: float | None, place: str
) -> UsualRange | None:
    """Return the first range for an input of a kind, on a band, at a place; `None` without one."""
    return next(
        (
            found
            for found in ranges
            if found.key == key
            and (found.band is None or found.band == band)
            and (not found.place or found.place == place)
        ),
        None,
    )

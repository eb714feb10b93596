"""What a unit is like, in the words of its box: bands, amendment, streams and ports.

There is no list of products and no preset behind a word: each says what it says, of every radio.
"""

from __future__ import annotations

import re
from typing import Any, Final

from msgspec import Struct

from meshlint.site.quoting import quoted, repeatable
from meshlint.site.trade_words import AMENDMENTS

Raw = dict[str, Any]

KNOWN: Final = (
    "two bands (2.4 and 5 GHz), three bands (these and 6 GHz), 5 GHz, 2.4 + 5 + 5 GHz; 802.11n, "
    "802.11ac, 802.11ax, 802.11be, or generation 4, 5, 6, 6E, 7; 2 streams; 2 ports, 2 ports of "
    "1000 Mb/s; with commas between them"
)
"""Every kind of word, as a message names them."""

_COUNTS: Final = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8}
_BANDS_GHZ: Final = {"2.4": 2.4, "5": 5, "6": 6}
_OF_COUNT: Final = {2: (2.4, 5), 3: (2.4, 5, 6)}
_NAMES: Final = {2.4: ("low", "low 2"), 5: ("mid", "mid 2"), 6: ("high", "high 2")}
_MOST_OF_A_BAND = 2
_MOST_STREAMS = 16
_WITHOUT_6_GHZ: Final = (4, 5, 6, "802.11n", "802.11ac")
"""6 as the trade uses it: units with 6 GHz bear 6E."""

_NUMBER = rf"(?P<count>\d{{1,2}}|{'|'.join(_COUNTS)})"
_PARTS: Final = {
    "bands": rf"{_NUMBER} bands?",
    "frequencies": r"(?:[\d. +/&]|and)+ghz",
    "generation": r"(?:802\.)?11 ?(?P<letters>n|ac|ax|be)|(?:generation )?(?P<number>[4567]|6e)",
    "streams": rf"{_NUMBER} (?:spatial )?streams?|(?P<chains>\d)x(?P=chains)",
    "ports": rf"{_NUMBER} ports?(?: (?:of|at) (?P<rate>\d{{1,5}}(?:\.\d)?) ?(?P<unit>mb/s|gb/s))?",
}


class LikeError(Exception):
    """Words that say nothing of a unit that is known; `unsaid` repeats none of them."""

    def __init__(self, said: str, unsaid: str | None = None) -> None:
        super().__init__(said)
        self.said = said
        self.unsaid = said if unsaid is None else unsaid


class Like(Struct, frozen=True):
    """What the words say; what they leave out is empty or `None`."""

    bands_ghz: tuple[float, ...] = ()
    amendment: str | None = None
    streams: int | None = None
    ports: tuple[Raw, ...] = ()

    def radios(self, stated: Raw) -> Raw:
        """Return a unit's radios with what the words say wherever the file says nothing.

        Raises `LikeError` where the two cannot be brought together.
        """
        found: Raw = {name: {"band": band} for name, band in self.named().items()}
        strange = [name for name in stated if found and name not in found]
        if strange:
            names = ", ".join(found)
            raise LikeError(f"the radios of these words are {names}; call a radio by one of them")
        if not found and not stated:
            raise LikeError(f"say which bands it has; known are {KNOWN}")
        for name, own in stated.items():
            found[name] = {**found.get(name, {}), **own}
        return {name: {**self._able(radio.get("band")), **radio} for name, radio in found.items()}

    def named(self) -> dict[str, float]:
        """Return the band of each radio in GHz, by the radio's name."""
        return {
            _NAMES[band][self.bands_ghz[:at].count(band)]: band
            for at, band in enumerate(self.bands_ghz)
        }

    def _able(self, band: float | None) -> Raw:
        able: Raw = {}
        if self.amendment is not None:
            # 802.11ac is for bands below 6 GHz without 2.4 GHz (clause 21); its units speak
            # 802.11n there.
            older = self.amendment == "802.11ac" and band == 2.4  # noqa: PLR2004 - GHz
            able["generation"] = "802.11n" if older else self.amendment
        if self.streams is not None:
            able["streams"] = self.streams
        return able


def likened(unit: Raw) -> Raw:
    """Return a unit's entry with what it is like as its radios and ports; raise `LikeError`."""
    if "model" in unit:
        raise LikeError("like stands instead of a model; keep one of the two")
    said = like(unit["like"])
    found = {key: value for key, value in unit.items() if key != "like"}
    found["radios"] = said.radios(unit.get("radios", {}))
    if said.ports:
        found.setdefault("ports", list(said.ports))
    return found


def like(words: str) -> Like:
    """Return what the words of a unit say; raise `LikeError` for one that is not known."""
    found: Raw = {}
    for word in words.lower().split(","):
        kind, said = _said(" ".join(word.split()))
        if kind in found:
            raise LikeError(f"this says the {kind} twice; keep one")
        found[kind] = said
    number, bands = found.get("generation"), found.get("bands", ())
    amendment = AMENDMENTS.get(number, number)
    if 6 in bands and number in _WITHOUT_6_GHZ:  # noqa: PLR2004 - GHz
        what = number if number == amendment else f"generation {number}"
        raise LikeError(f"{what} has no 6 GHz; for two radios at 5 GHz write 2.4 + 5 + 5 GHz")
    return Like(bands, amendment, found.get("streams"), found.get("ports", ()))


def _said(part: str) -> tuple[str, Any]:
    for kind, form in _PARTS.items():
        match = re.fullmatch(form, part)
        if match is None:
            continue
        groups = match.groupdict()
        counted = groups.get("count")
        count = int(_COUNTS.get(counted, counted)) if counted else 0
        if kind == "bands":
            if count not in _OF_COUNT:
                raise LikeError("say which band, such as 5 GHz; two bands are 2.4 and 5 GHz")
            return "bands", _OF_COUNT[count]
        if kind == "frequencies":
            return "bands", _frequencies(part)
        if kind == "generation":
            letters, number = groups["letters"], groups["number"]
            return kind, f"802.11{letters}" if letters else {"6e": "6E"}.get(number) or int(number)
        if kind == "streams":
            streams = count or int(groups["chains"] or 0)
            if not 1 <= streams <= _MOST_STREAMS:
                raise LikeError(f"a radio has from 1 to {_MOST_STREAMS} streams")
            return kind, streams
        rate = {}
        if groups["rate"]:
            rate["rate_mbps"] = float(groups["rate"]) * (1000 if groups["unit"] == "gb/s" else 1)
        return kind, ({"count": count, **rate},)
    raise _unknown(part)


def _frequencies(part: str) -> tuple[float, ...]:
    said = re.split(r"[ +/&,]+|and", part.removesuffix("ghz"))
    bands = tuple(sorted(_BANDS_GHZ.get(word, 0) for word in said if word))
    if 0 in bands or any(bands.count(band) > _MOST_OF_A_BAND for band in bands):
        raise _unknown(part)
    return bands


def _unknown(part: str) -> LikeError:
    said, unsaid = (
        f"{quoted(part, repeat=again, otherwise='a word')} is not known here; known are {KNOWN}"
        for again in (repeatable(part), False)
    )
    return LikeError(said, unsaid)

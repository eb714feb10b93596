"""Answers in the trade's words to what they say; what is not understood says how to write it."""

from __future__ import annotations

import re
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

from meshlint.law.codes import known_country_code, meant_country_code
from meshlint.physics.channels import tuned
from meshlint.site.limits import LIMITS
from meshlint.site.trade_words import CONSTRUCTIONS
from meshlint.starter.answers import (
    Group,
    Heard,
    Kind,
    Line,
    Rooms,
    Storeys,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meshlint.starter.answers import Ground

MOST_UNITS: Final = 50
MOST_ROOMS: Final = LIMITS.areas
_HIGHEST_RISE_M: Final = 100
_WEAKEST_DBM: Final = -130
_MOST_STOREYS: Final = 20
_M_IN_FT: Final = 0.3048

SURROUNDINGS: Final = {
    **dict.fromkeys(("house", "flat", "farm", "guest house", "hotel"), "home"),
    **dict.fromkeys(("cafe", "restaurant", "pub", "shop", "library"), "commercial"),
    **dict.fromkeys(("office", "school", "surgery"), "office"),
    **dict.fromkeys(("warehouse", "factory", "workshop"), "industrial"),
    **dict.fromkeys(("yard", "campsite", "harbour"), "outdoors"),
}
"""The surroundings that each kind of place counts as; common practice."""

_STOREY_NAMES: Final = ("ground", "first", "second", "third", "fourth", "fifth")
_STOREYS: Final = "2, 12 x 8 m, 2.7 m high"
_USES: Final = ("data", "voice", "video", "sensor", "camera")
NUMBER = r"\d{1,5}(?:\.\d{1,3})?"


class UnclearError(Exception):
    """An answer that is not understood; the text says how to write it."""


def kind(text: str) -> Kind:
    """Return the kind of place and its country, such as `house, GB`."""
    found: dict[str, str] = {}
    for part in parts(text, ","):
        if re.fullmatch("[A-Za-z]{2}", part):
            found["country"] = _country(part)
            continue
        word = part.lower().replace("\u00e9", "e")
        if word not in SURROUNDINGS:
            near = get_close_matches(word, SURROUNDINGS, 1, 0.7)
            known = f"did you mean {near[0]}?" if near else f"known are {', '.join(SURROUNDINGS)}"
            raise UnclearError(
                f"'{part}' is no kind of place that is known here; {known} A country is two "
                "letters, such as GB"
            )
        found |= {"word": part, "surroundings": SURROUNDINGS[word]}
    return Kind(**found)


def _country(code: str) -> str:
    if known_country_code(code.upper()):
        return code.upper()
    meant = meant_country_code(code)
    hint = f"did you mean {meant}?" if meant else "write it as GB, DE or US"
    raise UnclearError(f"'{code}' is no country code of ISO 3166-1; {hint}")


def storeys(text: str) -> Storeys:
    """Return how many storeys there are and how large each is, as in `2, 12 x 8 m, 2.7 m high`."""
    count = 1
    found: dict[str, float] = {}
    for part in parts(text.lower(), ","):
        sized = re.fullmatch(
            rf"({NUMBER}) ?(?:m|ft)? ?(?:x|by|\u00d7) ?({NUMBER})( ?m| ?ft)?", part
        )
        high = re.fullmatch(rf"({NUMBER})( ?m| ?ft)? high", part)
        number = re.fullmatch(r"(\d{1,2})(?: storeys?| floors?| levels?)?", part)
        if sized:
            feet = "ft" in part
            found |= {
                "width_m": metres(sized[1], feet=feet),
                "depth_m": metres(sized[2], feet=feet),
            }
        elif high:
            found["rise_m"] = metres(high[1], feet="ft" in part)
        elif number and 1 <= int(number[1]) <= _MOST_STOREYS:
            count = int(number[1])
        else:
            raise UnclearError(
                f"'{part}' is not understood; write it as in 2, 12 x 8 m, 2.7 m high"
            )
    if not all(found.values()) or found.get("rise_m", 0) > _HIGHEST_RISE_M:
        raise UnclearError(f"that cannot be the size of a storey; write it as in {_STOREYS}")
    names = [*_STOREY_NAMES, *(f"storey {n}" for n in range(len(_STOREY_NAMES), _MOST_STOREYS))]
    return Storeys(tuple(names[:count]), **found)


_PLACES: Final = {"inside": "inside", "outside": "outside", "between storeys": "between_storeys"}


def rooms(text: str) -> Rooms:
    """Return how a storey is parted: `3 x 2 rooms, stud wall inside, brick, two leaves outside`."""
    columns = rows = 0
    open_plan: bool | None = None
    sheets: list[str] = []
    for part in parts(text, ","):
        grid = re.fullmatch(r"(\d{1,3}) ?(?:x|by|\u00d7) ?(\d{1,3})(?: rooms?)?", part.lower())
        if grid:
            columns, rows, open_plan = int(grid[1]), int(grid[2]), False
        elif part.lower() == "open plan":
            open_plan = True
        elif part.lower() != "rooms":
            sheets.append(part)
    if open_plan is False and not 1 <= columns * rows <= MOST_ROOMS:
        raise UnclearError(f"a site has from 1 to {MOST_ROOMS} rooms here")
    return Rooms(columns, rows, open_plan, **_sheets(", ".join(sheets)))


def _sheets(text: str) -> dict[str, str]:
    """Return what walls and floors are of; a kind of wall may have a comma in it."""
    found: dict[str, str] = {}
    while text:
        said = re.match(rf"(?i)(.+?) ({'|'.join(_PLACES)})(?:, |$)", text)
        if said is None:
            raise UnclearError(
                f"'{text}' is not understood; write it as in 3 x 2 rooms, stud wall inside, brick "
                "outside, or open plan, brick outside"
            )
        found[_PLACES[said[2].lower()]] = _material(said[1])
        text = text[said.end() :]
    return found


def _material(name: str) -> str:
    from meshlint.physics.materials import MATERIALS

    known = {word.lower(): word for word in (*CONSTRUCTIONS, *MATERIALS)}
    if name.lower() in known:
        return known[name.lower()]
    near = get_close_matches(name.lower(), known, 1, 0.6)
    hint = f"did you mean {known[near[0]]}?" if near else f"known are {'; '.join(known.values())}"
    raise UnclearError(f"no losses are published for '{name}'; {hint}")


def internet(text: str, units: Sequence[str]) -> Line:
    """Return where the line enters and its rates, such as `hall, 500/70`."""
    unit, _, rates = text.partition(",")
    name = named(unit, units)
    if not rates.strip():
        return Line(name)
    form = rf"({NUMBER}) ?(?:mb/s)?(?: down)? ?[/,] ?({NUMBER}) ?(?:mb/s)?(?: up)?"
    both = re.fullmatch(form, rates.strip().lower())
    if both is None:
        raise UnclearError(f"'{rates.strip()}' is not understood; write down and up as in 500/70")
    return Line(name, float(both[1]), float(both[2]))


def clients(text: str, units: Sequence[str], ground: Ground) -> tuple[Group, ...]:
    """Return the groups of devices: `6 phones near hall; 2 laptops in room 3`."""
    found: dict[str, Group] = {}
    form = (
        r"(?P<count>\d{1,5}) (?P<name>.+?)(?: near (?P<near>.+?)| in (?P<room>.+?)"
        rf"| wired to (?P<wired>.+?))?(?: for (?P<use>{'|'.join(_USES)}))?"
    )
    for part in parts(text, ";"):
        said = re.fullmatch(form, part, re.IGNORECASE)
        if said is None:
            raise UnclearError(
                f"'{part}' is not understood; write it as in 6 phones near {units[0]}; 2 cameras "
                f"near {units[-1]} for camera"
            )
        name, count = given(said["name"]), 2
        while name in found:
            name, count = f"{given(said['name'])} {count}", count + 1
        found[name] = Group(
            name,
            int(said["count"]),
            named(said["near"], units) if said["near"] else None,
            room(said["room"], ground) if said["room"] else None,
            named(said["wired"], units) if said["wired"] else None,
            said["use"] and said["use"].lower(),
        )
    return tuple(found.values())


def neighbours(text: str, units: Sequence[str]) -> tuple[Heard, ...]:
    """Return what was heard: `hall: 1 at -60, 36 at -75`, or `none`."""
    if text.strip().lower() == "none":
        return ()
    found: list[Heard] = []
    for part in parts(text, ";"):
        unit, colon, heard = part.rpartition(":")
        if not colon:
            raise UnclearError(f"write where it was heard first, as in {units[0]}: 1 at -60")
        found += (_heard(named(unit, units), one) for one in parts(heard, ","))
    return tuple(found)


def _heard(unit: str, text: str) -> Heard:
    form = r"(?:(2\.4|5|6) ?ghz )?(?:channel )?(\d{1,3}) at (-\d{1,3}(?:\.\d)?)(?: ?dbm)?"
    said = re.fullmatch(form, text.lower())
    if said is None:
        raise UnclearError(
            f"'{text}' is not understood; write a channel and its level in dBm, as in 1 at -60, or "
            "6 GHz 37 at -75"
        )
    channel = int(said[2])
    band = float(said[1]) if said[1] else 2.4 if channel < _FIRST_OF_5_GHZ else 5.0
    if not tuned(band, (channel,)):
        raise UnclearError(f"there is no channel {channel} at {band:g} GHz")
    if float(said[3]) < _WEAKEST_DBM:
        raise UnclearError(f"{said[3]} dBm is weaker than anything that can be heard")
    return Heard(unit, band, channel, float(said[3]))


_FIRST_OF_5_GHZ: Final = 36
"""IEEE 802.11 channel numbers: 1 to 14 at 2.4 GHz, from 36 on at 5 GHz."""


def named(text: str, names: Iterable[str]) -> str:
    """Return the one of some names that a text means, whatever its capitals."""
    known = {name.lower(): name for name in names}
    wanted = " ".join(text.split()).lower()
    if wanted in known:
        return known[wanted]
    near = get_close_matches(wanted, known, 1, 0.6)
    hint = f"did you mean {known[near[0]]}?" if near else f"there is {', '.join(known.values())}"
    raise UnclearError(f"there is no '{text.strip()}'; {hint}")


def given(text: str) -> str:
    """Return a name that somebody gives, if it can be one."""
    name = " ".join(text.split())
    if not name or len(name) > _LONGEST_NAME or "/" in name or not name.isprintable():
        raise UnclearError(f"a name has 1 to {_LONGEST_NAME} letters and no /, such as hall")
    return name


_LONGEST_NAME: Final = 60


def room(text: str, ground: Ground) -> str:
    """Return a room by its name; its number alone will do."""
    wanted = " ".join(text.split())
    if f"room {wanted}" in ground.rooms:
        return f"room {wanted}"
    if not ground.rooms:
        raise UnclearError("there are no rooms on the plan; write near and a unit")
    return named(wanted, ground.rooms)


def metres(text: str, *, feet: bool) -> float:
    """Return a length in metres that was said in metres or in feet."""
    return round(float(text) * (_M_IN_FT if feet else 1), 3)


def parts(text: str, mark: str) -> Iterator[str]:
    """Yield what stands between marks, spaces evened out and empty parts left out."""
    pieces = (" ".join(piece.split()) for piece in text.split(mark))
    return filter(None, pieces)

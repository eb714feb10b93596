"""Units, where they stand and how they are joined, in words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from msgspec.structs import replace

from meshlint.site.like_words import LikeError, like
from meshlint.starter.answers import Join, Joins, NewUnit, Spot
from meshlint.starter.reading import (
    MOST_UNITS,
    NUMBER,
    UnclearError,
    given,
    metres,
    named,
    parts,
    room,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.starter.answers import Ground

_AT = rf"(?P<at> at (?P<x>-?{NUMBER})(?: ?m| ?ft)?(?: ?, ?| )(?P<y>-?{NUMBER})(?: ?m| ?ft)?)?"
_UNIT = rf"(?P<name>.+?)(?: in (?P<room>.+?))?(?: on (?P<level>.+?))?{_AT}"
_OVER: Final = ("cable", "coax", "powerline", "radio")
_JOIN = (
    rf"(?P<one>.+?) (?:to|and) (?P<other>.+?)(?: by (?P<over>{'|'.join(_OVER)})"
    r"(?: at (?P<band>2\.4|5|6) ?ghz)?|:? (?P<state>laid|possible))"
)


def units(text: str, ground: Ground) -> tuple[NewUnit, ...]:
    """Return the units: `hall in room 2; loft on first at 6, 4: three bands, 802.11ax`, or `3`.

    What follows a colon is what a unit is like, or `model` and its name; after `all:` it is said
    of every unit that says nothing else.
    """
    found: dict[str, NewUnit] = {}
    shared: dict[str, str] = {}
    for part in parts(text, ";"):
        words, colon, sort = part.partition(":")
        what = _sort(sort) if colon else {}
        count = re.fullmatch(r"(\d{1,3})(?: units?)?", words.strip())
        if words.strip().lower() == "all":
            shared = what
        elif count:
            if not 1 <= int(count[1]) <= MOST_UNITS:
                raise UnclearError(f"from 1 to {MOST_UNITS} units are written at once")
            first = len(found) + 1
            for number in range(first, first + int(count[1])):
                found[f"unit-{number}"] = replace(NewUnit(f"unit-{number}"), **what)
        else:
            unit = replace(_placed(words, ground), **what)
            if unit.name in found:
                raise UnclearError(f"'{unit.name}' is named twice")
            found[unit.name] = unit
    if not found:
        raise UnclearError("name one unit at least, such as hall")
    return tuple(
        unit if unit.like or unit.model else replace(unit, **shared) for unit in found.values()
    )


def _sort(text: str) -> dict[str, str]:
    words = " ".join(text.split())
    if words.lower().startswith("model "):
        return {"model": given(words[len("model ") :])}
    try:
        if like(words).bands_ghz:
            return {"like": words}
    except LikeError as error:
        raise UnclearError(f"{error.said}; or write model and its name") from None
    raise UnclearError("say which bands it has, such as two bands; or write model and its name")


def _placed(words: str, ground: Ground) -> NewUnit:
    said = re.fullmatch(_UNIT, words.strip(), re.IGNORECASE)
    if said is None:
        raise UnclearError("name one unit at least, such as hall")
    name = given(said["name"])
    if said["room"]:
        if said["x"]:
            raise UnclearError(f"'{name}' stands in a room or at a point; keep one")
        return NewUnit(name, at=ground.rooms[room(said["room"], ground)])
    level = said["level"] and _level(said["level"], ground)
    if said["x"] is None:
        if level:
            raise UnclearError(f"write where on {level}: {name} on {level} at 2, 4 (metres)")
        return NewUnit(name)
    if level is None and len(ground.levels) > 1:
        raise UnclearError(f"write on which storey: {name} on {ground.levels[0]} at 2, 4")
    alone = ground.levels[0] if ground.levels else None
    feet = "ft" in said["at"].lower()
    x_m, y_m = (metres(said[axis], feet=feet) for axis in ("x", "y"))
    return NewUnit(name, at=Spot(x_m, y_m, level or alone))


def _level(text: str, ground: Ground) -> str:
    if not ground.levels:
        raise UnclearError("no storeys were given, so leave out on which one it stands")
    return named(text, ground.levels)


Radios = dict[str, dict[str, float]]
"""The units that there are: the band of each known radio in GHz, by the radio's name."""


def radios_of(units: Iterable[NewUnit]) -> Radios:
    """Return the units by name, with the radios that the words of their boxes give them."""
    return {unit.name: like(unit.like).named() if unit.like else {} for unit in units}


def joins(
    text: str, units: Radios, first: str | None = None, others: Iterable[str] | None = None
) -> Joins:
    """Return how units are joined: `loft to hall by cable, 22 m; study to loft possible`.

    One word, `cable` or `radio`, joins every unit to the first, or `others` to the one that is
    named so. `nothing else` says that no cable can run anywhere else.
    """
    names = list(units)
    first = first or names[0]
    others = names[1:] if others is None else others
    found: list[Join] = []
    nowhere_else = False
    for part in parts(text, ";"):
        if part.lower() in ("nothing else", "nothing"):
            nowhere_else = True
        elif re.fullmatch(rf"({'|'.join(_OVER)})( at .*)?", part, re.IGNORECASE):
            found += (_join(f"{name} to {first} by {part}", units) for name in others)
        else:
            found.append(_join(part, units))
    return Joins(tuple(found), nowhere_else)


def _join(part: str, units: Radios) -> Join:
    head, *details = parts(part, ",")
    said = re.fullmatch(_JOIN, head, re.IGNORECASE)
    if len(units) == 1:
        raise UnclearError("there is one unit, so there is nothing to join")
    if said is None:
        other, *_, one = units
        raise UnclearError(
            f"'{head}' is not understood; write it as in {one} to {other} by radio, {one} to "
            f"{other} by cable, 22 m, or {one} to {other} possible"
        )
    one, other = named(said["one"], units), named(said["other"], units)
    if one == other:
        raise UnclearError(f"a join has two ends, and both are '{one}' here")
    over = said["over"] and said["over"].lower()
    more: dict[str, Any] = {"over": over, "state": said["state"] and said["state"].lower()}
    for detail in details:
        length = re.fullmatch(rf"({NUMBER}) ?(?:m|(ft))", detail.lower())
        printed = re.fullmatch(r"cat(?:egory)?\.? ?(5e?|6a?|7a?|8)", detail.lower())
        if length and over not in ("radio", "powerline"):
            more["length_m"] = metres(length[1], feet=bool(length[2]))
        elif printed and over in (None, "cable"):
            more["category"] = "5e" if printed[1] == "5e" else printed[1].upper()
        else:
            raise UnclearError(
                f"'{detail}' is not understood; a cable has a length, as in 22 m, and a category, "
                "as in cat 6"
            )
    if said["band"]:
        if over != "radio":
            raise UnclearError(f"a link over {over} has no band")
        band = float(said["band"])
        more["one_radio"], more["other_radio"] = (
            _radio_on(band, end, units[end]) for end in (one, other)
        )
    return Join(one, other, **more)


def _radio_on(band_ghz: float, unit: str, radios: dict[str, float]) -> str:
    """Return a unit's radio on a band; of two the last, as the first is mostly for clients."""
    found = [name for name, band in radios.items() if band == band_ghz]
    if found:
        return found[-1]
    if not radios:
        raise UnclearError(f"say what '{unit}' is first, such as two bands, or leave the band out")
    said = ", ".join(f"{band:g}" for band in radios.values())
    raise UnclearError(f"'{unit}' has {said} GHz, and no {band_ghz:g} GHz")

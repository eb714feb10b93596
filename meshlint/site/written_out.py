"""A site's document with the trade's words and its rooms written out as the format's own keys.

What follows reads walls, outlines, areas and amendments alone. Each part that is derived keeps the
place of the words that it was derived from.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, cast

from meshlint.site.problem import InputError, Problem
from meshlint.site.trade_words import AMENDMENTS, CONSTRUCTIONS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.rooms import Edge, Plan
    from meshlint.site.source import Document

Raw = dict[str, Any]

_OF_WALLS = {"between": "what walls between rooms are of", "doors": "where doors in such walls are"}

OPEN = "open"
"""Between rooms that no wall parts."""

_OF_ROOMS = ("rooms", "room_grid", "between", "rooms_as", "doors")


def written_out(document: Document) -> Document:
    """Return a schema-checked document in the format's own words; raise `InputError`."""
    raw = cast("Raw", document.value)
    found = _amended(raw)
    origins: dict[Pointer, Pointer] = {}
    if any("like" in unit for unit in found["units"].values()):
        found["units"] = _likened(document, found["units"], origins)
    if "levels" in raw:
        levels = _with_rooms(document, raw["levels"], origins)
        plans = _plans(document, levels)
        found["levels"] = {
            name: _level(document, name, level, plans.get(name), origins)
            for name, level in levels.items()
        }
        if plans:
            areas = _areas(document, {**raw, "levels": levels}, plans, origins)
            found["areas"] = {**raw.get("areas", {}), **areas}
            found["levels"] = {
                name: _opened(name, level, plans.get(name), areas)
                for name, level in found["levels"].items()
            }
    return document.saying(found, origins)


def amended(document: Document) -> Document:
    """Return a schema-checked catalogue with generation numbers as amendments."""
    return document.saying(_amended(cast("Raw", document.value)), {})


def _amended(raw: Raw) -> Raw:
    found = dict(raw)
    for section in ("units", "models"):
        if section in raw:
            found[section] = {name: _with_radios(entry) for name, entry in raw[section].items()}
    if "clients" in raw:
        found["clients"] = {name: _speaking(group) for name, group in raw["clients"].items()}
    return found


def _with_radios(entry: Raw) -> Raw:
    if "radios" not in entry:
        return entry
    return {**entry, "radios": {name: _speaking(radio) for name, radio in entry["radios"].items()}}


def _speaking(entry: Raw) -> Raw:
    amendment = AMENDMENTS.get(entry.get("generation"))
    return {**entry, "generation": amendment} if amendment else entry


def _likened(document: Document, units: Raw, origins: dict[Pointer, Pointer]) -> Raw:
    """Return the units with what they are like as radios and ports; raise `InputError`."""
    from meshlint.site.like_words import LikeError, likened

    found = dict(units)
    problems: list[Problem] = []
    for name, unit in units.items():
        if "like" not in unit:
            continue
        words: Pointer = ("units", name, "like")
        try:
            found[name] = likened(unit)
        except LikeError as error:
            problems.append(Problem(document.place(words), error.said, error.unsaid))
            continue
        for radio in found[name]["radios"].keys() - unit.get("radios", {}).keys():
            origins["units", name, "radios", radio] = words
        if "ports" not in unit:
            origins["units", name, "ports"] = words
    if problems:
        raise InputError.first(problems)
    return found


def _with_rooms(document: Document, levels: Raw, origins: dict[Pointer, Pointer]) -> Raw:
    """Return the levels, each that has the rooms of another with those; raise `InputError`."""
    found = dict(levels)
    for name, level in levels.items():
        if "rooms_as" not in level:
            continue
        words: Pointer = ("levels", name, "rooms_as")
        like = levels.get(level["rooms_as"], {})
        theirs = {key: like[key] for key in ("rooms", "room_grid") if key in like}
        if level.keys() & {"rooms", "room_grid"}:
            said = "rooms_as stands instead of rooms and of a room_grid; keep one"
            raise InputError.at(document.key_place(words), said)
        if not theirs:
            said = "expected the name of another level that has rooms or a room_grid itself"
            raise InputError.at(document.place(words), said)
        found[name] = {**{k: like[k] for k in ("between", "doors") if k in like}, **level, **theirs}
        for key in found[name].keys() - level.keys():
            origins["levels", name, key] = ("levels", level["rooms_as"], key)
    return found


def _plans(document: Document, levels: Raw) -> dict[str, Plan]:
    plans: dict[str, Plan] = {}
    problems: list[Problem] = []
    for name, level in levels.items():
        if level.get("rooms") or "room_grid" in level:
            from meshlint.site.rooms import Plan, RoomsError

            try:
                plans[name] = Plan(level)
            except RoomsError as error:
                if "rooms_as" in level:  # told of the level that draws them
                    continue
                place = document.key_place(("levels", name, *error.at))
                problems.append(Problem(place, error.message))
    if problems:
        raise InputError.first(problems)
    return {name: plan for name, plan in plans.items() if plan.rectangles}


def _level(
    document: Document, name: str, level: Raw, plan: Plan | None, origins: dict[Pointer, Pointer]
) -> Raw:
    found = {key: value for key, value in level.items() if key not in _OF_ROOMS}
    for key in ("floor", "shell"):
        if key in level:
            found[key] = _sheet(level[key])
    if "walls" in level:
        found["walls"] = [_sheet(wall) for wall in level["walls"]]
    if plan is None:
        for key, what in _OF_WALLS.items():
            if key in level:
                words = f"{key} says {what}; this level has no rooms"
                raise InputError.at(document.key_place(("levels", name, key)), words)
        return found
    found["walls"] = [
        *found.get("walls", ()),
        *_room_walls(document, name, level, plan, len(found.get("walls", ())), origins),
    ]
    if "outline_m" not in level:
        source = _source(name, "room_grid" if "room_grid" in level else "rooms", origins)
        outline = plan.outline()
        if outline is None:
            words = "no single edge goes round these rooms; draw it as outline_m of the level"
            raise InputError.at(document.key_place(source), words)
        origins["levels", name, "outline_m"] = source
        found["outline_m"] = outline
    return found


def _source(name: str, key: str, origins: dict[Pointer, Pointer]) -> Pointer:
    """Return where a key of a level was written, which may be on the level whose rooms it has."""
    at: Pointer = ("levels", name, key)
    return origins.get(at, at)


def _room_walls(
    document: Document,
    name: str,
    level: Raw,
    plan: Plan,
    drawn: int,
    origins: dict[Pointer, Pointer],
) -> Iterator[Raw]:
    """Yield the walls between a level's rooms and the doors in them, after those `drawn` by hand.

    Raises `InputError` for a door that no wall can hold.
    """
    from meshlint.site.rooms import path_m

    between = level.get("between", {})
    if between == OPEN:
        if "doors" in level:
            words = "there are no walls that doors could be in, where between is open"
            raise InputError.at(document.key_place(_source(name, "doors", origins)), words)
        return
    rooms = "room_grid" if "room_grid" in level else "rooms"
    wall_at = _source(name, "between" if "between" in level else rooms, origins)
    doors_at = _source(name, "doors", origins)
    for at, (edge, door) in enumerate(_walls(document, level, plan, doors_at), drawn):
        origins["levels", name, "walls", at] = wall_at if door is None else (*doors_at, door)
        sheet = _sheet(between) if door is None else _door_sheet(level["doors"][door])
        yield {**sheet, "path_m": path_m(edge)}


def _walls(
    document: Document, level: Raw, plan: Plan, doors_at: Pointer
) -> Iterator[tuple[Edge, int | None]]:
    """Yield the walls between rooms, then the doors in them, each with its place in the list."""
    walls = plan.walls(level.get("outline_m"))
    if "doors" not in level:
        yield from ((wall, None) for wall in walls)
        return
    from meshlint.site.doors import doors_of, parted
    from meshlint.site.rooms import RoomsError

    try:
        doors = doors_of(plan, level["doors"])
    except RoomsError as error:
        raise InputError.at(document.key_place((*doors_at, *error.at)), error.message) from None
    yield from ((wall, None) for wall in parted(walls, doors))
    yield from (((door.start, door.end), at) for at, door in enumerate(doors))


def _door_sheet(door: Raw) -> Raw:
    return _sheet({k: door[k] for k in ("material", "thickness_mm", "loss_db") if k in door})


def _opened(name: str, level: Raw, plan: Plan | None, areas: Raw) -> Raw:
    """Return a level with rooms that have no floor called as the areas that they are."""
    if plan is None or "floor_openings" not in level:
        return level
    own = {rectangle.room for rectangle in plan.rectangles}
    openings = [
        f"{name} {room}" if room in own and f"{name} {room}" in areas else room
        for room in level["floor_openings"]
    ]
    return {**level, "floor_openings": openings}


def _sheet(said: Raw | str) -> Raw:
    """Return a wall or a slab with the trade's name of it as material, thickness or loss."""
    sheet = {"material": said} if isinstance(said, str) else said
    usual = CONSTRUCTIONS.get(sheet.get("material", ""))
    if usual is None:
        return sheet
    return {**usual, **{key: value for key, value in sheet.items() if key != "material"}}


def _areas(
    document: Document, raw: Raw, plans: dict[str, Plan], origins: dict[Pointer, Pointer]
) -> Raw:
    """Return every room as an area: by its name, or with its level's where two levels have it."""
    rooms = {name: _places_of_rooms(plan) for name, plan in plans.items()}
    bearers = Counter(room for of_level in rooms.values() for room in of_level)
    areas: Raw = {}
    for level, of_level in rooms.items():
        for room, at in of_level.items():
            name = room if bearers[room] == 1 else f"{level} {room}"
            pointer: Pointer = ("levels", level, *at)
            if name in raw.get("areas", {}) or name in areas:
                words = f"'{name}' is the name of another area as well; rename one"
                raise InputError.at(document.key_place(pointer), words)
            outline = plans[level].room_outline(room)
            if outline is None:
                words = f"the parts of '{room}' are not one room without a hole; name each apart"
                raise InputError.at(document.key_place(pointer), words)
            own = raw["levels"][level].get("rooms", {}).get(room, {})
            wanted = {key: own[key] for key in ("target_dbm", "band") if key in own}
            areas[name] = {"level": level, "outline_m": outline, **wanted}
            origins["areas", name] = pointer
    return areas


def _places_of_rooms(plan: Plan) -> dict[str, Pointer]:
    """Return each room with where it was first written; a room in parts at its own key."""
    found: dict[str, Pointer] = {}
    for rectangle in plan.rectangles:
        at = rectangle.at[:2] if rectangle.at[0] == "rooms" else rectangle.at
        found.setdefault(rectangle.room, at)
    return found

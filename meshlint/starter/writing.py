"""The answers as a site file: short, commented, and without a word that nobody said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from meshlint.report.plain import visible
from meshlint.site.flow_style import in_flow_style
from meshlint.site.scalars import in_double_quotes
from meshlint.starter.plan import is_grid, room_names, widths_m

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meshlint.starter.answers import (
        Answers,
        Group,
        Heard,
        Join,
        Joins,
        Line,
        NewUnit,
        Rooms,
        Spot,
        Storeys,
    )

SCHEMA_NAME: Final = "site.schema.json"
"""The file next to a site by which editors know its keys."""

_NOTE_AT = 34
"""The column at which comments begin, where the line leaves room."""


def text_of(name: str, path: str, answers: Answers) -> str:
    """Return the text of the site file that says what was answered."""
    units = answers.units or ()
    primary = answers.internet.enters_at if answers.internet else units[0].name
    lines = [
        f"# yaml-language-server: $schema={SCHEMA_NAME}",
        f"# {visible(' '.join(name.split()))}: check it with `meshlint check {visible(path)}`.",
        "# What nobody knows yet is left out; the check then says what it would settle.",
        "meshlint: 1",
        *_about(name, answers),
        *_internet(answers.internet),
        _noted(
            f"primary: {in_flow_style(primary)}",
            "the unit that meets the internet line"
            if answers.internet
            else "taken as the first unit: nobody said where the line enters",
        ),
    ]
    if answers.storeys is not None:
        lines += _levels(answers.storeys, answers.rooms)
    lines += ["units:", *_units(units, answers.neighbours)]
    if answers.backhaul is not None:
        lines += _joins(answers.backhaul)
    if answers.clients is not None:
        lines += _section("clients", (_group(group) for group in answers.clients))
    if answers.neighbours is not None:
        lines += _neighbours(answers.neighbours)
    return "\n".join(lines) + "\n"


def _noted(line: str, note: str) -> str:
    return f"{line:<{_NOTE_AT - 2}}  # {note}" if note else line


def _about(name: str, answers: Answers) -> Iterator[str]:
    yield "site:"
    yield f"  name: {in_double_quotes(name)}"
    kind = answers.kind
    if kind is not None and kind.country:
        yield _noted(f"  country: {kind.country}", "decides which channels are allowed")
    if kind is not None and kind.surroundings:
        yield _noted(f"  surroundings: {kind.surroundings}", "how fast a signal fades indoors")


def _internet(line: Line | None) -> Iterator[str]:
    if line is not None:
        rates = {"down_mbps": line.down_mbps, "up_mbps": line.up_mbps}
        yield "internet_lines:"
        yield f"  main: {_flow({'enters_at': line.enters_at, **rates})}"


def _levels(storeys: Storeys, rooms: Rooms | None) -> Iterator[str]:
    yield _noted("levels:", "lengths in metres: x to the right, y up the plan")
    grid = is_grid(storeys, rooms)
    for number, level in enumerate(storeys.levels):
        entry: dict[str, Any] = {}
        if storeys.rise_m is not None and len(storeys.levels) > 1:
            entry["base_m"] = round(number * storeys.rise_m, 3)
        if rooms is not None:
            entry["shell"] = rooms.outside
            entry["floor"] = rooms.between_storeys if number else None
            entry["between"] = rooms.inside if rooms.columns else None
        if storeys.width_m is not None and not grid:
            wide, deep = storeys.width_m, storeys.depth_m
            entry["outline_m"] = [[0, 0], [wide, 0], [wide, deep], [0, deep]]
        if rooms is not None and rooms.open_plan:
            entry["walls"] = []
        stated = {key: value for key, value in entry.items() if value is not None}
        if not grid:
            yield f"  {level}: {_flow(stated)}"
            continue
        assert rooms is not None
        yield f"  {level}:"
        yield from (f"    {key}: {_flow(value)}" for key, value in stated.items())
        yield _noted("    room_grid:", "" if number else "even for now: put in the real widths")
        yield f"      columns_m: {_flow(widths_m(storeys.width_m or 0, rooms.columns))}"
        yield f"      rows_m: {_flow(widths_m(storeys.depth_m or 0, rooms.rows))}"
        yield "      names:"
        names = room_names(storeys, rooms)[number]
        yield from (f"        - {_flow(row)}" for row in names)


def _units(units: Sequence[NewUnit], heard: Sequence[Heard] | None) -> Iterator[str]:
    scanned = {network.unit for network in heard or ()}
    for unit in units:
        entry = unit_entry(unit)
        if scanned and unit.name not in scanned:
            entry["scan_made"] = False
        yield f"  {in_flow_style(unit.name)}: {_flow(entry)}"


def unit_entry(unit: NewUnit) -> dict[str, Any]:
    """Return what the file says of a unit."""
    entry: dict[str, Any] = {"like": unit.like, "model": unit.model}
    if unit.at is not None:
        entry["at"] = _spot(unit.at)
    return {key: value for key, value in entry.items() if value is not None}


def _spot(at: Spot) -> dict[str, Any]:
    return {
        **({"level": at.level} if at.level else {}),
        "x_m": _short(at.x_m),
        "y_m": _short(at.y_m),
    }


def _joins(joins: Joins) -> Iterator[str]:
    yield from _section("backhaul", links_of(joins))
    routes = list(routes_of(joins))
    if routes:
        yield _noted("cable_routes:", "where a cable runs or could run")
        yield from (f"  - {_flow(route)}" for route in routes)
    elif joins.nowhere_else:
        yield _noted("cable_routes: []", "no cable can run elsewhere")


def links_of(joins: Joins) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the links among some joins, each with its name."""
    named: set[str] = set()
    for join in joins.joins:
        if join.over is None:
            continue
        name, count = f"{join.one} to {join.other}", 2
        while name in named:
            name, count = f"{join.one} to {join.other} {count}", count + 1
        named.add(name)
        ends = {"from": join.one, "to": join.other, "over": join.over}
        radios = {"from_radio": join.one_radio, "to_radio": join.other_radio}
        yield name, {**ends, **{k: v for k, v in radios.items() if v}, **_cable(join)}


def routes_of(joins: Joins) -> Iterator[dict[str, Any]]:
    """Yield the cable routes among some joins."""
    for join in joins.joins:
        if join.state is not None:
            yield {"between": [join.one, join.other], "state": join.state, **_cable(join)}


def _cable(join: Join) -> dict[str, Any]:
    more = {"category": _digit(join.category), "length_m": _short(join.length_m)}
    return {key: value for key, value in more.items() if value is not None}


def _digit(category: str | None) -> int | str | None:
    return int(category) if category is not None and category.isdigit() else category


def _group(group: Group) -> tuple[str, dict[str, Any]]:
    places = {"near": group.near, "in": group.room, "wired_to": group.wired_to}
    return group.name, {"count": group.count, **places, "use": group.use}


def _neighbours(heard: Sequence[Heard]) -> Iterator[str]:
    if not heard:
        yield _noted("neighbours: []", "a scan at every unit heard none")
        return
    yield _noted("neighbours:", "what a scan heard")
    for network in heard:
        entry = {
            "heard_at": network.unit,
            "band": _short(network.band_ghz),
            "channel": network.channel,
            "level_dbm": _short(network.level_dbm),
        }
        yield f"  - {_flow(entry)}"


def _section(key: str, entries: Iterable[tuple[str, dict[str, Any]]]) -> Iterator[str]:
    lines = [f"  {in_flow_style(name)}: {_flow(entry)}" for name, entry in entries]
    if lines:
        yield f"{key}:"
        yield from lines


def _flow(value: Any) -> str:  # noqa: ANN401 - what a key holds
    return in_flow_style(_short(value))


def _short(value: Any) -> Any:  # noqa: ANN401 - what a key holds
    """Return a value without what is `None` in it, whole numbers as such, as people write them."""
    if isinstance(value, dict):
        return {key: _short(inner) for key, inner in value.items() if inner is not None}
    if isinstance(value, list):
        return [_short(inner) for inner in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value

"""Names in a site file that something must bear: units, radios, networks, and what else is named.

The same references are followed in a file whose shape is right and in one that the schema refuses
elsewhere, so that all mistakes of a file are told in one go. Nothing here relies on a shape, and
what is not of the right one is passed over: the schema has said so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meshlint.site.problem import Problem
from meshlint.site.quoting import is_private, quoted, repeatable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

Raw = dict[str, Any]

Known = dict[str, Any] | list[str] | None
"""Names that there are; `None` where nobody can tell, as in a section of a wrong shape."""

_Target = tuple[Known, str]
"""Names that there are, and what bears them."""


def unresolved_references(
    document: Document, models: Raw | None, *, whole: bool
) -> Iterator[Problem]:
    """Yield a problem for every name in the file that nothing bears.

    `models` are those of the file and of its catalogue, `None` where it has neither. In a file
    that is not `whole` a section may be missing because its key is misspelt, so only names of
    sections that are there are looked up.
    """
    search = _Search(mapping(document.value), models, whole=whole)
    for pointer, name, known, what in search.run():
        from difflib import get_close_matches

        names = list(known)
        # Likeness takes its time, and past so many names it is no longer a help.
        near = get_close_matches(name, names, 1, 0.6) if len(names) < 1000 else []  # noqa: PLR2004
        hint = f"; did you mean '{near[0]}'?" if near else _listing(names)
        if what == "level" and not near:
            hint += "; add it under `levels`"
        if what == "model" and not near:
            hint += "; describe it under `models`, or write what its box says under `like`"
        repeat = not is_private(pointer) and repeatable(name, near[0] if near else None)
        unsaid = f"there is no {what.removesuffix(' called')} {quoted(name, repeat=False)}{hint}"
        said = f"there is no {what} {quoted(name, repeat=True)}{hint}" if repeat else unsaid
        yield Problem(document.place(pointer), said, unsaid)


def names_of_nothing(raw: Raw) -> Iterator[tuple[Pointer, str]]:
    """Yield the place of each name of a unit or a link in a file that nothing bears, and the name.

    Radios and models are left out: what a catalogue says of them is not looked at.
    """
    for pointer, name, _, what in _Search(raw, None, whole=True).run():
        if what in ("unit", "link"):
            yield pointer, name


def mapping(value: object) -> Raw:
    """Return the value where it is a mapping, else an empty one."""
    return value if isinstance(value, dict) else {}


def named_entries(raw: Raw, section: str) -> Iterator[tuple[str, Raw]]:
    """Yield each name of a section with its entry."""
    return ((name, mapping(entry)) for name, entry in mapping(raw.get(section)).items())


def listed_entries(raw: Raw, section: str) -> Iterator[tuple[int, Raw]]:
    """Yield each position of a section that is a list with its entry."""
    return enumerate(map(mapping, _items(raw.get(section))))


def _items(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _listing(names: list[str]) -> str:
    if not names:
        return ""
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""  # noqa: PLR2004
    return "; there is " + ", ".join(f"'{name}'" for name in names[:6]) + more


class _Search:
    """One pass over a file, which every check makes: it gathers what leads nowhere, and no more."""

    def __init__(self, raw: Raw, models: Raw | None, *, whole: bool) -> None:
        self._raw = raw
        self._models = models
        self._absent: Raw | None = {} if whole else None
        self._lost: list[tuple[Pointer, str, Iterable[str], str]] = []
        self._unit = self._target("units", "unit")
        self._level = self._target("levels", "level")
        self._building = self._target("buildings", "building")
        self._network = self._target("networks", "network")

    def run(self) -> list[tuple[Pointer, str, Iterable[str], str]]:
        """Return where each lost name stands, the name, those that there are, and of what."""
        raw = self._raw
        self._follow(raw, (), {"primary": self._unit})
        self._follow_in_units()
        self._follow_radios()
        area, link = self._area(), self._target("backhaul", "link")
        of_group = {
            "near": self._unit,
            "wired_to": self._unit,
            "in": area,
            "network": self._network,
        }
        of_names: dict[str, dict[str, _Target]] = {
            "internet_lines": {"enters_at": self._unit},
            "levels": {"building": self._building, "rooms_as": self._level},
            "areas": {"level": self._level},
            "clients": of_group,
        }
        for name, level in named_entries(raw, "levels"):
            self._follow_each(level, ("levels", name), "floor_openings", area)
        for section, targets in of_names.items():
            for name, entry in named_entries(raw, section):
                self._follow(entry, (section, name), targets)
        of_lists: dict[str, dict[str, _Target]] = {
            "neighbours": {"heard_at": self._unit},
            "readings": {"unit": self._unit, "link": link},
        }
        for section, targets in of_lists.items():
            for position, entry in listed_entries(raw, section):
                self._follow(entry, (section, position), targets)
        for position, route in listed_entries(raw, "cable_routes"):
            self._follow_each(route, ("cable_routes", position), "between", self._unit)
        return self._lost

    def _target(self, section: str, what: str) -> _Target:
        stated = self._raw.get(section, self._absent)
        return (stated if isinstance(stated, dict) else None), what

    def _area(self) -> _Target:
        """Return the areas; where rooms are not written out yet, nobody can tell them."""
        levels = (level for _, level in named_entries(self._raw, "levels"))
        rooms = any({"rooms", "room_grid", "rooms_as"} & level.keys() for level in levels)
        return (None, "area") if rooms else self._target("areas", "area")

    def _follow(self, entry: Raw, pointer: Pointer, targets: dict[str, _Target]) -> None:
        for key, target in targets.items():
            if key in entry:
                self._look_up((*pointer, key), entry[key], target)

    def _follow_each(self, entry: Raw, pointer: Pointer, key: str, target: _Target) -> None:
        for position, name in enumerate(_items(entry.get(key))):
            self._look_up((*pointer, key, position), name, target)

    def _look_up(self, pointer: Pointer, name: object, target: _Target) -> None:
        known, what = target
        if known is not None and isinstance(name, str) and name not in known:
            self._lost.append((pointer, name, known, what))

    def _follow_in_units(self) -> None:
        of_unit = {"model": (self._models, "model"), "building": self._building}
        of_place, of_feed = {"level": self._level}, {"from": self._unit}
        networks, what = self._network
        origins = (None if networks is None else [*networks, "internet"]), what
        for name, unit in named_entries(self._raw, "units"):
            pointer = ("units", name)
            self._follow(unit, pointer, of_unit)
            self._follow(mapping(unit.get("at")), (*pointer, "at"), of_place)
            self._follow(mapping(unit.get("powered")), (*pointer, "powered"), of_feed)
            self._follow_each(unit, pointer, "management_from", origins)

    def _follow_radios(self) -> None:
        of_link, of_addresses = {"from": self._unit, "to": self._unit}, {"from": self._unit}
        units = mapping(self._raw.get("units"))
        radios_of = {name: self._radios_of(unit) for name, unit in units.items()}
        for name, link in named_entries(self._raw, "backhaul"):
            pointer: Pointer = ("backhaul", name)
            self._follow(link, pointer, of_link)
            joined = mapping(link.get("radios")).items()
            for key, end in (("from", link.get("from")), ("to", link.get("to"))):
                if not isinstance(end, str) or end not in radios_of:
                    continue
                target = (radios_of[end], f"radio at '{end}' called")
                named = [((*pointer, f"{key}_radio"), link.get(f"{key}_radio"))]
                named += [
                    ((*pointer, "radios", ours), ours if key == "from" else theirs)
                    for ours, theirs in joined
                ]
                for at, met in named:
                    self._look_up(at, met, target)
        every = list(radios_of.values())
        names = sorted({name for radios in every for name in radios or ()})
        told = self._unit[0] is not None and None not in every
        radio: _Target = (names if told else None), "radio"
        for name, network in named_entries(self._raw, "networks"):
            pointer = ("networks", name)
            self._follow(mapping(network.get("addresses")), (*pointer, "addresses"), of_addresses)
            self._follow_each(network, pointer, "radios", radio)
            self._follow_each(network, pointer, "units", self._unit)

    def _radios_of(self, unit: object) -> list[str] | None:
        """Return the names of a unit's radios, `None` where its own or its model's are not told."""
        own = unit.get("radios", self._absent) if isinstance(unit, dict) else None
        if not isinstance(own, dict) or "like" in mapping(unit):  # not written out yet
            return None
        model = mapping(unit).get("model")
        if not isinstance(model, str) or not self._models:
            return list(own)
        radios = mapping(self._models.get(model)).get("radios", self._absent)
        return list({**radios, **own}) if isinstance(radios, dict) else None

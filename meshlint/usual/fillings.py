"""A site with its gaps filled from the usual ranges: several times, so that both ends are met.

A filling says for each gap where in its range the value lies: at the weak end, at the usual value,
at the strong end, or where a fixed draw puts it. What the file states is never touched, and what
has no usual range stays missing. Power that nobody stated keeps to the law of the country, since
equipment made for it does.
"""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from typing import TYPE_CHECKING, Literal, TypeVar, cast

from msgspec import Struct
from msgspec.structs import replace

from meshlint.digest import blake2b
from meshlint.law.power import excess_db, power_limit
from meshlint.site.model import ClientGroup, Radio
from meshlint.usual.use import open_use, with_use
from meshlint.workings.governance.usual_ranges import (
    GAIN,
    HEIGHT,
    RANGES,
    SLAB_MM,
    THICKNESS_MM,
    UsualRange,
    of_power_word,
    range_of,
)
from meshlint.workings.site_workings import Workings
from meshlint.workings.spectrum.channel import law
from meshlint.workings.spectrum.permission import may_be_on, sender
from meshlint.workings.topology.link_radios import joined
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from meshlint.site.model import Pointer, Site, Unit
    from meshlint.site.places import Level, Slab, Wall
    from meshlint.workings.governance.usual_ranges import Value

    Buildings = dict[tuple[tuple[Pointer, Value], ...], Workings]
    """The first workings of each way to fill the gaps of a building."""

    Place = Callable[["Gap"], float]
    """Where in a gap's range its value lies: 0 the weak end, 0.5 usual, 1 the strong end."""

T = TypeVar("T", Radio, ClientGroup)

Part = Literal["unit", "client", "building", "use", "choice"]
"""Whose gap it is: units, client devices and the building can be strong or weak apart; which radio
a link uses and what it carries is for the units to choose, as is a channel on `auto`."""

_SMALL = frozenset({"sensor", "voice"})
"""Uses of devices with one antenna: sensors, scanners, cordless handsets (common practice)."""

_USUAL = 0.5

_STEPS = frozenset({"", "MHz", "Mb/s"})
"""Units of values that come in steps, so that nothing lies between low, usual and high."""


_ANY_CHANNEL = UsualRange(
    "units.*.radios.*.channel",
    "the channel that it chooses",
    "any open channel",
    "any open channel",
    "any open channel",
    "",
    "channels that the country opens, by the wireless regulatory database (Linux)",
)


class Gap(Struct, frozen=True):
    """An input that the file does not state, and its usual range.

    `in_second_half` marks every second group of devices at a place, so that two are told apart.
    """

    pointer: Pointer
    part: Part
    range: UsualRange
    in_second_half: bool = False

    def value_at(self, place: float) -> Value:
        """Return the value at a place of the range: 0 the weak end, 0.5 usual, 1 the strong end."""
        low, usual, high = self.range.low, self.range.usual, self.range.high
        if self.range.better == "low":
            low, high = high, low
        steps = (low, usual, high)
        if self.range.unit in _STEPS or any(isinstance(step, str) for step in steps):
            return steps[min(2, int(place * 3))]
        start, end = (low, usual) if place <= _USUAL else (usual, high)
        part = place / _USUAL if place <= _USUAL else place / _USUAL - 1
        return round(float(start) + (float(end) - float(start)) * part, 2)


class Filling(Struct, frozen=True):
    """A name for a way of filling gaps, and the place in its range that each gap gets."""

    name: str
    place: Place


def _parts(unit: float, client: float, building: float) -> Place:
    places = {
        "unit": unit, "client": client, "building": building, "use": unit, "choice": _USUAL,
    }  # fmt: skip

    return lambda gap: _USUAL if _is_under_a_ceiling(gap) else places[gap.part]


def _is_under_a_ceiling(gap: Gap) -> bool:
    """Return whether a gap is a height where a metre more or less turns little.

    Held alike in all fillings, paths are worked out once for all of them.
    """
    return gap.range.key == HEIGHT and gap.range.place == "indoors"


def _loud(gap: Gap) -> float:
    """Most power leaves a radio where its antenna gains least, since the law caps both together."""
    if gap.range.key == GAIN:
        return 0
    return _parts(1, 0, 0)(gap)


def _by_band(two_four: float, other: float) -> Place:
    """Return the bands at different ends, and every second group of devices."""

    def place(gap: Gap) -> float:
        if gap.part == "client":
            return two_four if gap.in_second_half else other
        if gap.part != "unit" or gap.range.band is None:
            return _USUAL
        return two_four if gap.range.band == 2.4 else other  # noqa: PLR2004 - GHz

    return place


def drawn(seed: str) -> Filling:
    """Return a filling that draws each gap by itself, the same for the same seed."""
    return Filling(f"draw {seed}", lambda gap: _draw(seed, gap.pointer) / 0xFFFFFFFF)


USUAL = Filling("usual", _parts(0.5, 0.5, 0.5))

FILLINGS: tuple[Filling, ...] = (
    USUAL,
    Filling("all weak", _parts(0, 0, 0)),
    Filling("all strong", _parts(1, 1, 1)),
    Filling(
        "a draw",
        lambda gap: _USUAL if _is_under_a_ceiling(gap) else drawn("one").place(gap),
    ),
    Filling("loud units, weak devices", _loud),
    Filling("2.4 GHz loud, other bands quiet", _by_band(1, 0)),
    Filling("2.4 GHz quiet, other bands loud", _by_band(0, 1)),
)
"""The fillings that every open judgement must agree in, the ones that differ most first."""

MANY_UNITS = 16

_VERY_MANY_UNITS = 32


def fillings_for(units: int) -> tuple[Filling, ...]:
    """Return the fillings that a site of so many units is judged by; large sites by fewer.

    Those left out first part the bands, and units from devices, which few rules compare.
    """
    if units > _VERY_MANY_UNITS:
        return FILLINGS[:3]
    return FILLINGS if units <= MANY_UNITS else FILLINGS[:4]


def gaps_of(site: Site, ranges: tuple[UsualRange, ...] = RANGES) -> tuple[Gap, ...]:
    """Return every input with a usual range that the site does not state."""
    found = [gap for unit in site.units.values() for gap in _unit_gaps(unit, ranges)]
    met: Counter[str | None] = Counter()
    for group in (site.clients or {}).values():
        where = group.near or group.area
        second = met[where] % 2 == 1
        met[where] += 1
        found += (replace(gap, in_second_half=second) for gap in _group_gaps(group, ranges))
    for level in (site.levels or {}).values():
        found += _level_gaps(level)
    found += (Gap(pointer, "use", range_) for pointer, range_ in open_use(site))
    return tuple(found)


class Fillable:
    """A site whose gaps can be filled many times; fillings of one building share its workings."""

    def __init__(self, w: Workings) -> None:
        self._w = w
        self._buildings = cast("Buildings", w.of_building[Fillable])

    def filled(self, filling: Filling, gaps: Iterable[Gap]) -> Workings:
        """Return the workings of the site with some gaps filled."""
        gaps = tuple(gaps)
        values: dict[Pointer, Value] = {
            gap.pointer: gap.value_at(filling.place(gap))
            for gap in gaps
            if gap.part not in ("use", "choice")
        }
        building = tuple((g.pointer, values[g.pointer]) for g in gaps if g.part == "building")
        chooses = frozenset(gap.pointer for gap in gaps if gap.part == "choice")
        site = self._w.site
        beside = self._buildings.get(building) if building else self._w
        if beside is not None:
            levels = beside.site.levels
        else:
            levels = site.levels and {k: _filled_level(v, values) for k, v in site.levels.items()}
        units = {name: _filled_unit(unit, values) for name, unit in site.units.items()}
        clients = site.clients and {k: _filled(g, values) for k, g in site.clients.items()}
        settled = replace(site, units=units, clients=clients, levels=levels)
        used = {gap.pointer: filling.place(gap) for gap in gaps if gap.part == "use"}
        if used:
            settled = with_use(settled, lambda pointer: used.get(pointer, _USUAL))
        settled = _lawful(_tuned(_joined_alike(settled, values), filling, chooses), values)
        done = Workings(settled, self._w.today, beside)
        if building:
            self._buildings.setdefault(building, done)
        return done


def _unit_gaps(unit: Unit, ranges: tuple[UsualRange, ...]) -> Iterator[Gap]:
    place = "outdoors" if unit.outdoors else "indoors"
    if unit.at is not None and unit.at.height_m is None and unit.radios:
        yield from _gap((*unit.pointer, "at", "height_m"), "unit", ranges, None, place)
    for radio in unit.radios.values():
        if radio.radiated_dbm is None:
            for gap in _missing(radio, ("power_dbm",), "unit", ranges, radio.band, place):
                spoken = of_power_word(gap.range, radio.power, radio.max_power_dbm)
                yield replace(gap, range=spoken)
        if radio.channel == "auto":
            yield Gap((*radio.pointer, "channel"), "choice", _ANY_CHANNEL)
        keys = ("antenna_gain_dbi", "streams", "generation", "lowest_basic_mbps", "width_mhz")
        yield from _missing(radio, keys, "unit", ranges, radio.band, place)


def _group_gaps(group: ClientGroup, ranges: tuple[UsualRange, ...]) -> Iterator[Gap]:
    if group.wired_to is None:
        keys = ("transmit_dbm", "streams", "generation")
        place = "small" if group.use in _SMALL else ""
        yield from _missing(group, keys, "client", ranges, group.band, place)


def _missing(
    of: Radio | ClientGroup,
    keys: tuple[str, ...],
    part: Part,
    ranges: tuple[UsualRange, ...],
    band: float | None,
    place: str,
) -> Iterator[Gap]:
    for key in keys:
        if getattr(of, key) is None:
            yield from _gap((*of.pointer, key), part, ranges, band, place)


def _gap(
    pointer: Pointer,
    part: Part,
    ranges: tuple[UsualRange, ...],
    band: float | None,
    place: str,
) -> Iterator[Gap]:
    found = range_of(ranges, kind_of(pointer), band, place)
    if found is not None:
        yield Gap(pointer, part, found)


def kind_of(pointer: Pointer) -> str:
    """Return the kind of an input, names left out: `units.*.radios.*.power_dbm`."""
    return Input(pointer).key


def _level_gaps(level: Level) -> Iterator[Gap]:
    for at, wall in enumerate(level.walls or ()):
        yield from _thickness(
            ("levels", level.name, "walls", at, "thickness_mm"), wall, THICKNESS_MM
        )
    for part, thing, usual in (
        ("floor", level.floor, SLAB_MM),
        ("shell", level.shell, THICKNESS_MM),
    ):
        if thing is not None:
            yield from _thickness(("levels", level.name, part, "thickness_mm"), thing, usual)


def _thickness(
    pointer: Pointer, thing: Wall | Slab, usual: dict[str, tuple[float, float, float]]
) -> Iterator[Gap]:
    stated = thing.thickness_mm is not None or thing.loss_db is not None
    if not stated and thing.material in usual:
        thin, middle, thick = usual[thing.material]
        kind = kind_of(pointer)
        words = f"how thick the {thing.material} is"
        source = "EN 771-1, EN 1992, EN 1995, EN 1279 (from memory); common practice"
        found = UsualRange(kind, words, thin, middle, thick, "mm", source, better="low")
        yield Gap(pointer, "building", found)


def _filled_unit(unit: Unit, values: dict[Pointer, Value]) -> Unit:
    height_m = values.get((*unit.pointer, "at", "height_m"))
    at = unit.at if height_m is None or unit.at is None else replace(unit.at, height_m=height_m)
    radios = {name: _filled(radio, values) for name, radio in unit.radios.items()}
    return replace(unit, at=at, radios=radios)


def _filled(of: T, values: dict[Pointer, Value]) -> T:
    found = {
        key: values[(*of.pointer, key)]
        for key in of.__struct_fields__
        if (*of.pointer, key) in values
    }
    return replace(of, **found) if found else of


def _filled_level(level: Level, values: dict[Pointer, Value]) -> Level:
    pointer = ("levels", level.name)
    walls, floor, shell = level.walls, level.floor, level.shell
    if walls:
        walls = tuple(
            replace(wall, thickness_mm=values.get((*pointer, "walls", at, "thickness_mm")))
            if wall.thickness_mm is None
            else wall
            for at, wall in enumerate(walls)
        )
    if floor is not None and floor.thickness_mm is None:
        floor = replace(floor, thickness_mm=values.get((*pointer, "floor", "thickness_mm")))
    if shell is not None and shell.thickness_mm is None:
        shell = replace(shell, thickness_mm=values.get((*pointer, "shell", "thickness_mm")))
    return replace(level, walls=walls, floor=floor, shell=shell)


def _joined_alike(site: Site, values: dict[Pointer, Value]) -> Site:
    """Return the site with radios that links join at one width, where nobody stated theirs."""
    open_ = {pointer for pointer in values if pointer[-1] == "width_mhz"}
    if not open_:
        return site
    w = Workings(site)
    widths: dict[Pointer, int | None] = {}
    for unit in site.units.values():
        for radio in unit.radios.values():
            with suppress(Missing):
                together = joined(w, radio)
                stated = [r for r in together if (*r.pointer, "width_mhz") not in open_]
                if len(together) > 1 and (*radio.pointer, "width_mhz") in open_:
                    widths[radio.pointer] = (stated or sorted(together, key=_place))[0].width_mhz
    return _with_radios(
        site,
        lambda radio: (
            replace(radio, width_mhz=widths[radio.pointer]) if radio.pointer in widths else radio
        ),
    )


def _place(radio: Radio) -> Pointer:
    return radio.pointer


def _tuned(site: Site, filling: Filling, chooses: frozenset[Pointer]) -> Site:
    """Return the site with radios on `auto` on a channel that they may choose.

    Radios that links join take one channel together, which the first of them draws.
    """
    if not chooses:
        return site
    w = Workings(site)
    chosen: dict[Pointer, int] = {}
    for unit in site.units.values():
        for radio in unit.radios.values():
            wanted = (*radio.pointer, "channel") in chooses
            if wanted and radio.pointer not in chosen:
                with suppress(Missing):
                    together = joined(w, radio)
                    choices = may_be_on(w, radio)
                    if choices:
                        number = choices[_draw(filling.name, radio.pointer) % len(choices)].number
                        chosen.update((one.pointer, number) for one in together)
    if not chosen:
        return site
    return _with_radios(
        site,
        lambda radio: (
            replace(radio, channel=chosen[radio.pointer])
            if radio.channel == "auto" and radio.pointer in chosen
            else radio
        ),
    )


def _lawful(site: Site, values: dict[Pointer, Value]) -> Site:
    """Return the site with power that nobody stated held to the law on every channel it may use."""
    w = Workings(site)

    def held(radio: Radio) -> Radio:
        if (*radio.pointer, "power_dbm") not in values or radio.power_dbm is None:
            return radio
        over_db = 0.0
        with suppress(Missing):
            rules, asked = w.once(law), sender(w, radio)
            for channel in may_be_on(w, radio):
                limit = power_limit(
                    rules, channel, asked.outdoors, asked.power_class, asked.power_control
                )
                if limit is not None and radio.antenna_gain_dbi is not None:
                    over_db = max(
                        over_db, excess_db(limit, radio.power_dbm, radio.antenna_gain_dbi)
                    )
        return replace(radio, power_dbm=radio.power_dbm - over_db) if over_db else radio

    return _with_radios(site, held)


def _with_radios(site: Site, changed: Callable[[Radio], Radio]) -> Site:
    units = {
        name: replace(unit, radios={key: changed(radio) for key, radio in unit.radios.items()})
        for name, unit in site.units.items()
    }
    return replace(site, units=units)


def _draw(name: str, pointer: Pointer) -> int:
    """Return a whole number that is the same for the same name and place."""
    text = f"{name}/{'/'.join(map(str, pointer))}"
    return int.from_bytes(blake2b(text.encode(), digest_size=4).digest())

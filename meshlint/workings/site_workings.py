"""What is worked out about one site, and kept where several facts rest on it."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar

from msgspec import Struct, field

from meshlint.site.model import Pointer  # noqa: TC001 - read at run time
from meshlint.workings.unknown import Input, Missing, Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Mapping
    from datetime import date

    from meshlint.site.model import Site
    from meshlint.workings.fact import Fact, FactValue

    Kept = defaultdict[object, dict[Hashable, object]]
    """What was worked out, by what computed it and by its key."""

T = TypeVar("T")
P = ParamSpec("P")


class Subject(Struct, frozen=True):
    """Something that a card can speak about.

    `anchors` names the places in the file that a card may point at, beside the subject itself.
    """

    scope: str
    key: str
    label: str
    item: object
    pointer: Pointer
    anchors: Mapping[str, Pointer] = field(default_factory=dict)


_NEW = object()


class Workings:
    """What is worked out about one site, and kept where several facts rest on it.

    `today` is the day on which the site is looked at, for facts about age. `beside` are workings
    of a site in the very same building, which share what rests on the building alone.
    """

    def __init__(
        self, site: Site, today: date | None = None, beside: Workings | None = None
    ) -> None:
        self.site = site
        self.today = today
        self._kept: Kept = defaultdict(dict)
        self.of_building: Kept = defaultdict(dict) if beside is None else beside.of_building

    def once(
        self,
        compute: Callable[Concatenate[Workings, P], T],
        key: Hashable = None,
        *given: P.args,
        **named: P.kwargs,
    ) -> T:
        """Return `compute(self, *given)`, worked out once for a key; a `Missing` is kept as well.

        The key must tell all apart that is given.
        """
        kept = self._kept[compute]
        found = kept.get(key, _NEW)
        if found is _NEW:
            found = kept[key] = answer(compute, self, *given, **named)
        if type(found) is Unknown:
            raise Missing(*found.inputs)
        return found  # type: ignore[return-value]

    def once_a_building(
        self,
        compute: Callable[Concatenate[Workings, P], T],
        key: Hashable = None,
        *given: P.args,
        **named: P.kwargs,
    ) -> T:
        """Return the same as `once`, kept for all workings of the same building.

        What is worked out may rest on what `same_building` compares, and on the key.
        """
        kept = self.of_building[compute]
        if key not in kept:
            kept[key] = answer(compute, self, *given, **named)
        found = kept[key]
        if isinstance(found, Unknown):
            raise Missing(*found.inputs)
        return found  # type: ignore[return-value]

    def keep(
        self, compute: Callable[Concatenate[Workings, P], T], keys: Iterable[Hashable], found: T
    ) -> None:
        """Keep what was found for one key under others as well, of which it is known to hold."""
        self._kept[compute].update(dict.fromkeys(keys, found))

    @property
    def size(self) -> int:
        """How many values are kept: a measure of the work done, the same on every machine."""
        return sum(len(found) for kept in (self._kept, self.of_building) for found in kept.values())

    def value(self, wanted: Fact, subject: Subject) -> FactValue | Unknown:
        """Return the fact's value for the subject, or `Unknown` with what is missing."""
        return Known(self, {wanted.qualified: wanted}, subject)[wanted.qualified]


def same_building(one: Site, other: Site) -> bool:
    """Return whether two sites have one building, with the same units at the same places in it.

    What links say of being in sight counts too: paths rest on it.
    """
    return _building(one) == _building(other)


def _building(site: Site) -> tuple[object, ...]:
    places = {unit.name: (unit.at, unit.outdoors) for unit in site.units.values()}
    links = [(x.from_unit, x.to_unit, x.in_sight) for x in (site.backhaul or {}).values()]
    sights = {found for found in links if found[2] is not None}
    return site.levels, site.areas, site.about, places, sights, site.most_places


class Known(dict[str, "FactValue | Unknown"]):
    """The facts in reach of one subject, by name; each worked out when first asked for, and kept.

    Facts about the site come from `site`, what is known of the site itself.
    """

    __slots__ = ("_facts", "_site", "_subject", "_workings")

    def __init__(
        self,
        workings: Workings,
        facts: Mapping[str, Fact],
        subject: Subject,
        site: Known | None = None,
    ) -> None:
        self._workings = workings
        self._facts = facts
        self._subject = subject
        self._site = site

    def __missing__(self, name: str) -> FactValue | Unknown:
        declared = self._facts[name]
        if declared.scope == "site" and self._site is not None:
            value = self._site[name]
        else:
            value = answer(declared.compute, self._workings, self._subject.item)
            if type(value) is float and not math.isfinite(value):
                # No signal at all, a rate without bound: no number that a report could show.
                wanted = f"values that give {declared.name} a size"
                value = Unknown((Input(self._subject.pointer, wanted),))
        self[name] = value
        return value

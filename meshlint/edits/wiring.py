"""Changes of links that may mend a finding: another parent, other radios, a stated cable route.

A link of several legs is left as it is: what would become of the other legs is for people to say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.edits.candidate import Candidate, move, moved
from meshlint.edits.rewriting import Drop, Edit, Set
from meshlint.site.model import Link, Unit
from meshlint.workings.contention.must_defer import together
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.tree import tree
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import CableRoute, Radio
    from meshlint.site.source import Value
    from meshlint.workings.site_workings import Workings


def uplinks(w: Workings, item: object) -> Iterator[tuple[str, Link]]:
    """Yield the radio link that a unit hangs on, or that the subject is, with its lower unit."""
    for unit, link in w.once(tree).uplink.items():
        mine = isinstance(item, Link) and link.name == item.name
        mine = mine or (isinstance(item, Unit) and unit == item.name)
        if mine and link.over == "radio" and link.whole is None:
            yield unit, link


def other_parents(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield a radio link from the unit to every other unit that does not hang on it."""
    for unit, link in uplinks(w, item):
        try:
            ours = radio_of(w, link, unit)
        except Missing:
            return
        below = set(w.once(tree).below(unit))
        for name, other in w.site.units.items():
            if name in below or name in (unit, link.far_end(unit)):
                continue
            for radio in other.radios.values():
                if radio.band != ours.band or (radio.carries and "backhaul" not in radio.carries):
                    continue
                edits = [
                    *_far_end(link, unit, name),
                    Set((*link.pointer, f"{_end(link, unit, far=True)}_radio"), radio.name),
                    Set((*link.pointer, f"{_end(link, unit)}_radio"), ours.name),
                    *_not_in_sight(link),
                ]
                if isinstance(radio.channel, int) and radio.width_mhz is not None:
                    edits += moved(ours, radio.channel, radio.width_mhz)
                yield Candidate(f"join {unit} to {name}", tuple(edits))


def other_radios(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield the other pairs of radios that could carry a link; the lower end follows the upper."""
    for unit, link in uplinks(w, item):
        above = link.far_end(unit)
        near, far = w.site.units[unit].radios.values(), w.site.units[above].radios.values()
        try:
            now = radio_of(w, link, unit), radio_of(w, link, above)
        except Missing:
            now = None
        for ours in near:
            for theirs in far:
                bearing = all("backhaul" in (r.carries or ()) for r in (ours, theirs))
                if (ours, theirs) == now or ours.band != theirs.band or not bearing:
                    continue
                edits: list[Edit] = [
                    Set((*link.pointer, f"{_end(link, unit)}_radio"), ours.name),
                    Set((*link.pointer, f"{_end(link, unit, far=True)}_radio"), theirs.name),
                ]
                if isinstance(theirs.channel, int) and theirs.width_mhz is not None:
                    edits += moved(ours, theirs.channel, theirs.width_mhz)
                words = f"join {unit} to {above} by {ours.name} and {theirs.name}"
                yield Candidate(words, tuple(edits))


def ends_alike(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield each end of a radio link set as the other is, with all that is joined to it."""
    if not isinstance(item, Link) or item.over != "radio":
        return
    one, other = radios_of(w, item)
    if one.band != other.band:
        return
    for ours, theirs in ((one, other), (other, one)):
        if isinstance(theirs.channel, int) and theirs.width_mhz is not None:
            yield move((ours,), theirs.channel, theirs.width_mhz)
            everyone = joined_to(w, ours)
            if len(everyone) > 1:
                yield move(everyone, theirs.channel, theirs.width_mhz)


def joined_to(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    """Return a radio and all that links join to it, which cannot change channel without it."""
    joined = w.once(together)
    head = joined.get(radio.pointer)
    everyone = (r for unit in w.site.units.values() for r in unit.radios.values())
    found = tuple(r for r in everyone if head is not None and joined.get(r.pointer) == head)
    return found or (radio,)


def laid(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield the cable routes that could stand in a link's place, laid ones first.

    A route need not lead to the parent of today: any unit will do that does not hang on this one.
    """
    for unit, link in uplinks(w, item):
        below = set(w.once(tree).below(unit))
        routes = sorted(w.site.cable_routes or (), key=lambda route: route.state != "laid")
        for route in routes:
            ends = [end for end in route.between if end != unit]
            if len(ends) == 1 and ends[0] not in below:
                yield by_cable(link, unit, ends[0], route)


OF_CABLES: Final = (
    "medium", "category", "length_m", "path", "run", "surge_protectors", "through", "fire_rating",
)  # fmt: skip
"""What a cable route tells of its cable, and a link over that cable too."""

_OF_RADIO: Final = ("from_radio", "to_radio", "in_sight", "simultaneous")


def by_cable(link: Link, unit: str, far: str, route: CableRoute) -> Candidate:
    """Return the change that puts a route in the place of a radio link of a unit."""
    edits: list[Edit] = [*_far_end(link, unit, far), Set((*link.pointer, "over"), "cable")]
    edits += [Drop((*link.pointer, k)) for k in _OF_RADIO if getattr(link, k) is not None]
    for key in OF_CABLES:
        value = getattr(route, key)
        if value is not None:
            edits.append(Set((*link.pointer, key), plain(value)))
    if route.state == "laid":
        return Candidate(f"use the laid cable from {unit} to {far}", tuple(edits), "cable")
    return Candidate(f"lay a cable from {unit} to {far}", tuple(edits), "new cable")


def _end(link: Link, unit: str, *, far: bool = False) -> str:
    """Return the key of a unit's end of a link, or of the other end."""
    return "from" if (link.from_unit == unit) != far else "to"


def _far_end(link: Link, unit: str, far: str) -> Iterator[Edit]:
    """Yield what joins a link of a unit to another one."""
    if far != link.far_end(unit):
        yield Set((*link.pointer, _end(link, unit, far=True)), far)


def _not_in_sight(link: Link) -> Iterator[Edit]:
    """Yield what forgets that two ends see each other: it was said of other ends."""
    if link.in_sight is not None:
        yield Drop((*link.pointer, "in_sight"))


def plain(value: object) -> Value:
    """Return a value of the model as a person writes it: 34 for 34.0, and category 6 unquoted."""
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, str) and value.isdigit():
        return int(value)
    return value  # type: ignore[return-value]

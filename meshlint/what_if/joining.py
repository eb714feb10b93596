"""Other wiring asked about: a unit joined to another one by radio, a cable route laid."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.edits.rewriting import Drop, Edit, Set
from meshlint.edits.wiring import OF_CABLES, by_cable, joined_to, plain, uplinks
from meshlint.site.references import mapping
from meshlint.what_if.names import MisaskedError
from meshlint.what_if.settings import followed
from meshlint.what_if.step import Step
from meshlint.workings.alternatives.candidate_links import (
    invented,
    joining_radios,
    may_carry_backhaul,
    metric_of,
)
from meshlint.workings.links.budget import link_budget
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.topology.tree import tree
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import CableRoute, Link, Radio
    from meshlint.site.references import Raw
    from meshlint.site.source import Pointer, Value
    from meshlint.workings.site_workings import Workings

_OF_ANY: Final = ("from", "to", "role", "state", "vlans")
"""What a link says whatever it runs over."""

UNKNOWN, DEAF = 1, 2


class ImpossibleError(Exception):
    """A change that cannot be made in this site, whatever else is changed; the text says why."""


class Pair(Struct, frozen=True):
    """Two radios that could join a unit to another: its own, and the other's.

    `reach` orders them: 0 where a rate holds between them, 1 where that is unknown, 2 where none
    does; `metric` is the air that the link takes.
    """

    ours: Radio
    theirs: Radio
    reach: int
    metric: float


def uplink_of(w: Workings, unit: str) -> Link | None:
    """Return the link that a unit hangs on; none in a file that names no links."""
    return w.once(tree).uplink.get(unit) if w.site.backhaul is not None else None


def below(w: Workings, unit: str) -> tuple[str, ...]:
    """Return a unit and all that hang on it."""
    return w.once(tree).below(unit) if w.site.backhaul is not None else (unit,)


def pairs(w: Workings, unit: str, parent: str) -> tuple[Pair, ...]:
    """Return the radios that could join a unit to another one, the most promising first."""
    ours = joining_radios(w, w.site.units[unit], in_need=True)
    found = [
        _pair(w, one, other)
        for one in ours
        for other in w.site.units[parent].radios.values()
        if one.band == other.band and may_carry_backhaul(other) and not _is_today(w, one, other)
    ]
    return tuple(sorted(found, key=lambda pair: (pair.reach, pair.metric)))


def _is_today(w: Workings, ours: Radio, theirs: Radio) -> bool:
    """Return whether two radios are those of a unit's uplink as it is."""
    uplink = uplink_of(w, ours.unit)
    if uplink is None or uplink.over != "radio" or uplink.far_end(ours.unit) != theirs.unit:
        return False
    try:
        return radio_of(w, uplink, ours.unit) is ours and radio_of(w, uplink, theirs.unit) is theirs
    except Missing:
        return False


def _pair(w: Workings, ours: Radio, theirs: Radio) -> Pair:
    link = invented(w, ours, theirs)
    try:
        if link_budget(w, link).held is None:
            return Pair(ours, theirs, DEAF, 0.0)
        return Pair(ours, theirs, 0, metric_of(w, link))
    except Missing:
        return Pair(ours, theirs, UNKNOWN, 0.0)


def impossible(w: Workings, unit: str, parent: str) -> str:
    """Return why a unit cannot be joined to another one at all, empty where it might be."""
    if unit == w.site.primary:
        return f"{unit} is the primary, which all others are joined to"
    if unit == parent:
        return f"{unit} cannot be joined to itself"
    if parent in below(w, unit):
        return f"{parent} reaches the primary through {unit}, so both would be cut off"
    if not pairs(w, unit, parent):
        return (
            f"{unit} and {parent} have no radios of one band that may carry backhaul, "
            "apart from what joins them today"
        )
    return ""


def rewired(w: Workings, raw: Raw, pair: Pair) -> tuple[Edit, ...]:
    """Return the edits that join a unit by a pair of radios, which stay as they are set.

    `raw` is the file's own value. A link keeps its name, and what it says of more than its medium.
    """
    unit, parent = pair.ours.unit, pair.theirs.unit
    uplink = uplink_of(w, unit)
    joined: dict[str, Value] = {
        "from": unit,
        "to": parent,
        "over": "radio",
        "from_radio": pair.ours.name,
        "to_radio": pair.theirs.name,
    }
    if uplink is None:
        return (_new_link(raw, f"{unit} to {parent}", joined),)
    link = mapping(raw["backhaul"])[uplink.in_file]
    if uplink.from_unit != unit:
        joined = {
            "from": parent,
            "to": unit,
            "over": "radio",
            "from_radio": pair.theirs.name,
            "to_radio": pair.ours.name,
        }
    kept = (*_OF_ANY, "in_sight") if uplink.far_end(unit) == parent else _OF_ANY
    wanted = {key: value for key, value in link.items() if key in kept} | joined
    return tuple(_differences(("backhaul", uplink.in_file), link, wanted))


def _differences(at: Pointer, link: Raw, wanted: Raw) -> Iterator[Edit]:
    for key, value in wanted.items():
        if key not in link or link[key] != value:
            yield Set((*at, key), value)
    yield from (Drop((*at, key)) for key in link if key not in wanted)


def _new_link(raw: Raw, name: str, link: dict[str, Value]) -> Edit:
    """Return the edit that adds a link under a name that is free."""
    taken = mapping(raw.get("backhaul"))
    free = next(n for n in (name, *(f"{name} {at}" for at in range(2, 99))) if n not in taken)
    if "backhaul" not in raw:
        return Set(("backhaul",), {free: link})
    return Set(("backhaul", free), link)


def settled(w: Workings, pair: Pair) -> tuple[Edit, ...]:
    """Return the edits that put a unit's radio on its new partner's channel, once they are joined.

    All that other links join to it must move along.
    """
    if not isinstance(pair.theirs.channel, int):
        return ()
    ours = w.site.units[pair.ours.unit].radios[pair.ours.name]
    theirs = pair.theirs.pointer
    return tuple(followed((r for r in joined_to(w, ours) if r.pointer != theirs), pair.theirs))


def lays(w: Workings, raw: Raw, route: CableRoute) -> tuple[Step, ...]:
    """Return the changes that use a cable route: instead of a unit's radio link, or next to it.

    Raises `MisaskedError` where a link runs over it already.
    """
    one, other = route.between
    for there in (w.site.backhaul or {}).values():
        if there.over == "cable" and {there.from_unit, there.to_unit} == {one, other}:
            raise MisaskedError(f"the link {there.name} runs over a cable between them already")
    found = [
        Step(change.words, change.edits, change.work)
        for unit, far in ((one, other), (other, one))
        for _, uplink in (uplinks(w, w.site.units[unit]) if w.site.backhaul else ())
        if far not in below(w, unit)
        for change in (by_cable(uplink, unit, far, route),)
    ]
    stated = {
        key: plain(getattr(route, key)) for key in OF_CABLES if getattr(route, key) is not None
    }
    link: dict[str, Value] = {"from": one, "to": other, "over": "cable", **stated}
    words = f"{'use the laid' if route.state == 'laid' else 'lay a'} cable from {one} to {other}"
    edits = (_new_link(raw, f"{one} to {other}", link),)
    alone = Step(words, edits, "cable" if route.state == "laid" else "new cable")
    return (*found, alone)

"""All units that a unit could be joined to, side by side."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from meshlint.edits.candidate import named
from meshlint.edits.rewriting import RefusedError
from meshlint.site.problem import InputError
from meshlint.what_if.draft import Draft, rank
from meshlint.what_if.joining import (
    DEAF,
    ImpossibleError,
    below,
    impossible,
    pairs,
    rewired,
    settled,
    uplink_of,
)
from meshlint.what_if.outcome import ways
from meshlint.what_if.step import Step
from meshlint.workings.alternatives.parent import path_metric
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from meshlint.edits.proof import Changed
    from meshlint.site.model import CableRoute
    from meshlint.what_if.joining import Pair
    from meshlint.what_if.outcome import Outcome, UnitWay
    from meshlint.workings.site_workings import Workings

MOST_PARENTS: Final = 9
"""Parents that are judged by all rules, the most promising by their metric: a count and no clock.
"""
_MOST_PAIRS: Final = 3
_MANY_UNITS: Final = 36
"""On a site of so many units one pair of radios is judged for each parent, on smaller ones more."""


class Parent(Struct, frozen=True, eq=False):
    """A unit that another could be joined to by a radio of its own, and what that does."""

    unit: str
    name: str
    radio: str
    draft: Draft
    done: Changed
    outcome: Outcome

    @property
    def way(self) -> UnitWay | None:
        """The way of the unit then, `None` where it has none."""
        return self.outcome.ways[self.unit][1]


class Parents(Struct, frozen=True, eq=False):
    """The parents of a unit: those judged, best first, and why others are none.

    `today` is its way as it is, `more` counts parents that were left out, and `cables` are routes
    that could join the unit as well.
    """

    unit: str
    today: UnitWay | None
    found: tuple[Parent, ...]
    below: tuple[str, ...]
    out_of_reach: tuple[str, ...]
    unfit: tuple[str, ...]
    more: int
    cables: tuple[CableRoute, ...]


def joined(draft: Draft, unit: str, parent: str) -> Parent:
    """Return what joining a unit to another one does, over the best of their radios.

    Raises `ImpossibleError` where they cannot be joined at all.
    """
    if refused := impossible(draft.w, unit, parent):
        raise ImpossibleError(refused)
    return _best(draft, unit, parent)


def _best(draft: Draft, unit: str, parent: str) -> Parent:
    found, refused = [], None
    most = max(1, min(_MOST_PAIRS, _MANY_UNITS // len(draft.opened.site.units)))
    for pair in pairs(draft.w, unit, parent)[:most]:
        try:
            joined = _over(draft, pair)
            known = joined.judged()
            joined = replace(joined, known=known)
            found.append(Parent(unit, parent, pair.ours.name, joined, *known))
        except (RefusedError, InputError) as error:
            refused = error
    if not found:
        assert refused is not None
        raise refused
    return min(found, key=lambda one: rank(one.outcome, (unit,)))


def _over(draft: Draft, pair: Pair) -> Draft:
    """Return the draft with two units joined by a pair of radios, on the upper one's channel."""
    ours, theirs = pair.ours, pair.theirs
    by = f"radio {ours.name}" if ours.name == theirs.name else f"{ours.name} to {theirs.name}"
    words = f"join {ours.unit} to {theirs.unit} by {by}"
    then = draft.then(Step(words, rewired(draft.w, draft.raw, pair)))
    edits = settled(then.w, pair)
    places = dict.fromkeys(edit.pointer[:4] for edit in edits)
    units = then.opened.site.units
    moving = tuple(units[str(at[1])].radios[str(at[3])] for at in places)
    along = f", with {named(moving)} moved to its channel {theirs.channel}" if moving else ""
    return then.further(edits, along)


def parents(draft: Draft, unit: str) -> Parents:
    """Return all units that a unit could be joined to, the best first.

    Raises `ImpossibleError` for the primary.
    """
    w = draft.w
    if unit == w.site.primary:
        raise ImpossibleError(impossible(w, unit, unit))
    hanging, uplink = below(w, unit), uplink_of(w, unit)
    today = uplink.far_end(unit) if uplink is not None else None
    others = [name for name in w.site.units if name != unit and name not in hanging]
    best = {name: found[0] for name in others if (found := pairs(w, unit, name))}
    near = sorted(
        (name for name, pair in best.items() if pair.reach != DEAF),
        key=lambda name: (best[name].reach, best[name].metric + _to_primary(w, name)),
    )
    tried = [_best(draft, unit, name) for name in near[:MOST_PARENTS]]
    units = w.site.units
    return Parents(
        unit=unit,
        today=ways(draft.first.opened, unit) if unit in draft.first.opened.site.units else None,
        found=tuple(sorted(tried, key=lambda one: rank(one.outcome, (unit,)))),
        below=tuple(name for name in hanging if name != unit),
        out_of_reach=tuple(name for name, pair in best.items() if pair.reach == DEAF),
        unfit=tuple(
            name
            for name in others
            if name not in best and units[name].kind == "access" and name != today
        ),
        more=max(0, len(near) - MOST_PARENTS),
        cables=tuple(
            route
            for route in w.site.cable_routes or ()
            if unit in route.between and not set(route.between) & set(hanging) - {unit}
        ),
    )


def _to_primary(w: Workings, unit: str) -> float:
    try:
        return path_metric(w, unit)
    except Missing:
        return math.inf

"""Power over cable: who feeds whom, and whether the watts suffice at every port and in all."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from meshlint.physics.power_over_cable import CLASSES, arriving_w, loss_w
from meshlint.site.model import CableRoute
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.cables import cables
from meshlint.workings.unknown import Input, Missing, as_known, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Unit
    from meshlint.workings.links.cables import Cable
    from meshlint.workings.site_workings import Workings

TABLE = "IEEE 802.3 clauses 33 and 145: class table and worst-case loss"


_FEEDING_KINDS = ("switch", "router", "injector")
"""Kinds that stand by a socket as a rule: one that does not say how it is fed is on the mains."""


def _over_cable(unit: Unit) -> bool:
    if unit.powered is None and unit.kind in _FEEDING_KINDS:
        return False
    powered = need(unit.powered, (*unit.pointer, "powered"), "how it is fed")
    return powered.by != "mains"


def _may_feed(unit: Unit) -> bool:
    supplies = any(port.supplies_class is not None for port in unit.ports or ())
    return supplies or unit.supply_budget_w is not None or unit.kind == "injector"


class Fed(NamedTuple):
    """The units that one feeds for sure, and what is missing to tell of others."""

    units: tuple[Unit, ...]
    unsure: tuple[Input, ...]


def fed_by(w: Workings, source: Unit) -> Fed:
    """Return the units that this one feeds.

    One that is fed over a cable from nobody knows where may be among them, and so may one next to
    it on a cable that does not say how it is fed.
    """
    sure = [unit for unit in w.site.units.values() if source_of(w, unit) == source.name]
    unsure = []
    if _may_feed(source):
        for unit in w.site.units.values():
            powered = unit.powered
            if powered is None:
                if unit.kind not in _FEEDING_KINDS and unit.name in _cabled_to(w, source):
                    unsure.append(Input((*unit.pointer, "powered"), "how it is fed"))
            elif powered.by == "cable" and source_of(w, unit) is None:
                unsure.append(Input((*unit.pointer, "powered", "from"), "what feeds it"))
    sure = [unit for unit in sure if unit.powered and unit.powered.by != "mains"]
    return Fed(tuple(sure), tuple(unsure))


def source_of(w: Workings, unit: Unit) -> str | None:
    """Return the unit that feeds one, by its word, or because no other is cabled to it.

    None where that is not told, or where what feeds it is no unit.
    """
    if unit.powered is None or unit.powered.source is not None:
        return unit.powered.source if unit.powered else None
    if unit.powered.by != "cable":
        return None
    beside = w.once(_cabled_units).get(unit.name, frozenset())
    return next(iter(beside)) if len(beside) == 1 else None


def _cabled_to(w: Workings, source: Unit) -> frozenset[str]:
    """Return the units that a cable of the file joins straight to one."""
    return w.once(_cabled_units).get(source.name, frozenset())


def _cabled_units(w: Workings) -> Mapping[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for cable in w.once(cables):
        if cable.link.over == "cable" if cable.link else _is_laid(cable):
            one, other = cable.ends
            found.setdefault(one, set()).add(other)
            found.setdefault(other, set()).add(one)
    return {name: frozenset(others) for name, others in found.items()}


def class_of(unit: Unit) -> int:
    """Return the class agreed on a unit's feed, or else the one that its model takes."""
    stated = unit.powered.power_class if unit.powered else None
    if stated is None:
        stated = unit.takes_class
    return need(stated, (*unit.pointer, "takes_class"), "the power class that it takes")


def feeding_cable(w: Workings, unit: Unit) -> Cable | None:
    """Return the cable that feeds a unit, a link's or a laid route; None where that is not told.

    Of several between the two the one that feeds is not known.
    """
    source = source_of(w, unit)
    between = [
        cable
        for cable in w.once(cables)
        if set(cable.ends) == {unit.name, source}
        and (cable.link.over == "cable" if cable.link else _is_laid(cable))
    ]
    return between[0] if len(between) == 1 else None


def _is_laid(cable: Cable) -> bool:
    entry = cable.entries[0][1]
    return isinstance(entry, CableRoute) and entry.state == "laid"


def _cable_m(w: Workings, unit: Unit) -> float:
    """Return the length of the cable that feeds a unit; raises `Missing` where it is not told."""
    wanted = "the length of the cable that feeds it"
    cable = feeding_cable(w, unit)
    if cable is None:
        raise Missing(
            Input(("cable_routes",), f"the laid cable that feeds {unit.name}, and its length")
        )
    return need(cable.length_m, (*cable.pointer, "length_m"), wanted)


@fact("unit.feeds", Kind.TEXTS, "units that it feeds over their cables", source=STATED)
def feeds(w: Workings, unit: Unit) -> tuple[str, ...]:
    """Return those that are known; where none is and some may be, the answer is open."""
    fed = fed_by(w, unit)
    if fed.unsure and not fed.units:
        raise Missing(*fed.unsure)
    return tuple(other.name for other in fed.units)


@fact("unit.fed_over_cable", Kind.TRUTH, "whether it is fed over its cable", source=STATED)
def fed_over_cable(_: Workings, unit: Unit) -> bool:
    return _over_cable(unit)


@fact(
    "unit.power_given_w",
    Kind.NUMBER,
    "what its source side must hold ready for all that it is known to feed, by class",
    source=TABLE,
    unit="W",
    digits=1,
)
def power_given_w(w: Workings, unit: Unit) -> float:
    return sum(CLASSES[class_of(fed)].source_w for fed in fed_by(w, unit).units)


@fact(
    "unit.power_budget_w",
    Kind.NUMBER,
    "watts that it can hand out",
    source=STATED,
    unit="W",
    digits=1,
)
def power_budget_w(_: Workings, unit: Unit) -> float:
    pointer = (*unit.pointer, "supply_budget_w")
    return need(unit.supply_budget_w, pointer, "the watts that it can hand out")


@fact(
    "unit.budget_short_w",
    Kind.NUMBER,
    "by how much its budget falls short of what it feeds",
    source=TABLE,
    unit="W",
    digits=1,
)
def budget_short_w(w: Workings, unit: Unit) -> float:
    """Return the shortfall; what is known to be fed may break the budget before all is known."""
    fed, lacking = fed_by(w, unit)
    if not fed and not lacking:
        return 0.0
    pointer = (*unit.pointer, "supply_budget_w")
    budget = need(unit.supply_budget_w, pointer, "the watts that it can hand out")
    known, unsure = as_known(fed, lambda other: CLASSES[class_of(other)].source_w)
    if sum(known) <= budget:
        raise_missing((*lacking, *unsure))
    return max(0.0, sum(known) - budget)


@fact(
    "unit.ports_too_weak",
    Kind.TEXTS,
    "units that it feeds and for which no port of enough power is left",
    source=TABLE,
)
def ports_too_weak(w: Workings, unit: Unit) -> tuple[str, ...]:
    """Return them after the neediest unit has the strongest port, and so on down.

    If any way of plugging them in suffices, this one does. One more to feed leaves no fewer.
    """
    sure, unsure = fed_by(w, unit)
    fed = sorted(sure, key=lambda u: -CLASSES[class_of(u)].source_w)
    if not fed and not unsure:
        return ()
    ports = need(unit.ports, (*unit.pointer, "ports"), "its ports and the class that they supply")
    classes = [
        p.supplies_class for p in ports if p.supplies_class is not None for _ in range(p.count)
    ]
    classes.sort(key=lambda number: -CLASSES[number].source_w)
    weak = []
    for position, other in enumerate(fed):
        wanted = class_of(other)
        given = classes[position] if position < len(classes) else None
        if given is None:
            weak.append(f"{other.name} finds no port that feeds")
        elif CLASSES[given].source_w < CLASSES[wanted].source_w:
            weak.append(
                f"{other.name} needs class {wanted} ({CLASSES[wanted].source_w:g} W) and the best "
                f"port left gives class {given} ({CLASSES[given].source_w:g} W)"
            )
    if unsure and not weak:
        raise Missing(*unsure)
    return tuple(weak)


@fact(
    "unit.watts_short",
    Kind.NUMBER,
    "by how much less arrives than it may draw, by class agreed and length of cable",
    source=TABLE,
    unit="W",
    digits=1,
)
def watts_short(w: Workings, unit: Unit) -> float:
    if not _over_cable(unit):
        return 0.0
    pointer = (*unit.pointer, "takes_class")
    takes = need(unit.takes_class, pointer, "the power class that it takes")
    agreed = class_of(unit)
    wanted_w = CLASSES[takes].unit_w
    try:
        arrives = arriving_w(agreed, _cable_m(w, unit))
    except Missing:
        # A lower class falls short over any cable, and a higher one has watts to spare; where the
        # two are alike the length decides.
        arrives = CLASSES[agreed].unit_w
        if arrives == wanted_w:
            raise
    return max(0.0, wanted_w - arrives)


@fact(
    "unit.long_feed",
    Kind.TEXT,
    "the cable that takes the watts, where its class alone would suffice",
    source=TABLE,
)
def long_feed(w: Workings, unit: Unit) -> str:
    takes, cable = unit.takes_class, feeding_cable(w, unit)
    if takes is None or cable is None or unit.powered is None or _may_feed(unit):
        return ""
    return cable.key if CLASSES[class_of(unit)].unit_w >= CLASSES[takes].unit_w else ""


@fact("unit.feed_class", Kind.COUNT, "the class agreed on its feed", source=STATED)
def feed_class(_: Workings, unit: Unit) -> float:
    return class_of(unit)


@fact("unit.takes_class", Kind.COUNT, "the class that it needs for all it can do", source=STATED)
def takes_class(_: Workings, unit: Unit) -> float:
    pointer = (*unit.pointer, "takes_class")
    return need(unit.takes_class, pointer, "the power class that it takes")


@fact(
    "unit.feed_loss_w",
    Kind.NUMBER,
    "the most that its feeding cable loses at the class's full power",
    source=TABLE,
    unit="W",
    digits=1,
)
def feed_loss_w(w: Workings, unit: Unit) -> float:
    return loss_w(class_of(unit), _cable_m(w, unit))

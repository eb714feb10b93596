"""What the units can do, and which of them outclasses the primary.

Two units are compared respect by respect, and only in respects that both state; a unit outclasses
the primary when it is at least as capable in every such respect and better in one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Unit
    from meshlint.workings.site_workings import Workings

COMPARED = "respect by respect, from the catalogue; common practice"

GENERATIONS = (
    "802.11b",
    "802.11a",
    "802.11g",
    "802.11n",
    "802.11ac",
    "802.11ax",
    "802.11be",
)
"""Amendments of IEEE 802.11 in the order in which they raised what a radio can do."""


class Respect(NamedTuple):
    """One respect in which two units can be compared; more is better."""

    name: str
    amount: float
    words: str


def respects(unit: Unit) -> tuple[Respect, ...]:
    """Return every respect of the unit that the file or its catalogue states."""
    found = []
    if unit.routing_mbps is not None:
        found.append(Respect("routing", unit.routing_mbps, f"{unit.routing_mbps:.0f} Mb/s routed"))
    if unit.memory_mb is not None:
        found.append(Respect("memory", unit.memory_mb, f"{unit.memory_mb:.0f} MB of memory"))
    rates = [port.rate_mbps for port in unit.ports or () if port.rate_mbps is not None]
    if rates:
        found.append(Respect("fastest port", max(rates), f"a {max(rates):.0f} Mb/s port"))
    if unit.radios:
        count = len(unit.radios)
        found.append(Respect("radios", count, f"{count} radio{'s' * (count != 1)}"))
    known = [r.generation for r in unit.radios.values() if r.generation in GENERATIONS]
    if known:
        newest = max(known, key=GENERATIONS.index)
        found.append(Respect("generation", GENERATIONS.index(newest), newest))
    streams = [r.streams for r in unit.radios.values() if r.streams is not None]
    if streams:
        found.append(Respect("streams", sum(streams), f"{sum(streams)} spatial streams"))
    return tuple(found)


def _pairs(w: Workings, unit: Unit) -> tuple[tuple[Respect, Respect], ...]:
    """Return (the unit's, the primary's) for every respect that both state."""
    primary = w.site.units[w.site.primary]
    theirs = {respect.name: respect for respect in respects(primary)}
    pairs = tuple(
        (respect, theirs[respect.name]) for respect in respects(unit) if respect.name in theirs
    )
    for known in (unit, primary):
        if known.routing_mbps is None and known.memory_mb is None and known.ports is None:
            # Counting radios alone does not tell which unit is the stronger router.
            raise Missing(Input((*known.pointer, "model"), "what the unit can do"))
    return pairs


@fact("unit.kind", Kind.TEXT, "access, switch or injector", source=STATED)
def kind(_: Workings, unit: Unit) -> str:
    return unit.kind


@fact("unit.outdoors", Kind.TRUTH, "whether the unit stands outdoors", source=STATED)
def outdoors(_: Workings, unit: Unit) -> bool:
    """Return the stated word; a unit of which nothing is said stands indoors, as most do."""
    return bool(unit.outdoors)


@fact("unit.better_than_primary", Kind.TEXTS, "respects in which it is better", source=COMPARED)
def better_than_primary(w: Workings, unit: Unit) -> tuple[str, ...]:
    return tuple(
        f"{ours.words} against {theirs.words}"
        for ours, theirs in _pairs(w, unit)
        if ours.amount > theirs.amount
    )


@fact("unit.worse_than_primary", Kind.TEXTS, "respects in which it is worse", source=COMPARED)
def worse_than_primary(w: Workings, unit: Unit) -> tuple[str, ...]:
    return tuple(
        f"{ours.words} against {theirs.words}"
        for ours, theirs in _pairs(w, unit)
        if ours.amount < theirs.amount
    )


@fact(
    "unit.mbps_gained_as_primary",
    Kind.NUMBER,
    "how much more of the internet line would pass if this unit were the primary",
    source="the smaller of line and routing, for both units",
    unit="Mb/s",
)
def mbps_gained_as_primary(w: Workings, unit: Unit) -> float:
    lines = need(w.site.internet_lines, ("internet_lines",), "the internet lines")
    down_mbps = sum(
        need(line.down_mbps, (*line.pointer, "down_mbps"), "the line's rate")
        for line in lines.values()
    )
    primary = w.site.units[w.site.primary]
    passes = [
        min(down_mbps, need(u.routing_mbps, (*u.pointer, "routing_mbps"), "what it can route"))
        for u in (unit, primary)
    ]
    return passes[0] - passes[1]


@fact("unit.primary", Kind.TEXT, "the name of the site's primary", source=STATED)
def primary_name(w: Workings, _: Unit) -> str:
    return w.site.primary

"""What fails with what: who goes dark when a unit or a link is lost, and what is left for others.

After a loss a unit joins what is left by another link of the file, or by radio where the level
holds a rate; units that hang on it follow. The clients of the lost unit itself are not counted:
they go dark with any unit. The primary is not lost here, since everything hangs on it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.delivery import PATH, way_of
from meshlint.workings.designs import over_chance, path_metric
from meshlint.workings.facts import Input, Kind, Missing, Workings, fact, need
from meshlint.workings.reach import Chance, by_radio, metric_of
from meshlint.workings.topology import backhaul, clients_at, tree, units_behind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Link, Unit

LOSS = "graph search after the loss; new ways over links of the file, or by radio in reach"


class Loss(Struct, frozen=True):
    """Something that is gone: a unit or a link."""

    unit: str | None = None
    link: Link | None = None

    def spares(self, chance: Chance, unit: str) -> bool:
        """Return whether a chance of a unit's is still there.

        With a radio link goes every other radio link between the same two units.
        """
        if self.link is None:
            return chance.parent != self.unit
        if chance.link is self.link:
            return False
        same = {self.link.from_unit, self.link.to_unit} == {unit, chance.parent}
        return not (same and self.link.over == chance.link.over == "radio")

    def dark(self, w: Workings) -> tuple[str, ...]:
        """Return the units whose way as it stands leads through what is gone."""
        if self.link is not None:
            return units_behind(w, self.link)
        below = w.once(tree).below(self.unit or "")
        return tuple(name for name in below if name != self.unit)


def _chances(w: Workings, name: str) -> tuple[tuple[Chance, ...], tuple[Input, ...]]:
    """Return every chance of a unit, and what is missing to tell of others.

    A link of the file counts as it stands; what it carries does not matter here.
    """
    unit = w.site.units[name]
    declared = tuple(
        Chance(link.far_end(name), link, 0.0)
        for link in backhaul(w).values()
        if name in (link.from_unit, link.to_unit)
    )
    found, missing = by_radio(w, unit, any_band=True)
    return declared + found, missing


def stranded(w: Workings, loss: Loss) -> tuple[str, ...]:
    """Return the units that a loss cuts off for good, in the order of the tree.

    Raises `Missing` where units stay cut off as far as can be told, but others cannot be.
    """
    ways = w.once(tree)
    dark = loss.dark(w)
    left = set(dark)
    missing: list[Input] = []
    for name in dark:
        _, unsure = _chances(w, name)
        missing.extend(unsure)
    lit = [name for name in ways.order if name not in left and name != loss.unit]
    reached = set(lit)
    grown = True
    while grown:
        back = {
            name
            for name in left
            if any(c.parent in reached and loss.spares(c, name) for c in _chances(w, name)[0])
        }
        grown = bool(back)
        left -= back
        reached |= back
    if left and missing:
        raise Missing(*dict.fromkeys(missing))
    return tuple(name for name in dark if name in left)


def _worst(w: Workings, unit: Unit) -> tuple[str, tuple[str, ...]]:
    """Return the loss about a unit that costs most clients, and the units that go dark with it."""
    known = w.once(_worst_losses)
    if unit.name not in known:
        at = w.once(clients_at)
        uplink = w.once(tree).uplink.get(unit.name)
        told = [(f"'{unit.name}'", stranded(w, Loss(unit=unit.name)))]
        if uplink is not None:
            told.append((f"the link '{uplink.name}'", stranded(w, Loss(link=uplink))))
        known[unit.name] = max(told, key=lambda entry: sum(at[name] for name in entry[1]))
    return known[unit.name]


def _worst_losses(_: Workings) -> dict[str, tuple[str, tuple[str, ...]]]:
    return {}


@fact(
    "unit.loss",
    Kind.TEXT,
    "which loss costs more: the unit's own, or that of its uplink",
    source=LOSS,
)
def loss_words(w: Workings, unit: Unit) -> str:
    return _worst(w, unit)[0]


@fact("unit.dark_units", Kind.TEXTS, "the units that go dark with it and stay so", source=LOSS)
def dark_units(w: Workings, unit: Unit) -> tuple[str, ...]:
    return _worst(w, unit)[1]


@fact("unit.dark_clients", Kind.COUNT, "devices on those units", source=LOSS)
def dark_clients(w: Workings, unit: Unit) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in _worst(w, unit)[1])


@fact(
    "link.dark_units",
    Kind.TEXTS,
    "the units that go dark when it is lost and stay so",
    source=LOSS,
)
def link_dark_units(w: Workings, link: Link) -> tuple[str, ...]:
    return stranded(w, Loss(link=link))


@fact("link.dark_clients", Kind.COUNT, "devices on those units", source=LOSS)
def link_dark_clients(w: Workings, link: Link) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in stranded(w, Loss(link=link)))


class Fallback(Struct, frozen=True):
    """What is left for a unit after the worse of two losses: its uplink, or its parent."""

    after: str
    parent: str
    mbps: float


def fallback(w: Workings, unit: Unit) -> Fallback:
    """Return the unit's way after the loss that leaves it least; no parent where it has none."""
    known = w.once(_fallbacks)
    if unit.name not in known:
        told = [_after(w, unit, loss, words) for loss, words in _losses(w, unit)]
        known[unit.name] = min(told, key=lambda entry: entry.mbps)
    return known[unit.name]


def _fallbacks(_: Workings) -> dict[str, Fallback]:
    return {}


def _losses(w: Workings, unit: Unit) -> Iterator[tuple[Loss, str]]:
    ways = w.once(tree)
    uplink = need(ways.uplink.get(unit.name), ("backhaul",), f"a link that joins '{unit.name}'")
    yield Loss(link=uplink), f"the link '{uplink.name}'"
    parent = uplink.far_end(unit.name)
    if parent != w.site.primary:
        yield Loss(unit=parent), f"'{parent}'"


def _after(w: Workings, unit: Unit, loss: Loss, words: str) -> Fallback:
    """Return the best way that a loss leaves to a unit, by the metric."""
    ways = w.once(tree)
    below = set(ways.below(unit.name))
    chances, missing = _chances(w, unit.name)
    gone = below | set(loss.dark(w))
    best: tuple[float, Chance] | None = None
    for chance in chances:
        there = chance.parent
        if there in gone or there not in ways.order or not loss.spares(chance, unit.name):
            continue
        metric = metric_of(w, chance.link) + path_metric(w, there)
        if best is None or metric < best[0]:
            best = (metric, chance)
    if best is None:
        if missing:
            raise Missing(*dict.fromkeys(missing))
        return Fallback(words, "", 0.0)
    return Fallback(words, best[1].parent, over_chance(w, best[1]).ceiling_mbps)


@fact(
    "unit.fallback_after",
    Kind.TEXT,
    "the loss that leaves it least: its uplink, or its parent",
    source=LOSS,
)
def fallback_after(w: Workings, unit: Unit) -> str:
    return fallback(w, unit).after


@fact("unit.fallback_parent", Kind.TEXT, "the unit that it would then hang on", source=LOSS)
def fallback_parent(w: Workings, unit: Unit) -> str:
    return fallback(w, unit).parent


@fact(
    "unit.fallback_mbps",
    Kind.NUMBER,
    "the most that it would then get from the primary",
    source=f"{LOSS}; {PATH}",
    unit="Mb/s",
)
def fallback_mbps(w: Workings, unit: Unit) -> float:
    return fallback(w, unit).mbps


@fact(
    "unit.fallback_percent",
    Kind.NUMBER,
    "what that is of today's",
    source=f"{LOSS}; {PATH}",
    unit="%",
)
def fallback_percent(w: Workings, unit: Unit) -> float:
    return 100 * fallback(w, unit).mbps / way_of(w, unit.name).ceiling_mbps


FACTS = (
    loss_words,
    dark_units,
    dark_clients,
    link_dark_units,
    link_dark_clients,
    fallback_after,
    fallback_parent,
    fallback_mbps,
    fallback_percent,
)

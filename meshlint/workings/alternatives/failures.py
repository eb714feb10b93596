"""What fails with what: who goes dark when a unit or a link is lost, and what is left for others.

After a loss a unit joins what is left by another link of the file, or by radio where the level
holds a rate; units that hang on it follow. The clients of the lost unit itself are not counted:
they go dark with any unit. The primary is not lost here, since everything hangs on it.
"""

from __future__ import annotations

import heapq
import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.alternatives.candidate_links import (
    CandidateLink,
    by_radio,
    invented,
    links_of_units,
    metric_of,
    without_radio,
)
from meshlint.workings.alternatives.parent import over_candidates, path_metric
from meshlint.workings.alternatives.roaming import COVERED, left_alone
from meshlint.workings.alternatives.taken_over import TAKEN_OVER, known_short
from meshlint.workings.capacity.path_throughput import PATH, carrying_throughput
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import clients_at
from meshlint.workings.links.goodput import other_legs
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.tree import joined_legs, tree, units_behind
from meshlint.workings.unknown import Input, Missing, Unknown, answer, need

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping

    from meshlint.site.model import Link, Unit
    from meshlint.workings.contention.domains import Contender
    from meshlint.workings.site_workings import Workings

LOSS = "graph search after the loss; new ways over links of the file, or by radio in reach"


class Failure(Struct, frozen=True):
    """Something that is gone: a unit or a link."""

    unit: str | None = None
    link: Link | None = None

    def spares(self, candidate: CandidateLink, unit: str) -> bool:
        """Return whether a chance of a unit's is still there.

        With a radio link goes every other radio link between the same two units.
        """
        if self.link is None:
            return candidate.parent != self.unit
        if candidate.link is self.link:
            return False
        return not (candidate.link.over == "radio" and self.parts(unit, candidate.parent))

    def parts(self, one: str, other: str) -> bool:
        """Return whether two units no longer hear each other: their radio link is what is gone."""
        link = self.link
        return (
            link is not None
            and link.over == "radio"
            and {link.from_unit, link.to_unit} == {one, other}
        )

    def silences(self, contender: Contender) -> bool:
        """Return whether nobody is on a contender any more, since an end of it is gone."""
        if self.link is not None:
            return contender.link is self.link
        return self.unit in contender.units

    def dark(self, w: Workings) -> tuple[str, ...]:
        """Return the units whose way as it stands leads through what is gone.

        A link whose other legs stand does not go down with one.
        """
        if self.link is not None:
            return () if other_legs(w, self.link) else units_behind(w, self.link)
        below = w.once(tree).below(self.unit or "")
        return tuple(name for name in below if name != self.unit)


def _candidates(w: Workings, name: str) -> tuple[CandidateLink, ...]:
    """Return every chance that a unit has to join another.

    A link of the file counts as it stands, unless it was measured to carry nothing.
    """
    return w.once(_candidates_of, name, name)


def _candidates_of(w: Workings, name: str) -> tuple[CandidateLink, ...]:
    links = w.once(links_of_units).get(name, ())
    declared = (CandidateLink(link.far_end(name), link, 0.0) for link in links)
    return (*declared, *by_radio(w, w.site.units[name], in_need=True).candidates)


def _parents(w: Workings, name: str, loss: Failure) -> Collection[str]:
    """Return the units that a unit could join after a loss, of which a lost unit may be one."""
    if loss.link is not None and name in (loss.link.from_unit, loss.link.to_unit):
        return {
            candidate.parent for candidate in _candidates(w, name) if loss.spares(candidate, name)
        }
    return w.once(_all_parents, name, name)


def _all_parents(w: Workings, name: str) -> frozenset[str]:
    return frozenset(candidate.parent for candidate in _candidates(w, name))


def _joiners(w: Workings) -> Mapping[str, tuple[tuple[str, CandidateLink], ...]]:
    """Return for each unit the units that could join it, and how."""
    found: dict[str, list[tuple[str, CandidateLink]]] = {}
    for name in sorted(w.site.units):
        for candidate in _candidates(w, name):
            found.setdefault(candidate.parent, []).append((name, candidate))
    return {parent: tuple(joiners) for parent, joiners in found.items()}


def _unsure(w: Workings, names: Iterable[str], loss: Failure) -> tuple[Input, ...]:
    """Return what is missing to tell of further chances of some units after a loss."""
    return tuple(
        dict.fromkeys(
            wanted
            for name in names
            for other, inputs in by_radio(w, w.site.units[name], in_need=True).unsure.items()
            if other != loss.unit and not loss.parts(name, other)
            for wanted in inputs
        )
    )


def stranded(w: Workings, loss: Failure) -> tuple[str, ...]:
    """Return the units that a loss cuts off for good, in the order of the tree.

    Raises `Missing` where units stay cut off as far as can be told, but others cannot be.
    """
    dark = loss.dark(w)
    left = set(dark)
    lit = set(w.once(tree).order) - left - {loss.unit}
    back = [name for name in dark if not lit.isdisjoint(_parents(w, name, loss))]
    left.difference_update(back)
    joiners = w.once(_joiners) if left and back else {}
    for parent in back:  # grows on the way
        for name, candidate in joiners.get(parent, ()):
            if name in left and loss.spares(candidate, name):
                left.remove(name)
                back.append(name)
    if missing := _unsure(w, (name for name in dark if name in left), loss):
        raise Missing(*missing)
    return tuple(name for name in dark if name in left)


class _Loss(Struct, frozen=True):
    """A loss in words, the unit lost, those that stay dark, and all that are off the air then."""

    words: str
    unit: str
    dark: tuple[str, ...]
    gone: frozenset[str]


def _loss(w: Workings, words: str, loss: Failure) -> _Loss:
    dark = stranded(w, loss)
    unit = loss.unit or ""
    return _Loss(words, unit, dark, frozenset((*dark, unit)))


def _worst(w: Workings, unit: Unit) -> _Loss:
    """Return the loss about a unit that costs most clients, and the units that go dark with it.

    Where nobody says who uses the site, the one that costs most units.
    """
    return w.once(_worst_of, unit.name, unit)


def _worst_of(w: Workings, unit: Unit) -> _Loss:
    at: Mapping[str, float] = dict.fromkeys(w.site.units, 1.0)
    if w.site.clients is not None:
        at = w.once(clients_at)
    uplink = w.once(tree).uplink.get(unit.name)
    told = [_loss(w, unit.name, Failure(unit=unit.name))]
    if uplink is not None:
        told.append(_loss(w, _by_ends(uplink), Failure(link=uplink)))
    return max(told, key=lambda loss: sum(at[name] for name in loss.dark))


def _by_ends(link: Link) -> str:
    return f"the link between {link.from_unit} and {link.to_unit}"


@fact(
    "unit.loss",
    Kind.TEXT,
    "which loss costs more: the unit's own, or that of its uplink",
    source=LOSS,
)
def loss_words(w: Workings, unit: Unit) -> str:
    return _worst(w, unit).words


@fact("unit.dark_units", Kind.TEXTS, "the units that go dark with it and stay so", source=LOSS)
def dark_units(w: Workings, unit: Unit) -> tuple[str, ...]:
    return _worst(w, unit).dark


@fact("unit.dark_clients", Kind.COUNT, "devices on those units", source=LOSS)
def dark_clients(w: Workings, unit: Unit) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in _worst(w, unit).dark)


@fact(
    "unit.left_alone_clients",
    Kind.COUNT,
    "how many of those devices no unit covers that keeps its way",
    source=f"{LOSS}; {COVERED}",
)
def left_alone_clients(w: Workings, unit: Unit) -> float:
    return _left_alone(w, _worst(w, unit))


def _left_alone(w: Workings, loss: _Loss) -> float:
    return left_alone(w, loss.dark, loss.gone)


@fact(
    "unit.short_clients",
    Kind.COUNT,
    "how many others are then known to get less than half of what they ask for, and got it before: "
    "devices of those units that another covers, and devices on units that take over",
    source=f"{LOSS}; {TAKEN_OVER}",
)
def short_clients(w: Workings, unit: Unit) -> float:
    return _short(w, _worst(w, unit))


def _short(w: Workings, loss: _Loss) -> float:
    return known_short(w, loss.gone, loss.unit)


@fact(
    "unit.hit_clients",
    Kind.COUNT,
    "devices without a network that serves them after that loss: unit.left_alone_clients and "
    "unit.short_clients",
    source=f"{LOSS}; {COVERED}",
)
def hit_clients(w: Workings, unit: Unit) -> float:
    worst = _worst(w, unit)
    return _left_alone(w, worst) + _short(w, worst)


@fact(
    "link.dark_units",
    Kind.TEXTS,
    "the units that go dark when it is lost and stay so",
    source=LOSS,
)
def link_dark_units(w: Workings, link: Link) -> tuple[str, ...]:
    return stranded(w, Failure(link=link))


@fact("link.dark_clients", Kind.COUNT, "devices on those units", source=LOSS)
def link_dark_clients(w: Workings, link: Link) -> float:
    at = w.once(clients_at)
    return sum(at[name] for name in stranded(w, Failure(link=link)))


class Fallback(Struct, frozen=True):
    """What is left for a unit after the worse of two losses: its uplink, or its parent.

    `way` holds the new links, its own first, up to a unit that kept its way.
    """

    lost: Failure
    after: str
    parent: str
    mbps: float
    way: tuple[CandidateLink, ...]


def fallback(w: Workings, unit: Unit) -> Fallback:
    """Return the unit's way after the loss that leaves it least; no parent where it has none."""
    return w.once(_fallback, unit.name, unit)


def _fallback(w: Workings, unit: Unit) -> Fallback:
    told = [*_without_a_leg(w, unit)]
    told += [_after(w, unit, loss, words) for loss, words in _failures(w, unit)]
    if not told:
        wanted = f"a link of {unit.name} that can be lost with all behind it"
        raise Missing(Input(("backhaul",), wanted))
    return min(told, key=lambda entry: entry.mbps)


def _without_a_leg(w: Workings, unit: Unit) -> Iterator[Fallback]:
    """Yield what the other legs of a unit's uplink leave when one of them is lost.

    Of two or more that are left the best alone counts: the least that there is then. As after any
    loss the unit may join another where that takes less air.
    """
    uplink = w.once(tree).uplink.get(unit.name)
    for leg in joined_legs(w, uplink) if uplink is not None else ():
        rest = other_legs(w, leg)
        if not rest:
            continue
        links = [invented(w, *radios_of(w, other)) for other in rest]
        ways = [CandidateLink(leg.far_end(unit.name), link, 0.0) for link in links]
        ways += _elsewhere(w, unit, leg)
        best = min(ways, key=lambda c: metric_of(w, c.link) + path_metric(w, c.parent))
        mbps = over_candidates(w, [best]).ceiling_mbps
        words = f"one radio of {_by_ends(leg)}"
        yield Fallback(Failure(link=leg), words, best.parent, mbps, (best,))


def _elsewhere(w: Workings, unit: Unit, lost: Link) -> Iterator[CandidateLink]:
    """Yield the ways of a unit to other parents, but for those over the radio that is lost."""
    radio = radio_of(w, lost, unit.name)
    declared = (
        CandidateLink(link.far_end(unit.name), link, 0.0)
        for link in w.once(links_of_units).get(unit.name, ())
        if link.over != "radio" or radio_of(w, link, unit.name) is not radio
    )
    able = set(w.once(tree).order) - {*w.once(tree).below(unit.name), lost.far_end(unit.name)}
    for candidate in (*declared, *without_radio(w, unit, radio).candidates):
        if candidate.parent in able:
            yield candidate


def _failures(w: Workings, unit: Unit) -> Iterator[tuple[Failure, str]]:
    ways = w.once(tree)
    uplink = need(ways.uplink.get(unit.name), ("backhaul",), f"a link that joins {unit.name}")
    if not other_legs(w, uplink):
        yield Failure(link=uplink), _by_ends(uplink)
    parent = uplink.far_end(unit.name)
    if parent != w.site.primary:
        yield Failure(unit=parent), parent


def _after(w: Workings, unit: Unit, loss: Failure, words: str) -> Fallback:
    """Return the best way that a loss leaves to a unit, by the metric.

    Units that go dark with it may find a way first and pass it on (Dijkstra 1959, from the units
    that are left, whose ways stay what they are).
    """
    dark = {*loss.dark(w)}
    took = _shortest(w, loss, dark, unit.name)
    if unit.name not in took:
        if missing := _unsure(w, sorted(dark), loss):
            raise Missing(*missing)
        return Fallback(loss, words, "", 0.0, ())
    way = [took[unit.name]]
    while way[-1].parent in took:
        way.append(took[way[-1].parent])
    found_mbps = over_candidates(w, way).ceiling_mbps
    return Fallback(loss, words, way[0].parent, found_mbps, tuple(way))


def _shortest(w: Workings, loss: Failure, dark: set[str], wanted: str) -> dict[str, CandidateLink]:
    """Return the chance that a dark unit takes, and those of all that it then hangs on.

    By the least metric to the primary; others may be among them.
    """
    offered = set().union(*(_parents(w, name, loss) for name in dark))
    least = {
        name: path_metric(w, name)
        for name in w.once(tree).order
        if name in offered and name not in dark and name != loss.unit
    }
    queue = [(metric, name) for name, metric in least.items()]
    heapq.heapify(queue)
    took: dict[str, CandidateLink] = {}
    joiners = w.once(_joiners)
    while queue:
        metric, here = heapq.heappop(queue)
        if here == wanted:
            break
        if metric > least[here]:
            continue
        for name, candidate in joiners.get(here, ()):
            if name not in dark or not loss.spares(candidate, name):
                continue
            beyond = metric + metric_of(w, candidate.link)
            if beyond < least.get(name, math.inf):
                least[name], took[name] = beyond, candidate
                heapq.heappush(queue, (beyond, name))
    return took


@fact(
    "unit.fallback_after",
    Kind.TEXT,
    "the loss that leaves it least: its uplink, or its parent",
    source=LOSS,
)
def fallback_after(w: Workings, unit: Unit) -> str:
    return fallback(w, unit).after


@fact(
    "unit.fallback_clients_covered",
    Kind.TRUTH,
    "whether the file shows that there are devices at this unit or behind it, and that other units "
    "cover all of them after that loss",
    source=f"{LOSS}; {COVERED}",
)
def fallback_clients_covered(w: Workings, unit: Unit) -> bool:
    if w.site.clients is None:
        return False
    below = w.once(tree).below(unit.name)
    at = w.once(clients_at)
    gone = frozenset(below) | {fallback(w, unit).lost.unit or ""}
    if not any(at[name] for name in below):
        return False
    alone = answer(left_alone, w, below, gone)
    return not isinstance(alone, Unknown) and alone < 1


@fact(
    "unit.fallback_short_clients",
    Kind.COUNT,
    "how many devices are known to get less than half of what they ask for once other units have "
    "taken over all that are at this unit and behind it",
    source=f"{LOSS}; {TAKEN_OVER}",
)
def fallback_short_clients(w: Workings, unit: Unit) -> float:
    below = w.once(tree).below(unit.name)
    return known_short(w, frozenset(below) | {fallback(w, unit).lost.unit or ""})


@fact("unit.fallback_parent", Kind.TEXT, "the unit that it would then join", source=LOSS)
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
    return 100 * fallback(w, unit).mbps / carrying_throughput(w, unit.name).ceiling_mbps

"""A site with some radios or links otherwise, and what it would deliver then.

A *scenario* says which way the units that a change is about take to the primary, and which
contenders stand otherwise than in the file; the rest of the site stays what it is. What those units
would get is worked out for all of them at once, each drawing as much as it can: max-min fair, every
collision domain of the links on their ways within the time that others leave (Jun and Sichitiu
2003). Others take what the file says that they ask for: clients on their last hop, backhaul for
units that the change is not about, names, and foreign networks.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from meshlint.physics.fairness import Flow, max_min
from meshlint.workings.contention.airtime import (
    foreign_share,
    names_share,
    share_behind,
    traffic,
    turns_of,
)
from meshlint.workings.contention.domain_load import DomainLoad, Load, Turns, domain_load
from meshlint.workings.contention.domains import (
    conflict,
    conflict_graph,
    conflicting,
    contenders,
)
from meshlint.workings.links.demand import behind_mbps, devices_at, total_mbps
from meshlint.workings.links.goodput import (
    airtime_share,
    carried_mbps,
    legs_of_way,
    radio_hop,
    share_of_hop,
)
from meshlint.workings.topology.tree import units_behind
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from meshlint.physics.capacity import Hop
    from meshlint.site.model import Link
    from meshlint.workings.contention.domains import Contender
    from meshlint.workings.site_workings import Workings

A = TypeVar("A")
T = TypeVar("T")

DRAWN = (
    "max-min fair shares of units that all draw at once, each collision domain within the time "
    "that others leave (Jun and Sichitiu 2003)"
)


_NOBODY: Turns = ()


class Scenario(Struct, frozen=True):
    """How the ways of some units run, and the contenders that differ from the file, by key.

    `hops` holds what moved links carry; `gone` are contenders that nobody is on any more. Where
    `strict` is false, what the file does not say of others' load counts as none; where they are
    `alone`, nobody else asks for anything.
    """

    ways: Mapping[str, tuple[Link, ...]]
    moved: Mapping[str, Contender]
    hops: Mapping[str, Hop]
    gone: frozenset[str]
    strict: bool
    alone: bool = False

    def on_ways(self) -> dict[str, Link]:
        """Return the radio links on the ways, by the keys of their contenders."""
        links = (link for way in self.ways.values() for link in way)
        return {f"link/{link.name}": link for link in links if link.over == "radio"}


def baseline(w: Workings, units: tuple[str, ...], *, strict: bool) -> Scenario:
    """Return the scenario of the file, seen from some units."""
    return Scenario({unit: legs_of_way(w, unit) for unit in units}, {}, {}, frozenset(), strict)


def drawn(w: Workings, scenario: Scenario) -> dict[str, float]:
    """Return the Mb/s of each unit of a scenario when all draw as much as they can."""
    if scenario.moved or scenario.gone:
        return _drawn(w, scenario)
    # Where nothing is moved, the units say it all.
    return w.once(_drawn, (tuple(scenario.ways), scenario.strict, scenario.alone), scenario)


def _drawn(w: Workings, scenario: Scenario) -> dict[str, float]:
    sharing = _Saturation(w, scenario)
    flows = [Flow(1.0, math.inf, sharing.uses(way)) for way in scenario.ways.values()]
    names = dict.fromkeys(name for flow in flows for name in flow.uses)
    rooms = {name: sharing.room(name) for name in names}
    shares = max_min(flows, rooms)
    return {unit: share.rate_mbps for unit, share in zip(scenario.ways, shares, strict=True)}


def widened(w: Workings, scenario: Scenario, after: Scenario) -> Scenario:
    """Return a scenario with the units whose backhaul uses air that a change moves links to.

    They draw as well then, so that what one gains by taking it from them is no gain.
    """
    now = _Saturation(w, after)
    near = {
        contender.key: contender
        for key in after.moved
        if key in now.links
        for contender in now.near(key)
    }
    links = [
        contender.link
        for key, contender in near.items()
        if contender.link and key not in after.moved
    ]
    behind = {unit for link in links for unit in units_behind(w, link)} - after.ways.keys()
    added = [u for u in w.site.units if u in behind and w.site.units[u].kind == "access"]
    if not added:
        return scenario
    return replace(
        scenario, ways={**scenario.ways, **{unit: legs_of_way(w, unit) for unit in added}}
    )


def still_fits(w: Workings, before: Scenario, after: Scenario) -> bool:
    """Return whether what all ask for has room in each air and wire that a change puts more on.

    Or is at least no more than it was, in an air that was full already; that of a new link is held
    against that of the link whose place it takes.
    """
    then, now = _Saturation(w, before), _Saturation(w, after)
    if not all(now.wire_holds(link) for link in now.wires() if link not in then.wires()):
        return False
    turned = {**then.links, **now.links, **after.moved, **dict.fromkeys(after.gone)}
    less, more = then.stated(turned), now.stated(key for key in turned if key not in after.gone)
    for key in sorted(more):
        if key in after.moved:
            full = now.fullness(key)
        else:
            full = then.air(key).with_others(less.get(key, ()), more[key]).fullness
        was = [key] if then.has(key) else sorted(after.gone)
        if full > 1 and not any(full <= then.fullness(old) for old in was):
            return False
    return True


def others_percent(w: Workings, scenario: Scenario, link: Link) -> float:
    """Return what all but the units of a scenario take of the air of a link on their ways."""
    sharing = _Saturation(w, scenario)
    load = domain_load(map(sharing.of_others, sharing.near(f"link/{link.name}")))
    return 100 * (load.asked + load.names + load.foreign)


class _Saturation:
    """Who shares which air in a scenario, and what of it they take; each looked up once."""

    def __init__(self, w: Workings, scenario: Scenario) -> None:
        self.w = w
        self.scenario = scenario
        self.links = scenario.on_ways()
        self.left = {link.name for unit in scenario.ways for link in legs_of_way(w, unit)}
        self.stands = not (scenario.moved or scenario.gone) and all(
            way == legs_of_way(w, unit) for unit, way in scenario.ways.items()
        )
        self._near: dict[str, tuple[Contender, ...]] = {}
        self._used: dict[str, tuple[list[str], float]] = {}
        self._loads: dict[str, float] = {}
        self._airs: dict[str, DomainLoad] = {}
        self._counted: dict[str, Load] = {}

    def has(self, key: str) -> bool:
        """Return whether a contender is on the air in this scenario."""
        return key in self.scenario.moved or key in self.w.once(contenders)

    def near(self, key: str) -> tuple[Contender, ...]:
        """Return the contenders that a contender shares air with, itself among them."""
        if key not in self._near:
            self._near[key] = tuple(self._around(key))
        return self._near[key]

    def _around(self, key: str) -> Iterator[Contender]:
        moved, gone, known = self.scenario.moved, self.scenario.gone, self.w.once(contenders)
        if key in moved:
            contender = moved[key]
            stay = conflicting(self.w, contender)
        else:
            contender = known[key]
            stay = (known[other] for other in self.w.once(conflict_graph).around(key))
        yield from (other for other in stay if other.key not in moved and other.key not in gone)
        for other in moved.values():
            if other is contender or conflict(self.w, contender, other):
                yield other

    def uses(self, way: tuple[Link, ...]) -> dict[str, float]:
        """Return for each resource of a way the share of it that one Mb/s takes."""
        found: dict[str, float] = {}
        for link in way:
            names, share = self._uses(link)
            for name in names:
                found[name] = found.get(name, 0.0) + share
        return found

    def _uses(self, link: Link) -> tuple[list[str], float]:
        """Return the resources of one link, and the share of each that one Mb/s takes."""
        if link.name not in self._used:
            names = [f"wire/{link.name}"]
            if link.over == "radio":
                near = self.near(f"link/{link.name}")
                names = [contender.key for contender in near if contender.key in self.links]
            self._used[link.name] = names, 1 / self.carried_mbps(link)
        return self._used[link.name]

    def carried_mbps(self, link: Link) -> float:
        """Return what a link carries in this scenario, something at least."""
        hop = self.scenario.hops.get(f"link/{link.name}")
        return carried_mbps(self.w, link) if hop is None else hop.goodput_mbps

    def hop(self, link: Link) -> Hop:
        """Return a radio link of this scenario as a hop."""
        return self.scenario.hops.get(f"link/{link.name}") or radio_hop(self.w, link)

    def room(self, name: str) -> float:
        """Return how much of a resource there is for the units that draw."""
        if name not in self.links:
            wire = next(link for link in self.wires() if f"wire/{link.name}" == name)
            return max(0.0, 1 - self._told(self._wire_load, wire, 0.0))
        return domain_load(map(self.of_others, self.near(name))).spare

    def of_others(self, contender: Contender) -> Load:
        """Return what is gone of an air before the units that draw have theirs, and all turns."""
        link, scenario = contender.link, self.scenario
        if (contender.key in scenario.moved or contender.key in scenario.hops) or (
            link is not None and (link.name in self.left or contender.key in self.links)
        ):
            if contender.key not in self._counted:
                self._counted[contender.key] = self.counted(contender)
            return self._counted[contender.key]
        # The scenario has nothing to do with it: all scenarios of the kind have it alike.
        key = (contender.key, scenario.strict, scenario.alone)
        return self.w.once(_untouched, key, self, contender)

    def counted(self, contender: Contender) -> Load:
        """Return the same, worked out for this scenario."""
        share, turns = 0.0, self._told(self._turns, contender, _NOBODY)
        if not self.scenario.alone:
            share = self._told(self._load, contender, 0.0)
        if contender.link is not None:
            drawn = contender.key in self.links
            turns = ((1.0, self.hop(contender.link).exchange),) if drawn or share else ()
        elif self.scenario.alone:
            turns = ()
        return Load(share, self._names(contender), self._foreign(contender), turns)

    def _turns(self, contender: Contender) -> Turns:
        """Return the turns of a contender's clients; who moves keeps those of the file."""
        if contender.link is not None:
            return ()
        return turns_of(self.w, self.w.once(contenders)[contender.key])

    def _names(self, contender: Contender) -> float:
        if contender.link is not None:
            return 0.0
        stated = self.w.once(contenders)[contender.key]
        return self._told(lambda x: names_share(self.w, x), stated, 0.0)

    def _foreign(self, contender: Contender) -> float:
        return self._told(lambda x: foreign_share(self.w, x), contender, 0.0)

    def _load(self, contender: Contender) -> float:
        """Return the share of an air that a contender's clients, or those behind its link, want."""
        if contender.link is None:
            return self.w.once(_client_load, contender.key, contender.key)
        if contender.key not in self._loads:
            self._loads[contender.key] = self._others_share(contender.link)
        return self._loads[contender.key]

    def _others_share(self, link: Link) -> float:
        """Return the share of a radio link's air that units ask for that the change spares."""
        if link.name not in self.left and f"link/{link.name}" not in self.scenario.hops:
            return self.w.once(share_behind, link.name, link)
        units = units_behind(self.w, link)
        if link.name in self.left:
            units = tuple(unit for unit in units if unit not in self.scenario.ways)
        return self._share(link, units)

    def _share(self, link: Link, units: Iterable[str]) -> float:
        """Return the share of a radio link's air that what some units ask for takes."""
        devices = (group for unit in units for group in devices_at(self.w, unit))
        hop = self.scenario.hops.get(f"link/{link.name}")
        return airtime_share(self.w, link, devices) if hop is None else share_of_hop(hop, devices)

    def _others_mbps(self, link: Link) -> tuple[float, float]:
        """Return what is asked of a link for units that the change is not about, down and up."""
        if link.name not in self.left:
            return behind_mbps(self.w, link)
        others = (unit for unit in units_behind(self.w, link) if unit not in self.scenario.ways)
        return total_mbps(group for unit in others for group in devices_at(self.w, unit))

    def wires(self) -> list[Link]:
        """Return the links of the ways that are no radio links, each once."""
        links = {link.name: link for way in self.scenario.ways.values() for link in way}
        return [link for link in links.values() if link.over != "radio"]

    def _wire_load(self, link: Link) -> float:
        """Return the share of a wire, towards the clients, that others ask for."""
        if self.scenario.alone:
            return 0.0
        down_mbps, up_mbps = self._others_mbps(link)
        asked_mbps = down_mbps if link.over == "cable" else down_mbps + up_mbps
        return asked_mbps / self.carried_mbps(link)

    def wire_holds(self, link: Link) -> bool:
        """Return whether a wire carries what all ask of it."""
        others = self._told(self._others_mbps, link, (0.0, 0.0))
        mine = self._told(self._mine_mbps, link, (0.0, 0.0))
        down_mbps, up_mbps = others[0] + mine[0], others[1] + mine[1]
        asked = max(down_mbps, up_mbps) if link.over == "cable" else down_mbps + up_mbps
        return asked <= self.carried_mbps(link)

    def fullness(self, key: str) -> float:
        """Return what all ask of an air as a share of what there is."""
        return self.air(key).fullness

    def air(self, key: str) -> DomainLoad:
        """Return what all ask of the air around a contender."""
        if self.stands:
            return self.w.once(_load_of, (key, self.scenario.strict), self, key)
        if key not in self._airs:
            self._airs[key] = _load_of(self.w, self, key)
        return self._airs[key]

    def stated(self, keys: Iterable[str]) -> dict[str, list[Load]]:
        """Return what contenders ask of each air that they are in, by the one in its middle."""
        found: dict[str, list[Load]] = {}
        for key in keys:
            if self.has(key):
                near = self.near(key)
                load = self.load(next(contender for contender in near if contender.key == key))
                for contender in near:
                    found.setdefault(contender.key, []).append(load)
        return found

    def load(self, contender: Contender) -> Load:
        """Return what all ask of a contender, the units that draw by what they ask for as well."""
        share = self._told(self._load, contender, 0.0)
        names, foreign = self._names(contender), self._foreign(contender)
        if contender.link is None:
            return Load(share, names, foreign, self._told(self._turns, contender, _NOBODY))
        share += self._told(self._mine_share, contender.link, 0.0)
        turns = ((1.0, self.hop(contender.link).exchange),) if share else ()
        return Load(share, names, foreign, turns)

    def _mine_mbps(self, link: Link) -> tuple[float, float]:
        """Return what the units that the change is about ask of a link, down and up."""
        return total_mbps(x for unit in self._over(link) for x in devices_at(self.w, unit))

    def _mine_share(self, link: Link) -> float:
        """Return the share of a radio link's air that those units ask for."""
        return self._share(link, self._over(link))

    def _over(self, link: Link) -> list[str]:
        """Return the units that the change is about whose way leads over a link."""
        return [unit for unit, way in self.scenario.ways.items() if any(x is link for x in way)]

    def _told(self, ask: Callable[[A], T], of: A, unsaid: T) -> T:
        """Return an answer; a missing one is raised, or taken for none where that will do."""
        try:
            return ask(of)
        except Missing:
            if self.scenario.strict:
                raise
            return unsaid


def _load_of(_: Workings, sharing: _Saturation, key: str) -> DomainLoad:
    """Return what all ask of the air around a contender."""
    return domain_load(map(sharing.load, sharing.near(key)))


def _untouched(_: Workings, sharing: _Saturation, contender: Contender) -> Load:
    """Return what is gone of an air through a contender that no unit of a scenario is on."""
    return sharing.counted(contender)


def _client_load(w: Workings, key: str) -> float:
    """Return what a contender's clients want of the air, as a share (0 to 1) of its time."""
    return math.fsum(entry.percent for entry in traffic(w, w.once(contenders)[key])) / 100

"""How much of what clients ask for the way that is left after a loss would carry.

Air and wires of that way are shared out as `meshlint.workings.contention.airtime` has it: what
others ask for there, what their backhaul, names and foreign networks take comes off first, and what
is left goes to the clients that came round, at the goodput of each hop and with every collision
domain within its time (Jun and Sichitiu 2003). Other units that the same loss sends another way are
left where they were.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.alternatives.candidate_links import joined_contender
from meshlint.workings.alternatives.failures import LOSS, fallback
from meshlint.workings.contention.airtime import foreign_share, names_share, traffic, turns_of
from meshlint.workings.contention.domain_load import Load, domain_load
from meshlint.workings.contention.domains import conflict, conflicting, link_contender
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import behind_mbps, devices_at, total_mbps
from meshlint.workings.links.goodput import carried_mbps, goodput_mbps, radio_hop
from meshlint.workings.topology.tree import GRAPH, links_of, tree, units_behind
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Link, Unit
    from meshlint.workings.alternatives.failures import Fallback
    from meshlint.workings.contention.domains import Contender
    from meshlint.workings.site_workings import Workings

LEFT = f"{LOSS}; collision domains (Jun and Sichitiu 2003) less what others ask for there"


def share_carried(w: Workings, unit: Unit) -> float:
    """Return how many times over the detour would carry what its clients ask for.

    Infinite where they ask for nothing, nought where there is no way. Raises `Missing` where the
    file does not tell.
    """
    return w.once(_share_carried, unit.name, unit)


def _share_carried(w: Workings, unit: Unit) -> float:
    asked = _asked_mbps(w, unit)
    found = fallback(w, unit)
    if not found.way:
        return 0.0
    if not any(asked):
        return math.inf
    links = (*(candidate.link for candidate in found.way), *links_of(w, found.way[-1].parent))
    wired = (_over_wire(w, unit, link, asked) for link in links if link.over != "radio")
    return min((*wired, *_over_air(w, unit, found, links, asked)))


def _asked_mbps(w: Workings, unit: Unit) -> tuple[float, float]:
    return total_mbps(g for name in w.once(tree).below(unit.name) for g in devices_at(w, name))


def _over_wire(w: Workings, unit: Unit, link: Link, asked: tuple[float, float]) -> float:
    """Return how many times over a wire would carry what is asked, beside the others on it."""
    carried_mbps = goodput_mbps(w, link)
    others = _others_mbps(w, unit, link)
    if link.over != "cable":
        return max(0.0, carried_mbps - sum(others)) / sum(asked)
    return min(
        max(0.0, carried_mbps - there) / mine
        for mine, there in zip(asked, others, strict=True)
        if mine
    )


def _others_mbps(w: Workings, unit: Unit, link: Link) -> tuple[float, float]:
    """Return what others than those behind a unit ask of a link, down and up."""
    ways = w.once(tree)
    if not any(link is mine for mine in ways.way(unit.name)):
        return behind_mbps(w, link)
    below = set(ways.below(unit.name))
    others = (name for name in units_behind(w, link) if name not in below)
    return total_mbps(group for name in others for group in devices_at(w, name))


def _over_air(
    w: Workings, unit: Unit, found: Fallback, links: tuple[Link, ...], asked: tuple[float, float]
) -> Iterator[float]:
    """Return how many times over the air of each radio hop would carry what is asked."""
    made = {candidate.link.name for candidate in found.way}
    radio = [link for link in links if link.over == "radio"]
    way = [
        joined_contender(w, link) if link.name in made else link_contender(w, link)
        for link in radio
    ]
    for contender in way:
        mine = [other for other in way if other is contender or conflict(w, contender, other)]
        inside = {other.key for other in way}
        others = [
            other
            for other in conflicting(w, contender)
            if other.key not in inside
            and not found.lost.silences(other)
            and (other.link is None or any(_others_mbps(w, unit, other.link)))
        ]
        hops = [radio_hop(w, near.link) for near in mine if near.link is not None]
        loads = [
            Load(_asked(w, unit, near), 0.0, foreign_share(w, near), ((1.0, hop.exchange),))
            for near, hop in zip(mine, hops, strict=True)
        ]
        loads += [
            Load(_asked(w, unit, x), names_share(w, x), foreign_share(w, x), turns_of(w, x))
            for x in others
        ]
        spare = domain_load(loads).spare
        yield spare / (sum(asked) * math.fsum(1 / hop.goodput_mbps for hop in hops))


def _asked(w: Workings, unit: Unit, contender: Contender) -> float:
    """Return the share (0 to 1) of the air that others than those behind a unit ask for."""
    if contender.link is None:
        return math.fsum(entry.percent for entry in traffic(w, contender)) / 100
    others_mbps = sum(_others_mbps(w, unit, contender.link))
    return others_mbps / carried_mbps(w, contender.link) if others_mbps else 0.0


@fact(
    "unit.groups_behind",
    Kind.TEXTS,
    "the client groups at this unit and behind",
    source=GRAPH,
)
def groups_behind(w: Workings, unit: Unit) -> tuple[str, ...]:
    below = w.once(tree).below(unit.name)
    return tuple(dict.fromkeys(x.group.name for name in below for x in devices_at(w, name)))


@fact(
    "unit.fallback_demand_known",
    Kind.TRUTH,
    "whether the file tells what clients behind it ask for, and who else uses the way left to them",
    source=STATED,
)
def fallback_demand_known(w: Workings, unit: Unit) -> bool:
    try:
        share_carried(w, unit)
    except Missing:
        return False
    return True


@fact(
    "unit.fallback_demand_percent",
    Kind.NUMBER,
    "how much of what its clients ask for the way left after the worse loss would carry",
    source=LEFT,
    unit="%",
)
def fallback_demand_percent(w: Workings, unit: Unit) -> float:
    return 100 * min(1.0, share_carried(w, unit))


@fact(
    "unit.fallback_spare_mbps",
    Kind.NUMBER,
    "what that way has left beyond what they ask for",
    source=LEFT,
    unit="Mb/s",
)
def fallback_spare_mbps(w: Workings, unit: Unit) -> float:
    share = share_carried(w, unit)
    asked_mbps = sum(_asked_mbps(w, unit))
    if not asked_mbps:
        raise Missing(Input(("clients",), f"clients at {unit.name} that ask for something"))
    return max(0.0, share - 1) * asked_mbps

"""What joining a unit to its best parent would give to all that hang on it, and leave to others.

The joining radio follows its partner's channel, and takes along the radios of units below it that
its links share a channel with. What the file does not say of others' load counts as none.
"""

from __future__ import annotations

from itertools import takewhile
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.workings.alternatives.candidate_links import joined_contender, mark
from meshlint.workings.alternatives.parent import best_parent
from meshlint.workings.capacity.scenario import (
    DRAWN,
    Scenario,
    baseline,
    drawn,
    still_fits,
    widened,
)
from meshlint.workings.contention.domains import (
    Contender,
    contenders,
    link_contender,
)
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.budget import budget_between
from meshlint.workings.links.goodput import carrying_legs, legs_of_way, radio_hop
from meshlint.workings.links.last_hop import hop_of
from meshlint.workings.spectrum.channel import can_follow
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import joined_legs, live_links, tree
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.physics.capacity import Hop
    from meshlint.site.model import Link, Pointer, Radio, Unit
    from meshlint.workings.alternatives.candidate_links import CandidateLink
    from meshlint.workings.site_workings import Workings

HELPED = f"{DRAWN}; what others ask for must have room in each air that the move touches"


class _Move(Struct, frozen=True):
    """What the units on and below one get as it stands, and after it has joined its best parent.

    With them stand units whose backhaul shares the air that it would move to, which may not lose by
    it. Where others leave them nothing as it stands, both are what they would get were nobody else
    there. `after` is empty where the move cannot be made without others, or with the channels at
    hand.
    """

    units: tuple[str, ...]
    before: Mapping[str, float]
    after: Mapping[str, float]
    fits: bool

    def helps(self) -> bool:
        """Return whether those that move gain, the one that gets least too, and no others lose."""
        if not self.fits:
            return False
        then, now = ([mbps[unit] for unit in self.units] for mbps in (self.before, self.after))
        every, all_now = self.before.values(), self.after.values()
        kept = min(all_now) >= min(every) * _SAME and sum(all_now) >= sum(every) * _SAME
        return kept and min(now) > min(then) and sum(now) > sum(then)


_SAME = 1 - 1e-9


def move(w: Workings, unit: Unit) -> _Move:
    """Return what joining its best parent would change: nothing where that is today's."""
    return w.once(_worked_out, unit.name, unit)


def _worked_out(w: Workings, unit: Unit) -> _Move:
    candidate = best_parent(w, unit).candidate
    below = w.once(tree).below(unit.name)
    units = tuple(name for name in below if w.site.units[name].kind == "access") or below
    standing = baseline(w, units, strict=False)
    before = drawn(w, standing)
    if candidate is None:
        return _Move(units, before, before, fits=True)
    scenario = _scenario(w, unit, candidate, standing)
    if scenario is None:
        return _Move(units, before, {}, fits=False)
    if min(before.values()) == 0:
        standing, scenario = (replace(here, alone=True) for here in (standing, scenario))
    alone = _Move(units, drawn(w, standing), drawn(w, scenario), fits=True)
    if not alone.helps() or not still_fits(w, standing, scenario):
        return replace(alone, fits=False)
    standing, scenario = (widened(w, here, scenario) for here in (standing, scenario))
    return _Move(units, drawn(w, standing), drawn(w, scenario), fits=True)


def _scenario(
    w: Workings, unit: Unit, candidate: CandidateLink, standing: Scenario
) -> Scenario | None:
    uplink = w.once(tree).uplink[unit.name]
    beyond = (*carrying_legs(w, candidate.link), *legs_of_way(w, candidate.parent))
    ways = {
        name: (*takewhile(lambda link: not link.is_leg_of(uplink), way), *beyond)
        for name, way in standing.ways.items()
    }
    moved: dict[str, Contender] = {}
    hops: dict[str, Hop] = {}
    if candidate.link.over == "radio":
        key = f"link/{candidate.link.name}"
        if candidate.link.name in w.once(live_links):
            for leg in carrying_legs(w, candidate.link):
                key = f"link/{leg.name}"
                moved[key], hops[key] = link_contender(w, leg), radio_hop(w, leg)
        else:
            anew = _reworked(w, unit, candidate.link, uplink)
            if anew is None or not _set(w, anew, candidate.link, moved, hops):
                return None
    left = joined_legs(w, uplink) if uplink.over == "radio" else ()
    gone = frozenset(f"link/{leg.name}" for leg in left)
    return Scenario(ways, moved, hops, gone, standing.strict)


def _reworked(w: Workings, unit: Unit, link: Link, uplink: Link) -> dict[Pointer, Radio] | None:
    """Return the radios that a new link sets otherwise, None where that would part others.

    Clients keep the width that they have, or the rates of their last hop would change as well.
    """
    ours, theirs = radios_of(w, link)
    if joined_contender(w, link).radios[0] is ours:
        return {}
    below = set(w.once(tree).below(unit.name))
    found = {ours.pointer: ours}
    links = [
        x for x in w.once(live_links).values() if x.over == "radio" and not x.is_leg_of(uplink)
    ]
    grown = True
    while grown:
        ends = [radios_of(w, x) for x in links]
        new = [b for pair in ends for a, b in (pair, pair[::-1]) if a.pointer in found]
        grown = any(radio.pointer not in found for radio in new)
        found.update((radio.pointer, radio) for radio in new)
    if any(
        radio.unit not in below
        or (may_serve_clients(radio) and radio.width_mhz != theirs.width_mhz)
        or not can_follow(radio, theirs)
        for radio in found.values()
    ):
        return None
    return {
        pointer: replace(
            radio,
            name=f"{w.once(mark)}{(radio.name, theirs.unit, theirs.name)}",
            channel=theirs.channel,
            width_mhz=theirs.width_mhz,
            second_channel=theirs.second_channel,
            block=theirs.block,
        )
        for pointer, radio in found.items()
    }


def _set(
    w: Workings,
    anew: Mapping[Pointer, Radio],
    link: Link,
    moved: dict[str, Contender],
    hops: dict[str, Hop],
) -> bool:
    """Put in the contenders of a new link and of moved radios; False where a link has no rate."""
    links = [link]
    links += [other for other in w.once(live_links).values() if _follows(w, other, anew)]
    for one in links:
        ends = tuple(anew.get(radio.pointer, radio) for radio in radios_of(w, one))
        held = budget_between(w, *ends).held
        if held is None:
            return False
        key = f"link/{one.name}"
        if one is link or key in w.once(contenders):
            moved[key] = Contender(key, one.name, one.pointer, ends, one)
            hops[key] = hop_of(held, need(ends[0].band, (*ends[0].pointer, "band")))
    for (_, unit, _, name), radio in anew.items():
        key = f"radio/{unit}/{name}"
        if key in w.once(contenders):
            moved[key] = replace(w.once(contenders)[key], radios=(radio,))
    return True


def _follows(w: Workings, link: Link, anew: Mapping[Pointer, Radio]) -> bool:
    """Return whether a radio link goes along: both its ends are set as the new link wants.

    The link that the unit gives up has one such end, its own, and stays out: it need not work on
    the new channel. What was measured of a link that follows was measured on the old channel, so
    its rate is computed.
    """
    return link.over == "radio" and all(end.pointer in anew for end in radios_of(w, link))


@fact(
    "unit.best_parent_helps",
    Kind.TRUTH,
    "whether by joining its best parent both all on and below it together and the one of them that "
    "gets least would get more when all draw at once, and nobody else less of what they ask for",
    source=HELPED,
)
def best_parent_helps(w: Workings, unit: Unit) -> bool:
    return move(w, unit).helps()


@fact(
    "unit.drawn_least_mbps",
    Kind.NUMBER,
    "what the one gets that gets least, of it and all units behind it, when all are busy",
    source=DRAWN,
    unit="Mb/s",
)
def drawn_least_mbps(w: Workings, unit: Unit) -> float:
    found = move(w, unit)
    return min(found.before[name] for name in found.units)


@fact(
    "unit.best_parent_least_mbps",
    Kind.NUMBER,
    "the same once it has joined its best parent",
    source=DRAWN,
    unit="Mb/s",
)
def best_parent_least_mbps(w: Workings, unit: Unit) -> float:
    wanted = f"channels on which {unit.name} could join"
    found = move(w, unit)
    after = need(found.after or None, (*unit.pointer, "radios"), wanted)
    return min(after[name] for name in found.units)

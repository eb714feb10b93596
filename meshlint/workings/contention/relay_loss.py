"""What backhaul takes of the air of the clients that share a radio with it."""

from __future__ import annotations

import math
from itertools import compress
from typing import TYPE_CHECKING

from meshlint.workings.contention.airtime import SHARES
from meshlint.workings.contention.domains import (
    conflict,
    link_contender,
    lower_radio,
    radio_contender,
)
from meshlint.workings.contention.must_defer import spectrum_shared
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.demand import active
from meshlint.workings.links.goodput import carried_mbps, legs_of_way
from meshlint.workings.links.last_hop import devices_on
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.radio_use import serves_clients
from meshlint.workings.topology.tree import joined_legs, links_of, lower_end, tree
from meshlint.workings.unknown import Input, Missing, gather, known_of_any, need

if TYPE_CHECKING:
    from meshlint.site.model import Link, Radio, Unit
    from meshlint.workings.site_workings import Workings

TURNS = "one radio takes turns: each hop on the air of the clients costs a share (common practice)"


def shared_radio(w: Workings, link: Link) -> Radio | None:
    """Return the radio on which a link and clients take turns, the lower end's first."""
    lower = lower_radio(w, link)
    ends = sorted(radios_of(w, link), key=lambda radio: radio is not lower)
    serving = gather(ends, lambda radio: serves_clients(w, radio))
    return next(compress(ends, serving), None)


def lost_percent(w: Workings, link: Link) -> float:
    """Return which part of its clients' air the backhaul takes when they use all there is.

    A Mb/s of theirs takes 1 / goodput on their own hop, and the same again on each hop of the way
    to the primary that shares their air. With one hop at equal rates that is half of the air: the
    rule of thumb; with h of them h / (h + 1).
    """
    radio = shared_radio(w, link)
    if radio is None:
        return 0.0
    own = _seconds_a_megabit(w, radio)
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    contender = radio_contender(w, radio)
    over = math.fsum(
        1 / carried_mbps(w, hop)
        for hop in legs_of_way(w, lower)
        if hop.over == "radio" and conflict(w, contender, link_contender(w, hop))
    )
    return 100 * over / (over + own)


def _seconds_a_megabit(w: Workings, radio: Radio) -> float:
    """Return what a Mb of a client takes of the air, averaged over the clients of a radio."""
    parts = [part for part in devices_on(w, radio) if active(part.devices) and part.hop()]
    if not parts:
        wanted = f"clients on radio {radio.name} of {radio.unit}"
        raise Missing(Input(("clients",), wanted))
    hops = [(hop, active(part.devices)) for part in parts if (hop := part.hop()) is not None]
    return math.fsum(n / hop.goodput_mbps for hop, n in hops) / math.fsum(n for _, n in hops)


@fact(
    "link.client_airtime_lost_percent",
    Kind.NUMBER,
    "share of their air that clients on its radio lose to backhaul when they use all there is",
    source=SHARES,
    unit="%",
)
def client_airtime_lost_percent(w: Workings, link: Link) -> float:
    if link.over != "radio":
        return 0.0
    return lost_percent(w, link)


@fact(
    "unit.client_airtime_lost_percent",
    Kind.NUMBER,
    "share of their air that its clients lose to its own uplink",
    source=SHARES,
    unit="%",
)
def unit_client_airtime_lost_percent(w: Workings, unit: Unit) -> float:
    links = links_of(w, unit.name)
    if not links or links[0].over != "radio":
        return 0.0
    return lost_percent(w, links[0])


@fact(
    "link.client_airtime_lost_at_equal_rates_percent",
    Kind.NUMBER,
    "share of the clients' air that backhaul takes at the lower end if all rates were equal",
    source=TURNS,
    unit="%",
)
def client_airtime_lost_at_equal_rates_percent(w: Workings, link: Link) -> float:
    """Return 100 h / (h + 1), with h radio hops on the clients' air: one hop costs half.

    Every frame of a client at the lower end crosses its own air once and then each hop of the way
    that uses some of the same spectrum; all of them take turns.
    """
    lower = lower_end(w, link)
    if lower is None:
        raise Missing(Input((*link.pointer, "role"), "traffic that uses this link"))
    air = radio_of(w, link, lower)
    way = (other for other in w.once(tree).way(lower) if other.over == "radio")
    hops = sum(_part_on_the_air_of(w, air, other) for other in way)
    return 100 * hops / (hops + 1)


def _part_on_the_air_of(w: Workings, air: Radio, link: Link) -> float:
    """Return which part of a link's legs uses spectrum of a radio's channel, at either end."""
    legs = joined_legs(w, link)
    on_it = [
        known_of_any(radios_of(w, leg), lambda end: spectrum_shared(w, air, end)) for leg in legs
    ]
    return sum(on_it) / len(legs)

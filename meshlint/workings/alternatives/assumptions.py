"""What figures of goodput rest on, a phrase each: whose load, which rates, who else sends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.workings.alternatives.band_moves import moving
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import units_of
from meshlint.workings.links.goodput import measured_mbps
from meshlint.workings.topology.tree import links_of
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Collection

    from meshlint.site.model import ClientGroup, Link, Unit
    from meshlint.workings.site_workings import Workings

COMPUTED: Final = "UDP at computed rates (TCP carries about 15 % less)"
"""Goodput is that of datagrams; ns-3 3.44 gives one hop of TCP 14 to 16 % less, for the
acknowledgements that it sends over the same air."""

ASSUMED = "what the working out of its goodput assumes"


def _rates(w: Workings, links: Collection[Link]) -> str:
    known = [measured_mbps(w, link) is not None for link in links]
    if not any(known):
        return COMPUTED
    if all(known):
        return "throughput as measured"
    return f"{COMPUTED}, but {sum(known)} of {len(known)} links as measured"


def _others(w: Workings) -> str:
    heard = len(need(w.site.neighbours, ("neighbours",), "other people's networks, from a scan"))
    if not heard:
        return "no foreign network heard"
    return f"{heard} foreign network{'s' if heard > 1 else ''} as scanned"


@fact(
    "unit.goodput_rests_on",
    Kind.TEXT,
    "whose load, which rates and whose air its goodput is worked out for",
    source=ASSUMED,
)
def unit_goodput_rests_on(w: Workings, unit: Unit) -> str:
    return f"one busy sender alone on the mesh, {_rates(w, links_of(w, unit.name))}"


@fact(
    "group.goodput_rests_on",
    Kind.TEXT,
    "whose load, which rates and whose air its share is worked out for",
    source=ASSUMED,
)
def group_goodput_rests_on(w: Workings, group: ClientGroup) -> str:
    rates = _rates(
        w, {x.name: x for unit in units_of(w, group) for x in links_of(w, unit)}.values()
    )
    return f"all that the file asks for at once, {rates}, {_others(w)}"


@fact(
    "link.goodput_rests_on",
    Kind.TEXT,
    "whose load, which rates and whose air its bands are compared for",
    source=ASSUMED,
)
def link_goodput_rests_on(w: Workings, link: Link) -> str:
    known = [measured_mbps(w, other) is not None for other in moving(w, link)]
    rates = COMPUTED
    if any(known):
        rates = f"{sum(known)} of {len(known)} links as measured today, else {COMPUTED}"
    return f"busy backhaul next to what clients on its air ask for, {rates}, {_others(w)}"

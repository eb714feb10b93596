"""A link over several radios at once: its legs, and what is left of it when one is gone.

Each leg is a subject of its own, so that every question about a radio link is asked of every leg.
A question about the link as a whole is asked of its first leg alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.goodput import (
    JOINING,
    all_at_once,
    carrying_legs,
    left_mbps,
    leg_hop,
    other_legs,
)
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import joined_legs
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from meshlint.site.model import Link
    from meshlint.workings.site_workings import Workings

JOINED = "IEEE 802.11be-2024 35.3 (memory): the legs' goodput added up where they send at once"


def _of_file(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return all legs that the file gives a link, those that cannot come up among them."""
    return tuple(x for x in (w.site.backhaul or {}).values() if x.is_leg_of(link))


@fact("link.legs", Kind.COUNT, "how many radios it joins at each end, 1 for most", source=STATED)
def legs(w: Workings, link: Link) -> float:
    return 1 if link.whole is None else len(_of_file(w, link))


@fact(
    "link.stands_for_whole",
    Kind.TRUTH,
    "whether it is asked about the link as a whole: false of all legs of a link but the first",
    source=STATED,
)
def stands_for_whole(w: Workings, link: Link) -> bool:
    if link.whole is None:
        return True
    return (joined_legs(w, link) or _of_file(w, link))[0] is link


@fact(
    "link.leg_mbps",
    Kind.NUMBER,
    "what this leg would carry by itself, by the rate that it holds",
    source=JOINED,
    unit="Mb/s",
)
def leg_mbps(w: Workings, link: Link) -> float:
    return leg_hop(w, link).goodput_mbps


@fact(
    "link.legs_at_once",
    Kind.TRUTH,
    "whether its legs carry at once: units of 802.11be are taken to send over one radio while they "
    "hear over another, unless the file says otherwise",
    source=JOINED,
)
def legs_at_once(w: Workings, link: Link) -> bool:
    return link.whole is not None and all_at_once(w, link)


@fact(
    "link.legs_that_carry",
    Kind.TEXTS,
    "the radios at the first end over which its traffic goes, each with what it carries by itself",
    source=JOINED,
)
def legs_that_carry(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(
        f"{radios_of(w, leg)[0].name} ({leg_hop(w, leg).goodput_mbps:.0f} Mb/s)"
        for leg in carrying_legs(w, link)
    )


@fact(
    "link.too_old_to_join",
    Kind.TEXTS,
    "radios of this leg that speak no amendment whose units join by several radios",
    source="IEEE 802.11be-2024 35.3 (memory)",
)
def too_old_to_join(w: Workings, link: Link) -> tuple[str, ...]:
    if link.whole is None:
        return ()
    wanted = "the 802.11 amendment it speaks"
    ends = radios_of(w, link)
    spoken = {end: need(end.generation, (*end.pointer, "generation"), wanted) for end in ends}
    return tuple(
        f"radio {end.name} of {end.unit} ({words})"
        for end, words in spoken.items()
        if words not in JOINING
    )


@fact(
    "link.left_without_leg_mbps",
    Kind.NUMBER,
    "what the other legs carry when this one is lost; 0 where there is none",
    source=JOINED,
    unit="Mb/s",
)
def left_without_leg_mbps(w: Workings, link: Link) -> float:
    return left_mbps(w, link, other_legs(w, link))

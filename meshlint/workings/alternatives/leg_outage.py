"""What a radar leaves of a link over several radios: the legs that no radar shares stay up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.alternatives.radar_free_backhaul import radar_shared_mhz_of
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.goodput import left_mbps, other_legs
from meshlint.workings.links.legs import JOINED
from meshlint.workings.spectrum.permission import BY_CHOICE
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.unknown import as_known, raise_missing

if TYPE_CHECKING:
    from meshlint.site.model import Link
    from meshlint.workings.site_workings import Workings


def legs_off_radar(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return the other legs of a link that no radar shares; unknown if none is known to be so."""
    shared, lacking = as_known(other_legs(w, link), lambda leg: (leg, radar_shared_mhz_of(w, leg)))
    found = tuple(leg for leg, mhz in shared if mhz == 0)
    if not found:
        raise_missing(lacking)
    return found


@fact(
    "link.has_leg_off_radar",
    Kind.TRUTH,
    "whether another leg of it stays up when a radar is heard, so that it does not go down",
    source=BY_CHOICE,
)
def has_leg_off_radar(w: Workings, link: Link) -> bool:
    return bool(legs_off_radar(w, link))


@fact(
    "link.legs_off_radar",
    Kind.TEXTS,
    "the radios at its first end that stay up when a radar is heard",
    source=BY_CHOICE,
)
def legs_off_radar_named(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(radios_of(w, leg)[0].name for leg in legs_off_radar(w, link))


@fact(
    "link.left_off_radar_mbps",
    Kind.NUMBER,
    "what those legs carry by themselves; 0 where there is none",
    source=JOINED,
    unit="Mb/s",
)
def left_off_radar_mbps(w: Workings, link: Link) -> float:
    return left_mbps(w, link, legs_off_radar(w, link))

"""Whether the site's channels at 2.4 GHz lie beside each other or half on top of each other."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law import regulatory
from meshlint.physics.channels import PIECE_MHZ, channels, overlap_mhz
from meshlint.workings.fact import Kind, fact
from meshlint.workings.spectrum.channel import NUMBERING, law, possible_spans, span
from meshlint.workings.topology.link_radios import joined
from meshlint.workings.unknown import Missing, as_known, raise_missing

if TYPE_CHECKING:
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio, Site
    from meshlint.workings.site_workings import Workings

PLANS = "spans by IEEE 802.11 numbering; plans of channels that do not overlap are common practice"


class InPart(Struct, frozen=True):
    """Two radios whose spans overlap without being the same, or one inside the other."""

    one: Radio
    other: Radio
    shared_mhz: float


def _radios(site: Site) -> tuple[Radio, ...]:
    return tuple(
        radio
        for unit in site.units.values()
        for radio in unit.radios.values()
        if radio.band == 2.4 and radio.carries != ()
    )


def overlaps(w: Workings) -> tuple[InPart, ...]:
    """Return the partial overlaps, the widest first; unknown where none is seen and one could be.

    A radio that chooses for itself, or whose channel is not stated, may land between the others.
    """
    radios = _radios(w.site)
    known, lacking = as_known(radios, lambda radio: (radio, span(radio)))
    found = [
        InPart(one, other, shared)
        for position, (one, here) in enumerate(known)
        for other, there in known[position + 1 :]
        if (shared := _shared_in_part_mhz(here, there))
    ]
    if lacking and not found and _may_overlap(radios):
        raise_missing(lacking)
    return tuple(sorted(found, key=lambda o: -o.shared_mhz))


def _shared_in_part_mhz(here: Channel, there: Channel) -> float:
    """Return how much two spans share, nothing where they are the same or one lies in the other."""
    shared_mhz = overlap_mhz(here, there)
    return shared_mhz if shared_mhz < min(here.width_mhz, there.width_mhz) else 0.0


def _may_overlap(radios: tuple[Radio, ...]) -> bool:
    """Return whether any two radios may overlap in part, whatever the file leaves open of them."""
    return any(
        _shared_in_part_mhz(here, there)
        for one, other in combinations(radios, 2)
        for here in possible_spans(one)
        for there in possible_spans(other)
    )


@fact("site.two_four_radios", Kind.COUNT, "radios in use at 2.4 GHz", source="the site file")
def two_four_radios(_: Workings, site: Site) -> float:
    return len(_radios(site))


@fact(
    "site.two_four_overlaps",
    Kind.TEXTS,
    "channels at 2.4 GHz in use here that overlap in part, with the MHz shared",
    source=PLANS,
)
def two_four_overlaps(w: Workings, _: Site) -> tuple[str, ...]:
    told = []
    for overlap in w.once(overlaps):
        pair = sorted((overlap.one, overlap.other), key=lambda radio: span(radio).low_mhz)
        low, high = (f"{radio.channel}" for radio in pair)
        told.append(f"{low} and {high} ({overlap.shared_mhz:.0f} MHz)")
    return tuple(dict.fromkeys(told))


@fact("site.two_four_units", Kind.TEXTS, "the units whose radios those are", source=PLANS)
def two_four_units(w: Workings, _: Site) -> tuple[str, ...]:
    ends = (end.unit for overlap in w.once(overlaps) for end in (overlap.one, overlap.other))
    return tuple(dict.fromkeys(ends))


@fact(
    "site.two_four_backhaul",
    Kind.TEXTS,
    "radios that radio links join to those, and those themselves",
    source="the site file",
)
def two_four_backhaul(w: Workings, _: Site) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for overlap in w.once(overlaps):
        for end in (overlap.one, overlap.other):
            together = joined(w, end)
            if len(together) > 1:
                found.update({f"radio {radio.name} of {radio.unit}": None for radio in together})
    return tuple(found)


@fact(
    "site.two_four_overlap_mhz",
    Kind.NUMBER,
    "the widest of these overlaps",
    source=NUMBERING,
    unit="MHz",
)
def two_four_overlap_mhz(w: Workings, _: Site) -> float:
    return max((overlap.shared_mhz for overlap in w.once(overlaps)), default=0.0)


@fact("site.two_four_plans", Kind.TEXT, "the plans that do not overlap here", source=PLANS)
def two_four_plans(w: Workings, _: Site) -> str:
    """Return the plan of three, and that of four where the country opens channel 13."""
    try:
        rules = w.once(law)
    except Missing:
        return "1, 6 and 11"
    thirteen = channels(2.4, 13, PIECE_MHZ)[0]
    if regulatory.permission(rules, thirteen, outdoors=False).allowed:
        return "1, 6 and 11, or 1, 5, 9 and 13 where nobody near uses the first"
    return "1, 6 and 11"

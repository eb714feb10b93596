"""Which of the site's own radios would hear each other if they were on the same spectrum."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.noise import carrier_sense_dbm
from meshlint.workings.propagation.received_level import reaches
from meshlint.workings.unknown import known_of_any, need

if TYPE_CHECKING:
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

HEARING = "level by the path loss model of the site, carrier sense of IEEE 802.11-2020 17.3.10.6"


def within_carrier_sense(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either of two radios of a band reaches the other at carrier sense.

    This is about two radios wherever their channels are: it says who would have to take turns if
    they shared one. Raises `Missing` where neither way round is known to reach and one is open.
    """
    ours, theirs = (one.unit, one.name), (other.unit, other.name)
    key = (ours, theirs) if ours < theirs else (theirs, ours)
    return w.once(_by_levels, key, one, other)


def _by_levels(w: Workings, one: Radio, other: Radio) -> bool:
    return known_of_any(((one, other), (other, one)), lambda ends: _reaches(w, *ends))


def _reaches(w: Workings, speaker: Radio, listener: Radio) -> bool:
    pointer = (*speaker.pointer, "width_mhz")
    width_mhz = need(speaker.width_mhz, pointer, "the channel's width")
    return reaches(w, speaker, listener, carrier_sense_dbm(width_mhz))

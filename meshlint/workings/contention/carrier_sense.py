"""Which of the site's own radios would hear each other if they were on the same spectrum."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.physics.noise import carrier_sense_dbm
from meshlint.physics.propagation import OutsideModel
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.geometry import location_of
from meshlint.workings.propagation.path_loss import farthest_m
from meshlint.workings.propagation.received_level import reaches
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.unknown import Missing, known_of_any, need

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
    if _surely_apart(w, one, other):
        return False
    return known_of_any(((one, other), (other, one)), lambda ends: _reaches(w, *ends))


def _surely_apart(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether two radios are so far apart that neither reaches. It only spares work."""
    here, there = (w.site.units[radio.unit].at for radio in (one, other))
    if here is None or there is None:
        return False
    if one.antenna_gain_dbi is None or other.antenna_gain_dbi is None:
        return False
    apart_m = math.hypot(here.x_m - there.x_m, here.y_m - there.y_m)
    return all(apart_m > w.once(_limit_m, radio.pointer, radio) for radio in (one, other))


def _limit_m(w: Workings, radio: Radio) -> float:
    """Return a distance beyond which a radio reaches no other, infinite if that is unknown."""
    try:
        location = location_of(w, w.site.units[radio.unit])
        width_mhz = need(radio.width_mhz, radio.pointer)
        spare_db = effective_dbm(w, radio) + w.once(_most_gain_dbi) - carrier_sense_dbm(width_mhz)
        return farthest_m(w, location, frequency_mhz(radio), spare_db)
    except (Missing, OutsideModel):
        return math.inf


def _most_gain_dbi(w: Workings) -> float:
    gains = (r.antenna_gain_dbi for u in w.site.units.values() for r in u.radios.values())
    return max((gain for gain in gains if gain is not None), default=0.0)


def _reaches(w: Workings, speaker: Radio, listener: Radio) -> bool:
    pointer = (*speaker.pointer, "width_mhz")
    width_mhz = need(speaker.width_mhz, pointer, "the channel's width")
    return reaches(w, speaker, listener, carrier_sense_dbm(width_mhz))

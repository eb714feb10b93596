"""How strongly one radio is received by another, and from which level it must notice the signal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.channels import Span, overlap_mhz
from meshlint.physics.noise import ENERGY_DETECT_DBM, SECONDARY_DETECT_DBM, carrier_sense_dbm
from meshlint.workings.propagation.antenna_pattern import off_boresight_db
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.path_loss import loses_more, path_between
from meshlint.workings.spectrum.channel import frequency_mhz, span
from meshlint.workings.unknown import Unknown, answer, known_of_any, need

if TYPE_CHECKING:
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings


def gain_dbi(radio: Radio) -> float:
    """Return the gain of the radio's antenna in its best direction."""
    return need(radio.antenna_gain_dbi, (*radio.pointer, "antenna_gain_dbi"), "the antenna's gain")


def received_dbm(w: Workings, speaker: Radio, listener: Radio) -> float:
    """Return the median level of one radio at another, by the antennas of both."""
    receiving_dbi = gain_dbi(listener)
    here, there = w.site.units[speaker.unit], w.site.units[listener.unit]
    path = path_between(w, here, there, frequency_mhz(speaker))
    beside_db = off_boresight_db(w, speaker, there) + off_boresight_db(w, listener, here)
    return effective_dbm(w, speaker) - path.loss_db + receiving_dbi - beside_db


def reaches(w: Workings, speaker: Radio, listener: Radio, from_dbm: float) -> bool:
    """Return whether one radio arrives at another at a level or above it."""
    powers = answer(effective_dbm, w, speaker), answer(gain_dbi, listener)
    if not any(isinstance(power, Unknown) for power in powers):
        here, there = w.site.units[speaker.unit], w.site.units[listener.unit]
        most_db = effective_dbm(w, speaker) + gain_dbi(listener) - from_dbm
        if answer(loses_more, w, here, there, frequency_mhz(speaker), most_db) is True:
            return False
    return received_dbm(w, speaker, listener) >= from_dbm


def senses_busy(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either radio's signal makes the other hold its air for busy.

    False for spectrum that does not overlap. Either way round counts, by the level at which the
    listener must notice the signal: see `busy_from_dbm`.
    """
    if one.band is not None and other.band is not None and one.band != other.band:
        return False
    ours, theirs = span(one), span(other)
    if overlap_mhz(ours, theirs) == 0:
        return False
    ways = ((one, other, ours, theirs), (other, one, theirs, ours))
    return known_of_any(ways, lambda way: reaches(w, way[0], way[1], busy_from_dbm(way[2], way[3])))


def busy_from_dbm(spoken: Channel, heard: Channel) -> float:
    """Return the level from which a listener on `heard` must notice a signal on `spoken`.

    The signal detection of the whole signal where it covers the listener's primary 20 MHz (IEEE
    802.11-2020 17.3.10.6), the level for the rest of a wide channel where it covers only that
    (21.3.18.5), and plain energy where the two are not in step, which happens at 2.4 GHz.
    """
    primary = heard.pieces[heard.members.index(heard.number)]
    if _covers(spoken.pieces, primary):
        return carrier_sense_dbm(spoken.width_mhz)
    if any(_covers(heard.pieces, piece) for piece in spoken.pieces):
        widths = [width for width in SECONDARY_DETECT_DBM if width <= spoken.width_mhz]
        return SECONDARY_DETECT_DBM[max(widths)]
    return ENERGY_DETECT_DBM


def _covers(pieces: tuple[Span, ...], wanted: Span) -> bool:
    return wanted in pieces

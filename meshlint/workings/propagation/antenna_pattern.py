"""Which way antennas point: what a radio gives away towards places beside its beam.

A stated gain is that of the antenna's best direction. A radio of whose beam the file says nothing
is taken to send all round alike, which is what built-in antennas come near to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.antennas import ALL_HEIGHTS_DEG, ALL_ROUND_DEG, Beam
from meshlint.workings.propagation.geometry import Location, location_of, rise_between_m
from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from meshlint.physics.antennas import Direction
    from meshlint.site.model import Radio, Unit
    from meshlint.workings.site_workings import Workings

SOURCE = "3GPP TR 38.901 Table 7.3-1"
PATTERN = f"off a stated beam less by {SOURCE}, else antennas are all-round"

_ALL_ROUND = Beam(ALL_ROUND_DEG, ALL_HEIGHTS_DEG, 0.0, 0.0)

CLIENTS_DBI = 0.0
"""Gain of a device's antenna: an assumption, since nobody states it of phones and tablets."""


def beam_of(radio: Radio) -> Beam | None:
    """Return the radio's beam; None where nothing is said of one.

    Raises `Missing` where only a part of it is stated. What an all-round antenna does not need may
    be left out.
    """
    width_deg, height_deg = radio.beam_width_deg, radio.beam_height_deg
    bearing_deg, tilt_deg = radio.beam_bearing_deg, radio.beam_tilt_deg
    if width_deg is height_deg is bearing_deg is tilt_deg is None:
        return None
    if (width_deg, height_deg) == (ALL_ROUND_DEG, ALL_HEIGHTS_DEG):
        return _ALL_ROUND
    if width_deg == ALL_ROUND_DEG and not tilt_deg:
        bearing_deg = bearing_deg or 0.0
    if width_deg is None or height_deg is None or bearing_deg is None or tilt_deg is None:
        wanted = {
            "beam_width_deg": (width_deg, "the width of its antenna's half-power beam"),
            "beam_height_deg": (height_deg, "the height of its antenna's half-power beam"),
            "beam_bearing_deg": (bearing_deg, "which way its antenna faces, clockwise from north"),
            "beam_tilt_deg": (tilt_deg, "how far its antenna looks above the horizon"),
        }
        raise Missing(
            *(
                Input((*radio.pointer, key), words)
                for key, (stated, words) in wanted.items()
                if stated is None
            )
        )
    return Beam(width_deg, height_deg, bearing_deg, tilt_deg)


def off_boresight_db(w: Workings, radio: Radio, towards: Unit | Location) -> float:
    """Return what the radio's antenna gives less towards a place than in its best direction."""
    beam = beam_of(radio)
    if beam is None:
        return 0.0
    place = towards if isinstance(towards, Location) else location_of(w, towards)
    return beam.lost_db(way(w, radio, place))


def way(w: Workings, radio: Radio, place: Location) -> Direction:
    """Return the way from a radio to a place: metres east, north and up."""
    here = location_of(w, w.site.units[radio.unit])
    return (place.x_m - here.x_m, place.y_m - here.y_m, rise_between_m(here, place))

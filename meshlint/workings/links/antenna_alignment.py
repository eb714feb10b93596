"""Whether the antennas of a radio link face each other, and what it costs where they do not."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.antennas import ALL_HEIGHTS_DEG, ALL_ROUND_DEG, HALF_POWER_DB, Beam
from meshlint.physics.sensitivity import best_setting
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.budget import HELD, link_budget
from meshlint.workings.propagation.antenna_pattern import SOURCE, beam_of, way
from meshlint.workings.propagation.geometry import Location, location_of
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.unknown import Input, Missing, as_known, need, raise_missing

if TYPE_CHECKING:
    from meshlint.physics.antennas import Direction
    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings

LOBE = f"{SOURCE} with the stated beam, bearing and tilt"
AXES = "the plan against the stated bearing and tilt"
_TOLD_DEG = 0.5  # nobody aims a mast by less


class End(Struct, frozen=True):
    """One end of a link: its unit, the unit that it should face, its beam and the way there."""

    unit: str
    other: str
    beam: Beam
    way: Direction

    @property
    def lost_db(self) -> float:
        """Return what the antenna gives less towards the other end than in its best direction."""
        return round(self.beam.lost_db(self.way), 6)

    @property
    def off_deg(self) -> float:
        """Return the angle between where it faces and where the other end stands.

        Only up and down for an antenna that sends all round, only across for one without a height.
        """
        across_deg, above_deg = (abs(deg) for deg in self.beam.off_axis_deg(self.way))
        if self.beam.width_deg >= ALL_ROUND_DEG:
            return above_deg
        if self.beam.height_deg >= ALL_HEIGHTS_DEG:
            return across_deg
        cosine = math.cos(math.radians(across_deg)) * math.cos(math.radians(above_deg))
        return math.degrees(math.acos(max(-1.0, min(cosine, 1.0))))

    @property
    def turn(self) -> str:
        """Return in words how it would be turned and tilted onto the other end."""
        east_m, north_m, up_m = self.way
        steps = []
        right_deg = math.degrees(math.atan2(east_m, north_m)) - self.beam.bearing_deg
        right_deg = math.remainder(right_deg, 360)
        if self.beam.width_deg < ALL_ROUND_DEG and abs(right_deg) >= _TOLD_DEG:
            sense = "clockwise" if right_deg > 0 else "anticlockwise"
            steps.append(f"turn the antenna {_degrees(right_deg)} {sense}, seen from above,")
        up_deg = math.degrees(math.atan2(up_m, math.hypot(east_m, north_m))) - self.beam.tilt_deg
        if self.beam.height_deg < ALL_HEIGHTS_DEG and abs(up_deg) >= _TOLD_DEG:
            steps.append(f"tilt it {_degrees(up_deg)} {'up' if up_deg > 0 else 'down'}")
        told = " and ".join(steps) or "leave the antenna as it is"
        return f"{self.unit}, {told.removesuffix(',')}"


def _degrees(angle_deg: float) -> str:
    whole = f"{abs(angle_deg):.0f}"
    return f"{whole} degree{'s' * (whole != '1')}"


def _end(w: Workings, link: Link, *, at_from: bool) -> End:
    """Return one end; raises `Missing` where its beam or place is not stated."""
    radio = radios_of(w, link)[0 if at_from else 1]
    beam = beam_of(radio)
    if beam is None:
        wanted = "the width of its antenna's beam; 360, with beam_height_deg: 180, for all round"
        raise Missing(Input((*radio.pointer, "beam_width_deg"), wanted))
    other = link.far_end(radio.unit)
    there = location_of(w, w.site.units[other])
    if beam.height_deg < ALL_HEIGHTS_DEG:
        _need_heights(w, radio, other, there)
    return End(radio.unit, other, beam, way(w, radio, there))


def _need_heights(w: Workings, radio: Radio, other: str, there: Location) -> None:
    here = location_of(w, w.site.units[radio.unit])
    for unit, location in ((radio.unit, here), (other, there)):
        need(location.height_m, ("units", unit, "at", "height_m"), "how high it stands")


def _ends(w: Workings, link: Link) -> list[End]:
    """Return the ends of which the file tells, the worse aimed first; raises `Missing` for none."""
    found, lacking = as_known((True, False), lambda at_from: _end(w, link, at_from=at_from))
    if not found:
        raise_missing(lacking)
    return sorted(found, key=lambda end: -end.lost_db)


@fact("link.has_beam", Kind.TRUTH, "whether anything is said of an antenna's beam", source=STATED)
def has_beam(w: Workings, link: Link) -> bool:
    if link.over != "radio":
        return False
    for radio in radios_of(w, link):
        try:
            if beam_of(radio) is not None:
                return True
        except Missing:
            return True
    return False


@fact(
    "link.beam_loss_at_from_db",
    Kind.NUMBER,
    "what the antenna of the `from` end gives less towards the other than in its best direction",
    source=LOBE,
    unit="dB",
    digits=1,
)
def beam_loss_at_from_db(w: Workings, link: Link) -> float:
    return _end(w, link, at_from=True).lost_db


@fact(
    "link.beam_loss_at_to_db",
    Kind.NUMBER,
    "what the antenna of the `to` end gives less towards the other than in its best direction",
    source=LOBE,
    unit="dB",
    digits=1,
)
def beam_loss_at_to_db(w: Workings, link: Link) -> float:
    return _end(w, link, at_from=False).lost_db


@fact(
    "link.worse_aimed",
    Kind.TEXT,
    "the unit whose antenna loses more by where it faces, of those that state a beam",
    source=LOBE,
)
def worse_aimed(w: Workings, link: Link) -> str:
    return _ends(w, link)[0].unit


@fact("link.aimed_past", Kind.TEXT, "the unit that it should face", source=STATED)
def aimed_past(w: Workings, link: Link) -> str:
    return _ends(w, link)[0].other


@fact(
    "link.aimed_off_deg",
    Kind.NUMBER,
    "the angle between where that antenna faces and where the other end stands",
    source=AXES,
    unit="degrees",
)
def aimed_off_deg(w: Workings, link: Link) -> float:
    return _ends(w, link)[0].off_deg


@fact(
    "link.aimed_off_db",
    Kind.NUMBER,
    "what that costs against facing it, in either direction of the link",
    source=LOBE,
    unit="dB",
    digits=1,
)
def aimed_off_db(w: Workings, link: Link) -> float:
    return _ends(w, link)[0].lost_db


@fact("link.beam_there", Kind.TEXT, "the half-power beam of that antenna", source=STATED)
def beam_there(w: Workings, link: Link) -> str:
    beam = _ends(w, link)[0].beam
    return f"{beam.width_deg:g} by {beam.height_deg:g} degrees"


@fact(
    "link.aim_again",
    Kind.TEXT,
    "how that antenna would be turned onto the other end, and the other one if it needs it too",
    source=AXES,
)
def aim_again(w: Workings, link: Link) -> str:
    ends = _ends(w, link)
    told = [end.turn for end in ends if end is ends[0] or end.lost_db > HALF_POWER_DB]
    return "; at ".join(told)


@fact(
    "link.rate_if_faced_mbps",
    Kind.NUMBER,
    "the rate that would hold both ways in nine places of ten if the antennas faced each other",
    source=f"{HELD}; {SOURCE}",
    unit="Mb/s",
)
def rate_if_faced_mbps(w: Workings, link: Link) -> float:
    budget = link_budget(w, link)
    regained_db = sum(end.lost_db for end in _ends(w, link))
    held = [
        best_setting(way.ways, way.level_dbm + regained_db, budget.fade_margin_db)
        for way in (budget.there, budget.back)
    ]
    return min(setting.rate_mbps if setting else 0.0 for setting in held)

"""What level readings say of the model: measured against computed, and the shift that follows.

A level is computed for a device of 0 dBi at the place of the reading. The offset is the
least-squares constant that brings all level readings closest to the computed ones (their mean
difference), with its standard error. It is applied to computed levels only where the site says
`fit_to_readings: true`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.propagation.antenna_pattern import CLIENTS_DBI, off_boresight_db
from meshlint.workings.propagation.geometry import client_location, location_of
from meshlint.workings.propagation.path_loss import path_of
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.spectrum.radiated_power import radiated_dbm
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Pointer, Radio, Reading, Unit
    from meshlint.workings.site_workings import Workings

FEWEST = 3
"""So many level readings make an offset with a standard error worth the name."""

FEWEST_FOR_SLOPE = 10
FARTHER_TIMES = 4.0
"""A slope asks for more: two numbers are fitted, and places at like distances say nothing of it.
Five readings to a number and a factor of four in distance are conventions of ours; what they are
worth in a given case, the standard error says."""


class Group(Struct, frozen=True):
    """Readings of the same thing: a unit's level on a band, or a link's throughput."""

    positions: tuple[int, ...]
    readings: tuple[Reading, ...]
    unit: str = ""
    band: float = 0.0
    link: str = ""

    @property
    def key(self) -> str:
        """Return the name under which waivers and reports know the group."""
        return f"readings/{self.link or f'{self.unit}/{self.band:g}'}"

    @property
    def label(self) -> str:
        """Return what was measured, in words."""
        return self.link or f"{self.unit} at {self.band:g} GHz"

    @property
    def pointer(self) -> Pointer:
        """Return where the newest reading of the group stands."""
        return ("readings", self.positions[-1])


def groups(w: Workings) -> tuple[Group, ...]:
    """Return the readings that can be held against something computed, grouped."""
    found: dict[tuple[str, float, str], list[int]] = {}
    for at, reading in enumerate(w.site.readings or ()):
        if reading.unit is not None and reading.level_dbm is not None:
            found.setdefault((reading.unit, reading.band or 0.0, ""), []).append(at)
        elif reading.link and reading.throughput_mbps is not None and reading.when != "busy":
            found.setdefault(("", 0.0, reading.link), []).append(at)
    everything = w.site.readings or ()
    return tuple(
        Group(tuple(places), tuple(everything[at] for at in places), unit, band, link)
        for (unit, band, link), places in found.items()
    )


class _Compared(Struct, frozen=True):
    """One level reading beside the computed level, and the model's spread there."""

    measured_dbm: float
    computed_dbm: float
    sigma_db: float | None
    distance_m: float

    @property
    def off_db(self) -> float:
        return self.measured_dbm - self.computed_dbm


def _compare(w: Workings, group: Group) -> tuple[_Compared, ...]:
    return w.once(_compared, group.key, group)


def _compared(w: Workings, group: Group) -> tuple[_Compared, ...]:
    return tuple(_each(w, group))


def _each(w: Workings, group: Group) -> Iterator[_Compared]:
    for position, reading in zip(group.positions, group.readings, strict=True):
        pointer = ("readings", position)
        unit = w.site.units[need(reading.unit, (*pointer, "unit"), "the unit measured")]
        band = need(reading.band, (*pointer, "band"), "the band measured")
        radio = _heard(unit, band)
        at = need(reading.at, (*pointer, "at"), "where it was measured")
        place = client_location(w, at, (*pointer, "at"))
        path = path_of(w, location_of(w, unit), place, frequency_mhz(radio))
        measured_dbm = need(reading.level_dbm, (*pointer, "level_dbm"), "the level measured")
        beside_db = off_boresight_db(w, radio, place)
        computed_dbm = radiated_dbm(radio) - beside_db + CLIENTS_DBI - path.loss_db
        yield _Compared(measured_dbm, computed_dbm, path.sigma_db, path.distance_m)


def _heard(unit: Unit, band: float) -> Radio:
    """Return the radio that was measured: of its band, one that serves clients before another."""
    fitting = [radio for radio in unit.radios.values() if radio.band == band]
    if not fitting:
        wanted = f"a radio on {band:g} GHz, which a reading tells of"
        raise Missing(Input((*unit.pointer, "radios"), wanted))
    return min(fitting, key=lambda radio: "clients" not in (radio.carries or ("clients",)))


def applied_offset_db(w: Workings) -> float:
    """Return the shift of computed levels that the site asks for; 0 where it asks for none."""
    return w.once(offset)[0] if w.site.about.fit_to_readings else 0.0


def effective_dbm(w: Workings, radio: Radio) -> float:
    """Return the radiated power, shifted by what readings have shown where the site says so."""
    if not w.site.about.fit_to_readings:
        return radiated_dbm(radio)
    from meshlint.workings.propagation.calibration import applied_offset_db

    return radiated_dbm(radio) + applied_offset_db(w)


def offset(w: Workings) -> tuple[float, float]:
    """Return the mean difference of all level readings and its standard error, in dB."""
    off_db = [one.off_db for one in _levels(w)]
    count = len(off_db)
    if count < FEWEST:
        raise Missing(Input(("readings",), f"{FEWEST} level readings at least; it has {count}"))
    mean_db = math.fsum(off_db) / count
    squares = math.fsum((one - mean_db) ** 2 for one in off_db)
    return mean_db, math.sqrt(squares / (count - 1) / count)


def _levels(w: Workings) -> list[_Compared]:
    return [one for group in groups(w) if group.unit for one in _compare(w, group)]


def slope(w: Workings) -> tuple[float, float]:
    """Return how the difference grows with tenfold distance, and its standard error, in dB.

    Ordinary least squares of the difference over the logarithm of distance, offset left free.
    Nothing is corrected by it.
    """
    compared = _levels(w)
    count = len(compared)
    if count < FEWEST_FOR_SLOPE:
        wanted = f"{FEWEST_FOR_SLOPE} level readings at least; it has {count}"
        raise Missing(Input(("readings",), wanted))
    far = [math.log10(one.distance_m) for one in compared]
    if max(far) - min(far) < math.log10(FARTHER_TIMES):
        wanted = (
            f"level readings, the farthest of them {FARTHER_TIMES:g} times as far as the nearest"
        )
        raise Missing(Input(("readings",), wanted))
    middle, mean_db = math.fsum(far) / count, math.fsum(one.off_db for one in compared) / count
    apart = [at - middle for at in far]
    over = math.fsum(at**2 for at in apart)
    found_db = math.fsum(a * one.off_db for a, one in zip(apart, compared, strict=True)) / over
    left = math.fsum(
        (one.off_db - mean_db - found_db * at) ** 2 for at, one in zip(apart, compared, strict=True)
    )
    return found_db, math.sqrt(left / (count - 2) / over)

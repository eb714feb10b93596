"""What was measured on site against what is computed for the same place.

Levels of one unit on one band belong together, and so do the throughputs of one link. A level is
computed for a device of 0 dBi at the place of the reading. One place differs from the model by its
published spread; the mean of n places differs by that over the square root of n, which is what a
difference is held against. A throughput is held against what the rate that holds in nine places of
ten carries; only readings that were not taken in busy hours are.

The offset is the least-squares constant that brings all level readings closest to the computed
ones (their mean difference), with its standard error. It is applied to computed levels only where
the site says `fit_to_readings: true`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.capacity import ETHERNET_EFFICIENCY
from meshlint.workings.beams import off_beam_db
from meshlint.workings.budgets import link_budget
from meshlint.workings.building import client_spot, spot_of
from meshlint.workings.cells import radiated_dbm
from meshlint.workings.cover import CLIENTS_DBI
from meshlint.workings.ends import radio_of
from meshlint.workings.facts import STATED, Input, Kind, Missing, Workings, fact, need
from meshlint.workings.goodput import cable_rate_mbps, hop_of
from meshlint.workings.levels import frequency_mhz, path_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Link, Pointer, Radio, Reading, Unit

FEWEST = 3
"""So many level readings make an offset with a standard error worth the name."""

COMPARED = "mean over the readings; levels by the site's path loss model"
FEWEST_FOR_SLOPE = 10
FARTHER_TIMES = 4.0
"""A slope asks for more: two numbers are fitted, and places at like distances say nothing of it.
Five readings to a number and a factor of four in distance are conventions of ours; what they are
worth in a given case, the standard error says."""

SPREAD = "published spread of the model over the square root of the number of readings"


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
    return w.once_for(_compared, group.key, group)


def _compared(w: Workings, group: Group) -> tuple[_Compared, ...]:
    return tuple(_each(w, group))


def _each(w: Workings, group: Group) -> Iterator[_Compared]:
    for position, reading in zip(group.positions, group.readings, strict=True):
        pointer = ("readings", position)
        unit = w.site.units[need(reading.unit, (*pointer, "unit"), "the unit measured")]
        band = need(reading.band, (*pointer, "band"), "the band measured")
        radio = _heard(unit, band)
        at = need(reading.at, (*pointer, "at"), "where it was measured")
        place = client_spot(w, at, (*pointer, "at"))
        path = path_of(w, spot_of(w, unit), place, frequency_mhz(radio))
        measured_dbm = need(reading.level_dbm, (*pointer, "level_dbm"), "the level measured")
        beside_db = off_beam_db(w, radio, place)
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
            f"level readings of which the farthest is {FARTHER_TIMES:g} times as far as the nearest"
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


def _is_level(group: Group) -> None:
    if not group.unit:
        raise Missing(Input((*group.pointer, "level_dbm"), "a level, since it is a throughput"))


def _is_throughput(w: Workings, group: Group) -> Link:
    if not group.link:
        wanted = "a throughput, since it is a level"
        raise Missing(Input((*group.pointer, "throughput_mbps"), wanted))
    return (w.site.backhaul or {})[group.link]


@fact("reading.kind", Kind.TEXT, "level or throughput", source=STATED)
def kind(_: Workings, group: Group) -> str:
    return "level" if group.unit else "throughput"


@fact("reading.what", Kind.TEXT, "what was measured: a unit on a band, or a link", source=STATED)
def what(_: Workings, group: Group) -> str:
    return group.label


@fact("reading.count", Kind.COUNT, "how many readings there are of it", source=STATED)
def count(_: Workings, group: Group) -> float:
    return len(group.readings)


@fact("reading.measured_dbm", Kind.NUMBER, "mean level measured", source=STATED, unit="dBm")
def measured_dbm(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.measured_dbm for one in compared) / len(compared)


@fact(
    "reading.computed_dbm",
    Kind.NUMBER,
    "mean level computed for the same places, without any offset",
    source=COMPARED,
    unit="dBm",
)
def computed_dbm(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.computed_dbm for one in compared) / len(compared)


@fact(
    "reading.difference_db",
    Kind.NUMBER,
    "measured less computed level",
    source=COMPARED,
    unit="dB",
    digits=1,
)
def difference_db(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return math.fsum(one.off_db for one in compared) / len(compared)


@fact(
    "reading.off_db",
    Kind.NUMBER,
    "the difference of the levels, either way",
    source=COMPARED,
    unit="dB",
    digits=1,
)
def off_db(w: Workings, group: Group) -> float:
    return _off_db(w, group)


def _off_db(w: Workings, group: Group) -> float:
    _is_level(group)
    compared = _compare(w, group)
    return abs(math.fsum(one.off_db for one in compared)) / len(compared)


@fact(
    "reading.standard_error_db",
    Kind.NUMBER,
    "how far the mean may stray from the model by place alone",
    source=SPREAD,
    unit="dB",
    digits=1,
)
def standard_error_db(w: Workings, group: Group) -> float:
    return _error_db(w, group)


def _error_db(w: Workings, group: Group) -> float:
    _is_level(group)
    spreads = []
    for one in _compare(w, group):
        wanted = "a place under a roof: free space publishes no spread to judge by"
        spreads.append(need(one.sigma_db, (*group.pointer, "at"), wanted))
    return math.sqrt(math.fsum(sigma**2 for sigma in spreads)) / len(spreads)


@fact(
    "reading.off_errors",
    Kind.NUMBER,
    "the difference in multiples of that",
    source=SPREAD,
    digits=1,
)
def off_errors(w: Workings, group: Group) -> float:
    return _off_db(w, group) / _error_db(w, group)


@fact(
    "reading.measured_mbps",
    Kind.NUMBER,
    "mean throughput measured out of busy hours",
    source=STATED,
    unit="Mb/s",
)
def measured_mbps(w: Workings, group: Group) -> float:
    return _measured_mbps(w, group)


def _measured_mbps(w: Workings, group: Group) -> float:
    _is_throughput(w, group)
    return math.fsum(r.throughput_mbps or 0.0 for r in group.readings) / len(group.readings)


@fact(
    "reading.computed_mbps",
    Kind.NUMBER,
    "what the link should carry: the rate of nine places of ten, or the cable's",
    source="link budget and MAC efficiency (timing of IEEE 802.11-2020 10.23), Ethernet framing",
    unit="Mb/s",
)
def computed_mbps(w: Workings, group: Group) -> float:
    return _computed_mbps(w, group)


def _computed_mbps(w: Workings, group: Group) -> float:
    link = _is_throughput(w, group)
    if link.over == "cable":
        return cable_rate_mbps(w, link) * ETHERNET_EFFICIENCY
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a medium whose throughput can be computed"))
    held = link_budget(w, link).held
    if held is None:
        return 0.0
    band = need(radio_of(w, link, link.from_unit).band, link.pointer)
    return hop_of(held, band).goodput_mbps


@fact(
    "reading.short_percent",
    Kind.NUMBER,
    "how far the measured throughput falls short of the computed one; 0 where it does not",
    source="measured against computed",
    unit="%",
)
def short_percent(w: Workings, group: Group) -> float:
    computed, measured = _computed_mbps(w, group), _measured_mbps(w, group)
    return max(0.0, 100 * (1 - measured / computed)) if computed else 0.0


FACTS = (
    kind,
    what,
    count,
    measured_dbm,
    computed_dbm,
    difference_db,
    off_db,
    standard_error_db,
    off_errors,
    measured_mbps,
    computed_mbps,
    short_percent,
)

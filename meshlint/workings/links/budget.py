"""What a radio link carries: the level at both ends, and the rate that holds there.

The rate "in nine places of ten" is the fastest whose needed level is cleared by the fade margin,
1.28 times the model's published spread. Free space has none; that of clear paths between buildings,
below their rooftops, is taken outdoors, since ground, trees and facades spread those levels too.
The needed level is the standard's minimum sensitivity, or, where the receiving radio's noise
figure is stated, noise plus the signal-to-noise ratio of a steady channel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.physics.noise import fade_margin_db
from meshlint.physics.phy import GENERATIONS, LEGACY_RATES_MBPS, Mode, common_generation
from meshlint.physics.propagation import OutsideModel
from meshlint.physics.sensitivity import best_setting, lowest_level_dbm, settings
from meshlint.workings.propagation.path_loss import Path, path_between
from meshlint.workings.propagation.received_level import received_dbm
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.physics.distance import DistanceTerm
    from meshlint.physics.sensitivity import RateSetting
    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings

PLACES = 0.9
"""The share of places in which a rate should hold: nine of ten, the usual planning figure."""

OUTDOOR_SPREAD_DB = 5.06
"""Recommendation ITU-R P.1411-10 Table 4: clear paths below the rooftops, 0.8 to 73 GHz
(second-hand). That it stands in for the spread of free space, which has none, is our convention."""

OUTDOORS = "ITU-R P.1411-10 Table 4 for free space, by convention"

HELD = (
    "fastest rate whose needed level is cleared by 1.28 spreads; IEEE 802.11 minimum "
    "sensitivities, or signal to noise where the noise figure is stated"
)

CONFORMANCE = "IEEE 802.11 minimum sensitivities"
SIGNAL_TO_NOISE = "signal-to-noise tables for a steady channel, with the stated noise figure"


class Direction(Struct, frozen=True):
    """One way over a link: what the listening end gets of the speaking one.

    `median` is the fastest setting at the median level, `held` the fastest in nine places of ten;
    None where not even the slowest is carried. `floor_dbm` is what the slowest needs.
    """

    level_dbm: float
    floor_dbm: float
    median: RateSetting | None
    held: RateSetting | None
    ways: tuple[RateSetting, ...]
    table: str


class Budget(Struct, frozen=True):
    """A radio link worked out: `there` is from the `from` end to the `to` end, `back` the other."""

    path: Path
    generation: str
    streams: int
    width_mhz: int
    fade_margin_db: float
    there: Direction
    back: Direction

    @property
    def weaker(self) -> Direction:
        """Return the direction that has less room above its floor."""
        return min(self.there, self.back, key=lambda way: way.level_dbm - way.floor_dbm)

    @property
    def level_dbm(self) -> float:
        """Return the weaker level of the two ends."""
        return min(self.there.level_dbm, self.back.level_dbm)

    @property
    def margin_db(self) -> float:
        """Return how far the weaker direction stands above what its slowest rate needs."""
        return self.weaker.level_dbm - self.weaker.floor_dbm

    @property
    def rate_mbps(self) -> float:
        """Return the rate that both directions hold in nine places of ten; 0 for none."""
        return min(_rate_mbps(self.there.held), _rate_mbps(self.back.held))

    @property
    def median_rate_mbps(self) -> float:
        """Return the rate of both directions at the median level; 0 for none."""
        return min(_rate_mbps(self.there.median), _rate_mbps(self.back.median))

    @property
    def held(self) -> RateSetting | None:
        """Return the slower direction's setting in nine places of ten."""
        return min(self.there.held, self.back.held, key=_rate_mbps)

    def farthest_m(self, mcs: int = 0) -> float:
        """Return how far apart the ends could stand and hold an MCS in nine places of ten.

        At the narrowest width, with the power, walls and floors that there are; 0 for nowhere, and
        the model's far edge where its published range ends first. Legacy rates know no MCS: their
        slowest counts.
        """
        term = self.path.term
        try:
            return term.alone.reach_m(self._most_loss_db(term, mcs))
        except OutsideModel:
            if term.beyond is None:
                return term.farthest_m
        farther_m = term.beyond.reach_m(self._most_loss_db(term.beyond, mcs))
        return max(farther_m, term.farthest_m)

    def _most_loss_db(self, term: DistanceTerm, mcs: int) -> float:
        """Return what distance may take by a term, whose own spread is kept back."""
        margin_db = fade_margin_db(spread_or_outdoor_db(term.sigma_db), PLACES)
        return self.path.distance_db + min(
            way.level_dbm - margin_db - _needed_dbm(way, mcs) for way in (self.there, self.back)
        )


def _needed_dbm(way: Direction, mcs: int) -> float:
    fitting = [s.needed_dbm for s in way.ways if isinstance(s.mode, Mode) and s.mode.mcs == mcs]
    return min(fitting, default=way.floor_dbm)


def _rate_mbps(setting: RateSetting | None) -> float:
    return setting.rate_mbps if setting else 0.0


def link_budget(w: Workings, link: Link) -> Budget:
    """Return a radio link's budget; raises `Missing` where an input lacks."""
    return w.once(_budget, link.name, link)


def _budget(w: Workings, link: Link) -> Budget:
    return budget_between(w, *radios_of(w, link))


def budget_between(w: Workings, ours: Radio, theirs: Radio) -> Budget:
    """Return the budget of two radios of one band, whether or not a link joins them."""
    band = _band(ours)
    if band != _band(theirs):
        raise Missing(Input((*theirs.pointer, "band"), "the same band at both ends"))
    streams = min(_streams(ours), _streams(theirs))
    return _budget_with(w, ours, theirs, shared_generation(ours, theirs, band), streams)


def unstated(radio: Radio) -> tuple[Input, ...]:
    """Return what a radio does not state without which no link of it has a budget; often none."""
    try:
        _band(radio)
        _streams(radio)
    except Missing as missing:
        return missing.inputs
    return ()


def _band(radio: Radio) -> float:
    return need(radio.band, (*radio.pointer, "band"), "the radio's band")


def _streams(radio: Radio) -> int:
    return need(radio.streams, (*radio.pointer, "streams"), "how many streams it sends")


def budget_with(w: Workings, link: Link, generation: str, streams: int) -> Budget:
    """Return a link's budget if both ends spoke this amendment with so many streams."""
    return _budget_with(w, *radios_of(w, link), generation, streams)


def _budget_with(w: Workings, ours: Radio, theirs: Radio, generation: str, streams: int) -> Budget:
    width_mhz = min(
        need(end.width_mhz, (*end.pointer, "width_mhz"), "the radio's width")
        for end in (ours, theirs)
    )
    path = path_between(w, w.site.units[ours.unit], w.site.units[theirs.unit], frequency_mhz(ours))
    margin_db = path_fade_margin_db(path)
    there, back = (
        _direction(w, speaker, listener, generation, width_mhz, streams, margin_db)
        for speaker, listener in ((ours, theirs), (theirs, ours))
    )
    return Budget(path, generation, streams, width_mhz, margin_db, there, back)


def shadow_fading_sigma_db(path: Path) -> float:
    """Return how much levels spread from place to place, in dB."""
    return spread_or_outdoor_db(path.sigma_db)


def spread_or_outdoor_db(sigma_db: float | None) -> float:
    """Return a published spread; that of clear outdoor paths where free space has none."""
    return OUTDOOR_SPREAD_DB if sigma_db is None else sigma_db


def path_fade_margin_db(path: Path) -> float:
    """Return what is kept back so that a rate holds in nine places of ten, in dB."""
    return fade_margin_db(shadow_fading_sigma_db(path), PLACES)


def shared_generation(one: Radio, other: Radio, band: float) -> str:
    """Return the newest amendment that two radios share in a band."""
    stated = [
        need(end.generation, (*end.pointer, "generation"), "the 802.11 amendment it speaks")
        for end in (one, other)
    ]
    found = common_generation(stated[0], stated[1], band)
    if found is None:
        raise Missing(Input((*other.pointer, "generation"), "an amendment that both ends speak"))
    return found


def _direction(
    w: Workings,
    speaker: Radio,
    listener: Radio,
    generation: str,
    width_mhz: int,
    streams: int,
    margin_db: float,
) -> Direction:
    level_dbm = received_dbm(w, speaker, listener)
    noise_figure_db = None if generation in LEGACY_RATES_MBPS else listener.noise_figure_db
    ways = _ways(generation, width_mhz, streams, noise_figure_db)
    floor_dbm = need(lowest_level_dbm(ways), (*listener.pointer, "generation"), "802.11g or newer")
    return Direction(
        level_dbm,
        floor_dbm,
        best_setting(ways, level_dbm),
        best_setting(ways, level_dbm, margin_db),
        ways,
        CONFORMANCE if noise_figure_db is None else SIGNAL_TO_NOISE,
    )


def _ways(
    generation: str, width_mhz: int, streams: int, noise_figure_db: float | None
) -> tuple[RateSetting, ...]:
    most = GENERATIONS[generation].most_streams if generation in GENERATIONS else 1
    return settings(generation, width_mhz, min(streams, most), noise_figure_db)

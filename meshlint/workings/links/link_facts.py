"""What a radio link loses on its way, what is left at both ends, and which rate that carries."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.phy import Mode, amendments_before
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.budget import (
    HELD,
    OUTDOORS,
    budget_with,
    link_budget,
    path_fade_margin_db,
    shadow_fading_sigma_db,
)
from meshlint.workings.propagation.antenna_pattern import PATTERN
from meshlint.workings.propagation.path_loss import path_between
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.physics.sensitivity import RateSetting
    from meshlint.site.model import Link, Radio
    from meshlint.workings.propagation.path_loss import Path
    from meshlint.workings.site_workings import Workings

LOSS = "the site's path loss model: ITU-R P.1238, or IEEE 802.11-14/0980 with P.2040, or P.525"
BUDGET = f"radiated power less path loss, plus the antenna's gain at the listening end; {PATTERN}"
AGE = "amendments of IEEE 802.11 in the order of their band"

_LEGACY_MCS = {6.0: 0, 9.0: 0, 12.0: 1, 18.0: 2, 24.0: 3, 36.0: 4, 48.0: 5, 54.0: 6}
"""The rates before 802.11n by the MCS of the same modulation and coding; 9 Mb/s has none."""


def path(w: Workings, link: Link) -> Path:
    """Return the path between the two units of a radio link."""
    if link.over != "radio":
        raise Missing(Input((*link.pointer, "over"), "a radio link"))
    ours, _ = radios_of(w, link)
    units = w.site.units
    return path_between(w, units[link.from_unit], units[link.to_unit], frequency_mhz(ours))


@fact(
    "link.distance_m",
    Kind.NUMBER,
    "three-dimensional distance between the two units, at least 1 m",
    source="the plan",
    unit="m",
    digits=1,
)
def distance_m(w: Workings, link: Link) -> float:
    return path(w, link).distance_m


@fact("link.walls_crossed", Kind.TEXTS, "the walls and obstacles on the line", source="the plan")
def walls_crossed(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(
        f"{crossing.words} at {crossing.at_m[0]:.1f}, {crossing.at_m[1]:.1f}"
        for crossing in path(w, link).walls
    )


@fact("link.wall_count", Kind.COUNT, "how many of them there are", source="the plan")
def wall_count(w: Workings, link: Link) -> float:
    return len(path(w, link).walls)


@fact(
    "link.in_sight",
    Kind.TRUTH,
    "whether the two ends see each other: as the link states, else as far as the plan shows",
    source="the site file; nothing drawn between them, where walls are drawn",
)
def in_sight(w: Workings, link: Link) -> bool:
    return path(w, link).in_sight


@fact("link.floors_crossed", Kind.COUNT, "how many floors the line crosses", source="the plan")
def floors_crossed(w: Workings, link: Link) -> float:
    return path(w, link).floors


@fact(
    "link.distance_loss_db",
    Kind.NUMBER,
    "the part of the loss that distance takes",
    source=LOSS,
    unit="dB",
    digits=1,
)
def distance_loss_db(w: Workings, link: Link) -> float:
    return path(w, link).distance_db


@fact(
    "link.walls_loss_db",
    Kind.NUMBER,
    "the part that drawn walls and obstacles take",
    source="ITU-R P.2040-3 slab without ripple, or the measured loss",
    unit="dB",
    digits=1,
)
def walls_loss_db(w: Workings, link: Link) -> float:
    return path(w, link).walls_db


@fact(
    "link.floors_loss_db",
    Kind.NUMBER,
    "the part that floors take",
    source="those that the file names by P.2040-3 or their measured loss, others as the model "
    "publishes: ITU-R P.1238 Table 3, or the floor term of the scenario",
    unit="dB",
    digits=1,
)
def floors_loss_db(w: Workings, link: Link) -> float:
    return path(w, link).floors_db


@fact(
    "link.path_loss_db",
    Kind.NUMBER,
    "the whole loss, a median",
    source=LOSS,
    unit="dB",
    digits=1,
)
def path_loss_db(w: Workings, link: Link) -> float:
    return path(w, link).loss_db


@fact("link.path_model", Kind.TEXT, "the model and its edition", source=LOSS)
def path_model(w: Workings, link: Link) -> str:
    return path(w, link).model


@fact(
    "link.spread_db",
    Kind.NUMBER,
    "published spread of the level from place to place; for free space, which has none, that of "
    "clear paths below the rooftops",
    source=f"{LOSS}; {OUTDOORS}",
    unit="dB",
    digits=1,
)
def spread_db(w: Workings, link: Link) -> float:
    return shadow_fading_sigma_db(path(w, link))


@fact(
    "link.fade_margin_db",
    Kind.NUMBER,
    "what is kept back so that a rate holds in nine places of ten",
    source="normal quantile of 0.9 times link.spread_db",
    unit="dB",
    digits=1,
)
def fade_margin(w: Workings, link: Link) -> float:
    return path_fade_margin_db(path(w, link))


@fact(
    "link.level_at_from_dbm",
    Kind.NUMBER,
    "median level that the `from` end gets",
    source=BUDGET,
    unit="dBm",
    digits=1,
)
def level_at_from_dbm(w: Workings, link: Link) -> float:
    return link_budget(w, link).back.level_dbm


@fact(
    "link.level_at_to_dbm",
    Kind.NUMBER,
    "median level that the `to` end gets",
    source=BUDGET,
    unit="dBm",
    digits=1,
)
def level_at_to_dbm(w: Workings, link: Link) -> float:
    return link_budget(w, link).there.level_dbm


@fact(
    "link.level_dbm",
    Kind.NUMBER,
    "the weaker of the two levels",
    source=BUDGET,
    unit="dBm",
    digits=1,
)
def level_dbm(w: Workings, link: Link) -> float:
    return link_budget(w, link).level_dbm


@fact(
    "link.floor_dbm",
    Kind.NUMBER,
    "the level that the slowest rate needs at the end with less room",
    source="the table named by link.rate_table",
    unit="dBm",
    digits=1,
)
def floor_dbm(w: Workings, link: Link) -> float:
    return link_budget(w, link).weaker.floor_dbm


@fact(
    "link.margin_db",
    Kind.NUMBER,
    "how far the median level stands above that",
    source=BUDGET,
    unit="dB",
    digits=1,
)
def margin_db(w: Workings, link: Link) -> float:
    return link_budget(w, link).margin_db


@fact("link.rate_table", Kind.TEXT, "where the needed levels come from", source=HELD)
def rate_table(w: Workings, link: Link) -> str:
    return link_budget(w, link).weaker.table


@fact(
    "link.rate_mbps",
    Kind.NUMBER,
    "the data rate that holds both ways in nine places of ten; 0 for none",
    source=HELD,
    unit="Mb/s",
)
def rate_mbps(w: Workings, link: Link) -> float:
    return link_budget(w, link).rate_mbps


@fact(
    "link.median_rate_mbps",
    Kind.NUMBER,
    "the data rate at the median level, so in half of such places",
    source=HELD,
    unit="Mb/s",
)
def median_rate_mbps(w: Workings, link: Link) -> float:
    return link_budget(w, link).median_rate_mbps


@fact(
    "link.mcs",
    Kind.COUNT,
    "the best modulation and coding that holds both ways in nine places of ten, at whichever "
    "width; -1 for none",
    source=HELD,
)
def mcs(w: Workings, link: Link) -> float:
    found = link_budget(w, link)
    return min(
        max(
            (
                _mcs(way)
                for way in direction.ways
                if direction.level_dbm - found.fade_margin_db >= way.needed_dbm
            ),
            default=-1,
        )
        for direction in (found.there, found.back)
    )


def _mcs(way: RateSetting) -> int:
    return way.mode.mcs if isinstance(way.mode, Mode) else _LEGACY_MCS[way.rate_mbps]


@fact("link.setting", Kind.TEXT, "that way to send, in words", source=HELD)
def setting(w: Workings, link: Link) -> str:
    found = link_budget(w, link)
    if found.held is None:
        return "no rate"
    mode = found.held.mode
    if not isinstance(mode, Mode):
        return f"{mode.generation} at {mode.rate_mbps:g} Mb/s"
    streams = f"{mode.streams} stream{'s' * (mode.streams != 1)}"
    return f"{mode.generation} MCS {mode.mcs} in {streams} at {mode.width_mhz} MHz"


@fact(
    "link.farthest_m",
    Kind.NUMBER,
    "how far apart the ends could stand and hold the slowest rate in nine places of ten",
    source="the path loss model solved for distance, walls and floors as they are",
    unit="m",
    digits=1,
)
def farthest_m(w: Workings, link: Link) -> float:
    return link_budget(w, link).farthest_m()


@fact(
    "link.farthest_for_mcs_3_m",
    Kind.NUMBER,
    "how far apart the ends could stand and hold MCS 3 in nine places of ten",
    source="the path loss model solved for distance, walls and floors as they are",
    unit="m",
    digits=1,
)
def farthest_for_mcs_3_m(w: Workings, link: Link) -> float:
    return link_budget(w, link).farthest_m(3)


def _ages(w: Workings, link: Link) -> tuple[int, int]:
    """Return how many amendments of the band came before that of each end."""
    found = []
    for radio in radios_of(w, link):
        band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
        where = (*radio.pointer, "generation")
        spoken = need(radio.generation, where, "the 802.11 amendment it speaks")
        wanted = f"an amendment that exists at {band:g} GHz"
        found.append(need(amendments_before(spoken, band), where, wanted))
    return found[0], found[1]


def _newer(w: Workings, link: Link) -> Radio:
    """Return the radio of the newer end, the `to` end where both are alike."""
    ours, theirs = _ages(w, link)
    return radios_of(w, link)[0 if ours > theirs else 1]


@fact(
    "link.amendments_apart",
    Kind.COUNT,
    "how many 802.11 amendments of its band one end is behind the other",
    source=AGE,
)
def amendments_apart(w: Workings, link: Link) -> float:
    ours, theirs = _ages(w, link)
    return abs(ours - theirs)


@fact("link.older_unit", Kind.TEXT, "the end with the older radio", source=AGE)
def older_unit(w: Workings, link: Link) -> str:
    return link.far_end(_newer(w, link).unit)


@fact("link.generations", Kind.TEXT, "what each end speaks, in words", source=STATED)
def generations(w: Workings, link: Link) -> str:
    older, newer = sorted(radios_of(w, link), key=lambda radio: radio is _newer(w, link))
    return f"{older.unit} speaks {older.generation} and {newer.unit} {newer.generation}"


@fact(
    "link.rate_if_alike_mbps",
    Kind.NUMBER,
    "the rate in nine places of ten if the older end had a radio like the newer one",
    source=HELD,
    unit="Mb/s",
)
def rate_if_alike_mbps(w: Workings, link: Link) -> float:
    newer = _newer(w, link)
    where = newer.pointer
    generation = need(newer.generation, (*where, "generation"), "the 802.11 amendment it speaks")
    streams = need(newer.streams, (*where, "streams"), "how many streams it sends")
    return budget_with(w, link, generation, streams).rate_mbps

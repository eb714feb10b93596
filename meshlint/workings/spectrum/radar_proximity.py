"""How near radars and airports stand, where a radio is on spectrum that radars use.

Only the US publish their terminal weather radars with frequencies, and only there is nearness a
rule; elsewhere the file may list radars itself. An airport is no more than a hint.

What silences a radio is a radar inside its own channel: a detector covers the channel in use and
not its neighbours (47 CFR 15.407(h)(2); KDB 905462 D02 Table 4; EN 301 893 5.4.8; from memory). A
radar just outside is protected by the mask and by the separation that the FCC asks for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.classes import FCC_CODES
from meshlint.law.radar import (
    RADAR_RULE,
    RADAR_RULE_KM,
    NearAirport,
    NearRadar,
    Position,
    Radar,
    conflicts,
    nearest,
    nearest_airport,
    us_radars,
)
from meshlint.law.radar_duty import WEATHER_BAND, radar_spans
from meshlint.physics.channels import Span, common_span, overlap_mhz
from meshlint.workings.fact import Kind, fact
from meshlint.workings.spectrum.channel import law
from meshlint.workings.spectrum.permission import may_be_on
from meshlint.workings.spectrum.radar_duty import by_radar, known_by_radar
from meshlint.workings.unknown import Input, Missing, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.law.radar import RadarConflict
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio, Site
    from meshlint.workings.site_workings import Workings

HAVERSINE = "haversine on a sphere of 6371.0088 km"
US_TABLE = f"FCC and FAA table of terminal Doppler weather radars; {HAVERSINE}"
LISTED = f"the radars that the file lists, in the US with the FCC's table; {HAVERSINE}"

# How far from a span of radar duty a radar's frequency may lie and still matter there: what the
# FCC wants between the centres (KDB 443999).
_BESIDE_MHZ = 30.0


class _Clash(Struct, frozen=True):
    """A channel that a radio is or may be on, too close to a radar."""

    channel: Channel
    conflict: RadarConflict


def place(w: Workings) -> Position:
    """Return where on the globe the site is."""
    stated = need(w.site.about.place, ("site", "place"), "latitude and longitude of the site")
    return Position(stated.latitude, stated.longitude)


def radars_are_listed(w: Workings) -> bool:
    """Return whether the radars near are known: the file lists them, or the country publishes all.

    Under 47 CFR all terminal weather radars are, also where a territory has none.
    """
    return w.site.radars is not None or w.once(law).code in FCC_CODES


def listed_radars(w: Workings) -> tuple[Radar, ...]:
    """Return the radars known here that send near radar duty; unknown where nobody lists any."""
    rules = w.once(law)
    published = us_radars() if rules.code in FCC_CODES else ()
    if not radars_are_listed(w):
        wanted = "the weather radars near the site, or [] if there are known to be none"
        raise Missing(Input(("radars",), wanted))
    own = (
        Radar(r.name, Position(r.place.latitude, r.place.longitude), r.frequency_mhz)
        for r in w.site.radars or ()
    )
    return published + tuple(
        radar
        for radar in own
        if radar.frequency_mhz is None
        or any(
            overlap_mhz(
                span, Span(radar.frequency_mhz - _BESIDE_MHZ, radar.frequency_mhz + _BESIDE_MHZ)
            )
            > 0
            for span in radar_spans(rules)
        )
    )


def _nearest_radar(w: Workings) -> NearRadar:
    found = nearest(w.once(place), w.once(listed_radars))
    return need(found, ("radars",), "a radar that sends where radar duty is")


def _airport(w: Workings) -> NearAirport:
    return nearest_airport(w.once(place))


def _sends_inside(w: Workings, radar: Radar, radio: Radio) -> bool:
    """Return whether a radar sends inside a channel with radar duty that a radio is or may be on.

    One of unknown frequency may: it is taken to send somewhere where radar duty is.
    """
    rules = w.once(law)
    frequency_mhz = radar.frequency_mhz
    return any(
        frequency_mhz is None or _holds(shared, frequency_mhz)
        for channel in may_be_on(w, radio)
        for duty in radar_spans(rules)
        if (shared := common_span(duty, channel)) is not None
    )


def _holds(span: Span, frequency_mhz: float) -> bool:
    return span.low_mhz <= frequency_mhz <= span.high_mhz


def reached_by_radar(w: Workings) -> Mapping[str, tuple[Radio, ...]]:
    """Return the radars that send inside a channel of a radio in use, each with those radios.

    Unknown where none is known to, and a radio's channel is open.
    """
    radios = w.once(by_radar)
    found = {
        radar.name: tuple(radio for radio in radios if _sends_inside(w, radar, radio))
        for radar in w.once(listed_radars)
    }
    reached = {name: radios for name, radios in found.items() if radios}
    if w.once(listed_radars) and not reached:
        raise_missing(w.once(known_by_radar)[1])
    return reached


def _nearest_inside(w: Workings) -> NearRadar:
    inside = w.once(reached_by_radar)
    found = nearest(w.once(place), (r for r in w.once(listed_radars) if r.name in inside))
    return need(found, ("radars",), "a radar that sends inside a channel of a radio here")


def reached_radios(w: Workings) -> tuple[Radio, ...]:
    """Return the radios inside whose channel the nearest such radar sends."""
    return w.once(reached_by_radar)[w.once(_nearest_inside).radar.name]


@fact(
    "site.radars_in_channel",
    Kind.COUNT,
    "known radars that send inside a channel with radar duty that a radio is on, or may choose",
    source=LISTED,
)
def radars_in_channel(w: Workings, _: Site) -> float:
    return len(w.once(reached_by_radar))


@fact("site.radar_in_channel", Kind.TEXT, "the nearest of these", source=LISTED)
def radar_in_channel(w: Workings, _: Site) -> str:
    return w.once(_nearest_inside).radar.name


@fact(
    "site.radar_in_channel_km",
    Kind.NUMBER,
    "distance to it",
    source=LISTED,
    unit="km",
    digits=1,
)
def radar_in_channel_km(w: Workings, _: Site) -> float:
    return w.once(_nearest_inside).distance_km


@fact(
    "site.radar_in_channel_margin_km",
    Kind.NUMBER,
    "what its published position may be wrong by",
    source=US_TABLE,
    unit="km",
    digits=1,
)
def radar_in_channel_margin_km(w: Workings, _: Site) -> float:
    return w.once(_nearest_inside).radar.margin_km


@fact(
    "site.radar_in_channel_mhz",
    Kind.NUMBER,
    "the frequency that it sends on, 0 where nobody states it",
    source=LISTED,
    unit="MHz",
)
def radar_in_channel_mhz(w: Workings, _: Site) -> float:
    return w.once(_nearest_inside).radar.frequency_mhz or 0.0


@fact(
    "site.radios_in_radar_channel",
    Kind.TEXTS,
    "the radios inside whose channel it sends, or may come to send",
    source=LISTED,
)
def radios_in_radar_channel(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(f"{radio.unit} ({radio.name})" for radio in w.once(reached_radios))


@fact(
    "site.radar_in_channel_by_choice",
    Kind.TRUTH,
    "whether all of these choose their channel themselves",
    source=LISTED,
)
def radar_in_channel_by_choice(w: Workings, _: Site) -> bool:
    return all(radio.channel == "auto" for radio in w.once(reached_radios))


@fact(
    "site.radars_listed",
    Kind.TRUTH,
    "whether the radars near are known: the file lists them, or the country publishes all",
    source=LISTED,
)
def radars_listed(w: Workings, _: Site) -> bool:
    return radars_are_listed(w)


def in_weather_band(w: Workings) -> tuple[Radio, ...]:
    """Return the radios with radar duty that are on 5600-5650 MHz, or may choose it.

    Unknown where none is known to be, and a radio's channel is open.
    """
    found = tuple(
        radio
        for radio in w.once(by_radar)
        if any(overlap_mhz(channel, WEATHER_BAND) > 0 for channel in may_be_on(w, radio))
    )
    if not found:
        raise_missing(w.once(known_by_radar)[1])
    return found


@fact(
    "site.radios_in_weather_band",
    Kind.TEXTS,
    "radios on 5600 to 5650 MHz, where weather radars send, or that may choose it",
    source="ETSI EN 301 893 Table D.1; Radio Regulations 5.452 (from memory)",
)
def radios_in_weather_band(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(f"{radio.unit} ({radio.name})" for radio in w.once(in_weather_band))


@fact("site.radars_known", Kind.COUNT, "radars that are known and matter here", source=LISTED)
def radars_known(w: Workings, _: Site) -> float:
    return len(w.once(listed_radars))


@fact("site.nearest_radar", Kind.TEXT, "the nearest known radar", source=LISTED)
def nearest_radar(w: Workings, _: Site) -> str:
    return w.once(_nearest_radar).radar.name


@fact(
    "site.nearest_radar_km",
    Kind.NUMBER,
    "distance to it",
    source=LISTED,
    unit="km",
    digits=1,
)
def nearest_radar_km(w: Workings, _: Site) -> float:
    return w.once(_nearest_radar).distance_km


@fact(
    "site.nearest_radar_mhz",
    Kind.NUMBER,
    "the frequency that it sends on",
    source=LISTED,
    unit="MHz",
)
def nearest_radar_mhz(w: Workings, _: Site) -> float:
    wanted = "the radar's frequency"
    return need(w.once(_nearest_radar).radar.frequency_mhz, ("radars",), wanted)


@fact(
    "site.nearest_airport",
    Kind.TEXT,
    "the nearest airport with scheduled-service code",
    source="PyPI airportsdata",
)
def airport(w: Workings, _: Site) -> str:
    near = w.once(_airport)
    return f"{near.name} ({near.code})"


@fact(
    "site.nearest_airport_km",
    Kind.NUMBER,
    "distance to the reference point of that airport",
    source=f"PyPI airportsdata; {HAVERSINE}",
    unit="km",
    digits=1,
)
def airport_km(w: Workings, _: Site) -> float:
    return w.once(_airport).distance_km


@fact(
    "radio.under_weather_radar_rule",
    Kind.TRUTH,
    "whether the FCC's rule on terminal weather radars holds here for this band",
    source=str(RADAR_RULE),
)
def under_weather_radar_rule(w: Workings, radio: Radio) -> bool:
    if radio.band in (2.4, 6.0):
        return False  # the radars send at 5600-5650 MHz
    return w.once(law).code in FCC_CODES


def _clashes(w: Workings, radio: Radio) -> tuple[_Clash, ...]:
    """Return the clashes, the nearest radar first."""
    found = [
        _Clash(channel, conflict)
        for channel in may_be_on(w, radio)
        for conflict in conflicts(w.once(place), channel, RADAR_RULE_KM, us_radars())
    ]
    return tuple(sorted(found, key=lambda c: (c.conflict.near.distance_km, c.channel.low_mhz)))


@fact(
    "radio.weather_radars_too_close",
    Kind.COUNT,
    "terminal weather radars within 35 km that the channel comes too close to in frequency",
    source=f"{RADAR_RULE}; {US_TABLE}",
)
def weather_radars_too_close(w: Workings, radio: Radio) -> float:
    """Count by both tests: centres less than 30 MHz apart, or the span holds the frequency."""
    return len({clash.conflict.near.radar.name for clash in _clashes(w, radio)})


@fact("radio.weather_radar", Kind.TEXT, "the nearest such radar, and how close", source=US_TABLE)
def weather_radar(w: Workings, radio: Radio) -> str:
    clashes = _clashes(w, radio)
    if not clashes:
        return ""
    near = clashes[0].conflict.near
    margin_km = near.radar.margin_km
    sure = f", give or take {margin_km:g} km," if margin_km else ""
    return (
        f"{near.radar.name}, {near.distance_km:.1f} km away{sure} on "
        f"{near.radar.frequency_mhz:g} MHz"
    )


@fact("radio.weather_radar_how", Kind.TEXT, "which of the two tests it fails", source=US_TABLE)
def weather_radar_how(w: Workings, radio: Radio) -> str:
    clashes = _clashes(w, radio)
    if not clashes:
        return ""
    clash = clashes[0]
    name = f"channel {clash.channel.number} at {clash.channel.width_mhz} MHz"
    told = []
    if clash.conflict.covers_frequency:
        told.append("covers that frequency")
    if clash.conflict.centre_too_close:
        apart = f"{clash.conflict.separation_mhz:g} MHz"
        told.append(f"has its centre {apart} from it, where 30 MHz are wanted")
    return f"{name} {' and '.join(told)}"

"""The last hop: which radio the devices of a group are on, how strong, and what that carries.

Devices in an area of which the levels are known stand at the places of the area, each at its own
level. All others stand at the edge of their cell, at the target level (-67 dBm, or what their area
says). Where a group states its power, the weaker of the two directions counts: the devices are
heard by so much less as they send with less than the radio. Rates are those of the standard's
minimum sensitivities.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from meshlint.physics.capacity import Hop
from meshlint.physics.mac import exchange
from meshlint.physics.phy import GENERATIONS, LEGACY_RATES_MBPS, common_generation
from meshlint.physics.sensitivity import RateSetting, best_setting, settings
from meshlint.physics.traffic import BULK, frames_of
from meshlint.workings.fact import Kind, fact
from meshlint.workings.links.attachment import (
    Devices,
    area_of,
    devices_of,
    groups_about,
    serving_radios,
)
from meshlint.workings.propagation.cells import TARGET_DBM
from meshlint.workings.propagation.coverage_map import coverage_of_area
from meshlint.workings.topology.radio_use import fitting_radios, serves_clients
from meshlint.workings.topology.tree import stated_clients
from meshlint.workings.unknown import Input, Missing, Unknown, answer, gather, must_know, need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.physics.mac import Exchange
    from meshlint.physics.traffic import Frames
    from meshlint.site.model import ClientGroup, Pointer, Radio
    from meshlint.workings.links.area_shares import Rates
    from meshlint.workings.site_workings import Workings

LAST_HOP = (
    "level where the devices are, or the target level, in the weaker direction; the standard's "
    "minimum sensitivities; MAC efficiency from the timing of IEEE 802.11-2020 10.23"
)

DSSS_RATES_MBPS: Final = LEGACY_RATES_MBPS["802.11b"]

Mix = tuple[tuple[RateSetting, float], ...]
"""Ways to send, and the part of the devices that uses each; parts need not add up to 1."""


class OnAir(Struct, frozen=True):
    """Devices of a group on one radio, their level, and the rates that they hold.

    `mix` leaves out those that hold none; `protected_mbps` is the rate of the CTS before each of
    their turns, None where nothing has to be said to devices of 802.11b first.
    """

    devices: Devices
    radio: Radio
    level_dbm: float
    mix: Mix | Unknown
    protected_mbps: float | None = None

    @property
    def served_part(self) -> float:
        """Return which part of these devices holds a rate."""
        return math.fsum(part for _, part in must_know(self.mix))

    @property
    def unprotected(self) -> OnAir:
        """Return the same as if no device of 802.11b were about."""
        return self if self.protected_mbps is None else replace(self, protected_mbps=None)

    def hop(self, frames: Frames = BULK) -> Hop | None:
        """Return the hop of those that hold a rate, None where nobody does.

        Its goodput is what they have when each sends as much as any other; its turns are those of
        the rate that most of them use.
        """
        mix = must_know(self.mix)
        if not mix:
            return None
        turns = [(self._turn(setting, frames), part) for setting, part in mix]
        served = math.fsum(part for _, part in turns)
        mbps = served / math.fsum(part / turn.goodput_mbps for turn, part in turns)
        return Hop(mbps, max(turns, key=lambda entry: entry[1])[0])

    def _turn(self, setting: RateSetting, frames: Frames) -> Exchange:
        return exchange(
            setting.mode,
            need(self.radio.band, (*self.radio.pointer, "band"), "the radio's band"),
            payload_octets=frames.payload_octets,
            most_frames=frames.most_frames,
            protected_mbps=self.protected_mbps,
        )


def hop_of(setting: RateSetting, band: float, frames: Frames = BULK) -> Hop:
    """Return the hop that a way to send makes."""
    turn = exchange(
        setting.mode,
        band,
        payload_octets=frames.payload_octets,
        most_frames=frames.most_frames,
    )
    return Hop(turn.goodput_mbps, turn, setting.mode, band)


def frames_each_way(group: ClientGroup) -> tuple[Frames, Frames]:
    """Return the frames of a group's devices, down and up."""
    return frames_of(group.use, group.down_mbps or 0.0), frames_of(group.use, group.up_mbps or 0.0)


def on_air(w: Workings, group: ClientGroup) -> tuple[OnAir, ...]:
    """Return the devices of a group by the radios that they are on; nobody where on a cable."""
    return w.once(_on_air, group.name, group)


def on_air_at_all(w: Workings, group: ClientGroup) -> tuple[OnAir, ...]:
    """Return what `on_air` does; raises `Missing` for a group on a cable."""
    if group.wired_to is not None:
        raise Missing(Input((*group.pointer, "wired_to"), "a group on the air"))
    return on_air(w, group)


def _on_air(w: Workings, group: ClientGroup) -> tuple[OnAir, ...]:
    if group.wired_to is not None:
        return ()
    if group.near is None and (by_level := placed(w, group)) is not None:
        return by_level
    return tuple(_at_edge(w, group, devices) for devices in devices_of(w, group))


def placed(
    w: Workings, group: ClientGroup, gone: frozenset[str] = frozenset()
) -> tuple[OnAir, ...] | None:
    """Return the devices of a group in an area by level, without the radios of units that are gone.

    None where levels are not known.
    """
    area = area_of(w, group)
    radios = [radio for radio in serving_radios(w, group) if radio.unit not in gone]
    cover, inside = coverage_of_area(w, area)
    radios = [radio for radio in radios if radio.pointer in cover.radios]
    if not radios or not inside.any() or any(radio.pointer in cover.lacking for radio in radios):
        return None
    from meshlint.workings.links.area_shares import split

    ways = {radio.pointer: answer(_ways, w, group, radio) for radio in radios}
    if len({radio.band for radio in radios}) > 1:
        gather(radios, lambda radio: must_know(ways[radio.pointer]))
    rates = {radio.pointer: _rates(group, radio, ways[radio.pointer]) for radio in radios}
    parts = split(cover, inside, radios, rates)
    found = []
    for radio in radios:
        if radio.pointer not in parts:
            continue
        serves_clients(w, radio)
        part = parts[radio.pointer]
        held = ways[radio.pointer]
        mix: Mix | Unknown = held if isinstance(held, Unknown) else _mix(held, part.rows)
        devices = Devices(group, radio.unit, part.part)
        found.append(OnAir(devices, radio, part.level_dbm, mix, _protected_mbps(w, group, radio)))
    return tuple(found)


def _rates(group: ClientGroup, radio: Radio, held: Mix | Unknown) -> Rates:
    """Return what a level gives; where that is not known, any level gives the same."""
    from meshlint.workings.links.area_shares import Rates

    weaker_db = heard_weaker_db(group, radio)
    if isinstance(held, Unknown) or not held:
        return Rates((-math.inf,), (0.0,), weaker_db)
    band = radio.band or 0.0
    return Rates(
        tuple(setting.needed_dbm for setting, _ in held),
        tuple(hop_of(setting, band).goodput_mbps for setting, _ in held),
        weaker_db,
    )


def _mix(held: Mix, rows: Mapping[int, float]) -> Mix:
    return tuple((held[row][0], part) for row, part in rows.items() if row >= 0 and held)


def _ways(w: Workings, group: ClientGroup, radio: Radio) -> Mix:
    """Return the ways to send worth using, by the level needed, each better than the one before."""
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    found: list[tuple[RateSetting, float]] = []
    best_mbps = 0.0
    for setting in sorted(_settings(w, group, radio), key=lambda s: (s.needed_dbm, -s.rate_mbps)):
        mbps = hop_of(setting, band).goodput_mbps
        if mbps > best_mbps:
            found.append((setting, 1.0))
            best_mbps = mbps
    return tuple(found)


def _settings(_: Workings, group: ClientGroup, radio: Radio) -> tuple[RateSetting, ...]:
    """Return every way to send that a group and a radio share; none where they share nothing."""
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    ours = need(radio.generation, (*radio.pointer, "generation"), "the 802.11 amendment it speaks")
    theirs = need(group.generation, (*group.pointer, "generation"), "the amendment they speak")
    generation = common_generation(ours, theirs, band)
    if generation is None:
        return ()
    if generation in LEGACY_RATES_MBPS:
        return settings(generation, 20, 1)
    streams = min(
        GENERATIONS[generation].most_streams,
        need(radio.streams, (*radio.pointer, "streams"), "how many streams it sends"),
        need(group.streams, (*group.pointer, "streams"), "how many streams they send"),
    )
    width_mhz = need(radio.width_mhz, (*radio.pointer, "width_mhz"), "the channel's width")
    return settings(generation, width_mhz, streams)


def heard_weaker_db(group: ClientGroup, radio: Radio) -> float:
    """Return how much weaker a group's devices are heard than they hear the radio; never below 0.

    Antennas and path are the same both ways, so the two powers decide. Nothing where the group
    states no power.
    """
    if group.transmit_dbm is None:
        return 0.0
    power_dbm = radio.power_dbm
    if power_dbm is None and None not in (radio.radiated_dbm, radio.antenna_gain_dbi):
        power_dbm = (radio.radiated_dbm or 0.0) - (radio.antenna_gain_dbi or 0.0)
    power_dbm = need(power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    return max(0.0, power_dbm - group.transmit_dbm)


def target_dbm(w: Workings, group: ClientGroup) -> float:
    """Return the level at which the group's cell ends."""
    area = (w.site.areas or {}).get(group.area or "")
    if area is not None and area.target_dbm is not None:
        return area.target_dbm
    return TARGET_DBM


def _at_edge(w: Workings, group: ClientGroup, devices: Devices) -> OnAir:
    """Return devices at the edge of a unit's cell, on the radio that gives them most.

    A radio that speaks nothing they know is passed over where there is another.
    """
    unit = w.site.units[devices.unit]
    fitting = fitting_radios(w.site, group, unit)
    if not fitting:
        wanted = f"a radio of {unit.name} that serves {group.name}"
        raise Missing(Input((*unit.pointer, "radios"), wanted))
    if len({radio.band for radio in fitting}) == 1:
        serves_clients(w, fitting[0])
        return edge_of(w, devices, fitting[0])
    able = [found for radio in fitting if must_know((found := edge_of(w, devices, radio)).mix)]
    if not able:
        raise Missing(Input((*group.pointer, "generation"), "an amendment that the radios speak"))
    best = max(able, key=lambda found: hop.goodput_mbps if (hop := found.hop()) else 0.0)
    serves_clients(w, best.radio)
    return best


def edge_of(w: Workings, devices: Devices, radio: Radio) -> OnAir:
    """Return devices at the edge of a radio's cell."""
    return at_level(w, devices, radio, target_dbm(w, devices.group))


def at_level(w: Workings, devices: Devices, radio: Radio, level_dbm: float) -> OnAir:
    """Return devices that hear a radio at a level, and are heard as much weaker as they send."""
    group = devices.group
    level_dbm -= heard_weaker_db(group, radio)
    mix = answer(_mix_at, w, group, radio, level_dbm)
    return OnAir(devices, radio, level_dbm, mix, _protected_mbps(w, group, radio))


def _mix_at(w: Workings, group: ClientGroup, radio: Radio, level_dbm: float) -> Mix:
    best = best_setting(_settings(w, group, radio), level_dbm)
    return () if best is None else ((best, 1.0),)


def _protected_mbps(w: Workings, group: ClientGroup, radio: Radio) -> float | None:
    """Return the rate of the CTS that goes before the turns of a group on a radio, if one does.

    That is so where devices of 802.11b are on the radio, which hear no newer frame. At the radio's
    lowest basic rate, or at 1 Mb/s where that is not stated: no CTS takes longer.
    """
    if radio.band != 2.4 or group.generation == "802.11b":
        return None
    if radio.pointer not in w.once(_with_dsss_devices):
        return None
    return radio.lowest_basic_mbps or DSSS_RATES_MBPS[0]


def _with_dsss_devices(w: Workings) -> frozenset[Pointer]:
    """Return the radios that devices of 802.11b are on, whose basic rates let them in."""
    slow = [g for g in stated_clients(w.site) if g.generation == "802.11b" and g.count]
    found = gather(slow, lambda group: on_air(w, group))
    return frozenset(
        part.radio.pointer
        for parts in found
        for part in parts
        if part.radio.lowest_basic_mbps in (None, *DSSS_RATES_MBPS)
    )


def devices_on(w: Workings, radio: Radio) -> tuple[OnAir, ...]:
    """Return the devices that a radio serves, group by group."""
    groups = groups_about(w, (radio.unit,))
    return tuple(part for group in groups for part in on_radio(w, group, radio))


def on_radio(w: Workings, group: ClientGroup, radio: Radio) -> tuple[OnAir, ...]:
    """Return the devices of a group that a radio serves."""
    if group.wired_to is not None or not group.count or not _may_be_on(w, group, radio):
        return ()
    return tuple(part for part in on_air(w, group) if part.radio.pointer == radio.pointer)


def _may_be_on(w: Workings, group: ClientGroup, radio: Radio) -> bool:
    """Return whether a group could be on a radio: what is open of others is no matter here."""
    if group.near is not None:
        return group.near == radio.unit and radio in fitting_radios(
            w.site, group, w.site.units[radio.unit]
        )
    return any(radio.pointer == other.pointer for other in serving_radios(w, group))


@fact(
    "group.goodput_mbps",
    Kind.NUMBER,
    "what its devices get on their last hop, one at a time, with nobody else on the air",
    source=LAST_HOP,
    unit="Mb/s",
)
def group_goodput_mbps(w: Workings, group: ClientGroup) -> float:
    parts = on_air_at_all(w, group)
    hops = [(part.hop(), part.devices.part * part.served_part) for part in parts]
    lost = math.fsum(part / hop.goodput_mbps for hop, part in hops if hop is not None)
    return math.fsum(part for _, part in hops) / lost if lost else 0.0


@fact(
    "group.without_signal_percent",
    Kind.NUMBER,
    "which part of its devices no radio reaches with its slowest rate",
    source=LAST_HOP,
    unit="%",
)
def without_signal_percent(w: Workings, group: ClientGroup) -> float:
    parts = on_air(w, group)
    served = math.fsum(part.devices.part * part.served_part for part in parts)
    return 0.0 if group.wired_to is not None else max(0.0, 100 * (1 - served))


@fact(
    "group.level_dbm",
    Kind.NUMBER,
    "mean level of its devices in the weaker direction",
    source=LAST_HOP,
    unit="dBm",
    digits=1,
)
def level_dbm(w: Workings, group: ClientGroup) -> float:
    parts = on_air_at_all(w, group)
    return math.fsum(part.level_dbm * part.devices.part for part in parts) / math.fsum(
        part.devices.part for part in parts
    )

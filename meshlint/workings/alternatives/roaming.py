"""Who is left without signal when units are gone: everybody else moves to a unit that covers them.

A device in an area stands where it stands, and is covered where another unit holds the target level
there. One that is only near a unit is looked at where that unit hangs, held 1 m above the floor.
Devices on a cable move nowhere. What they get there: `meshlint.workings.alternatives.taken_over`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.physics.propagation import OutsideModel
from meshlint.workings.capacity.voice import level_at_dbm
from meshlint.workings.links.attachment import area_of, serving_radios
from meshlint.workings.links.demand import devices_at
from meshlint.workings.links.last_hop import target_dbm
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.coverage_map import coverage_of_area
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, location_of
from meshlint.workings.propagation.path_loss import farthest_m
from meshlint.workings.spectrum.channel import frequency_mhz
from meshlint.workings.unknown import Missing, gather, known_of_any

if TYPE_CHECKING:
    from meshlint.site.model import ClientGroup, Radio
    from meshlint.workings.links.attachment import Devices
    from meshlint.workings.propagation.geometry import Location
    from meshlint.workings.site_workings import Workings

COVERED = "devices that no unit left holds at the target level where they are"


def left_alone(w: Workings, units: tuple[str, ...], gone: frozenset[str]) -> float:
    """Return how many devices of some units no unit covers once all those gone are off the air."""
    devices = [one for unit in units for one in devices_at(w, unit) if one.count]
    return math.fsum(gather(devices, lambda one: alone(w, one, gone)))


def alone(w: Workings, devices: Devices, gone: frozenset[str]) -> float:
    """Return how many of some devices no unit covers once all those gone are off the air."""
    group = devices.group
    if group.wired_to is not None:
        return devices.count
    others = [radio for radio in serving_radios(w, group) if radio.unit not in gone]
    if not others:
        return devices.count
    if group.near is None:
        return group.count * _part_alone(w, devices, others)
    place, target = _place(w, devices.unit), target_dbm(w, group)
    near = (radio for radio in others if _may_hold(w, radio, place, target))
    taken = known_of_any(near, lambda radio: level_at_dbm(w, radio, place) >= target)
    return 0.0 if taken else devices.count


def covering(
    w: Workings, group: ClientGroup, unit: str, gone: frozenset[str]
) -> tuple[tuple[Radio, float], ...]:
    """Return the radios left that cover the place of a unit for a group, and their levels there."""
    place, target = _place(w, unit), target_dbm(w, group)
    levels = (
        (radio, level_at_dbm(w, radio, place))
        for radio in serving_radios(w, group)
        if radio.unit not in gone and _may_hold(w, radio, place, target)
    )
    return tuple((radio, level) for radio, level in levels if level >= target)


def _place(w: Workings, unit: str) -> Location:
    """Return where devices near a unit are."""
    return replace(location_of(w, w.site.units[unit]), height_m=CLIENT_HEIGHT_M)


def _may_hold(w: Workings, radio: Radio, place: Location, target: float) -> bool:
    """Return whether a radio may hold a level at a place. It only spares work."""
    here = w.site.units[radio.unit].at
    if here is None:
        return True
    apart_m = math.hypot(here.x_m - place.x_m, here.y_m - place.y_m)
    return apart_m <= w.once(_limit_m, (radio.pointer, target), radio, target)


def _limit_m(w: Workings, radio: Radio, target: float) -> float:
    """Return a distance beyond which a radio holds a level nowhere, infinite if unknown."""
    try:
        here = location_of(w, w.site.units[radio.unit])
        return farthest_m(w, here, frequency_mhz(radio), effective_dbm(w, radio) - target)
    except (Missing, OutsideModel):
        return math.inf


def _part_alone(w: Workings, devices: Devices, others: list[Radio]) -> float:
    """Return which part of a group is on a unit and at places that no other radio covers."""
    from meshlint.workings.links.area_shares import uncovered_part

    group = devices.group
    cover, inside = coverage_of_area(w, area_of(w, group))
    drawn = [radio for radio in serving_radios(w, group) if radio.pointer in cover.radios]
    lacking = [wanted for radio in drawn for wanted in cover.lacking.get(radio.pointer, ())]
    if lacking:
        raise Missing(*dict.fromkeys(lacking))
    left = {radio.pointer for radio in others}
    return uncovered_part(cover, inside, drawn, left, devices.unit, target_dbm(w, group))

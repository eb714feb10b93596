"""What a licensed person should look at: work on the mains, and people near antennas."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics import exposure
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Pointer, Radio, Site, Unit
    from meshlint.workings.site_workings import Workings

FAR_FIELD = "far-field power density, FCC OET Bulletin 65, to 10 W/m^2: 47 CFR 1.1310, ICNIRP 2020"


# --- mains ----------------------------------------------------------------------------------------


def mains_work(w: Workings) -> tuple[tuple[Pointer, str], ...]:
    """Return (place, words) for each planned piece of work on the mains.

    A planned unit on mains may or may not need a new socket, so that has to be stated.
    """
    site = w.site
    found: list[tuple[Pointer, str]] = []
    unsure = []
    for unit in site.units.values():
        if unit.powered is None or unit.powered.by != "mains":
            continue
        if unit.powered.socket == "new":
            found.append(((*unit.pointer, "powered"), f"a new socket for {unit.name}"))
        elif unit.powered.socket is None and unit.state == "planned":
            unsure.append(Input((*unit.pointer, "powered", "socket"), "whether a socket is there"))
    for link in (site.backhaul or {}).values():
        ends = (site.units[link.from_unit], site.units[link.to_unit])
        planned = link.state == "planned" or any(unit.state == "planned" for unit in ends)
        if link.over == "powerline" and planned:
            found.append(((*link.pointer, "over"), f"powerline link {link.name}"))
    if unsure and not found:
        raise Missing(*unsure)
    return tuple(found)


def first_mains_work(w: Workings) -> Pointer | None:
    """Return where the first such work stands."""
    return next((pointer for pointer, _ in w.once(mains_work)), None)


@fact("site.mains_work", Kind.TEXTS, "planned sockets and powerline links", source=STATED)
def mains_work_planned(w: Workings, _: Site) -> tuple[str, ...]:
    return tuple(words for _, words in w.once(mains_work))


# --- antennas -------------------------------------------------------------------------------------


def radiated_dbm(radio: Radio) -> float:
    """Return the most that a radio can be taken to radiate in its best direction, in dBm.

    As set, else the most that its model can do.
    """
    if radio.radiated_dbm is not None:
        return radio.radiated_dbm
    power_dbm = radio.power_dbm if radio.power_dbm is not None else radio.max_power_dbm
    power_dbm = need(power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    pointer = (*radio.pointer, "antenna_gain_dbi")
    return power_dbm + need(radio.antenna_gain_dbi, pointer, "the gain of its antenna")


def _total_dbm(unit: Unit) -> float:
    return exposure.total_dbm(radiated_dbm(radio) for radio in unit.radios.values())


@fact(
    "unit.radiated_dbm",
    Kind.NUMBER,
    "what all its radios radiate together in their best directions",
    source="sum of powers in mW",
    unit="dBm",
    digits=1,
)
def unit_radiated_dbm(_: Workings, unit: Unit) -> float:
    if not unit.radios:
        raise Missing(Input((*unit.pointer, "radios"), "its radios"))
    return _total_dbm(unit)


@fact(
    "unit.separation_m",
    Kind.NUMBER,
    "distance from which the limit for the public is kept, all radios sending without pause",
    source=FAR_FIELD,
    unit="m",
    digits=2,
)
def separation_m(_: Workings, unit: Unit) -> float:
    return exposure.separation_m(_total_dbm(unit)) if unit.radios else 0.0


@fact(
    "unit.people_within_m",
    Kind.NUMBER,
    "how near people stay; 0.2 m unless stated, as is kept from such radios by custom",
    source="47 CFR 2.1091(b)",
    unit="m",
    digits=2,
)
def people_within_m(_: Workings, unit: Unit) -> float:
    return exposure.CUSTOMARY_M if unit.people_within_m is None else unit.people_within_m


@fact("unit.has_radios", Kind.TRUTH, "whether it has any radio", source=STATED)
def has_radios(_: Workings, unit: Unit) -> bool:
    return bool(unit.radios)

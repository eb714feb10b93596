"""Powers that do not fit each other: a unit and its clients, and two bands under one name."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.coverage.cell_area import ON_PLAN, cell_area_m2, serves
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.calibration import effective_dbm
from meshlint.workings.propagation.cells import first_client_radios
from meshlint.workings.spectrum.channel import NOMINAL_MHZ
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from meshlint.site.model import Radio, Unit
    from meshlint.workings.site_workings import Workings


@fact(
    "radio.client_power_dbm",
    Kind.NUMBER,
    "power of the weakest devices that use the radio and state theirs",
    source=STATED,
    unit="dBm",
)
def client_power_dbm(w: Workings, radio: Radio) -> float:
    return _weakest_dbm(w, radio)


def _weakest_dbm(w: Workings, radio: Radio) -> float:
    powers = _client_powers(w, radio)
    return need(min(powers, default=None), ("clients",), "a power (transmit_dbm) of its clients")


def _client_powers(w: Workings, radio: Radio) -> list[float]:
    """Return the stated powers of devices that use the radio, as far as the file tells."""
    if not serves(w, radio):
        return []
    shared = first_client_radios(w.site.units[radio.unit])
    return [
        group.transmit_dbm
        for group in (w.site.clients or {}).values()
        if group.transmit_dbm is not None
        and not group.wired_to
        and (group.near in (None, radio.unit) or group.roams)
        and (group.band == radio.band or (group.band is None and radio.band in shared))
    ]


@fact(
    "radio.client_powers",
    Kind.COUNT,
    "how many groups of devices that use the radio state their power",
    source=STATED,
)
def client_powers(w: Workings, radio: Radio) -> float:
    return len(_client_powers(w, radio))


@fact(
    "radio.power_above_clients_db",
    Kind.NUMBER,
    "how much more power the radio sends with than the weakest of those devices",
    source="both powers as stated, at the antenna connectors",
    unit="dB",
    digits=1,
)
def power_above_clients_db(w: Workings, radio: Radio) -> float:
    power_dbm = radio.power_dbm
    if power_dbm is None and radio.radiated_dbm is not None:
        where = (*radio.pointer, "antenna_gain_dbi")
        power_dbm = radio.radiated_dbm - need(radio.antenna_gain_dbi, where, "the antenna's gain")
    power_dbm = need(power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    return power_dbm - _weakest_dbm(w, radio)


class _Bands(Struct, frozen=True):
    low: Radio
    mid: Radio


def _same_name(w: Workings, unit: Unit) -> _Bands | None:
    """Return a unit's 2.4 and 5 GHz client radios, if one network name is on both.

    Names that the file does not state are taken to be one, as most sites have it.
    """
    radios = first_client_radios(unit)
    if 2.4 not in radios or 5.0 not in radios:
        return None
    low, mid = radios[2.4], radios[5.0]
    networks = (w.site.networks or {}).values()
    named = [n for n in networks if n.units is None or unit.name in n.units]
    if named and not any(n.radios is None or {low.name, mid.name} <= set(n.radios) for n in named):
        return None
    return _Bands(low, mid)


@fact(
    "unit.one_name_on_two_bands",
    Kind.TRUTH,
    "whether clients choose between its 2.4 and 5 GHz radio under one name",
    source=STATED,
)
def one_name_on_two_bands(w: Workings, unit: Unit) -> bool:
    return _same_name(w, unit) is not None


def _both(w: Workings, unit: Unit) -> _Bands:
    return need(_same_name(w, unit), (*unit.pointer, "radios"), "a 2.4 and a 5 GHz client radio")


@fact(
    "unit.two_four_louder_db",
    Kind.NUMBER,
    "how much louder its 2.4 GHz is than its 5 GHz at the same place in free space",
    source="radiated powers, and ITU-R P.525: 20 log10 of the frequencies' ratio",
    unit="dB",
    digits=1,
)
def two_four_louder_db(w: Workings, unit: Unit) -> float:
    bands = _both(w, unit)
    ratio = NOMINAL_MHZ[5.0] / NOMINAL_MHZ[2.4]
    return effective_dbm(w, bands.low) - effective_dbm(w, bands.mid) + 20 * math.log10(ratio)


@fact("unit.two_four_cell_m2", Kind.NUMBER, "its 2.4 GHz cell", source=ON_PLAN, unit="m2")
def two_four_cell_m2(w: Workings, unit: Unit) -> float:
    return cell_area_m2(w, _both(w, unit).low)


@fact("unit.five_cell_m2", Kind.NUMBER, "its 5 GHz cell", source=ON_PLAN, unit="m2")
def five_cell_m2(w: Workings, unit: Unit) -> float:
    return cell_area_m2(w, _both(w, unit).mid)

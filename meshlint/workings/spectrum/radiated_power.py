"""How strongly a radio sends: what leaves the radio itself, and what leaves its antenna."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import Kind, fact
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings


def radiated_dbm(radio: Radio) -> float:
    """Return the power that leaves the antenna in its best direction, dBm EIRP."""
    if radio.radiated_dbm is not None:
        return radio.radiated_dbm
    power_dbm = need(radio.power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    return power_dbm + _gain_dbi(radio)


def conducted_dbm(radio: Radio) -> float:
    """Return the power that leaves the radio itself, over all chains, dBm."""
    if radio.power_dbm is not None:
        return radio.power_dbm
    return radiated_dbm(radio) - _gain_dbi(radio)


def _gain_dbi(radio: Radio) -> float:
    where = (*radio.pointer, "antenna_gain_dbi")
    return need(radio.antenna_gain_dbi, where, "the antenna's gain")


@fact(
    "radio.radiated_dbm",
    Kind.NUMBER,
    "power that leaves the antenna in its best direction: conducted power plus gain",
    source="the site file and the catalogue",
    unit="dBm",
    digits=1,
)
def radio_radiated_dbm(_: Workings, radio: Radio) -> float:
    return radiated_dbm(radio)


@fact(
    "radio.conducted_dbm",
    Kind.NUMBER,
    "power that leaves the radio itself, over all chains",
    source="the site file and the catalogue",
    unit="dBm",
    digits=1,
)
def radio_conducted_dbm(_: Workings, radio: Radio) -> float:
    return conducted_dbm(radio)


@fact(
    "radio.antenna_gain_dbi",
    Kind.NUMBER,
    "the antenna's gain in its best direction",
    source="the site file and the catalogue",
    unit="dBi",
    digits=1,
)
def antenna_gain_dbi(_: Workings, radio: Radio) -> float:
    return _gain_dbi(radio)

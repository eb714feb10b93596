"""How strongly a radio sends, against what an access point may radiate there.

The limit is the access point's, not the table's bare figure (`meshlint.law.power`). A radio on
`auto` is held against every channel that its choice may become: where the power is lawful on some
of them, the unit may still turn itself down on the others.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.law.power import PowerLimit, excess_db, power_limit
from meshlint.workings.fact import Kind, fact
from meshlint.workings.spectrum.channel import in_words, law
from meshlint.workings.spectrum.permission import may_be_on, stands_outdoors
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

LIMITS = "access point limits of FCC, ECC and others, else the Linux wireless regulatory database"


def radiated_dbm(radio: Radio) -> float:
    """Return the power that leaves the antenna in its best direction, dBm EIRP."""
    if radio.radiated_dbm is not None:
        return radio.radiated_dbm
    power_dbm = need(radio.power_dbm, (*radio.pointer, "power_dbm"), "the radio's power")
    gain_dbi = need(
        radio.antenna_gain_dbi, (*radio.pointer, "antenna_gain_dbi"), "the antenna's gain"
    )
    return power_dbm + gain_dbi


def _limits(w: Workings, radio: Radio) -> tuple[PowerLimit, ...]:
    """Return the limit of every channel that the radio may be on, the lowest first."""
    found = [
        limit
        for channel in may_be_on(w, radio)
        if (
            limit := power_limit(
                w.once(law),
                channel,
                stands_outdoors(w, radio),
                radio.power_class,
                radio.power_control,
            )
        )
    ]
    if not found:
        raise Missing(Input((*radio.pointer, "channel"), "a channel that the country allows"))
    return tuple(sorted(found, key=lambda limit: limit.eirp_dbm))


def _excess_db(radio: Radio, limit: PowerLimit) -> float:
    """Return by how much the radio is above a limit, in radiated or in conducted power.

    Rounded, so that a sum of two decimal fractions is not above a limit that it equals.
    """
    return round(_unrounded_excess_db(radio, limit), 6)


def _unrounded_excess_db(radio: Radio, limit: PowerLimit) -> float:
    if radio.power_dbm is not None:
        where = (*radio.pointer, "antenna_gain_dbi")
        gain_dbi = need(radio.antenna_gain_dbi, where, "the antenna's gain")
        return excess_db(limit, radio.power_dbm, gain_dbi)
    radiated = radiated_dbm(radio)
    over_db = radiated - limit.eirp_dbm
    if limit.conducted_dbm is None or over_db > 0:
        return over_db
    if radio.antenna_gain_dbi is None and radiated > limit.conducted_dbm:
        raise Missing(Input((*radio.pointer, "antenna_gain_dbi"), "the antenna's gain"))
    return max(over_db, radiated - (radio.antenna_gain_dbi or 0.0) - limit.conducted_dbm)


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
def conducted_dbm(_: Workings, radio: Radio) -> float:
    if radio.power_dbm is not None:
        return radio.power_dbm
    where = (*radio.pointer, "antenna_gain_dbi")
    return radiated_dbm(radio) - need(radio.antenna_gain_dbi, where, "the antenna's gain")


@fact(
    "radio.power_limit_dbm",
    Kind.NUMBER,
    "the highest radiated power of an access point on this span, the lowest of several",
    source=LIMITS,
    unit="dBm",
    digits=1,
)
def power_limit_dbm(w: Workings, radio: Radio) -> float:
    return _limits(w, radio)[0].eirp_dbm


@fact(
    "radio.power_excess_db",
    Kind.NUMBER,
    "by how much the radio is above its limit; negative is room left",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_excess_db(w: Workings, radio: Radio) -> float:
    return over_limit_db(w, radio)


def over_limit_db(w: Workings, radio: Radio) -> float:
    """Return by how much a radio is above its limit, the lowest of several; negative is room."""
    return max(_excess_db(radio, limit) for limit in _limits(w, radio))


@fact(
    "radio.power_cause",
    Kind.TEXT,
    "its excess and its channel: what radios have in common that are set alike",
    source=LIMITS,
)
def power_cause(w: Workings, radio: Radio) -> str:
    excess_db = max(_excess_db(radio, limit) for limit in _limits(w, radio))
    return f"{excess_db:.1f} dB on {in_words(radio)}"


@fact(
    "radio.power_least_excess_db",
    Kind.NUMBER,
    "the same on the most generous channel that a radio on `auto` may choose",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_least_excess_db(w: Workings, radio: Radio) -> float:
    return min(_excess_db(radio, limit) for limit in _limits(w, radio))


@fact("radio.power_regime", Kind.TEXT, "whose limit it is, and where it stands", source=LIMITS)
def power_regime(w: Workings, radio: Radio) -> str:
    limit = _limits(w, radio)[0]
    whose = "the regulatory table" if limit.regime == "table" else limit.regime
    return f"{whose}: {'; '.join(map(str, limit.sources))}"


@fact(
    "radio.conducted_limit_dbm",
    Kind.NUMBER,
    "the most that may leave the radio whatever its antenna, 0 where only radiated power counts",
    source=LIMITS,
    unit="dBm",
    digits=1,
)
def conducted_limit_dbm(w: Workings, radio: Radio) -> float:
    return _limits(w, radio)[0].conducted_dbm or 0.0


@fact(
    "radio.power_control_gain_db",
    Kind.NUMBER,
    "how much more would be lawful with transmit power control declared",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_control_gain_db(w: Workings, radio: Radio) -> float:
    limit = _limits(w, radio)[0]
    with_control = limit.power_control_eirp_dbm
    return 0.0 if with_control is None else with_control - limit.eirp_dbm


@fact("radio.power_notes", Kind.TEXT, "what the limit rests on or asks for", source=LIMITS)
def power_notes(w: Workings, radio: Radio) -> str:
    return "; ".join(_limits(w, radio)[0].notes)

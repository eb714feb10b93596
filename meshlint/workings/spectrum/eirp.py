"""How strongly a radio sends, against what an access point may radiate there.

The limit is the access point's, not the table's bare figure (`meshlint.law.power`). A radio on
`auto` is held against the most generous of the channels that its choice may become: equipment caps
its power on each channel by what its country allows there, so what is set is above the law only
where no channel allows it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.classes import off_record
from meshlint.law.power import PowerLimit, power_limit
from meshlint.physics.channels import SIX_GHZ
from meshlint.workings.fact import Kind, fact
from meshlint.workings.spectrum.channel import in_words, law
from meshlint.workings.spectrum.permission import may_be_on, stands_outdoors
from meshlint.workings.spectrum.radiated_power import radiated_dbm
from meshlint.workings.unknown import Input, Missing, Unknown, answer

if TYPE_CHECKING:
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

LIMITS = "access point limits of FCC, ECC and others, else the Linux wireless regulatory database"


class Excess(Struct, frozen=True):
    """By how many dB a radio is above one limit; negative is room left.

    `radiated_db` counts the antenna, `conducted_db` does not: it is what leaves the radio itself,
    minus infinity where that is not limited or not known to be too much.
    """

    limit: PowerLimit
    radiated_db: float
    conducted_db: float

    @property
    def db(self) -> float:
        """Return the larger of the two: what the radio must be turned down by."""
        return max(self.radiated_db, self.conducted_db)


def _limits(w: Workings, radio: Radio) -> tuple[PowerLimit, ...]:
    """Return the limit of every channel that the radio may be on, the lowest first."""
    stated = (radio.power_class, radio.power_control, radio.registered)
    rules = w.once(law)
    at_six = radio.band == SIX_GHZ and radio.power_class is not None
    if at_six and (why := off_record(rules.code, radio.power_class)):
        wanted = f"a class that something is on record for there; {why}"
        raise Missing(Input((*radio.pointer, "power_class"), wanted))
    found = [
        limit
        for channel in may_be_on(w, radio)
        if (limit := power_limit(rules, channel, stands_outdoors(w, radio), *stated))
    ]
    if not found:
        raise Missing(Input((*radio.pointer, "channel"), "a channel that the country allows"))
    return tuple(sorted(found, key=lambda limit: limit.eirp_dbm))


def _excess(radio: Radio, limit: PowerLimit) -> Excess:
    """Return by how much a radio is above a limit, in radiated and in conducted power.

    Rounded, so that a sum of two decimal fractions is not above a limit that it equals. Raises
    `Missing` where what is not stated could make the verdict another; where only the size of the
    excess hangs on it, the least that it can be is returned.
    """
    radiated = radiated_dbm(radio)
    over_db = round(radiated - limit.eirp_dbm, 6)
    if limit.conducted_dbm is None:
        return Excess(limit, over_db, -math.inf)
    gain_dbi = radio.antenna_gain_dbi
    if radio.power_dbm is not None:
        conducted = radio.power_dbm
    elif gain_dbi is not None:
        conducted = radiated - gain_dbi
    elif over_db > 0:
        return Excess(limit, over_db, -math.inf)
    elif radiated > limit.conducted_dbm:
        raise Missing(Input((*radio.pointer, "antenna_gain_dbi"), "the antenna's gain"))
    else:
        conducted = radiated  # an antenna with gain leaves less to be conducted
    return Excess(limit, over_db, round(conducted - limit.conducted_dbm, 6))


def _deciding(w: Workings, radio: Radio) -> Excess:
    """Return the excess that a radio is told of, with the limit that it is over, or nearest to.

    Where the channel is open, that is the most; of a radio that chooses for itself, the least: the
    equipment caps its power channel by channel, so that only a power above the limit of every
    channel that it may choose is one that it cannot keep to.
    """
    return w.once(_decide, radio, radio)


def _decide(w: Workings, radio: Radio) -> Excess:
    found = [_excess(radio, limit) for limit in _limits(w, radio)]
    pick = min if radio.channel == "auto" else max
    return pick(found, key=lambda excess: excess.db)


@fact(
    "radio.power_limit_dbm",
    Kind.NUMBER,
    "the highest radiated power of an access point on this span; with `auto` that of the channel "
    "where the radio is least above it",
    source=LIMITS,
    unit="dBm",
    digits=1,
)
def power_limit_dbm(w: Workings, radio: Radio) -> float:
    return _told(w, radio).eirp_dbm


def _told(w: Workings, radio: Radio) -> PowerLimit:
    """Return the limit that facts tell of: the deciding one, or, with no power known, the lowest.

    A radio that chooses for itself is told of the highest then, as it may send where that holds.
    """
    deciding = answer(_deciding, w, radio)
    if not isinstance(deciding, Unknown):
        return deciding.limit
    return _limits(w, radio)[-1 if radio.channel == "auto" else 0]


@fact(
    "radio.power_excess_db",
    Kind.NUMBER,
    "by how much the radio must be turned down: what it is above its limit in radiated or in "
    "conducted power, the larger of the two; negative is room left. With `auto` on the channel "
    "where that is least, since equipment caps its power channel by channel",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_excess_db(w: Workings, radio: Radio) -> float:
    return _deciding(w, radio).db


@fact(
    "radio.power_excess_may_be_more",
    Kind.TRUTH,
    "whether the excess is only known in radiated power, where conducted power is limited as well",
    source=LIMITS,
)
def power_excess_may_be_more(w: Workings, radio: Radio) -> bool:
    deciding = _deciding(w, radio)
    return deciding.limit.conducted_dbm is not None and math.isinf(deciding.conducted_db)


@fact(
    "radio.power_least_excess_db",
    Kind.NUMBER,
    "the excess on the most generous channel that the radio may be on",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_least_excess_db(w: Workings, radio: Radio) -> float:
    return min(_excess(radio, limit).db for limit in _limits(w, radio))


@fact(
    "radio.conducted_excess_db",
    Kind.NUMBER,
    "by how much what leaves the radio itself is above its limit, whatever the antenna; 0 if not",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def conducted_excess_db(w: Workings, radio: Radio) -> float:
    return max(0.0, _deciding(w, radio).conducted_db)


def over_limit_db(w: Workings, radio: Radio) -> float:
    """Return by how much a radio is above its limit; negative is room left."""
    return _deciding(w, radio).db


@fact(
    "radio.power_cause",
    Kind.TEXT,
    "its excess and its channel: what radios have in common that are set alike",
    source=LIMITS,
)
def power_cause(w: Workings, radio: Radio) -> str:
    return f"{_deciding(w, radio).db:.1f} dB on {in_words(radio)}"


@fact("radio.power_regime", Kind.TEXT, "whose limit it is, and where it stands", source=LIMITS)
def power_regime(w: Workings, radio: Radio) -> str:
    limit = _told(w, radio)
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
    return _told(w, radio).conducted_dbm or 0.0


@fact(
    "radio.power_control_gain_db",
    Kind.NUMBER,
    "how much more would be lawful with transmit power control declared",
    source=LIMITS,
    unit="dB",
    digits=1,
)
def power_control_gain_db(w: Workings, radio: Radio) -> float:
    limit = _told(w, radio)
    with_control = limit.power_control_eirp_dbm
    return 0.0 if with_control is None else with_control - limit.eirp_dbm


@fact("radio.power_notes", Kind.TEXT, "what the limit rests on or asks for", source=LIMITS)
def power_notes(w: Workings, radio: Radio) -> str:
    return "; ".join(_told(w, radio).notes)

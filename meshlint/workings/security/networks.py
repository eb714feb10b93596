"""Networks on the air: how each is secured, what it is called, and where it is offered."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.topology.radio_use import announces, serves_clients
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Network, Radio, Unit
    from meshlint.workings.site_workings import Workings

PIN_TRIES = 10**4 + 10**3
"""Tries that settle an eight-digit PIN of which each half is confirmed by itself and the last digit
is a checksum: CERT VU#723755."""

BITS_PER_CHARACTER = {"random": math.log2(62), "chosen": 2.5}
"""Bits of a drawn character out of 62; of one in a phrase that a person chose, IEEE 802.11i-2004
Annex H.4.1 (from memory)."""

BITS_PER_WORD = math.log2(6**5)
"""Bits of a word drawn from a list of 7776, one to each throw of five dice."""

LONGEST_PASSPHRASE = 63
"""IEEE 802.11-2020 Annex J.4 (annex from memory): 8 to 63 characters, or the key itself."""

KEY_DIGITS = 64
"""Hexadecimal digits of the 256-bit key that may stand in a passphrase's place, same annex."""

THINGS = ("sensors", "equipment")
"""What a network is for that people do not use; one of which nothing is said is for people."""

AKMS_OF = {
    "psk-sae": ("psk", "sae"),
    "psk": ("psk",),
    "sae": ("sae",),
    "owe": ("owe",),
    "dot1x": ("dot1x",),
}
"""The key managements of which a device must speak one to join."""

_HELD_BY_ONE_PHRASE = ("psk", "psk-sae", "sae")

# Patterns are compiled when first used, and few sites name their networks.

# Shapes that makers give to names: a word or two and the end of a serial number or address, or a
# word that says no more than what the box is. Years are people's.
_SERIAL = r"(?i:[a-z]{2,}[a-z0-9]*)([-_ ][A-Za-z0-9]{1,8}){0,2}[-_ ]?(?P<end>[0-9A-F]{4,12})"
_YEAR = r"(1[5-9]|20)\d\d"
_BAND_TAIL = r"(?i)[-_ ]?(2[.,]?4|5|6) ?g?(hz)?$"
_PLAIN_NAMES = (
    r"default|wireless|wifi|wi-fi|wlan|home|homewifi|network|router|setup|accesspoint|ap|"
    r"myhome|mywifi|internet|broadband|hotspot|extender|repeater|mesh|meshwifi"
)

# What a place is for, where that invites an attacker: ASD ISM-1317 asks that names tell nothing.
_FUNCTIONS = (
    r"accounts|admin|alarm|alarms|atm|backoffice|cash|cashier|cctv|control|finance|hr|"
    r"keysafe|lab|management|payroll|plant|pos|safe|scada|security|server|servers|"
    r"strongroom|till|tills|treasury|vault"
)


def offered(w: Workings, network: Network) -> Mapping[str, tuple[Radio, ...]]:
    """Return the radios that offer a network, by unit.

    The radios and units that it names; where it names none, all radios that carry clients.
    """
    found = {}
    for name, unit in w.site.units.items():
        if network.units is not None and name not in network.units:
            continue
        radios = tuple(r for r in unit.radios.values() if _offers(w, network, r))
        if radios:
            found[name] = radios
    return found


def _offers(w: Workings, network: Network, radio: Radio) -> bool:
    # A radio that is said to carry no clients offers them nothing, whatever its name.
    return announces(network, radio) and serves_clients(w, radio)


def akm_of(network: Network) -> str:
    """Return how devices prove themselves to the network."""
    return need(network.akm, (*network.pointer, "akm"), "how devices prove themselves")


@fact("network.name", Kind.TEXT, "the name on the air, or the file's name for it", source=STATED)
def name(_: Workings, network: Network) -> str:
    return network.name or network.key


@fact("network.purpose", Kind.TEXT, "whom or what it is meant for", source=STATED)
def purpose(_: Workings, network: Network) -> str:
    return need(network.purpose, (*network.pointer, "for"), "whom the network is meant for")


@fact("network.for_things", Kind.TRUTH, "whether it is said to be for things", source=STATED)
def for_things(_: Workings, network: Network) -> bool:
    """Return whether it is for sensors or equipment; one of which nothing is said is for people."""
    return network.purpose in ("sensors", "equipment")


@fact("network.for_strangers", Kind.TRUTH, "whether it is said to be for guests", source=STATED)
def for_strangers(_: Workings, network: Network) -> bool:
    """Return whether guests or the public use it; one of which nothing is said is not theirs."""
    return network.purpose in ("guests", "public")


@fact("network.units_offering", Kind.TEXTS, "the units that offer it", source=STATED)
def units_offering(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(offered(w, network))


@fact("network.clients", Kind.COUNT, "devices that are said to join it", source=STATED)
def clients(w: Workings, network: Network) -> float:
    groups = need(w.site.clients, ("clients",), "who uses the site")
    return sum(group.count for group in groups.values() if group.network == network.key)


# --- how it is secured ----------------------------------------------------------------------------


@fact("network.akm", Kind.TEXT, "how devices prove themselves", source=STATED)
def akm(_: Workings, network: Network) -> str:
    return akm_of(network)


@fact(
    "network.broken_cipher",
    Kind.TEXT,
    "WEP or TKIP where that is in use, else nothing",
    source="IEEE 802.11-2020: WEP obsolete, TKIP deprecated, neither with protected management",
)
def broken_cipher(_: Workings, network: Network) -> str:
    """Return it; `sae`, `owe` and required protection of management frames rule both out."""
    if network.cipher in ("wep", "tkip"):
        return network.cipher.upper()
    ruled_out = network.akm in ("sae", "owe", "open") or network.pmf == "required"
    if network.cipher is None and not ruled_out:
        raise Missing(Input((*network.pointer, "cipher"), "the cipher in use"))
    return ""


@fact("network.held_by_passphrase", Kind.TRUTH, "whether one passphrase lets all in", source=STATED)
def held_by_passphrase(_: Workings, network: Network) -> bool:
    return akm_of(network) in _HELD_BY_ONE_PHRASE


@fact("network.secret_length", Kind.COUNT, "characters of its passphrase", source=STATED)
def secret_length(_: Workings, network: Network) -> float:
    wanted = "how many characters its passphrase has, never the passphrase"
    return need(network.secret_length, (*network.pointer, "secret_length"), wanted)


@fact(
    "network.secret_fits",
    Kind.TRUTH,
    "whether a passphrase of this length can be set at all",
    source="IEEE 802.11-2020 Annex J.4: 8 to 63 characters, or 64 hexadecimal digits",
)
def secret_fits(_: Workings, network: Network) -> bool:
    """Return it; a password of `sae` alone knows no such bounds."""
    length = need(
        network.secret_length, (*network.pointer, "secret_length"), "the passphrase's length"
    )
    return akm_of(network) == "sae" or 8 <= length <= LONGEST_PASSPHRASE or length == KEY_DIGITS


@fact(
    "network.secret_bits",
    Kind.NUMBER,
    "what an attacker must guess, counted as chosen by a person unless it is said to be drawn",
    source="IEEE 802.11i-2004 Annex H.4.1 for chosen ones; arithmetic for drawn ones",
    unit="bits",
)
def secret_bits(_: Workings, network: Network) -> float:
    made = network.secret_made or "chosen"
    if made == "words":
        wanted = "of how many drawn words it is made"
        words = need(network.secret_words, (*network.pointer, "secret_words"), wanted)
        return words * BITS_PER_WORD
    pointer = (*network.pointer, "secret_length")
    length = need(network.secret_length, pointer, "the passphrase's length")
    return length * BITS_PER_CHARACTER[made]


_MADE = {
    "chosen": "chosen by a person",
    "random": "drawn by a machine",
    "words": "words drawn by chance",
}


@fact("network.secret_made", Kind.TEXT, "how it was made; by a person unless stated", source=STATED)
def secret_made(_: Workings, network: Network) -> str:
    return _MADE[network.secret_made or "chosen"]


@fact("network.joins_by_pin", Kind.TRUTH, "whether devices may join by PIN", source=STATED)
def joins_by_pin(_: Workings, network: Network) -> bool:
    pointer = (*network.pointer, "push_button")
    return need(network.push_button, pointer, "whether devices join by button or PIN") == "pin"


@fact("network.pin_tries", Kind.COUNT, "tries that settle the PIN", source="CERT VU#723755")
def pin_tries(_: Workings, __: Network) -> float:
    return PIN_TRIES


# --- what it is called ----------------------------------------------------------------------------


@fact(
    "network.looks_factory_set",
    Kind.TRUTH,
    "whether its name has the shape of one that a maker gives",
    source="common practice; ASD ISM-1316",
)
def looks_factory_set(_: Workings, network: Network) -> bool:
    shown = need(network.name, (*network.pointer, "name"), "the name on the air")
    bare = re.sub(_BAND_TAIL, "", shown)
    plain = re.sub(r"[-_ ]|\d+$", "", bare).lower()
    serial = re.fullmatch(_SERIAL, bare)
    ends_in_serial = (
        serial is not None
        and any(c.isdigit() for c in serial["end"])
        and not re.fullmatch(_YEAR, serial["end"])
    )
    return re.fullmatch(_PLAIN_NAMES, plain) is not None or ends_in_serial


@fact(
    "network.function_told",
    Kind.TEXTS,
    "words in its name that tell what the place keeps or does",
    source="ASD ISM-1317",
)
def function_told(_: Workings, network: Network) -> tuple[str, ...]:
    shown = need(network.name, (*network.pointer, "name"), "the name on the air")
    return tuple(
        word for word in re.findall(r"[a-z]+", shown.lower()) if re.fullmatch(_FUNCTIONS, word)
    )


def unit_offers(w: Workings, network: Network, unit: Unit) -> tuple[Radio, ...]:
    """Return the radios of one unit that offer the network."""
    return offered(w, network).get(unit.name, ())

"""What a network needs so that devices may join it at 6 GHz, where old ways are barred."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import Kind, fact
from meshlint.workings.topology.radio_use import announces, serves_clients
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from meshlint.site.model import Network, Radio
    from meshlint.workings.site_workings import Workings

BARRED = "IEEE 802.11ax-2021 12.12.2 (from memory)"

_FITTING = frozenset({"sae", "owe", "dot1x"})
_WORDS = {
    "open": "open without encryption, where only `owe` may be",
    "psk": "`psk`, which 6 GHz does not know",
    "psk-sae": "`psk-sae`, which 6 GHz knows only the second half of",
}


def _offering(w: Workings, network: Network) -> tuple[Radio, ...]:
    """Return the radios at 6 GHz that offer a network: those named, else all that serve clients."""
    return tuple(
        radio
        for unit in w.site.units.values()
        for radio in unit.radios.values()
        if radio.band == 6 and announces(network, radio) and serves_clients(w, radio)
    )


@fact(
    "network.units_at_six_ghz",
    Kind.TEXTS,
    "units that offer the network at 6 GHz",
    source="the site file; unstated radios and units are all those that serve clients",
)
def units_at_six_ghz(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(dict.fromkeys(radio.unit for radio in _offering(w, network)))


@fact(
    "network.six_ghz_faults",
    Kind.TEXTS,
    "what bars the network from 6 GHz: key management, unprotected management frames",
    source=BARRED,
)
def six_ghz_faults(_: Workings, network: Network) -> tuple[str, ...]:
    """Return what is known to be wrong; unknown where nothing is and something is not stated."""
    found = []
    if network.akm is not None and network.akm not in _FITTING:
        found.append(f"it is {_WORDS[network.akm]}")
    if network.pmf is not None and network.pmf != "required":
        found.append(f"protection of management frames is {network.pmf} and must be required")
    if not found:
        need(network.akm, (*network.pointer, "akm"), "how devices prove themselves")
        need(network.pmf, (*network.pointer, "pmf"), "whether management frames are protected")
    return tuple(found)

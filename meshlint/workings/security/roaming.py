"""What helps devices to move from unit to unit, and whether one name on the air is one network."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.security.networks import AKMS_OF, THINGS, offered
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Network
    from meshlint.workings.site_workings import Workings

_AIDS = (("neighbour_reports", "neighbour reports"), ("transition_advice", "transition advice"))

_COMPARED = (
    ("akm", "how devices prove themselves"),
    ("cipher", ""),
    ("pmf", ""),
    ("vlan", "the VLAN of the network, 0 if it goes untagged"),
)
"""What entries of one name are compared in, and what is wanted where it must be known."""


@fact(
    "network.moves_about",
    Kind.TRUTH,
    "whether devices move about on it: it is for people, or a group that joins it roams",
    source=STATED,
)
def moves_about(w: Workings, network: Network) -> bool:
    """Return it; things stay where they are unless a group of them is said to roam."""
    if network.purpose not in THINGS:
        return True
    groups = need(w.site.clients, ("clients",), "who uses the site")
    return any(group.roams and group.network == network.key for group in groups.values())


@fact("network.aids_missing", Kind.TEXTS, "roaming aids that are off", source="IEEE 802.11k, 11v")
def aids_missing(_: Workings, network: Network) -> tuple[str, ...]:
    unsure = [key for key, _words in _AIDS if getattr(network, key) is None]
    lacking = tuple(words for key, words in _AIDS if getattr(network, key) is False)
    if unsure and not lacking:
        raise Missing(*(Input((*network.pointer, k), "whether units give them") for k in unsure))
    return lacking


# --- one name, one network ------------------------------------------------------------------------


def _namesakes(w: Workings, network: Network) -> tuple[Network, ...]:
    others = (w.site.networks or {}).values()
    if network.name is None:
        return ()
    return tuple(o for o in others if o.name == network.name and o is not network)


@fact("network.namesakes", Kind.TEXTS, "other entries with its name on the air", source=STATED)
def namesakes(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(other.key for other in _namesakes(w, network))


@fact(
    "network.units_of_name",
    Kind.TEXTS,
    "the units that offer it or another entry of its name",
    source=STATED,
)
def units_of_name(w: Workings, network: Network) -> tuple[str, ...]:
    units = set(offered(w, network)).union(*(offered(w, o) for o in _namesakes(w, network)))
    return tuple(name for name in w.site.units if name in units)


@fact(
    "network.unlike_twins",
    Kind.TEXTS,
    "in what other entries with the same name on the air differ from this one",
    source="IEEE 802.11: one ESS, one name and one security",
)
def unlike_twins(w: Workings, network: Network) -> tuple[str, ...]:
    """Return `vlan 10 here and 30 under kids`, say; each pair is told at the first of the two.

    At 6 GHz a network must have `sae` and protected management: what differs for that alone, with
    a key management that both have, is no difference.
    """
    order = list(w.site.networks or {})
    found: list[str] = []
    unsure: list[Input] = []
    for other in _namesakes(w, network):
        if order.index(other.key) < order.index(network.key):
            continue
        for key, wanted in _COMPARED:
            ours, theirs = getattr(network, key), getattr(other, key)
            if ours is None or theirs is None:
                lacking = (x for x in (network, other) if getattr(x, key) is None)
                unsure += [Input((*x.pointer, key), wanted) for x in lacking if wanted]
            elif ours != theirs and not (
                key in ("akm", "pmf") and _as_6_ghz_asks(w, network, other)
            ):
                found.append(f"{key} {ours} here and {theirs} under {other.key}")
    if unsure and not found:
        raise Missing(*unsure)
    return tuple(found)


def _as_6_ghz_asks(w: Workings, network: Network, other: Network) -> bool:
    both = {*AKMS_OF.get(network.akm or "", ())} & {*AKMS_OF.get(other.akm or "", ())}
    at_6_ghz = [all(band == 6 for band in _bands(w, one)) for one in (network, other)]
    return bool(both) and at_6_ghz[0] != at_6_ghz[1]


def _bands(w: Workings, network: Network) -> Iterator[float | None]:
    return (radio.band for radios in offered(w, network).values() for radio in radios)

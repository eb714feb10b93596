"""Layer 2 by network: links that carry it, who shares it or manages from it, and its addresses."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import devices_of
from meshlint.workings.security.networks import offered
from meshlint.workings.topology.tree import GRAPH, stated_clients, tree
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from meshlint.site.model import ClientGroup, Link, Network, Unit
    from meshlint.workings.site_workings import Workings

STRANGERS = ("guests", "public")


def _vlan(network: Network) -> int:
    pointer = (*network.pointer, "vlan")
    return need(network.vlan, pointer, "the VLAN of the network, 0 if it goes untagged")


def _dropped(w: Workings, network: Network) -> tuple[tuple[Link, str], ...]:
    """Return (link, unit beyond it that offers the network) wherever a link drops its VLAN.

    Untagged traffic goes over any link.
    """
    return w.once(_found_dropped, network.key, network)


def _found_dropped(w: Workings, network: Network) -> tuple[tuple[Link, str], ...]:
    vlan = _vlan(network)
    ways = w.once(tree)
    carrying: Collection[str] = w.once(_links_by_vlan).get(vlan, ())
    dropped, unsure = [], []
    for unit in offered(w, network):
        for link in ways.way(unit) if unit in ways.uplink else ():
            if link.vlans is None:
                unsure.append(link)
            elif link.name not in carrying:
                dropped.append((link, unit))
    if not vlan:
        return ()
    if unsure and not dropped:
        links = dict.fromkeys(link.pointer for link in unsure)
        raise Missing(*(Input((*at, "vlans"), "the VLANs that the link carries") for at in links))
    return tuple(dropped)


def _links_by_vlan(w: Workings) -> Mapping[int, set[str]]:
    """Return the names of the links that are said to carry each VLAN."""
    found: dict[int, set[str]] = {}
    for link in (w.site.backhaul or {}).values():
        for vlan in link.vlans or ():
            found.setdefault(vlan, set()).add(link.name)
    return found


@fact("network.vlan", Kind.COUNT, "the VLAN that its traffic goes into", source=STATED)
def vlan(_: Workings, network: Network) -> float:
    return _vlan(network)


@fact(
    "network.dropped_by",
    Kind.TEXTS,
    "links on the way of units that offer it which do not carry its VLAN",
    source="IEEE 802.1Q",
)
def dropped_by(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(dict.fromkeys(link.name for link, _ in _dropped(w, network)))


@fact("network.cut_units", Kind.TEXTS, "units where it is a name without a way", source=GRAPH)
def cut_units(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(dict.fromkeys(unit for _, unit in _dropped(w, network)))


@fact("network.clients_cut", Kind.COUNT, "devices of this network on those units", source=GRAPH)
def clients_cut(w: Workings, network: Network) -> float:
    cut = {unit for _, unit in _dropped(w, network)}
    return math.fsum(
        devices.count
        for group in stated_clients(w.site)
        if group.network == network.key
        for devices in devices_of(w, group)
        if devices.unit in cut
    )


def first_dropping(w: Workings, network: Network) -> Link | None:
    """Return the first link that drops the network, to point at."""
    return next((link for link, _ in _dropped(w, network)), None)


# --- who shares it --------------------------------------------------------------------------------


@fact(
    "network.shared_with",
    Kind.TEXTS,
    "networks for others that go into the same VLAN",
    source="IEEE 802.1Q: one VLAN is one layer-2 network",
)
def shared_with(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(other.name or other.key for other in _sharers(w, network))


@fact(
    "network.things_of_the_house",
    Kind.TEXTS,
    "groups of the house's own devices that join it: as stated, or else cameras and sensors",
    source=STATED,
)
def things_of_the_house(w: Workings, network: Network) -> tuple[str, ...]:
    return tuple(group.name for group in _things_of_the_house(w, network))


@fact(
    "network.clients_exposed",
    Kind.COUNT,
    "devices of those networks, and of the house's own that join this one",
    source=STATED,
)
def clients_exposed(w: Workings, network: Network) -> float:
    keys = {other.key for other in _sharers(w, network)}
    groups = need(w.site.clients, ("clients",), "who uses the site")
    own = _things_of_the_house(w, network)
    return sum(g.count for g in groups.values() if g.network in keys or g in own)


def _things_of_the_house(w: Workings, network: Network) -> tuple[ClientGroup, ...]:
    """Return the groups; one on the air that does not say what it joins may be among them."""
    groups = need(w.site.clients, ("clients",), "who uses the site; {} for nobody")
    things = [
        group
        for group in groups.values()
        if group.owner == "house" or (group.owner is None and group.use in ("camera", "sensor"))
    ]
    found = tuple(group for group in things if group.network == network.key)
    unsure = [group for group in things if group.network is None and group.wired_to is None]
    if unsure and not found:
        wanted = "the network that they join"
        raise Missing(*(Input((*group.pointer, "network"), wanted) for group in unsure))
    return found


def _sharers(w: Workings, network: Network) -> tuple[Network, ...]:
    """Return the networks that are not for strangers and share this one's VLAN."""
    own = _vlan(network)
    others = [o for o in (w.site.networks or {}).values() if o.purpose not in STRANGERS]
    sharing = tuple(other for other in others if other.vlan == own)
    unsure = [other for other in others if other.vlan is None]
    if unsure and not sharing:
        raise Missing(*(Input((*o.pointer, "vlan"), "the VLAN of the network") for o in unsure))
    unnamed = [other for other in sharing if other.purpose is None]
    if unnamed and len(unnamed) == len(sharing):
        wanted = "whom the network is meant for"
        raise Missing(*(Input((*o.pointer, "for"), wanted) for o in unnamed))
    return sharing


@fact(
    "unit.management_open_to",
    Kind.TEXTS,
    "the internet, or networks of strangers, from which it can be managed",
    source=STATED,
)
def management_open_to(w: Workings, unit: Unit) -> tuple[str, ...]:
    pointer = (*unit.pointer, "management_from")
    origins = need(unit.management_from, pointer, "from where it can be managed; [] if not at all")
    known = {key: net.purpose for key, net in (w.site.networks or {}).items()}
    exposed = tuple(
        "the internet" if origin == "internet" else f"network {origin}, for {known[origin]}"
        for origin in origins
        if origin == "internet" or known[origin] in STRANGERS
    )
    unsure = [origin for origin in origins if origin != "internet" and known[origin] is None]
    if unsure and not exposed:
        wanted = "whom the network is meant for"
        raise Missing(*(Input(("networks", origin, "for"), wanted) for origin in unsure))
    return exposed


# --- addresses ------------------------------------------------------------------------------------


def _stated_addresses(network: Network, key: str, wanted: str) -> float:
    value = getattr(network.addresses, key) if network.addresses else None
    return float(need(value, (*network.pointer, "addresses", key), wanted))


@fact("network.pool", Kind.COUNT, "addresses that it may lend", source=STATED)
def pool(_: Workings, network: Network) -> float:
    return _stated_addresses(network, "pool", "how many addresses it may lend")


@fact("network.lease_h", Kind.NUMBER, "how long each is lent", source=STATED, unit="h", digits=1)
def lease_h(_: Workings, network: Network) -> float:
    return _stated_addresses(network, "lease_h", "for how long an address is lent")


@fact(
    "network.addresses_wanted",
    Kind.COUNT,
    "devices times their turns within one lease, at least once each",
    source="RFC 2131: an address stays lent until its lease ends, whether or not its device does",
)
def addresses_wanted(w: Workings, network: Network) -> float:
    return _wanted(w, network)


def _wanted(w: Workings, network: Network) -> float:
    """Return the sum over the groups of the network, whose radios or cables lead into it.

    A group on a network of strangers whose turns are not stated leaves the answer open, unless the
    devices that are there at once are too many already. Elsewhere the same devices come back.
    """
    joining = _joining(w, network)
    try:
        return sum(group.count * _turns(network, group, joining) for group in joining)
    except Missing:
        at_once = _at_once(w, network)
        if at_once > _stated_addresses(network, "pool", "how many addresses it may lend"):
            return at_once
        raise


def _at_once(w: Workings, network: Network) -> float:
    return sum(group.count for group in _joining(w, network))


@fact(
    "network.addresses_at_once",
    Kind.COUNT,
    "devices that are there at one time, each with an address however short its lease",
    source=STATED,
)
def addresses_at_once(w: Workings, network: Network) -> float:
    return _at_once(w, network)


@fact(
    "network.turns_open",
    Kind.TRUTH,
    "whether more may be wanted, since it is not stated how often its devices are replaced by "
    "others or for how long an address is lent",
    source=STATED,
)
def turns_open(w: Workings, network: Network) -> bool:
    joining = _joining(w, network)
    try:
        for group in joining:
            _turns(network, group, joining)
    except Missing:
        return True
    return False


@fact(
    "network.address_remedy",
    Kind.TEXT,
    "what gives everybody an address: a larger pool, a shorter lease where that helps, or both",
    source="RFC 2131",
)
def address_remedy(w: Workings, network: Network) -> str:
    wanted, at_once = _wanted(w, network), _at_once(w, network)
    widened = f"widen the pool to {wanted:g} and a fifth more"
    if wanted <= at_once:
        return widened
    # With a lease no longer than a device's turn nobody holds two addresses.
    longest_h = 24 / max(group.turns_per_day or 1.0 for group in _joining(w, network))
    lease = f"lend addresses for {longest_h:.2g} h at most"
    if at_once > _stated_addresses(network, "pool", "how many addresses it may lend"):
        lease += f" and widen it to {at_once:g} and a fifth more"
        return f"{widened}, or {lease}"
    return f"{lease}, or {widened}"


def _joining(w: Workings, network: Network) -> list[ClientGroup]:
    groups = need(w.site.clients, ("clients",), "who uses the site")
    return [group for group in groups.values() if group.network == network.key]


def _turns(network: Network, group: ClientGroup, joining: Iterable[ClientGroup]) -> float:
    per_day = group.turns_per_day
    if per_day is None and network.purpose in STRANGERS:
        wanted = "how many times a day they are replaced by others"
        raise Missing(
            *(
                Input(("clients", other.name, "turns_per_day"), wanted)
                for other in joining
                if other.turns_per_day is None
            )
        )
    if per_day is None or per_day <= 1:
        return 1.0
    lease = _stated_addresses(network, "lease_h", "for how long an address is lent")
    return max(1.0, per_day * lease / 24)

"""What a link has at its two ends, what it takes from clients, and the cable beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.cabling import fastest_mbps, is_fibre
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.ports import has_no_port_for, joined_mbps
from meshlint.workings.spectrum.channel import in_words
from meshlint.workings.topology.link_radios import bare_units, ends_apart, radio_of, radios_of
from meshlint.workings.topology.tree import backhaul
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import CableRoute, Link, Pointer, Radio, Unit
    from meshlint.workings.site_workings import Workings

ROUTE = "IEEE 802.3 clauses 40, 55, 126; TIA TSB-155"


@fact("link.channel", Kind.TEXT, "the backhaul channel in words", source=STATED)
def channel(w: Workings, link: Link) -> str:
    return in_words(radio_of(w, link, link.from_unit))


@fact("link.disagreements", Kind.TEXTS, "in what the two ends differ", source="IEEE 802.11")
def disagreements(w: Workings, link: Link) -> tuple[str, ...]:
    """Return each difference in words, a unit without any radio first.

    Two settings are compared only where both are stated; where they agree as far as they go and
    one is missing, the answer is unknown.
    """
    bare = bare_units(w, link)
    if bare:
        return tuple(f"{unit} has no radio" for unit in bare)
    ours, theirs = radios_of(w, link)
    ends_apart(ours, theirs)  # a number that names no channel can differ from none
    found = tuple(_differences(ours, theirs))
    if not found:
        for radio in (ours, theirs):
            for key in ("band", "channel", "width_mhz"):
                need(
                    getattr(radio, key),
                    (*radio.pointer, key),
                    f"the radio's {key.removesuffix('_mhz')}",
                )
    return found


def _differences(ours: Radio, theirs: Radio) -> Iterator[str]:
    for key, shown in (("band", "{:g} GHz"), ("channel", "channel {}"), ("width_mhz", "{} MHz")):
        a, b = getattr(ours, key), getattr(theirs, key)
        if a is not None and b is not None and a != b:
            yield (f"{shown.format(a)} at {ours.unit} and {shown.format(b)} at {theirs.unit}")
            return
    if ours.channel == theirs.channel and isinstance(ours.channel, int):
        for key in ("second_channel", "block"):
            a, b = getattr(ours, key), getattr(theirs, key)
            if a is not None and b is not None and a != b:
                yield f"{key} {a} at {ours.unit} and {b} at {theirs.unit}"


@fact(
    "link.ends_meet",
    Kind.TRUTH,
    "whether both ends have a radio on the same band and first 20 MHz channel",
    source="IEEE 802.11",
)
def ends_meet(w: Workings, link: Link) -> bool:
    if bare_units(w, link):
        return False
    ours, theirs = radios_of(w, link)
    if ends_apart(ours, theirs):
        return False
    if ours.channel != theirs.channel and "auto" in (ours.channel, theirs.channel):
        chooser = ours if ours.channel == "auto" else theirs
        raise Missing(Input((*chooser.pointer, "channel"), "a fixed channel in place of auto"))
    for radio in (ours, theirs):
        for key in ("band", "channel"):
            need(
                getattr(radio, key),
                (*radio.pointer, key),
                f"the radio's {key.removesuffix('_mhz')}",
            )
    return True


@fact(
    "link.shared_with_clients",
    Kind.TEXTS,
    "units whose backhaul radio serves clients as well",
    source=STATED,
)
def shared_with_clients(w: Workings, link: Link) -> tuple[str, ...]:
    ends = radios_of(w, link)
    shared = tuple(radio.unit for radio in ends if "clients" in (radio.carries or ()))
    if not shared:
        for radio in ends:
            need(radio.carries, (*radio.pointer, "carries"), "what the radio carries")
    return shared


@fact(
    "link.route_state",
    Kind.TEXT,
    "whether a cable between the two units is laid, possible, or neither (none)",
    source=STATED,
)
def route_state(w: Workings, link: Link) -> str:
    route = route_beside(w, link)
    return route.state if route else "none"


@fact(
    "link.route_words", Kind.TEXT, "the cable route's length and category in words", source=STATED
)
def route_words(w: Workings, link: Link) -> str:
    route = route_beside(w, link)
    if route is None:
        return ""
    length = f"{route.length_m:g} m " if route.length_m is not None else ""
    kind = f"of category {route.category.upper()}" if route.category else ""
    return f"{length}{kind}".strip() or "of unstated length"


@fact(
    "link.route_rate_mbps",
    Kind.NUMBER,
    "the fastest Ethernet that the route's category and length allow and that both ends have a "
    "port for that takes the cable",
    source=ROUTE,
    unit="Mb/s",
)
def route_rate_mbps(w: Workings, link: Link) -> float:
    return route_mbps(w, link)


def route_mbps(w: Workings, link: Link) -> float:
    """Return the fastest Ethernet to count on over the cable route beside a link.

    That is the least of the cable and of a port at each end that takes it. Raises `Missing` where
    the file leaves one of them open, or an end has no such port.
    """
    route = _route(w, link)
    return joined_mbps(_ends(w, route), _medium(w, route), _cable_mbps(w, route))


def _route(w: Workings, link: Link) -> CableRoute:
    wanted = "a cable route between the two units"
    return need(route_beside(w, link), ("cable_routes",), wanted)


def _ends(w: Workings, route: CableRoute) -> tuple[Unit, ...]:
    return tuple(w.site.units[name] for name in route.between)


def _pointer(w: Workings, route: CableRoute) -> Pointer:
    return ("cable_routes", (w.site.cable_routes or ()).index(route))


def _medium(w: Workings, route: CableRoute) -> str:
    if route.medium is not None:
        return route.medium
    wanted = "whether the cable is copper or fibre"
    category = need(route.category, (*_pointer(w, route), "medium"), wanted)
    return "fibre" if is_fibre(category) else "copper"


def _cable_mbps(w: Workings, route: CableRoute) -> float:
    pointer = _pointer(w, route)
    category = need(route.category, (*pointer, "category"), "the cable's category")
    length_m = need(route.length_m, (*pointer, "length_m"), "the cable's length")
    rate_mbps = fastest_mbps(category, length_m)
    return need(rate_mbps, (*pointer, "category"), "a category with a published rate")


@fact(
    "link.route_cable_mbps",
    Kind.NUMBER,
    "the fastest Ethernet that the route's category and length allow, whatever the ports",
    source=ROUTE,
    unit="Mb/s",
)
def route_cable_mbps(w: Workings, link: Link) -> float:
    return _cable_mbps(w, _route(w, link))


@fact(
    "link.route_lacks_port_at",
    Kind.TEXTS,
    "ends of the route whose ports are stated and none of which takes its cable",
    source=STATED,
)
def route_lacks_port_at(w: Workings, link: Link) -> tuple[str, ...]:
    route = _route(w, link)
    medium = _medium(w, route)
    return tuple(unit.name for unit in _ends(w, route) if has_no_port_for(unit, medium))


@fact(
    "link.route_ports_unstated_at",
    Kind.TEXTS,
    "ends of the route of whose ports the file does not tell",
    source=STATED,
)
def route_ports_unstated_at(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(unit.name for unit in _ends(w, _route(w, link)) if unit.ports is None)


def route_beside(w: Workings, link: Link) -> CableRoute | None:
    """Return the cable route between the link's units, a laid one before a possible one.

    A cable longer than any rate of its category allows is no route.
    """
    routes = need(w.site.cable_routes, ("cable_routes",), "where a cable could run")
    ends = {link.from_unit, link.to_unit}
    fitting = [route for route in routes if set(route.between) == ends and not _too_long(route)]
    return min(fitting, key=lambda route: route.state != "laid", default=None)


def _too_long(route: CableRoute) -> bool:
    if route.category is None or route.length_m is None:
        return False
    return fastest_mbps(route.category, route.length_m) == 0


@fact(
    "link.cabled_beside",
    Kind.TRUTH,
    "whether another link joins the same two units by cable already",
    source=STATED,
)
def cabled_beside(w: Workings, link: Link) -> bool:
    ends = {link.from_unit, link.to_unit}
    return any(
        other.over == "cable" and {other.from_unit, other.to_unit} == ends
        for other in backhaul(w).values()
    )

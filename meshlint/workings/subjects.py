"""What cards can speak about: each scope, how its subjects are found, and where they may point.

A scope may be unable to name some of its subjects because the file lacks something (pairs of
cells need positions); it then returns the missing inputs beside the subjects that it can name.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.contention import cell_pairs, domains
from meshlint.workings.coverage import shells
from meshlint.workings.governance import plausibility, safety
from meshlint.workings.links import cables
from meshlint.workings.links.cable_routes import cable_way
from meshlint.workings.propagation import calibration
from meshlint.workings.site_workings import Subject, Workings
from meshlint.workings.spectrum import channel_plan_24, radar_duty, radar_proximity
from meshlint.workings.topology.link_radios import radio_of
from meshlint.workings.topology.radio_use import serves_clients
from meshlint.workings.topology.tree import backhaul, stated_clients
from meshlint.workings.unknown import Input, Missing, answer, need
from meshlint.workings.wired import bridging

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.site.model import ClientGroup, Link, Network, Pointer, Radio

Found = tuple[tuple[Subject, ...], tuple[Input, ...]]


class Scope(Struct, frozen=True):
    """One kind of subject; `anchors` are the places that a card may point at beside the subject.

    `devices` names the fact that tells how many client devices it serves, if there is one.
    """

    name: str
    meaning: str
    anchors: tuple[str, ...]
    find: Callable[[Workings], Found]
    devices: str = ""


def key_of(pointer: Pointer) -> str:
    """Return the name under which waivers and reports know a subject: `units/desk`."""
    return "/".join(str(step) for step in pointer)


def _site(w: Workings) -> Found:
    about = w.site.about
    anchors: dict[str, Pointer] = {"primary": ("primary",)}
    placed = [secret.pointer for secret in w.site.secrets if secret.pointer]
    if placed:
        anchors["first_secret"] = placed[0]
    if w.site.internet_lines:
        anchors["lines"] = ("internet_lines",)
    if w.site.readings:
        anchors["readings"] = ("readings", len(w.site.readings) - 1)
    anchors.update(_site_radios(w))
    anchors.update(_site_things(w))
    return (Subject("site", "site", about.name, w.site, ("site",), anchors),), ()


def _site_radios(w: Workings) -> Iterator[tuple[str, Pointer]]:
    """Yield the radios that facts about the whole site are about, the first of each."""
    for anchor, radios in (
        ("radar_radio", radar_duty.by_radar),
        ("radar_channel_radio", radar_proximity.reached_radios),
        ("weather_band_radio", radar_proximity.in_weather_band),
    ):
        with suppress(Missing):
            if found := w.once(radios):
                yield anchor, found[0].pointer
    with suppress(Missing):
        if clashes := w.once(channel_plan_24.overlaps):
            yield "two_four_radio", clashes[0].other.pointer
            yield "two_four_other", clashes[0].one.pointer


def _site_things(w: Workings) -> Iterator[tuple[str, Pointer]]:
    """Yield the first of each sort of thing that a fact about the whole site counts."""
    for anchor, first in (
        ("unguarded_unit", bridging.first_unguarded),
        ("second_router", bridging.second_router),
        ("longest_way_end", bridging.end_of_longest_way),
        ("mains_work", safety.first_mains_work),
        ("implausible", plausibility.first_implausible),
        ("open_shell", shells.first_open_shell),
    ):
        with suppress(Missing):
            if pointer := first(w):
                yield anchor, pointer


def _units(w: Workings) -> Found:
    primary: Pointer = ("primary",)
    return tuple(
        Subject("unit", key_of(u.pointer), u.name, u, u.pointer, {"primary": primary})
        for u in w.site.units.values()
    ), ()


def _radios(w: Workings) -> Found:
    return tuple(
        Subject(
            "radio",
            key_of(radio.pointer),
            f"{unit.name}, radio {radio.name}",
            radio,
            radio.pointer,
            {"unit": unit.pointer, "power": (*radio.pointer, _power_key(radio))},
        )
        for unit in w.site.units.values()
        for radio in unit.radios.values()
    ), ()


def _power_key(radio: Radio) -> str:
    return "power_dbm" if radio.radiated_dbm is None else "radiated_dbm"


def _links(w: Workings) -> Found:
    return tuple(
        Subject("link", key_of(x.pointer), x.name, x, x.pointer, dict(_link_anchors(w, x)))
        for x in backhaul(w).values()
    ), ()


def _link_anchors(w: Workings, link: Link) -> Iterator[tuple[str, Pointer]]:
    for end, unit in (("from", link.from_unit), ("to", link.to_unit)):
        yield f"{end}_unit", ("units", unit)
        if link.over == "radio":
            try:
                radio = radio_of(w, link, unit)
            except Missing:
                continue
            yield f"{end}_radio", radio.pointer
            if answer(serves_clients, w, radio) is True:
                yield "client_radio", radio.pointer
    way = cable_way(w, link) if w.site.cable_routes else None
    if way is not None:
        yield "route", way.pointer


def _pairs(w: Workings) -> Found:
    found, missing = w.once(cell_pairs.pairs)
    return tuple(
        Subject(
            "pair",
            pair.key,
            pair.label,
            pair,
            (*pair.second.pointer, "at"),
            {
                "first": (*pair.first.pointer, "at"),
                "second": (*pair.second.pointer, "at"),
                "first_radio": pair.first_radio.pointer,
                "second_radio": pair.second_radio.pointer,
            },
        )
        for pair in found
    ), missing


def _cables(w: Workings) -> Found:
    missing: tuple[Input, ...] = ()
    try:
        backhaul(w)
    except Missing as unstated:
        missing = unstated.inputs
    return tuple(
        Subject(
            "cable",
            key_of(cable.pointer),
            cable.label,
            cable,
            cable.pointer,
            {
                "from_unit": ("units", cable.ends[0]),
                "to_unit": ("units", cable.ends[1]),
            },
        )
        for cable in w.once(cables.cables)
    ), missing


def _groups(w: Workings) -> Found:
    return tuple(
        Subject("group", key_of(g.pointer), g.name, g, g.pointer, dict(_group_anchors(g)))
        for g in stated_clients(w.site)
    ), ()


def _group_anchors(group: ClientGroup) -> Iterator[tuple[str, Pointer]]:
    if group.network is not None:
        yield "network", ("networks", group.network)
    unit = group.wired_to or group.near
    if unit is not None:
        yield "unit", ("units", unit)


def _networks(w: Workings) -> Found:
    networks = need(w.site.networks, ("networks",), "the networks on the air")
    return tuple(
        Subject(
            "network",
            key_of(n.pointer),
            n.name or n.key,
            n,
            n.pointer,
            dict(_network_anchors(w, n)),
        )
        for n in networks.values()
    ), ()


def _network_anchors(w: Workings, network: Network) -> Iterator[tuple[str, Pointer]]:
    from meshlint.workings.wired import vlans  # 2 ms that a site of no networks need not wait

    with suppress(Missing):
        if link := vlans.first_dropping(w, network):
            yield "dropping_link", link.pointer


def _airs(w: Workings) -> Found:
    return tuple(
        Subject(
            "air",
            air.key,
            f"air of {air.centre.label}",
            air,
            air.centre.pointer,
            {"radio": air.centre.radios[0].pointer} if air.centre.radios else {},
        )
        for air in w.once(domains.contention_domains)
    ), ()


def _areas(w: Workings) -> Found:
    areas = need(w.site.areas, ("areas",), "the areas that must be covered; {} for none")
    return tuple(
        Subject("area", f"areas/{a.name}", a.name, a, ("areas", a.name)) for a in areas.values()
    ), ()


def _readings(w: Workings) -> Found:
    return tuple(
        Subject("reading", g.key, g.label, g, g.pointer, dict(_reading_anchors(g)))
        for g in calibration.groups(w)
    ), ()


def _reading_anchors(group: calibration.Group) -> Iterator[tuple[str, Pointer]]:
    if group.unit:
        yield "unit", ("units", group.unit)
    else:
        yield "link", ("backhaul", group.link)


FLEET_SCOPES = ("fleet_site", "fleet_unit", "fleet_model", "fleet_value")
"""Scopes of questions that span sites; `meshlint fleet` names their subjects."""

JUDGED_APART = frozenset({"waiver", *FLEET_SCOPES})
"""Scopes whose subjects are named by whoever runs the check, not found in a site."""

SCOPES = {
    scope.name: scope
    for scope in (
        Scope(
            "site",
            "the site as a whole",
            (
                *("primary", "first_secret", "lines", "readings"),
                *("radar_radio", "radar_channel_radio", "weather_band_radio"),
                *("two_four_radio", "two_four_other"),
                *("unguarded_unit", "second_router", "longest_way_end", "mains_work"),
                *("implausible", "open_shell"),
            ),
            _site,
        ),
        Scope("unit", "one unit", ("primary",), _units, "unit.clients_behind"),
        Scope("radio", "one radio of a unit", ("unit", "power"), _radios, "radio.clients"),
        Scope(
            "link",
            "one backhaul link",
            ("from_unit", "to_unit", "from_radio", "to_radio", "client_radio", "route"),
            _links,
            "link.clients_behind",
        ),
        Scope(
            "pair",
            "two cells on one band, next to each other or in hearing on shared spectrum",
            ("first", "second", "first_radio", "second_radio"),
            _pairs,
            "pair.roaming_clients",
        ),
        Scope(
            "cable",
            "one cable: a backhaul link over cable, coax or telephone wire, or a cable route",
            ("from_unit", "to_unit"),
            _cables,
        ),
        Scope("air", "one shared air: radios that take turns", ("radio",), _airs),
        Scope("group", "one group of client devices", ("network", "unit"), _groups, "group.count"),
        Scope(
            "network", "one network on the air", ("dropping_link",), _networks, "network.clients"
        ),
        Scope("area", "one named area that must be covered", (), _areas),
        Scope(
            "reading",
            "the readings of one unit on one band, or of one link's throughput",
            ("unit", "link"),
            _readings,
        ),
        # Waivers are judged last, by what became of them; whoever runs the check names them.
        Scope("waiver", "one entry of the site file's waivers", (), lambda _: ((), ())),
        Scope("fleet_site", "one site among the others of its fleet", (), lambda _: ((), ())),
        Scope("fleet_unit", "one unit among those of all sites", (), lambda _: ((), ())),
        Scope("fleet_model", "one model of a catalogue that sites share", (), lambda _: ((), ())),
        Scope("fleet_value", "one value next to its siblings'", (), lambda _: ((), ())),
    )
}


def subjects(w: Workings, scope: str) -> Found:
    """Return the scope's subjects and what is missing to name them all."""
    try:
        return SCOPES[scope].find(w)
    except Missing as missing:
        return (), missing.inputs

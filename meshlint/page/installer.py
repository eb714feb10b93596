"""What the page says to people on the ladder: what to set on which unit, and what to measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.topology.radio_use import announces

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.page.figures import Figure, Told
    from meshlint.site.model import Link, Radio, Site, Unit

UNSTATED = "not stated"


class RadioCard(Struct, frozen=True):
    """The settings of one radio."""

    name: str
    band: str
    channel: str
    width: str
    power: str
    carries: str
    networks: str
    lowest_rate: str


class UnitCard(Struct, frozen=True):
    """One unit, in the order of work."""

    name: str
    model: str
    state: str
    place: str
    mounted: str
    power: str
    loops: str
    managed: str
    ends: tuple[str, ...]
    radios: tuple[RadioCard, ...]
    cautions: tuple[str, ...]
    back: str


class CableRow(Struct, frozen=True):
    """One cable of the schedule; both ends carry its name as a label."""

    label: str
    ends: str
    over: str
    category: str
    length: str
    path: str
    vlans: str
    state: str


class LinkTest(Struct, frozen=True):
    """What one link should show when it is tested."""

    name: str
    from_unit: str
    to_unit: str
    is_radio: bool
    goodput: Figure
    level_from: Figure | None
    level_to: Figure | None
    spread: Figure | None
    paste: str


class AreaTest(Struct, frozen=True):
    """What one area should show when somebody walks it with a device."""

    name: str
    level: str
    bands: Figure
    target: Figure
    worst: Figure


class InstallerPart(Struct, frozen=True):
    """All that the part for the installer says."""

    cautions: tuple[Finding, ...]
    units: tuple[UnitCard, ...]
    networks: tuple[tuple[str, str, str, str], ...]
    cables: tuple[CableRow, ...]
    links: tuple[LinkTest, ...]
    areas: tuple[AreaTest, ...]


def installer_part(told: Told, result: SiteResult) -> InstallerPart:
    """Return what the installer is told of a site."""
    site = told.workings.site
    return InstallerPart(
        result.cautions,
        tuple(_card(site, result, site.units[name]) for name in _order(site)),
        tuple(_networks(site)),
        tuple(_cable(link) for link in (site.backhaul or {}).values() if link.over != "radio"),
        tuple(_link_test(told, key) for key in told.keys("link")),
        tuple(_area_tests(told)),
    )


def _order(site: Site) -> Iterator[str]:
    """Yield the units as they are set up: the primary, then what is joined to it, step by step."""
    seen = {site.primary: None}
    yield site.primary
    frontier = [site.primary]
    while frontier:
        here = frontier.pop(0)
        for link in (site.backhaul or {}).values():
            if here in (link.from_unit, link.to_unit):
                other = link.far_end(here)
                if other not in seen:
                    seen[other] = None
                    frontier.append(other)
                    yield other
    yield from (name for name in site.units if name not in seen)


def _or_unstated(value: object, unit: str = "") -> str:
    shown = f"{value:g}" if isinstance(value, float) else value
    return UNSTATED if value is None else f"{shown}{unit}"


def _card(site: Site, result: SiteResult, unit: Unit) -> UnitCard:
    links = [
        link
        for link in (site.backhaul or {}).values()
        if unit.name in (link.from_unit, link.to_unit)
    ]
    managed = UNSTATED
    if unit.management_from is not None:
        managed = ", ".join(unit.management_from) or "by its own cable only"
    mine = f"units/{unit.name}"
    return UnitCard(
        unit.name,
        _or_unstated(unit.model),
        _or_unstated(unit.state),
        _place(unit),
        _or_unstated(unit.mounted),
        _power(unit),
        _or_unstated(unit.loop_protection),
        managed,
        tuple(f"{x.name}: {x.over} to {x.far_end(unit.name)}" for x in links),
        tuple(_radio(site, radio) for radio in unit.radios.values()),
        tuple(f.message for f in result.cautions if f.subject == mine),
        _way_back(links),
    )


def _place(unit: Unit) -> str:
    at = unit.at
    if at is None:
        return UNSTATED
    height = "height not stated" if at.height_m is None else f"{at.height_m:g} m above the floor"
    level = f"{at.level}: " if at.level else ""
    return f"{level}{at.x_m:g} m across, {at.y_m:g} m up the plan, {height}"


def _power(unit: Unit) -> str:
    fed = unit.powered
    if fed is None:
        return UNSTATED
    words = {"mains": "mains", "cable": "over its cable", "injector": "by an injector"}[fed.by]
    source = f" from {fed.source}" if fed.source else ""
    kind = f", class {fed.power_class}" if fed.power_class is not None else ""
    socket = f", {fed.socket} socket" if fed.socket else ""
    return f"{words}{source}{kind}{socket}"


def _radio(site: Site, radio: Radio) -> RadioCard:
    power = _or_unstated(radio.power_dbm, " dBm")
    if radio.radiated_dbm is not None:
        power = f"{radio.radiated_dbm:g} dBm radiated, antenna included"
    carries = UNSTATED if radio.carries is None else ", ".join(radio.carries) or "nothing: off"
    rate = radio.lowest_basic_mbps
    return RadioCard(
        radio.name,
        UNSTATED if radio.band is None else f"{radio.band:g} GHz",
        _or_unstated(radio.channel),
        _or_unstated(radio.width_mhz, " MHz"),
        power,
        carries,
        _names(site, radio),
        UNSTATED if rate is None else f"{rate:g} Mb/s",
    )


def _names(site: Site, radio: Radio) -> str:
    if site.networks is None:
        return UNSTATED
    if radio.carries is not None and "clients" not in radio.carries:
        return "none"
    return ", ".join(n.name or n.key for n in site.networks.values() if announces(n, radio))


def _way_back(links: list[Link]) -> str:
    wired = [link for link in links if link.over != "radio"]
    if wired:
        return f"Reach it over the {wired[0].over} {wired[0].name}."
    if links:
        return (
            "It is joined by radio alone: set and try it next to its far end before mounting, and "
            "keep a cable long enough to reach it on site. Change the far unit first, then the "
            "near one."
        )
    return "No link of it is stated: set it by its own cable."


def _networks(site: Site) -> Iterator[tuple[str, str, str, str]]:
    for network in (site.networks or {}).values():
        yield (
            network.name or network.key,
            _or_unstated(network.purpose),
            _or_unstated(network.vlan),
            _or_unstated(network.akm),
        )


def _cable(link: Link) -> CableRow:
    vlans = UNSTATED if link.vlans is None else ", ".join(map(str, link.vlans)) or "none"
    path = _or_unstated(link.path)
    return CableRow(
        link.name,
        f"{link.from_unit} to {link.to_unit}",
        link.over if link.medium is None else f"{link.medium} {link.over}",
        _or_unstated(link.category),
        UNSTATED if link.length_m is None else f"{link.length_m:g} m",
        f"{path}, {link.run}" if link.run else path,
        vlans,
        _or_unstated(link.state),
    )


def _link_test(told: Told, key: str) -> LinkTest:
    name = told.label("link", key)
    link = (told.workings.site.backhaul or {})[name]
    is_radio = link.over == "radio"
    return LinkTest(
        name,
        link.from_unit,
        link.to_unit,
        is_radio,
        told.figure("link.goodput_mbps", key),
        told.figure("link.level_at_from_dbm", key) if is_radio else None,
        told.figure("link.level_at_to_dbm", key) if is_radio else None,
        told.figure("link.spread_db", key) if is_radio else None,
        f"- {{link: {_quoted(name)}, throughput_mbps: , taken: , when: quiet}}",
    )


def _quoted(name: str) -> str:
    import json

    return json.dumps(name, ensure_ascii=False)


def _area_tests(told: Told) -> Iterator[AreaTest]:
    for key in told.keys("area"):
        area = (told.workings.site.areas or {})[told.label("area", key)]
        yield AreaTest(
            area.name,
            area.level,
            told.figure("area.bands", key),
            told.figure("area.target_dbm", key),
            told.figure("area.worst_dbm", key),
        )

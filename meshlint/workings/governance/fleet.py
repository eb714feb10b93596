"""Facts about a site among others: names used twice, models nobody uses, values unlike siblings'.

Whoever looks at a fleet finds these out and names the subjects; one site alone has none of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from meshlint.site.model import Pointer
    from meshlint.workings.site_workings import Workings

FLEET = "all site files of the fleet"


class FleetSite(Struct, frozen=True):
    """A site, and the files of other sites that bear its name."""

    name: str
    namesakes: tuple[str, ...]


class FleetUnit(Struct, frozen=True):
    """A unit, the other sites that have one of its name, and all of them, its own among them.

    `class_sites` is how many sites its site's class has, none without a class, and
    `class_sites_with_it` how many of them have a unit of the name.
    """

    name: str
    other_sites: tuple[str, ...]
    sites: tuple[str, ...]
    class_sites: int = 0
    class_sites_with_it: int = 0


class FleetModel(Struct, frozen=True):
    """A model of a catalogue, and how many units of the sites that name the catalogue are one."""

    name: str
    users: int


class FleetValue(Struct, frozen=True):
    """A value that siblings could share: how many state it, how many the same, and what."""

    path: str
    pointer: Pointer
    value: str
    usual: str
    site_class: str
    siblings: int
    agreeing: int


@fact("fleet_site.name", Kind.TEXT, "its name", source=STATED)
def site_name(_: Workings, site: FleetSite) -> str:
    return site.name


@fact("fleet_site.namesakes", Kind.TEXTS, "files of other sites of that name", source=FLEET)
def namesakes(_: Workings, site: FleetSite) -> tuple[str, ...]:
    return site.namesakes


@fact("fleet_unit.name", Kind.TEXT, "its name", source=STATED)
def unit_name(_: Workings, unit: FleetUnit) -> str:
    return unit.name


@fact("fleet_unit.other_sites", Kind.TEXTS, "other sites with a unit of that name", source=FLEET)
def other_sites(_: Workings, unit: FleetUnit) -> tuple[str, ...]:
    return unit.other_sites


@fact("fleet_unit.sites", Kind.TEXTS, "sites with a unit of that name", source=FLEET)
def sites_with_it(_: Workings, unit: FleetUnit) -> tuple[str, ...]:
    return unit.sites


@fact("fleet_unit.class_sites", Kind.COUNT, "sites of the class of its site", source=FLEET)
def class_sites(_: Workings, unit: FleetUnit) -> float:
    return unit.class_sites


@fact(
    "fleet_unit.class_percent",
    Kind.NUMBER,
    "share of the sites of its site's class that have a unit of that name",
    source=FLEET,
    unit="%",
)
def class_percent(_: Workings, unit: FleetUnit) -> float:
    return 100.0 * unit.class_sites_with_it / unit.class_sites if unit.class_sites else 0.0


@fact("fleet_model.name", Kind.TEXT, "its name in the catalogue", source=STATED)
def model_name(_: Workings, model: FleetModel) -> str:
    return model.name


@fact("fleet_model.users", Kind.COUNT, "units of the fleet of that model", source=FLEET)
def users(_: Workings, model: FleetModel) -> float:
    return model.users


@fact("fleet_value.path", Kind.TEXT, "where it stands, names of things left out", source=STATED)
def path(_: Workings, value: FleetValue) -> str:
    return value.path


@fact("fleet_value.value", Kind.TEXT, "what the site has", source=STATED)
def own_value(_: Workings, value: FleetValue) -> str:
    return value.value


@fact("fleet_value.usual", Kind.TEXT, "what most of its siblings have", source=FLEET)
def usual(_: Workings, value: FleetValue) -> str:
    return value.usual


@fact("fleet_value.site_class", Kind.TEXT, "the class of the site", source=STATED)
def site_class(_: Workings, value: FleetValue) -> str:
    return value.site_class


@fact("fleet_value.siblings", Kind.COUNT, "sites of the class that state it", source=FLEET)
def siblings(_: Workings, value: FleetValue) -> float:
    return value.siblings


@fact("fleet_value.agreeing", Kind.COUNT, "sites of the class with the usual value", source=FLEET)
def agreeing(_: Workings, value: FleetValue) -> float:
    return value.agreeing


@fact(
    "fleet_value.agreeing_percent",
    Kind.NUMBER,
    "share of the sites that state it with the usual value",
    source=FLEET,
    unit="%",
)
def agreeing_percent(_: Workings, value: FleetValue) -> float:
    return 100.0 * value.agreeing / value.siblings


@fact("fleet_value.differs", Kind.TRUTH, "whether it is not the usual one", source=FLEET)
def differs(_: Workings, value: FleetValue) -> bool:
    return value.value != value.usual

"""Checked documents to a `Site`: references resolved, the catalogue's words merged in.

The schema has already settled shapes and types, so what is left to go wrong here is a name that
nothing bears, a date that no calendar has, or a combination that means nothing.
"""

from __future__ import annotations

import difflib
import re
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING, Any, cast

from meshlint.law.codes import known_country_code, meant_country_code
from meshlint.site.combinations import category_of, meaningless
from meshlint.site.limits import LIMITS, Limits, excesses
from meshlint.site.model import Site
from meshlint.site.problem import InputError, Problem
from meshlint.site.secrets import secrets_in, without_secrets

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

Raw = dict[str, Any]

# Keys that are words of Python, or of another meaning, on their way to a record's field.
_FIELD_OF_KEY = {
    "internet_lines": {},
    "backhaul": {"from": "from_unit", "to": "to_unit"},
    "clients": {"in": "area"},
    "networks": {"for": "purpose"},
    "powered": {"from": "source", "class": "power_class"},
    "addresses": {"from": "server"},
    "site": {"class": "site_class"},
}

# A passphrase is looked at once, by `secrets_in`, and never carried into the model.
_NEVER_CARRIED = frozenset({"passphrase", "password", "psk", "key"})


def build_site(
    document: Document, catalogue: Document | None = None, limits: Limits = LIMITS
) -> Site:
    """Return the site that a schema-checked document describes.

    `catalogue` is the equipment file that the document names, or `None` where it names none.
    Raises `InputError` with every reference that leads nowhere.
    """
    raw = cast("Raw", document.value)
    models: Raw | None = raw.get("models")
    if catalogue is not None:
        models = {**cast("Raw", catalogue.value)["models"], **(models or {})}
    for problems in (
        excesses(document, limits),
        chain(
            _dangling(document, raw, models),
            _impossible(document, raw),
            meaningless(document, raw, models or {}),
        ),
    ):
        error = InputError.first(problems)
        if error.problems:
            raise error
    return _site(document, models)


def _site(document: Document, stated: Raw | None) -> Site:
    secrets = secrets_in(document)
    raw = without_secrets(cast("Raw", document.value), secrets)
    models = stated or {}
    written = {
        **{k: v for k, v in raw.items() if k not in ("meshlint", "site", "catalogue", "models")},
        "about": _renamed(raw["site"], "site"),
        "units": {name: _unit(name, entry, models) for name, entry in raw["units"].items()},
        "secrets": secrets,
    }
    if stated is not None:
        written["model_radios"] = {k: len(m["radios"]) for k, m in models.items() if "radios" in m}
    for section in ("internet_lines", "buildings", "levels", "areas", "backhaul", "clients"):
        if section in raw:
            written[section] = _named(raw[section], section)
    if "networks" in raw:
        written["networks"] = {key: _network(key, entry) for key, entry in raw["networks"].items()}
    if "radars" in raw:
        written["radars"] = [
            {
                "name": radar["name"],
                "place": {"latitude": radar["latitude"], "longitude": radar["longitude"]},
                **{k: radar[k] for k in ("frequency_mhz",) if k in radar},
            }
            for radar in raw["radars"]
        ]
    if "waivers" in raw:
        written["waivers"] = [
            {"position": position, **waiver} for position, waiver in enumerate(raw["waivers"])
        ]
    for link in written.get("backhaul", {}).values():
        _settle_category(link)
    if "cable_routes" in raw:
        written["cable_routes"] = [dict(route) for route in raw["cable_routes"]]
        for route in written["cable_routes"]:
            _settle_category(route)
    return _converted(written)


def _converted(written: Raw) -> Site:
    import msgspec

    try:
        return msgspec.convert(written, Site)
    except msgspec.ValidationError:
        # A file seldom writes 7.0, so only then is every number of it looked at.
        return msgspec.convert(_whole(written), Site)


def _whole(value: Any) -> Any:  # noqa: ANN401 - what a section holds
    """Return the value with whole numbers as such: 7.0 is an integer by JSON Schema and for us."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {key: _whole(item) for key, item in value.items()}
    return [_whole(item) for item in value] if isinstance(value, list | tuple) else value


# Rounding must not make these the nought that the schema refuses.
_ABOVE_NOUGHT = frozenset({"thickness_mm", "ceiling_m"})


def _to_micrometres(value: Any) -> Any:  # noqa: ANN401 - what a section holds
    """Return the value with its numbers rounded: the square of 1e-200 m would be nought.

    Everything on a plan is in metres or decibels, where less means nothing.
    """
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, list):
        return [_to_micrometres(item) for item in value]
    if isinstance(value, dict):
        return {
            key: item if key in _ABOVE_NOUGHT else _to_micrometres(item)
            for key, item in value.items()
        }
    return value


def _named(entries: Raw, section: str) -> Raw:
    return {name: {"name": name, **_renamed(entry, section)} for name, entry in entries.items()}


def _renamed(entry: Raw, section: str) -> Raw:
    names = _FIELD_OF_KEY.get(section)
    if section in ("levels", "areas"):
        entry = {key: _to_micrometres(value) for key, value in entry.items()}
    return {names.get(k, k): v for k, v in entry.items()} if names else entry


def _network(key: str, entry: Raw) -> Raw:
    network = {k: v for k, v in _renamed(entry, "networks").items() if k not in _NEVER_CARRIED}
    if "addresses" in network:
        network["addresses"] = _renamed(network["addresses"], "addresses")
    return {"key": key, **network}


def _unit(name: str, entry: Raw, models: Raw) -> Raw:
    model = models.get(entry.get("model", ""), {})
    radios: Raw = {
        radio: {**able, "name": radio, "unit": name, "of_model": able}
        for radio, able in model.get("radios", {}).items()
    }
    for radio, settings in entry.get("radios", {}).items():
        radios[radio] = {**radios.get(radio, {}), **settings, "name": radio, "unit": name}
    unit = {**model, **entry, "name": name, "radios": radios}
    told = "radios" in entry or "radios" in model or unit.get("kind") in ("switch", "injector")
    if not radios and told:
        unit["has_no_radio"] = True
    if "radios" in model:
        unit["model_radios"] = list(model["radios"])
    if "at" in unit:
        unit["at"] = _to_micrometres(unit["at"])
    if "powered" in unit:
        unit["powered"] = _renamed(unit["powered"], "powered")
    return unit


def _settle_category(entry: Raw) -> None:
    if "category" in entry:
        entry["category"] = category_of(entry["category"])


def _no_country(document: Document, country: str | None) -> Iterable[Problem]:
    if country is not None and not known_country_code(country):
        meant = meant_country_code(country)
        hint = f"; did you mean {meant}?" if meant else ""
        yield Problem(
            document.place(("site", "country")),
            f"'{country}' is no country code of ISO 3166-1{hint}",
        )


def sure_problems(document: Document) -> Iterable[Problem]:
    """Yield what is wrong for certain in a site that the schema refuses elsewhere.

    Only names whose section has the right shape are looked up, and only the chief ones.
    """
    raw = _mapping(document.value)
    country = _mapping(raw.get("site")).get("country")
    if isinstance(country, str) and re.fullmatch("[A-Z]{2}", country):
        yield from _no_country(document, country)
    yield from _unborne(document, _sure_references(raw))


def _mapping(value: object) -> Raw:
    return cast("Raw", value) if isinstance(value, dict) else {}


def _sure_references(raw: Raw) -> Iterable[Reference]:
    units, levels = _mapping(raw.get("units")), _mapping(raw.get("levels"))
    asked: list[tuple[Pointer, object, Raw, str]] = [
        (("primary",), raw.get("primary"), units, "unit")
    ]
    for section, keys in (("backhaul", ("from", "to")), ("clients", ("near", "wired_to"))):
        for name, entry in _mapping(raw.get(section)).items():
            stated = _mapping(entry)
            asked += [((section, name, key), stated.get(key), units, "unit") for key in keys]
    for name, unit in units.items():
        level = _mapping(_mapping(unit).get("at")).get("level")
        asked.append((("units", name, "at", "level"), level, levels, "level"))
    for pointer, said, known, what in asked:
        if known and isinstance(said, str):
            yield pointer, said, known, what


def _impossible(document: Document, raw: Raw) -> Iterable[Problem]:
    """Yield what has the right shape and yet cannot be: dates, countries and self-links."""
    yield from _no_country(document, raw["site"].get("country"))
    for pointer, text in _dates(raw):
        try:
            date.fromisoformat(text)
        except ValueError:
            yield Problem(document.place(pointer), f"{text} is not a day of any calendar")
    for name, link in raw.get("backhaul", {}).items():
        if link["from"] == link["to"]:
            yield Problem(
                document.place(("backhaul", name, "to")),
                f"both ends of '{name}' are '{link['to']}'; a link joins two units",
            )


def _dates(raw: Raw) -> Iterable[tuple[Pointer, str]]:
    if "changed" in raw["site"]:
        yield ("site", "changed"), raw["site"]["changed"]
    for section, key in (("waivers", "until"), ("readings", "taken")):
        for position, entry in enumerate(raw.get(section, ())):
            if key in entry:
                yield (section, position, key), entry[key]


def _dangling(document: Document, raw: Raw, models: Raw | None) -> Iterable[Problem]:
    """Yield every name in the file that nothing bears."""
    yield from _unborne(document, _references(raw, models))


def _unborne(document: Document, references: Iterable[Reference]) -> Iterable[Problem]:
    for pointer, name, known, what in references:
        if name not in known:
            names = list(known)
            # Likeness takes its time, and past so many names it is no longer a help.
            near = difflib.get_close_matches(name, names, 1, 0.6) if len(names) < 1000 else []  # noqa: PLR2004
            hint = f"; did you mean '{near[0]}'?" if near else _listing(known)
            if what == "level" and not near:
                hint += "; add it under `levels`"
            yield Problem(document.place(pointer), f"there is no {what} '{name}'{hint}")


def _listing(known: Iterable[str]) -> str:
    names = [f"'{name}'" for name in known]
    if not names:
        return ""
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""  # noqa: PLR2004
    return f"; there is {', '.join(names[:6])}{more}"


Reference = tuple["Pointer", str, "Iterable[str]", str]


def _references(raw: Raw, models: Raw | None) -> Iterable[Reference]:
    units: Raw = raw["units"]
    yield ("primary",), raw["primary"], units, "unit"
    for name, entry in raw.get("internet_lines", {}).items():
        if "enters_at" in entry:
            yield ("internet_lines", name, "enters_at"), entry["enters_at"], units, "unit"
    yield from _plan_references(raw)
    for name, unit in units.items():
        yield from _unit_references(raw, models, ("units", name), unit)
    for name, link in raw.get("backhaul", {}).items():
        yield from _link_references(raw, models, ("backhaul", name), link)
    for position, route in enumerate(raw.get("cable_routes", ())):
        for end, unit in enumerate(route["between"]):
            yield ("cable_routes", position, "between", end), unit, units, "unit"
    for name, group in raw.get("clients", {}).items():
        yield from _named_by(group, ("clients", name), _group_targets(raw))
    yield from _network_references(raw, models)
    for position, heard in enumerate(raw.get("neighbours", ())):
        yield ("neighbours", position, "heard_at"), heard["heard_at"], units, "unit"
    readings = {"unit": (units, "unit"), "link": (raw.get("backhaul", {}), "link")}
    for position, reading in enumerate(raw.get("readings", ())):
        yield from _named_by(reading, ("readings", position), readings)


def _named_by(
    entry: Raw, pointer: Pointer, targets: dict[str, tuple[Iterable[str], str]]
) -> Iterable[Reference]:
    for key, (known, what) in targets.items():
        if key in entry:
            yield (*pointer, key), entry[key], known, what


def _group_targets(raw: Raw) -> dict[str, tuple[Iterable[str], str]]:
    return {
        "near": (raw["units"], "unit"),
        "wired_to": (raw["units"], "unit"),
        "in": (raw.get("areas", {}), "area"),
        "network": (raw.get("networks", {}), "network"),
    }


def _plan_references(raw: Raw) -> Iterable[Reference]:
    levels = raw.get("levels", {})
    for name, level in levels.items():
        if "building" in level:
            known = raw.get("buildings", {})
            yield ("levels", name, "building"), level["building"], known, "building"
    for name, area in raw.get("areas", {}).items():
        yield ("areas", name, "level"), area["level"], levels, "level"


def _unit_references(
    raw: Raw, models: Raw | None, pointer: Pointer, unit: Raw
) -> Iterable[Reference]:
    if "model" in unit and models is not None:
        yield (*pointer, "model"), unit["model"], models, "model"
    if "level" in unit.get("at", {}):
        yield (*pointer, "at", "level"), unit["at"]["level"], raw.get("levels", {}), "level"
    if "building" in unit:
        yield (*pointer, "building"), unit["building"], raw.get("buildings", {}), "building"
    if "from" in unit.get("powered", {}):
        yield (*pointer, "powered", "from"), unit["powered"]["from"], raw["units"], "unit"
    known = [*raw.get("networks", {}), "internet"]
    for position, origin in enumerate(unit.get("management_from", ())):
        yield (*pointer, "management_from", position), origin, known, "network"


def _link_references(
    raw: Raw, models: Raw | None, pointer: Pointer, link: Raw
) -> Iterable[Reference]:
    units: Raw = raw["units"]
    for end in ("from", "to"):
        yield (*pointer, end), link[end], units, "unit"
        radio = link.get(f"{end}_radio")
        if radio is not None and link[end] in units:
            known = _radio_names(units[link[end]], models)
            yield (*pointer, f"{end}_radio"), radio, known, f"radio at '{link[end]}' called"


def _network_references(raw: Raw, models: Raw | None) -> Iterable[Reference]:
    radios = {name for unit in raw["units"].values() for name in _radio_names(unit, models)}
    for key, network in raw.get("networks", {}).items():
        if "from" in network.get("addresses", {}):
            server = network["addresses"]["from"]
            yield ("networks", key, "addresses", "from"), server, raw["units"], "unit"
        for position, radio in enumerate(network.get("radios", ())):
            yield ("networks", key, "radios", position), radio, sorted(radios), "radio"
        for position, unit in enumerate(network.get("units", ())):
            yield ("networks", key, "units", position), unit, raw["units"], "unit"


def _radio_names(unit: Raw, models: Raw | None) -> list[str]:
    model = (models or {}).get(unit.get("model", ""), {})
    return list({**model.get("radios", {}), **unit.get("radios", {})})

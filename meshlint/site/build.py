"""Checked documents to a `Site`: references resolved, the catalogue's words merged in.

The schema has already settled shapes and types, so what is left to go wrong here is a name that
nothing bears, a date that no calendar has, or a combination that means nothing.
"""

from __future__ import annotations

import re
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING, Any, cast

from meshlint.law.codes import known_country_code, meant_country_code
from meshlint.site.consistency import category_of, meaningless
from meshlint.site.limits import LIMITS, Limits, excesses
from meshlint.site.model import Site
from meshlint.site.problem import InputError, Problem
from meshlint.site.references import listed_entries, mapping, named_entries, unresolved_references
from meshlint.site.schema import MOST_REFUSALS
from meshlint.site.secrets import secrets_in, without_secrets

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

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

# The schema's form of a date; what has another is told of there.
_DATE = "(19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}"

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
    models = _models(document, catalogue)
    for problems in (
        excesses(document, limits, models),
        chain(
            unresolved_references(document, models, whole=True),
            _impossible(document),
            meaningless(document, raw, models or {}),
        ),
    ):
        error = InputError.first(problems)
        if error.problems:
            raise error
    return _site(document, models, limits)


def _site(document: Document, stated: Raw | None, limits: Limits) -> Site:
    secrets = secrets_in(document)
    raw = without_secrets(cast("Raw", document.value), secrets)
    models = stated or {}
    written = {
        **{k: v for k, v in raw.items() if k not in ("meshlint", "site", "catalogue", "models")},
        "about": _renamed(raw["site"], "site"),
        "units": {name: _unit(name, entry, models) for name, entry in raw["units"].items()},
        "secrets": secrets,
        "most_places": limits.places,
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
    if "backhaul" in written:
        written["backhaul"] = dict(_legs(written["backhaul"]))
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


_HIGHEST_BEAM_DEG = 180


def _two_angles(radio: Raw) -> Raw:
    """Return a radio's words with a beam of one angle as two, across and in height alike.

    Data sheets of dishes and of other round beams give one angle for both. A beam that is stated
    by its own width or height as well keeps those.
    """
    if "beam_deg" not in radio:
        return radio
    angle = radio["beam_deg"]
    two = {"beam_width_deg": angle, "beam_height_deg": min(angle, _HIGHEST_BEAM_DEG)}
    return {**two, **{key: value for key, value in radio.items() if key != "beam_deg"}}


_WITHOUT_RADIOS = ("switch", "router", "injector")


def _unit(name: str, entry: Raw, models: Raw) -> Raw:
    model = models.get(entry.get("model", ""), {})
    radios: Raw = {}
    for radio, stated in model.get("radios", {}).items():
        able = _two_angles(stated)
        radios[radio] = {**able, "name": radio, "unit": name, "of_model": able}
    for radio, settings in entry.get("radios", {}).items():
        own = _two_angles(settings)
        radios[radio] = {**radios.get(radio, {}), **own, "name": radio, "unit": name}
    unit = {**model, **entry, "name": name, "radios": radios}
    if "airtime_fairness" in unit:  # said of all its radios; what one of them says goes before it
        fair = unit.pop("airtime_fairness")
        for radio in radios.values():
            radio.setdefault("airtime_fairness", fair)
    told = "radios" in entry or "radios" in model or unit.get("kind") in _WITHOUT_RADIOS
    if not radios and told:
        unit["has_no_radio"] = True
    if unit.get("kind") == "router":
        unit.setdefault("routes", True)
    if "radios" in model:
        unit["model_radios"] = list(model["radios"])
    if "at" in unit:
        unit["at"] = _to_micrometres(unit["at"])
    if "powered" in unit:
        unit["powered"] = _renamed(unit["powered"], "powered")
    return unit


def _legs(links: Raw) -> Iterator[tuple[str, Raw]]:
    """Yield each link by name; of one that joins several radios its legs, in order of their radios.

    A name of the file holds no slash, so that a leg is called as nothing else is.
    """
    for name, link in links.items():
        _settle_category(link)
        joined = link.get("radios")
        if not joined:
            yield name, link
            continue
        shared = {key: value for key, value in link.items() if key != "radios"}
        if len(joined) == 1:
            ((ours, theirs),) = joined.items()
            yield name, {**shared, "from_radio": ours, "to_radio": theirs}
            continue
        for ours in sorted(joined):
            leg = f"{name}/{ours}"
            ends = {"from_radio": ours, "to_radio": joined[ours]}
            yield leg, {**shared, **ends, "name": leg, "whole": name}


def _settle_category(entry: Raw) -> None:
    if "category" in entry:
        entry["category"] = category_of(entry["category"])


def _no_country(document: Document, country: str) -> Iterable[Problem]:
    if not known_country_code(country):
        meant = meant_country_code(country)
        hint = f"; did you mean {meant}?" if meant else ""
        yield Problem(
            document.place(("site", "country")),
            f"'{country}' is no country code of ISO 3166-1{hint}",
        )


def sure_problems(
    document: Document, catalogue: Document | None, refused: set[Pointer]
) -> Iterable[Problem]:
    """Yield what is wrong for certain in a site of which the schema refuses parts, at `refused`."""
    models = _models(document, catalogue)
    yield from unresolved_references(document, models, whole=False)
    yield from _impossible(document)
    if len(refused) < MOST_REFUSALS and ("models",) not in {at[:1] for at in refused}:
        sound = _sound(mapping(document.value), {at[:2] for at in refused})
        yield from meaningless(document, sound, models or {})


def _sound(raw: Raw, refused: set[Pointer]) -> Raw:
    """Return what has the right shape: entries of maps one by one, of lists all or none."""
    found: Raw = {"units": {}}
    for section, value in raw.items():
        if isinstance(value, dict) and (section,) not in refused:
            found[section] = {k: e for k, e in value.items() if (section, k) not in refused}
        elif isinstance(value, list) and section not in {at[0] for at in refused if at}:
            found[section] = value
    return found


def _models(document: Document, catalogue: Document | None) -> Raw | None:
    """Return the models of a site and its catalogue, `None` where it has neither."""
    own = mapping(document.value).get("models")
    if catalogue is None:
        return mapping(own) if own is not None else None
    return {**mapping(mapping(catalogue.value).get("models")), **mapping(own)}


def _impossible(document: Document) -> Iterable[Problem]:
    """Yield what has the right shape and yet cannot be: dates, countries and self-links.

    What has not is passed over, as the schema says so.
    """
    raw = mapping(document.value)
    country = mapping(raw.get("site")).get("country")
    if isinstance(country, str) and re.fullmatch("[A-Z]{2}", country):
        yield from _no_country(document, country)
    for pointer, text in _dates(raw):
        if not isinstance(text, str) or not re.fullmatch(_DATE, text):
            continue
        try:
            date.fromisoformat(text)
        except ValueError:
            yield Problem(document.place(pointer), f"{text} is not a day of any calendar")
    for name, link in named_entries(raw, "backhaul"):
        if isinstance(link.get("to"), str) and link.get("from") == link["to"]:
            yield Problem(
                document.place(("backhaul", name, "to")),
                f"both ends of '{name}' are '{link['to']}'; a link joins two units",
            )


def _dates(raw: Raw) -> Iterable[tuple[Pointer, object]]:
    about = mapping(raw.get("site"))
    for key in ("changed", "designed"):
        if key in about:
            yield ("site", key), about[key]
    for section, key in (("waivers", "until"), ("readings", "taken")):
        for position, entry in listed_entries(raw, section):
            if key in entry:
                yield (section, position, key), entry[key]

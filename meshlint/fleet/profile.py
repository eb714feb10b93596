"""What is kept of a site while a whole fleet is looked at: little, so that thousands fit."""

from __future__ import annotations

import json
from collections import Counter
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any, cast

from msgspec import Struct

from meshlint.workings.governance.fleet import FleetValue

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

# Sections whose members have names of each site's own; the names are dropped to compare.
_OWN_NAMES = frozenset({"units"})

# What is a site's own by its nature, beside whole sections that describe its rooms and people.
_SECTIONS = ("site", "catalogue", "networks", "units")
_OWN_BY_NATURE = (
    "site.name",
    "site.class",
    "site.place*",
    "site.changed",
    "networks.*.secret*",
    "networks.*.vlan",
    "units.*.at*",
    "units.*.state",
    "units.*.scan_made",
    "units.*.powered*",
    "units.*.radios.*.channel",
    "units.*.radios.*.second_channel",
    "units.*.radios.*.block",
    "units.*.radios.*.beam_bearing_deg",
    "units.*.radios.*.beam_tilt_deg",
)

# Never repeated, wherever they stand.
_SECRETS = frozenset({"passphrase", "password", "psk", "key"})


class Profile(Struct, frozen=True):
    """One site: its names, its models, and the values that siblings could share."""

    path: str
    name: str
    site_class: str | None
    units: tuple[str, ...]
    models: tuple[str, ...]
    catalogue: str | None
    """The path of the equipment file, links followed."""
    values: dict[str, str]
    """The value of each path, or all its values where several things are under it."""


def profile_of(document: Document, catalogue: str | None) -> Profile:
    """Return what a fleet's questions need to know of a site."""
    raw = cast("dict[str, Any]", document.value)
    units = raw["units"]
    return Profile(
        path=document.path,
        name=raw["site"]["name"],
        site_class=raw["site"].get("class"),
        units=tuple(units),
        models=tuple(unit["model"] for unit in units.values() if "model" in unit),
        catalogue=catalogue,
        values={path: _joined(texts) for path, (texts, _) in _shared_values(raw).items()},
    )


def usual_values(
    profiles: Iterable[Profile], may_vary: Iterable[str]
) -> dict[str, tuple[str, int, int]]:
    """Return, by path, the value that most sites have, how many have it, and how many state one."""
    seen: dict[str, Counter[str]] = {}
    for profile in profiles:
        for path, value in profile.values.items():
            seen.setdefault(path, Counter())[value] += 1
    patterns = tuple(may_vary)
    return {
        path: (*min(counts.items(), key=lambda entry: (-entry[1], entry[0])), counts.total())
        for path, counts in sorted(seen.items())
        if not any(fnmatchcase(path, pattern) for pattern in patterns)
    }


def values_beside(
    document: Document, site_class: str, usual: dict[str, tuple[str, int, int]]
) -> Iterator[FleetValue]:
    """Yield every value of a site that its siblings state too, beside the usual one."""
    for path, (texts, pointers) in _shared_values(cast("dict[str, Any]", document.value)).items():
        if path in usual:
            value, agreeing, siblings = usual[path]
            yield FleetValue(
                path=path,
                pointer=_odd_one(texts, pointers, value),
                value=_joined(texts),
                usual=value,
                site_class=site_class,
                siblings=siblings,
                agreeing=agreeing,
            )


def _odd_one(texts: list[str], pointers: list[Pointer], usual: str) -> Pointer:
    """Return where the first value stands that is not all of what is usual."""
    at = next((at for at, text in enumerate(texts) if text != usual), 0)
    return pointers[at]


def _shared_values(raw: dict[str, Any]) -> dict[str, tuple[list[str], list[Pointer]]]:
    found: dict[str, tuple[list[str], list[Pointer]]] = {}
    for section in _SECTIONS:
        if section in raw:
            for path, pointer, value in _values(raw[section], section, (section,)):
                if not any(fnmatchcase(path, pattern) for pattern in _OWN_BY_NATURE):
                    texts, pointers = found.setdefault(path, ([], []))
                    texts.append(_text(value))
                    pointers.append(pointer)
    return found


def _values(value: object, path: str, pointer: Pointer) -> Iterator[tuple[str, Pointer, object]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in _SECRETS:
                name = "*" if path in _OWN_NAMES else key
                yield from _values(inner, f"{path}.{name}", (*pointer, key))
    elif not isinstance(value, list) or not any(isinstance(e, dict | list) for e in value):
        yield path, pointer, value


def _joined(texts: list[str]) -> str:
    return " or ".join(sorted(set(texts)))


def _text(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_text, value))}]"
    return value if isinstance(value, str) else json.dumps(value)

"""Sites that the schema takes, drawn from the schema itself by whatever chooses.

`choose` is anything with the methods of `random.Random`, so that hypothesis can shrink what it
draws and a fuzzer can steer it. Numbers lean to the ends of their ranges and to nought, texts to
what has broken reports before, and what refers to a name mostly finds it.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from meshlint.site.schema import schema_text

if TYPE_CHECKING:
    from random import Random

Schema = dict[str, Any]

NAMES = (
    *("a", "b", "c", "d", "attic", "to desk"),
    *("a\\radios", "a+b", "~1", "..", "*", "units", "radios", "site"),
    *("{unit.name}", "%s", "{", "\\", "'", '"', "`|", "<b>&amp;", "]]>", "#", ": "),
    *("\x1b[2J", "\x9b2J", "\x07"),
    *("\ra", "\n-", "\n::error::x", "::error::x", "##vso[task.x]" ),
    *("\u202ereverse", "\u200b", "\u2028.", "\x85.", "\ufeff"),
    *("caf\u00e9", "\U000e0001", "\U0001f4a5"),
    *("=1+1", "-", "null", "true", "1", "5.0", "x" * 70),
)  # fmt: skip

COUNTRIES = ("GB", "US", "DE", "JP", "IN", "AQ", "NP")

# Which section of the file holds the names that a key refers to.
_NAMED_IN = {
    **dict.fromkeys(("primary", "enters_at", "heard_at", "near", "wired_to", "between"), "units"),
    **dict.fromkeys(("from", "to", "unit"), "units"),
    "building": "buildings",
    "level": "levels",
    "in": "areas",
    "network": "networks",
    "model": "models",
    "link": "backhaul",
    "management_from": "networks",
    **dict.fromkeys(("from_radio", "to_radio"), "radios"),
}

_ONLY_CABLE = ("category", "medium", "optics", "tested_mbps", "through", "fire_rating")
_ONLY_RADIO = ("from_radio", "to_radio", "in_sight")

_RUNS = {2.4: (1, "1-11"), 5: (36, "36-64", "100-144"), 6: (5, "1-93")}

_OFTEN = frozenset({"units", "backhaul", "at", "band", "channel", "radios", "country", "power_dbm"})


def site_schema() -> Schema:
    """Return the schema that sites are drawn from."""
    schema: Schema = json.loads(schema_text("site"))
    return schema


def as_yaml(site: dict[str, Any]) -> bytes:
    """Return the site as JSON that a YAML 1.2 reader takes, a value to a line.

    JSON writes what lies past U+FFFF as two halves, which YAML does not know.
    """
    text = json.dumps(site, indent=1, ensure_ascii=False)
    return "".join(c if c == "\n" or c.isprintable() else f"\\U{ord(c):08x}" for c in text).encode()


def drawn_site(choose: Random, root: Schema, most_units: int = 6) -> dict[str, Any]:
    """Return a site that the schema takes; nearly always its references lead somewhere."""
    return _Drawing(choose, root, most_units).site()


class _Drawing:
    def __init__(self, choose: Random, root: Schema, most_units: int) -> None:
        self.choose = choose
        self.root = root
        units = self._names(1, most_units)
        self.names: dict[str, list[str]] = {"units": units, "radios": self._names(1, 3)}
        for section in ("buildings", "levels", "areas", "networks", "models", "backhaul"):
            self.names[section] = self._names(1, 3)
        self.lean = choose.random()
        self.absent = {name for name in self.names if choose.random() < 0.3} - {"units", "radios"}
        self.absent |= {"areas"} if "levels" in self.absent else set()
        self.absent |= {"backhaul"} if len(units) == 1 else set()
        self.crowded = choose.random() < 0.2

    def site(self) -> dict[str, Any]:
        site = self._object(self.root, ())
        if len(self.names["units"]) == 1:
            site.pop("cable_routes", None)
        for link in site.get("backhaul", {}).values():
            self._settle_link(link)
        self._settle_rest(site)
        return site

    def _settle_rest(self, site: dict[str, Any]) -> None:
        """Take out what means nothing beside what else is stated."""
        for cable in (*site.get("backhaul", {}).values(), *site.get("cable_routes", ())):
            if "category" in cable:
                cable.pop("medium", None)
        for unit in site["units"].values():
            unit.pop("like", None)  # stands instead of a model, and has tests of its own
            for radio in unit.get("radios", {}).values():
                self._settle_radio(radio)
        for model in site.get("models", {}).values():
            for able in model.get("radios", {}).values():
                self._settle_tunes(able)
        self._settle_people(site)
        for name, level in site.get("levels", {}).items():
            self._settle_level(level)
            if "floor_openings" in level:
                areas = site.get("areas", {}).items()
                level["floor_openings"] = [key for key, area in areas if area["level"] == name]
            for sheet in (*level.get("walls", ()), *([level["floor"]] if "floor" in level else [])):
                self._settle_sheet(sheet)

    def _settle_level(self, level: dict[str, Any]) -> None:
        """Take out rooms, which have tests of their own, and words that stand for a wall."""
        for key in ("rooms", "room_grid", "between", "rooms_as", "doors"):
            level.pop(key, None)
        for key in ("floor", "shell"):
            if isinstance(level.get(key), str):
                level[key] = {"loss_db": 12}

    def _settle_people(self, site: dict[str, Any]) -> None:
        for group in site.get("clients", {}).values():
            for key in ("near", "in") if "wired_to" in group else ():
                group.pop(key, None)
        for reading in site.get("readings", ()):
            if "link" not in reading:
                reading["unit"] = self.names["units"][0]
        for heard in site.get("neighbours", ()):
            site["units"][heard["heard_at"]].pop("scan_made", None)
        for network in site.get("networks", {}).values():
            if len(network.get("name", "").encode()) > 32:
                del network["name"]

    def _settle_link(self, link: dict[str, Any]) -> None:
        # Several radios of a link have to match at both ends; tests of their own draw those.
        for key in ("radios", "simultaneous"):
            link.pop(key, None)
        others = [name for name in self.names["units"] if name != link["from"]]
        if link["to"] == link["from"] and others:
            link["to"] = self.choose.choice(others)
        for key in _ONLY_CABLE if link["over"] == "radio" else _ONLY_RADIO:
            link.pop(key, None)

    def _settle_sheet(self, sheet: dict[str, Any]) -> None:
        if "material" not in sheet:
            sheet.pop("thickness_mm", None)
            sheet["loss_db"] = self.choose.choice((0, 3, 300))

    def _settle_radio(self, radio: dict[str, Any]) -> None:
        """Take out what means nothing beside the radio's other settings."""
        self._settle_tunes(radio)
        if "power_dbm" in radio:
            radio.pop("radiated_dbm", None)
        if {"power_dbm", "radiated_dbm"} & radio.keys():
            radio.pop("power", None)
        if (radio.get("band"), radio.get("width_mhz")) != (2.4, 40):
            radio.pop("second_channel", None)
        if (radio.get("band"), radio.get("width_mhz")) != (6, 320):
            radio.pop("block", None)

    def _settle_tunes(self, radio: dict[str, Any]) -> None:
        if "tunes" in radio:
            runs = _RUNS.get(radio.pop("tunes") and radio.get("band"), ())
            if runs:
                radio["tunes"] = [self.choose.choice(runs)]

    def _names(self, fewest: int, most: int) -> list[str]:
        count = self.choose.randint(fewest, most)
        return list(dict.fromkeys(self.choose.choice(NAMES) for _ in range(count)))

    def _value(self, schema: Schema, path: tuple[str, ...]) -> Any:  # noqa: PLR0911
        while "$ref" in schema:
            schema = self.root["$defs"][schema["$ref"].rsplit("/", 1)[1]]
        if "const" in schema:
            return schema["const"]
        if "enum" in schema:
            return self.choose.choice(schema["enum"])
        kinds = schema["type"]
        kind = kinds if isinstance(kinds, str) else self.choose.choice(kinds)
        if kind == "object":
            return self._object(schema, path)
        if kind == "array":
            return self._array(schema, path)
        if kind == "boolean":
            return self.choose.random() < 0.5
        if kind == "string":
            return self._text(schema, path)
        return self._number(schema, whole=kind == "integer")

    def _object(self, schema: Schema, path: tuple[str, ...]) -> dict[str, Any]:
        if "properties" in schema:
            needed = schema.get("required", ())
            return {
                key: self._value(entry, (*path, key))
                for key, entry in schema["properties"].items()
                if key in needed or self._wanted(key, path)
            }
        entry = schema["additionalProperties"]
        key = path[-1]
        names = self.names.get(key) or self._names(0, 3)
        return {name: self._value(entry, (*path, "*")) for name in names}

    def _wanted(self, key: str, path: tuple[str, ...]) -> bool:
        """Return whether to give an optional key: by chance, if what it refers to is there."""
        if key == "radios" and path[:1] == ("units",):
            return True
        section = key if not path else _NAMED_IN.get(key)
        if section in self.names and key != "catalogue":
            return section not in self.absent and (not path or self.choose.random() < 0.85)
        return key != "catalogue" and self.choose.random() < (0.85 if key in _OFTEN else self.lean)

    def _array(self, schema: Schema, path: tuple[str, ...]) -> list[Any]:
        fewest = schema.get("minItems", 0)
        count = self.choose.randint(fewest, schema.get("maxItems", fewest + 4))
        items = [self._value(schema["items"], path) for _ in range(count)]
        if not schema.get("uniqueItems"):
            return items
        unique = list({json.dumps(item): item for item in items}.values())
        spare = [name for name in self.names["units"] if name not in unique]
        return unique + spare[: max(0, fewest - len(unique))]

    def _text(self, schema: Schema, path: tuple[str, ...]) -> str:  # noqa: PLR0911
        pattern = schema.get("pattern")
        if pattern == "^auto$":
            return "auto"
        if pattern == "^[A-Z]{2}$":
            return self.choose.choice(COUNTRIES)
        if pattern is not None:
            return self.choose.choice(("1900-01-01", "2026-11-24", "2026-11-25", "2099-12-31"))
        key = path[-1]
        if key == "category":
            return self.choose.choice(("5e", "6", "Cat6a", "OM3", "8"))
        if key == "material":
            return self.choose.choice(("brick", "concrete", "metal", "glass", "wood"))
        if key == "subject":
            return f"units/{self.choose.choice(self.names['units'])}"
        if key == "rule":
            return self.choose.choice(("hop-depth", "every-unit-joined", "no-such-rule"))
        if key == "from" and "powered" in path:
            return self.choose.choice(self.names["units"])
        section = "radios" if path[-2:] == ("*", "radios") else _NAMED_IN.get(key)
        if path[-2:] == ("*", "units"):
            section = "units"
        longest = schema.get("maxLength", 200)
        return self.choose.choice(self.names[section] if section else NAMES)[:longest]

    def _number(self, schema: Schema, *, whole: bool) -> float:
        low = schema.get("minimum", schema.get("exclusiveMinimum", -1000))
        high = schema.get("maximum", 1000)
        above = 0 if "minimum" in schema else (1 if whole else 1e-9)
        if self.crowded and low <= 0 <= high and not above:
            return 0
        if whole:
            value = self.choose.choice(
                (low + above, high, self.choose.randint(low, high), self.choose.choice((1, 5, 36)))
            )
            return min(max(value, low), high)
        value = self.choose.choice(
            (
                *(low + above, high, 0.0, -0.0, 1, 20, -67, 1e-300),
                *(self.choose.randint(0, 30), self.choose.uniform(low, high)),
                *(self.choose.uniform(0, 30), self.choose.uniform(0, 30)),
            )
        )
        return min(max(value, low + above), high)

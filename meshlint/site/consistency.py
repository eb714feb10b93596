"""Combinations of keys that have the right shapes and together mean nothing.

Each is a mistake of the author's that would otherwise be passed over in silence: a key that has no
bearing where it stands, a wall of nothing, a name that would blur which subject is meant.
"""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any

from meshlint.physics.channels import tuned
from meshlint.site.hints import shown
from meshlint.site.problem import Problem
from meshlint.site.quoting import quoted, repeatable, within_two_letters

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

Raw = dict[str, Any]

COPPER = ("5", "5e", "6", "6a", "7", "7a", "8")
FIBRE = ("om1", "om2", "om3", "om4", "om5", "os1", "os2")

MOST_OCTETS = 32
"""Longest network name in octets: IEEE 802.11-2020, 9.4.2.2 (clause from memory)."""

MOST_NAME = 100
"""Longest name in characters that a report can show in a line."""

# Sections whose keys are names of the author's choosing. Findings and waivers call a subject by
# its names joined with '/', so a name can hold none.
_NAMED = ("units", "backhaul", "clients", "networks", "areas", "levels", "buildings")

_ONLY_CABLE = ("category", "medium", "optics", "tested_mbps", "through", "fire_rating")
_ONLY_RADIO = ("from_radio", "to_radio", "radios", "simultaneous", "in_sight")


def category_of(value: object) -> str:
    """Return a cable category as we write it: `6a` for 6A, Cat6a or category 6A alike."""
    # JSON Schema takes 6.0 for the integer 6.
    plain = int(value) if isinstance(value, float) else value
    text = str(plain).lower().replace(" ", "").replace("-", "")
    for word in ("category", "cat."):
        text = text.removeprefix(word)
    return text.removeprefix("cat")


def meaningless(document: Document, raw: Raw, models: Raw) -> Iterator[Problem]:
    """Yield a problem for each combination in a schema-checked site that means nothing."""
    yield from _names(document, raw)
    yield from _links(document, raw, models)
    yield from _cables(document, raw)
    yield from _radios(document, raw, models)
    yield from _plan(document, raw)
    yield from _groups(document, raw)
    yield from _networks(document, raw)
    yield from _scans(document, raw)
    for position, reading in enumerate(raw.get("readings", ())):
        if "unit" not in reading and "link" not in reading:
            yield Problem(
                document.key_place(("readings", position)),
                "a reading is of a unit's signal or of a link; name it under unit or link",
            )


def _scans(document: Document, raw: Raw) -> Iterator[Problem]:
    for position, heard in enumerate(raw.get("neighbours", ())):
        unit = heard["heard_at"]
        if raw["units"].get(unit, {}).get("scan_made") is False:
            yield Problem(
                document.place(("neighbours", position, "heard_at")),
                f"'{unit}' says scan_made: false, so nothing was heard there; take one of them out",
            )


def _names(document: Document, raw: Raw) -> Iterator[Problem]:
    named: list[tuple[Pointer, Iterable[str]]] = [
        ((section,), raw.get(section, ())) for section in _NAMED
    ]
    named += [(("units", unit, "radios"), u.get("radios", ())) for unit, u in raw["units"].items()]
    for pointer, names in named:
        for name in names:
            if name.strip() and len(name) <= MOST_NAME and "/" not in name:
                continue
            place = document.key_place((*pointer, name))
            where = "/".join(map(str, pointer))
            if not name.strip():
                yield Problem(place, f"{where}: a name cannot be empty")
            elif len(name) > MOST_NAME:
                yield Problem(
                    place, f"{where}: a name of {len(name)} characters; {MOST_NAME} at most"
                )
            else:
                yield Problem(
                    place,
                    f"{where}: a name cannot hold '/', which parts the names in findings and "
                    "waivers; write '-' instead, for example",
                )


def _links(document: Document, raw: Raw, models: Raw) -> Iterator[Problem]:
    for name, link in raw.get("backhaul", {}).items():
        over = link["over"]
        for key in _ONLY_RADIO:
            if key in link and over != "radio":
                yield Problem(
                    document.key_place(("backhaul", name, key)),
                    f"'{name}' runs over {over}, so {key} means nothing; take it out, "
                    "or write over: radio",
                )
        for key in _ONLY_CABLE:
            if key in link and over == "radio":
                yield Problem(
                    document.key_place(("backhaul", name, key)),
                    f"'{name}' runs over radio, so {key} means nothing; take it out, "
                    "or write over: cable",
                )
        if over == "radio":
            yield from _legs(document, raw, models, name, link)


def _legs(document: Document, raw: Raw, models: Raw, name: str, link: Raw) -> Iterator[Problem]:
    """Yield what cannot be of a link that joins several radios."""
    joined = link.get("radios")
    if joined is None:
        if "simultaneous" in link:
            yield Problem(
                document.key_place(("backhaul", name, "simultaneous")),
                f"'{name}' is not over several radios, so simultaneous means nothing; take it out, "
                "or name the radios under radios",
            )
        return
    if not joined:
        yield Problem(
            document.key_place(("backhaul", name, "radios")),
            f"'{name}' names no radio under radios; write for example {{mid: mid, high: high}}, or "
            "take it out",
        )
    for key in ("from_radio", "to_radio"):
        if key in link:
            yield Problem(
                document.key_place(("backhaul", name, key)),
                f"'{name}' names its radios under radios, so {key} means nothing; keep one of them",
            )
    yield from _pairs_of_radios(document, raw, models, name, link)


def _pairs_of_radios(
    document: Document, raw: Raw, models: Raw, name: str, link: Raw
) -> Iterator[Problem]:
    met: set[str] = set()
    on: dict[float, str] = {}
    for ours, theirs in link["radios"].items():
        place = document.key_place(("backhaul", name, "radios", ours))
        if theirs in met:
            yield Problem(
                place,
                f"radio '{theirs}' of '{link['to']}' is in two legs of '{name}'; each leg has "
                "radios of its own",
            )
        met.add(theirs)
        ends = [
            _band(raw, models, link["from"], ours),
            _band(raw, models, link["to"], theirs),
        ]
        if None not in ends and ends[0] != ends[1]:
            yield Problem(
                place,
                f"this leg of '{name}' is at {ends[0]:g} GHz at '{link['from']}' and at "
                f"{ends[1]:g} GHz at '{link['to']}'; both ends of a leg are on one band",
            )
        elif ends[0] is not None and ends[0] in on:
            yield Problem(
                place,
                f"two legs of '{name}' are at {ends[0]:g} GHz, '{on[ends[0]]}' and '{ours}'; "
                "each leg has a band of its own",
            )
        if ends[0] is not None:
            on.setdefault(ends[0], ours)


def _band(raw: Raw, models: Raw, unit: str, radio: str) -> float | None:
    """Return the band of a unit's radio, its own words before its model's."""
    entry = raw["units"].get(unit, {})
    able = models.get(entry.get("model", ""), {}).get("radios", {}).get(radio, {})
    band: float | None = entry.get("radios", {}).get(radio, {}).get("band", able.get("band"))
    return band


def _cables(document: Document, raw: Raw) -> Iterator[Problem]:
    cables: list[tuple[Pointer, Raw]] = [
        (("backhaul", name), link) for name, link in raw.get("backhaul", {}).items()
    ]
    cables += [(("cable_routes", i), r) for i, r in enumerate(raw.get("cable_routes", ()))]
    for pointer, cable in cables:
        if "category" not in cable:
            continue
        place = document.place((*pointer, "category"))
        category = category_of(cable["category"])
        if category not in (*COPPER, *FIBRE):
            written = shown(str(cable["category"]))
            said, unsaid = (
                "expected a cable category such as 5e, 6, 6A, OM3 or OS2, found "
                + quoted(written, repeat=again, otherwise="another")
                for again in (_is_nearly(category, (*COPPER, *FIBRE)), False)
            )
            yield Problem(place, said, unsaid)
        elif cable.get("medium") not in (None, "fibre" if category in FIBRE else "copper"):
            yield Problem(
                place, f"{category.upper()} is not {cable['medium']}; change one of the two"
            )


def _radios(document: Document, raw: Raw, models: Raw) -> Iterator[Problem]:
    for model, entry in raw.get("models", {}).items():
        for name, able in entry.get("radios", {}).items():
            pointer: Pointer = ("models", model, "radios", name)
            yield from _tunes(document, pointer, able, able.get("band"))
    for unit, entry in raw["units"].items():
        able = models.get(entry.get("model", ""), {}).get("radios", {})
        for name, settings in entry.get("radios", {}).items():
            pointer = ("units", unit, "radios", name)
            yield from _powers(document, pointer, settings)
            band = settings.get("band", able.get(name, {}).get("band"))
            yield from _tunes(document, pointer, settings, band)
            width_mhz = settings.get("width_mhz")
            for key, only_band, only_mhz in (("second_channel", 2.4, 40), ("block", 6, 320)):
                if key not in settings:
                    continue
                stands = [f"{band:g} GHz"] if band not in (None, only_band) else []
                stands += [f"{width_mhz} MHz"] if width_mhz not in (None, only_mhz) else []
                if stands:
                    yield Problem(
                        document.key_place((*pointer, key)),
                        f"{key} has a meaning at {only_mhz} MHz in the {only_band:g} GHz band "
                        f"only; this radio is set to {' and '.join(stands)}",
                    )


def _powers(document: Document, pointer: Pointer, settings: Raw) -> Iterator[Problem]:
    """Yield power that is said twice, in words or in numbers."""
    if "power_dbm" in settings and "radiated_dbm" in settings:
        yield Problem(
            document.key_place((*pointer, "radiated_dbm")),
            "radiated_dbm says the same as power_dbm with the antenna counted in; keep one",
        )
    numbers = [key for key in ("power_dbm", "radiated_dbm") if key in settings]
    if "power" in settings and numbers:
        yield Problem(
            document.key_place((*pointer, "power")),
            f"{numbers[0]} says how strong it sends in numbers; keep one of the two",
        )


def _tunes(
    document: Document, pointer: Pointer, settings: Raw, band: float | None
) -> Iterator[Problem]:
    """Yield what a radio is said to tune and no radio of its band can."""
    for position, run in enumerate(settings.get("tunes", ())):
        # JSON Schema takes 36.0 for the integer 36.
        if band is not None and not tuned(band, (run if isinstance(run, str) else int(run),)):
            yield Problem(
                document.place((*pointer, "tunes", position)),
                f"{run} holds no 20 MHz channel of the {band:g} GHz band; write 36, or 36-64 for a "
                "run from the first to the last",
            )


def _plan(document: Document, raw: Raw) -> Iterator[Problem]:
    told: set[tuple[int, int, str]] = set()
    for problem in chain(_openings(document, raw), _sheets(document, raw)):
        # All walls between rooms come from one word, and one mistake in it is told once.
        once = (problem.place.line, problem.place.column, problem.message)
        if once not in told:
            told.add(once)
            yield problem


def _openings(document: Document, raw: Raw) -> Iterator[Problem]:
    for name, level in raw.get("levels", {}).items():
        for position, opening in enumerate(level.get("floor_openings", ())):
            lies_on = raw.get("areas", {}).get(opening, {}).get("level", name)
            if lies_on != name:
                yield Problem(
                    document.place(("levels", name, "floor_openings", position)),
                    f"this area is on level '{lies_on}'; an opening in the floor of '{name}' is an "
                    "area of that level",
                )


def _sheets(document: Document, raw: Raw) -> Iterator[Problem]:
    for name, level in raw.get("levels", {}).items():
        for position, wall in enumerate(level.get("walls", ())):
            yield from _sheet(document, ("levels", name, "walls", position), wall, "wall")
        if "floor" in level:
            yield from _sheet(document, ("levels", name, "floor"), level["floor"], "floor")


def _sheet(document: Document, pointer: Pointer, sheet: Raw, what: str) -> Iterator[Problem]:
    if not sheet:
        # A wall always has a path; one of which no more is said costs what its surroundings do.
        yield Problem(
            document.key_place(pointer),
            f"a {what} needs a material and thickness_mm, or a measured loss_db",
        )
    elif "thickness_mm" in sheet and "material" not in sheet:
        yield Problem(
            document.key_place((*pointer, "thickness_mm")),
            f"thickness_mm says nothing without a material; name the {what}'s material, "
            "or state its measured loss_db alone",
        )
    elif "material" in sheet and "loss_db" not in sheet:
        yield from _material(document, (*pointer, "material"), sheet["material"])


def _material(document: Document, pointer: Pointer, name: str) -> Iterator[Problem]:
    # Sites without walls, which are most, need not load the table.
    from meshlint.physics.materials import MATERIALS

    if name in MATERIALS:
        return
    import difflib

    from meshlint.site.trade_words import CONSTRUCTIONS

    known = [*MATERIALS, *CONSTRUCTIONS]
    near = difflib.get_close_matches(name.lower(), known, 1, 0.6)
    kinds = "; ".join(sorted(CONSTRUCTIONS))
    hint = (
        f"did you mean '{near[0]}'?"
        if near
        else f"known: {', '.join(sorted(MATERIALS))}; by kind: {kinds}."
    )
    said, unsaid = (
        f"no losses are published for {quoted(name, repeat=again, otherwise='this material')}; "
        f"{hint} A measured loss_db serves for any"
        for again in (repeatable(name, near[0] if near else None), False)
    )
    yield Problem(document.place(pointer), said, unsaid)


def _is_nearly(value: str, known: Iterable[str]) -> bool:
    return repeatable(value) or any(within_two_letters(value, word) for word in known)


def _groups(document: Document, raw: Raw) -> Iterator[Problem]:
    for name, group in raw.get("clients", {}).items():
        for key in ("near", "in"):
            if "wired_to" in group and key in group:
                yield Problem(
                    document.key_place(("clients", name, key)),
                    f"'{name}' is wired to '{group['wired_to']}', so {key} means nothing; "
                    "keep one, or make two groups of it",
                )


def _networks(document: Document, raw: Raw) -> Iterator[Problem]:
    for key, network in raw.get("networks", {}).items():
        octets = len(network.get("name", "").encode())
        if octets > MOST_OCTETS:
            yield Problem(
                document.place(("networks", key, "name")),
                f"a network name has at most {MOST_OCTETS} octets; this one has {octets}, "
                "since letters beyond plain ASCII take two or more each",
            )

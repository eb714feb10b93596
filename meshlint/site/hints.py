"""What a schema's words are called in messages, and what was probably meant by a value it refuses.

A hint that is made of the value itself is given only where the value may be repeated.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

Schema = dict[str, Any]


def kinds_of(schema: Schema) -> list[str]:
    """Return the types that a schema takes."""
    kinds = schema.get("type", [])
    return [kinds] if isinstance(kinds, str) else list(kinds)


def words_of(schema: Schema) -> list[Any]:
    """Return the only values that a schema takes, if it names them."""
    return [schema["const"]] if "const" in schema else list(schema.get("enum", ()))


def word_of(value: object) -> str:
    """Return a value as the file would have it."""
    import json  # a file without mistakes wants none

    return value if isinstance(value, str) else json.dumps(value)


def either(words: list[str]) -> str:
    """Return words in a row, `or` before the last."""
    return " or ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def shown(text: str, limit: int = 60) -> str:
    """Return a text of the file, cut short and with unprintable characters made visible."""
    cut = text if len(text) <= limit else text[: limit - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def plain(word: str) -> str:
    """Return a word without what joins it, and without capitals."""
    return re.sub(r"[-_. ]", "", word.casefold())


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant, or `None`."""
    from difflib import get_close_matches

    bare, by_plain = plain(word), {plain(k): k for k in known}
    # A word without its unit (`width`) or its standard (`ax`) is a better guess than a likeness.
    parts = [
        k
        for p, k in by_plain.items()
        if k.startswith(f"{word}_") or (len(bare) > 1 and (p.startswith(bare) or p.endswith(bare)))
    ]
    if len(parts) == 1:
        return parts[0]
    near = get_close_matches(bare, by_plain, 1, 0.7)
    return by_plain[near[0]] if near else None


def hint(schema: Schema, value: object, *, repeat: bool) -> str:
    """Return what to write instead of a value, or nothing; with `repeat` the value may be in it."""
    makers = (*_OF_SHAPE, *(_OF_VALUE if repeat else _OF_WORDS))
    return next((said for maker in makers if (said := maker(schema, value))), "")


def _hint_nothing(schema: Schema, value: object) -> str:
    if value is not None:
        return ""
    none = {"object": " ({} means none)", "array": " ([] means none)"}
    kinds = kinds_of(schema)
    return "leave the key out if it is not known" + (none.get(kinds[0], "") if kinds else "")


def _hint_number_in_text(schema: Schema, value: object) -> str:
    """Read a number out of "44", "20 dBm", "3,4" or "50 %" where a number is wanted."""
    numbers = [word for word in words_of(schema) if not isinstance(word, str)]
    if not isinstance(value, str) or not (numbers or {"number", "integer"} & set(kinds_of(schema))):
        return ""
    written = re.fullmatch(r"\s*([+-]?\d{1,9}(?:[.,]\d{1,9})?)\s*([A-Za-zµ/ %]*)", value)
    if not written:
        return ""
    number, unit = float(written[1].replace(",", ".")), written[2].strip()
    number = number / 100 if unit == "%" and schema.get("maximum") == 1 else number
    if numbers and number not in numbers:
        return ""
    return f"write {number:.12g}, " + ("the number alone" if unit else "without quotes")


def _hint_percent(schema: Schema, value: object) -> str:
    share = schema.get("maximum") == 1 and isinstance(value, int | float)
    return f"write {value / 100:g} for {value:g} %" if share and 1 < value <= 100 else ""  # type: ignore[operator] # noqa: PLR2004


def _hint_flag(schema: Schema, value: object) -> str:
    truth = {"yes": "true", "y": "true", "on": "true", "true": "true"}
    truth |= {"no": "false", "n": "false", "off": "false", "false": "false"}
    if kinds_of(schema) != ["boolean"] or not isinstance(value, str):
        return ""
    return f"write {truth[value.lower()]}" if value.lower() in truth else ""


def _hint_quotes(schema: Schema, value: object) -> str:
    bare = isinstance(value, int | float)
    return "put it in quotes" if bare and kinds_of(schema) == ["string"] else ""


def _hint_brackets(schema: Schema, value: object) -> str:
    lone = kinds_of(schema) == ["array"] and isinstance(value, str | int | float)
    return f"write [{shown(str(value))}] for a list of one" if lone else ""


def _hint_list(schema: Schema, value: object) -> str:
    return "write it in [] for a list of one" if _hint_brackets(schema, value) else ""


def _hint_names(schema: Schema, value: object) -> str:
    named = isinstance(schema.get("additionalProperties"), dict) and isinstance(value, list)
    return "give each entry a name of its own, 'name:', instead of '-'" if named else ""


def nearest_word(schema: Schema, value: str) -> str | None:
    """Return the word of a schema that was probably meant, by likeness or by the trade's use."""
    words = [word for word in words_of(schema) if isinstance(word, str)]
    return nearest(value, words) or next(
        (word for word in words if word in _SAME.get(value.casefold(), ())), None
    )


def is_trade_word(value: str) -> bool:
    """Return whether a value is a word of the trade for one of ours."""
    return value.casefold() in _SAME


def _hint_near(schema: Schema, value: object) -> str:
    near = nearest_word(schema, value) if isinstance(value, str) else None
    return f"did you mean '{near}'?" if near else ""


def _hint_spelling(schema: Schema, value: object) -> str:
    if not isinstance(value, str) or "pattern" not in schema:
        return ""
    spellings = (value.strip().upper(), value.strip().lower())
    near = next((s for s in spellings if re.fullmatch(schema["pattern"], s)), None)
    return f"did you mean '{near}'?" if near else ""


# Other words of the trade for values of ours, tried where the value is not a misspelling.
_SAME = {
    "off": ("disabled", "none"),
    "on": ("required",),
    "no": ("none", "disabled"),
    "ethernet": ("cable",),
    "wired": ("cable",),
    "wireless": ("radio",),
    "wifi": ("radio",),
    "plc": ("powerline",),
    "wpa2": ("psk",),
    "wpa": ("psk",),
    "wpa3": ("sae",),
    "aes": ("ccmp",),
    "family": ("staff",),
    "fiber": ("fibre",),
    "poe": ("cable",),
    "cabinet": ("in cabinet",),
    "mandatory": ("required",),
    "house": ("home",),
    "flat": ("home",),
    "apartment": ("home",),
    "shop": ("commercial",),
    "warehouse": ("industrial",),
}

_Hint = Callable[[Schema, object], str]
_OF_SHAPE: tuple[_Hint, ...] = (_hint_nothing, _hint_flag, _hint_quotes, _hint_names)
_OF_WORDS: tuple[_Hint, ...] = (_hint_list, _hint_near)
_OF_VALUE: tuple[_Hint, ...] = (
    *(_hint_number_in_text, _hint_percent, _hint_brackets, _hint_near, _hint_spelling),
)

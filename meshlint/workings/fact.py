"""How a number about a site is declared: once, with its type, unit, meaning and source.

From that declaration come the variables of the rule language, the `workings` output and the
reference text.
"""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.workings.site_workings import Workings

FactValue = float | bool | str | tuple[str, ...]


class Kind(Enum):
    """The type of a fact's value."""

    NUMBER = "number"
    COUNT = "count"
    TRUTH = "truth"
    TEXT = "text"
    TEXTS = "texts"


class Fact(Struct, frozen=True):
    """One declared number, name or truth about a kind of subject."""

    scope: str
    name: str
    qualified: str
    """The name that cards use: `link.margin_db`."""
    kind: Kind
    meaning: str
    source: str
    compute: Callable[[Workings, Any], FactValue]
    unit: str = ""
    digits: int = 0


def fact(
    qualified: str,
    kind: Kind,
    meaning: str,
    *,
    source: str,
    unit: str = "",
    digits: int = 0,
) -> Callable[[Callable[[Workings, Any], FactValue]], Fact]:
    """Declare the decorated function as the fact `scope.name`."""
    scope, name = qualified.split(".")

    def declare(compute: Callable[[Workings, Any], FactValue]) -> Fact:
        return Fact(scope, name, qualified, kind, meaning, source, compute, unit, digits)

    return declare


STATED = "the site file"
"""Source of facts that only repeat what the file or the catalogue says."""


class Spread(Struct, frozen=True):
    """A number of which only the ends are known: what it is at least and at most."""

    low: float
    high: float


def written(declared: Fact, value: FactValue | Spread) -> str:
    """Return the value as a message shows it: its declared digits at most, lists as a phrase."""
    if isinstance(value, Spread):
        ends = [written(declared, end) for end in (value.low, value.high)]
        return " to ".join(dict.fromkeys(ends))
    if isinstance(value, tuple):
        return phrase(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    digits = 0 if declared.kind is Kind.COUNT else declared.digits
    text = f"{value:.{digits}f}"
    if digits:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


WEAKEST_DBM = -120.0
"""Below this nobody could measure a level: thermal noise in 20 MHz is at -101 dBm."""

NO_SIGNAL = "no signal"


def has_no_signal(declared: Fact, value: FactValue | Spread) -> bool:
    """Return whether a value is a level that nobody could measure, and no number to be told."""
    return declared.unit == "dBm" and isinstance(value, float) and value < WEAKEST_DBM


def with_unit(declared: Fact, value: FactValue) -> str:
    """Return the value with its unit; a level that nobody could measure is called no signal."""
    if has_no_signal(declared, value):
        return NO_SIGNAL
    return f"{written(declared, value)} {declared.unit}".rstrip()


def phrase(names: tuple[str, ...], most: int = 4) -> str:
    """Return names as English lists them: `a, b and c`; a long list ends in how many more."""
    if not names:
        return "nobody"
    shown = list(names) if len(names) <= most else [*names[: most - 1]]
    rest = len(names) - len(shown)
    if rest:
        shown.append(f"{rest} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"

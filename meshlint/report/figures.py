"""Numbers as people say them: no finer than the model that they come from."""

from __future__ import annotations


def figure(value: float) -> str:
    """Return a number in two figures, from a hundred on in three: `0.43`, `4.3`, `95`, `264`."""
    rounded = float(f"{value:.{2 if abs(value) < 100 else 3}g}")  # noqa: PLR2004
    return f"{rounded:.10f}".rstrip("0").rstrip(".") if rounded else "0"


def counted(number: float, noun: str, plural: str = "") -> str:
    """Return a number with its noun: `1 device`, `2.5 devices`."""
    return f"{figure(number)} {noun if number == 1 else plural or noun + 's'}"


def in_words(names: list[str], most: int = 6) -> str:
    """Return names in a sentence, `and` before the last: `a, b and c`; only the first of many."""
    if len(names) > most:
        names = [*names[:most], f"{len(names) - most} more"]
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))

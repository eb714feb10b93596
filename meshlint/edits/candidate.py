"""A change that may mend a finding, and how the ones that set radios are written."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from meshlint.edits.rewriting import Drop, Edit, Set

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.site.model import Radio
    from meshlint.site.source import Pointer, Value

Work = Literal["setting", "cable", "new cable"]


class Candidate(Struct, frozen=True):
    """A change in words, its edits, and the kind of work that it is."""

    words: str
    edits: tuple[Edit, ...]
    work: Work = "setting"


def settings(label: str, pointer: Pointer, keys: Mapping[str, Value]) -> Candidate:
    """Return the change that sets some keys of one place."""
    said = " and ".join(f"{key} to {_shown(value)}" for key, value in keys.items())
    return Candidate(
        f"set {said} for {label}", tuple(Set((*pointer, k), v) for k, v in keys.items())
    )


def _shown(value: Value) -> str:
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    return str(value).lower() if isinstance(value, bool) else str(value)


def move(moving: tuple[Radio, ...], number: int, width_mhz: int) -> Candidate:
    """Return the change that sets radios to one channel and width."""
    edits = tuple(edit for radio in moving for edit in moved(radio, number, width_mhz))
    return Candidate(f"set {named(moving)} to channel {number} at {width_mhz} MHz", edits)


def named(radios: tuple[Radio, ...]) -> str:
    """Return radios in words: `radio mid of hall, landing and study`."""
    by_name: dict[str, list[str]] = {}
    for radio in radios:
        by_name.setdefault(radio.name, []).append(radio.unit)
    return " and ".join(f"radio {name} of {_row(units)}" for name, units in by_name.items())


def _row(names: list[str]) -> str:
    return " and ".join((*([", ".join(names[:-1])] if names[1:] else ()), names[-1]))


def moved(radio: Radio, number: int, width_mhz: int) -> Iterator[Edit]:
    """Yield the edits that set a radio to a channel and width that are one stretch."""
    there = radio.channel, radio.width_mhz
    if there == (number, width_mhz):
        return
    if radio.channel != number:
        yield Set((*radio.pointer, "channel"), number)
    if radio.width_mhz != width_mhz:
        yield Set((*radio.pointer, "width_mhz"), width_mhz)
    for key in ("second_channel", "block"):
        if getattr(radio, key) is not None:
            yield Drop((*radio.pointer, key))

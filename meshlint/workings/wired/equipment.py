"""What a unit is: its kind, where it stands, and how old its radios are by their amendment."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from meshlint.site.model import Unit
    from meshlint.workings.site_workings import Workings

GENERATIONS = (
    "802.11b",
    "802.11a",
    "802.11g",
    "802.11n",
    "802.11ac",
    "802.11ax",
    "802.11be",
)
"""Amendments of IEEE 802.11 in the order in which they raised what a radio can do."""


@fact("unit.kind", Kind.TEXT, "access, switch, router or injector", source=STATED)
def kind(_: Workings, unit: Unit) -> str:
    return unit.kind


@fact("unit.outdoors", Kind.TRUTH, "whether the unit stands outdoors", source=STATED)
def outdoors(_: Workings, unit: Unit) -> bool:
    """Return the stated word; a unit of which nothing is said stands indoors, as most do."""
    return bool(unit.outdoors)


@fact("unit.model", Kind.TEXT, "the model that the file names, empty if none", source=STATED)
def model(_: Workings, unit: Unit) -> str:
    return unit.model or ""


@fact(
    "unit.model_told",
    Kind.TRUTH,
    "whether a catalogue or the file tells what its model can do, or its own words do",
    source=STATED,
)
def model_told(w: Workings, unit: Unit) -> bool:
    """Return whether it is told; a name that a catalogue lacks is refused before."""
    if w.site.model_radios is not None:
        return True
    if unit.kind != "access":
        return unit.ports is not None
    own = unit.radios.values()
    return bool(own) and all(radio.generation and radio.streams for radio in own)

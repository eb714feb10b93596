"""Settings asked about: a channel, a width, a power, another primary, more devices of a group."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.edits.candidate import named
from meshlint.edits.rewriting import Drop, Edit, Set
from meshlint.edits.wiring import joined_to
from meshlint.report.figures import in_words
from meshlint.what_if.names import MisaskedError
from meshlint.what_if.step import Step

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.site.model import ClientGroup, Radio, Site
    from meshlint.site.source import Value
    from meshlint.workings.site_workings import Workings

_WITH_CHANNEL = ("second_channel", "block")


def channel(w: Workings, radio: Radio, number: int) -> Step:
    """Return the change that puts a radio, and all that links join to it, on a channel."""
    moving = joined_to(w, radio)
    edits = (edit for one in moving for edit in _set(one, {"channel": number}))
    return Step(f"set {named(moving)} to channel {number}", tuple(edits))


def width(w: Workings, radio: Radio, width_mhz: int) -> Step:
    """Return the change that gives a radio, and all that links join to it, a width."""
    moving = joined_to(w, radio)
    edits = (edit for one in moving for edit in _set(one, {"width_mhz": width_mhz}))
    return Step(f"set {named(moving)} to {width_mhz} MHz", tuple(edits))


def _set(radio: Radio, keys: Mapping[str, Value]) -> Iterator[Edit]:
    """Yield the edits that set keys of a radio's channel; what told the rest of it goes."""
    fresh = [key for key, value in keys.items() if getattr(radio, key) != value]
    yield from (Set((*radio.pointer, key), keys[key]) for key in fresh)
    if fresh:
        stale = (key for key in _WITH_CHANNEL if getattr(radio, key) is not None)
        yield from (Drop((*radio.pointer, key)) for key in stale)


def followed(moving: Iterable[Radio], lead: Radio) -> Iterator[Edit]:
    """Yield the edits that put radios on the very channel of another one."""
    for radio in moving:
        for key in ("channel", "width_mhz", *_WITH_CHANNEL):
            value = getattr(lead, key)
            if getattr(radio, key) == value:
                continue
            if value is not None:
                yield Set((*radio.pointer, key), value)
            elif key in _WITH_CHANNEL:
                yield Drop((*radio.pointer, key))


def power(radio: Radio, power_dbm: float) -> Step:
    """Return the change of a radio's power, told as the file tells it: fed or radiated."""
    key = "radiated_dbm" if radio.power_dbm is None and radio.radiated_dbm is not None else ""
    key = key or "power_dbm"
    value = int(power_dbm) if power_dbm == int(power_dbm) else power_dbm
    edits: list[Edit] = [Set((*radio.pointer, key), value)]
    if key == "power_dbm" and radio.radiated_dbm is not None:
        edits.append(Drop((*radio.pointer, "radiated_dbm")))
    radiated = " radiated" if key == "radiated_dbm" else ""
    return Step(f"set {named((radio,))} to {value} dBm{radiated}", tuple(edits))


def primary(site: Site, unit: str) -> Step:
    """Return the change that makes a unit the primary: lines, routing and addresses go with it."""
    old = site.primary
    if unit == old:
        raise MisaskedError(f"{unit} is the primary already")
    edits: list[Edit] = [Set(("primary",), unit)]
    along = []
    for line in (site.internet_lines or {}).values():
        if line.enters_at == old:
            edits.append(Set((*line.pointer, "enters_at"), unit))
            along.append(f"line {line.name}")
    for key, words in (("routes", "routing"), ("hands_out_addresses", "addresses")):
        if getattr(site.units[old], key) and not getattr(site.units[unit], key):
            edits.append(Set(("units", old, key), value=False))
            edits.append(Set(("units", unit, key), value=True))
            along.append(words)
    for network in (site.networks or {}).values():
        if network.addresses is not None and network.addresses.server == old:
            edits.append(Set((*network.pointer, "addresses", "from"), unit))
            along.append("addresses")
    with_it = f", with {in_words(list(dict.fromkeys(along)))} from {old}" if along else ""
    return Step(f"make {unit} the primary{with_it}", tuple(edits), "cable")


def more(group: ClientGroup, devices: int) -> Step:
    """Return the change that adds devices to a group."""
    edits = (Set((*group.pointer, "count"), group.count + devices),)
    words = f"add {devices} to {group.name}, which makes {group.count + devices}"
    return Step(words, edits, "more devices")

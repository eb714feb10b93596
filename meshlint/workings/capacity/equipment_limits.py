"""What equipment lets through: radios of a unit, routing and ports of the primary, cables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.attachment import clients_at
from meshlint.workings.links.demand import devices_behind, line_down_mbps
from meshlint.workings.links.goodput import FASTEST, best_hop, used_radios
from meshlint.workings.links.ports import fastest_port_mbps, line_port_mbps, line_port_rates_mbps
from meshlint.workings.topology.radio_use import serves_clients
from meshlint.workings.topology.tree import tree, units_behind
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Link, Site, Unit
    from meshlint.workings.site_workings import Workings


@fact("unit.radio_count", Kind.COUNT, "how many radios it has", source=STATED)
def radio_count(_: Workings, unit: Unit) -> float:
    if not unit.radios and unit.model is None and unit.kind == "access":
        raise Missing(Input((*unit.pointer, "radios"), "its radios, or its model"))
    return len(unit.radios)


@fact(
    "site.most_radios",
    Kind.COUNT,
    "most radios of any model in the catalogue",
    source="the catalogue",
)
def most_radios(w: Workings, _: Site) -> float:
    models = need(w.site.model_radios, ("catalogue",), "the equipment that could be used")
    return max(models.values(), default=0)


@fact(
    "site.models_of_three_radios",
    Kind.TEXTS,
    "models of the catalogue with three radios or more",
    source="the catalogue",
)
def models_of_three_radios(w: Workings, _: Site) -> tuple[str, ...]:
    models = need(w.site.model_radios, ("catalogue",), "the equipment that could be used")
    return tuple(name for name, count in models.items() if count >= 3)


@fact("unit.uplink_medium", Kind.TEXT, "what its own link to the primary runs over", source=STATED)
def uplink_medium(w: Workings, unit: Unit) -> str:
    uplink = w.once(tree).uplink.get(unit.name)
    return uplink.over if uplink is not None else "none"


@fact(
    "unit.passes_mbps",
    Kind.NUMBER,
    "what its routing and the port that its line goes into, or else its fastest, pass of the "
    "internet lines",
    source=STATED,
    unit="Mb/s",
)
def passes_mbps(w: Workings, unit: Unit) -> float:
    return min(mbps for mbps, _ in _passes(w, unit))


@fact("unit.passes_held_by", Kind.TEXT, "which of the two is less", source=STATED)
def passes_held_by(w: Workings, unit: Unit) -> str:
    return min(_passes(w, unit), key=lambda entry: entry[0])[1]


def _passes(w: Workings, unit: Unit) -> tuple[tuple[float, str], ...]:
    """Return what caps the lines at a unit: its routing, unless it only bridges, and its ports."""
    facing = any(port.faces_internet for port in unit.ports or ())
    port = "the port that its line goes into" if facing else "its fastest port"
    caps = [(_ports_let_in_mbps(w, unit), port)]
    if unit.routes is not False:
        routing = need(unit.routing_mbps, (*unit.pointer, "routing_mbps"), "what it can route")
        caps.insert(0, (routing, "its routing"))
    return tuple(caps)


def _ports_let_in_mbps(w: Workings, unit: Unit) -> float:
    """Return what the unit's ports let in of the lines.

    Of several that enter here the fastest goes into the fastest port for lines, and so on down.
    One of which that is not told enters here. Where none does, they come from another unit
    through its fastest port.
    """
    stated = (w.site.internet_lines or {}).values()
    lines = [line for line in stated if line.enters_at in (None, unit.name)]
    if not lines:
        return fastest_port_mbps(unit)
    if len(lines) == 1:
        return line_port_mbps(unit)
    bring = [need(x.down_mbps, (*x.pointer, "down_mbps"), "the line's rate") for x in lines]
    pairs = zip(sorted(bring, reverse=True), line_port_rates_mbps(unit, len(lines)), strict=False)
    return math.fsum(min(line, port) for line, port in pairs)


@fact(
    "unit.line_lost_mbps",
    Kind.NUMBER,
    "how much of the internet lines is paid for and cannot pass it",
    source=STATED,
    unit="Mb/s",
)
def line_lost_mbps(w: Workings, unit: Unit) -> float:
    return max(0.0, line_down_mbps(w) - min(mbps for mbps, _ in _passes(w, unit)))


@fact(
    "link.useful_mbps",
    Kind.NUMBER,
    "what the units behind it and the internet lines could use of it",
    source=f"the smaller of the lines and the sum over client radios behind; {FASTEST}",
    unit="Mb/s",
)
def useful_mbps(w: Workings, link: Link) -> float:
    wired = any(
        devices.group.wired_to is not None
        for devices in (devices_behind(w, link) if w.site.clients is not None else ())
    )
    line = line_down_mbps(w)
    if wired:
        return line
    radios = [
        radio
        for unit in units_behind(w, link)
        for radio in used_radios(w.site.units[unit])
        if serves_clients(w, radio)
    ]
    return min(line, sum(best_hop(radio).goodput_mbps for radio in radios))


@fact("unit.has_clients", Kind.TRUTH, "whether any device is on it", source=STATED)
def has_clients(w: Workings, unit: Unit) -> bool:
    return w.once(clients_at)[unit.name] > 0

"""Every declared fact, in one explicit table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings import (
    airtime,
    backhaul_radar,
    bridging,
    cables,
    capability,
    care,
    cells,
    crowding,
    delivery,
    demand,
    designs,
    fair,
    fitting,
    fleet,
    foreign,
    goodput,
    hardware,
    joining,
    links,
    losses,
    nearness,
    networks,
    own_cells,
    permission,
    plausible,
    power,
    powering,
    radar,
    secrets,
    segments,
    shape,
    shared_wire,
    six_ghz,
    spectrum,
    topology,
    turns,
    twins,
    two_four,
    voice,
    waivers,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.workings.facts import Fact

_MODULES = (
    topology,
    shape,
    hardware,
    spectrum,
    permission,
    power,
    radar,
    nearness,
    links,
    backhaul_radar,
    cells,
    cables,
    own_cells,
    foreign,
    two_four,
    six_ghz,
    goodput,
    demand,
    airtime,
    turns,
    delivery,
    fair,
    designs,
    losses,
    twins,
    crowding,
    voice,
    capability,
    networks,
    segments,
    joining,
    powering,
    fitting,
    bridging,
    shared_wire,
    plausible,
    care,
    secrets,
    waivers,
    fleet,
)

FACTS: Mapping[str, Fact] = {
    declared.qualified: declared for module in _MODULES for declared in module.FACTS
}

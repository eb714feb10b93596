"""Every declared fact, in one explicit table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings import (
    airtime,
    backhaul_radar,
    cables,
    capability,
    cells,
    crowding,
    delivery,
    demand,
    designs,
    fair,
    foreign,
    goodput,
    hardware,
    links,
    losses,
    nearness,
    own_cells,
    permission,
    power,
    radar,
    secrets,
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
    secrets,
    waivers,
)

FACTS: Mapping[str, Fact] = {
    declared.qualified: declared for module in _MODULES for declared in module.FACTS
}

"""Every declared fact, in one explicit table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings import (
    backhaul_radar,
    cables,
    cells,
    foreign,
    hardware,
    links,
    nearness,
    own_cells,
    permission,
    power,
    radar,
    secrets,
    six_ghz,
    spectrum,
    topology,
    two_four,
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
    secrets,
    waivers,
)

FACTS: Mapping[str, Fact] = {
    declared.qualified: declared for module in _MODULES for declared in module.FACTS
}

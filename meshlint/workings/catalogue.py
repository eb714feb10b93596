"""Every declared fact, in one explicit table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings import cables, cells, hardware, links, secrets, spectrum, topology, waivers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.workings.facts import Fact

_MODULES = (
    topology,
    hardware,
    spectrum,
    links,
    cells,
    cables,
    secrets,
    waivers,
)

FACTS: Mapping[str, Fact] = {
    declared.qualified: declared for module in _MODULES for declared in module.FACTS
}

"""What a radio is used for, where the file says so and where that follows from what it says.

`carries` says it. Where that is not stated, a radio surely serves clients if a network is announced
on it by name, or if it is the only radio of its unit that a group near the unit can be on, or that
a network which names the unit can be announced on. Whether
any other radio serves clients is open: it counts as one that may, and nothing that hangs on it is
worked out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.unknown import Input, Missing

if TYPE_CHECKING:
    from meshlint.site.model import ClientGroup, Network, Pointer, Radio, Site, Unit
    from meshlint.workings.site_workings import Workings


def may_serve_clients(radio: Radio) -> bool:
    """Return whether clients may be on a radio: it carries them, or nobody says what it carries."""
    return radio.carries is None or "clients" in radio.carries


def serves_clients(w: Workings, radio: Radio) -> bool:
    """Return whether a radio serves clients; raises `Missing` where that is open."""
    if radio.carries is not None:
        return "clients" in radio.carries
    if radio.pointer in w.once(_surely_serving):
        return True
    raise Missing(Input((*radio.pointer, "carries"), "what the radio carries"))


def announces(network: Network, radio: Radio) -> bool:
    """Return whether a network is for a radio, if that serves clients at all."""
    return (network.radios is None or radio.name in network.radios) and (
        network.units is None or radio.unit in network.units
    )


def fitting_radios(site: Site, group: ClientGroup, unit: Unit) -> tuple[Radio, ...]:
    """Return the radios of a unit that a group can be on: of its band, for its network."""
    network = (site.networks or {}).get(group.network or "")
    return tuple(
        radio
        for radio in unit.radios.values()
        if may_serve_clients(radio)
        and group.band in (None, radio.band)
        and (network is None or network.radios is None or radio.name in network.radios)
    )


def _surely_serving(w: Workings) -> frozenset[Pointer]:
    """Return the radios that serve clients whether or not `carries` says so."""
    found: set[Pointer] = set()
    for unit in w.site.units.values():
        for network in (w.site.networks or {}).values():
            named = [r for r in unit.radios.values() if announces(network, r)]
            able = [radio.pointer for radio in named if may_serve_clients(radio)]
            if network.radios is not None or (network.units is not None and len(able) == 1):
                found.update(able)
    for group in (w.site.clients or {}).values():
        if group.near is not None and group.wired_to is None and group.count:
            fitting = fitting_radios(w.site, group, w.site.units[group.near])
            if len(fitting) == 1:
                found.add(fitting[0].pointer)
    return frozenset(found)

"""The fastest port of a unit, and the rate that ports and a cable make together: the one answer.

A port takes a cable of its own medium; one of which no medium is stated takes the cable that is
there. A rate that the file leaves open is unknown unless the cable or the other end decides: it
is worked out between two bounds, and known where they meet.
"""

from __future__ import annotations

import math
from itertools import chain, islice, repeat
from typing import TYPE_CHECKING, NamedTuple

from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meshlint.site.model import Pointer, Ports, Unit


class _Bounds(NamedTuple):
    """What a port surely gives, and what it may give at most, in Mb/s."""

    sure_mbps: float
    most_mbps: float


def _bounds(unit: Unit, medium: str | None) -> _Bounds:
    if unit.ports is None:
        return _Bounds(0.0, math.inf)
    fitting = [
        port.rate_mbps
        for port in unit.ports
        if port.count and (medium is None or port.media in (None, medium))
    ]
    sure = max((rate for rate in fitting if rate is not None), default=0.0)
    return _Bounds(sure, math.inf if None in fitting else sure)


def line_ports(ports: Sequence[Ports]) -> tuple[Ports, ...]:
    """Return the ports that an internet line may go into.

    Those said to face the internet; where none is, those of which nothing is said.
    """
    facing = tuple(port for port in ports if port.faces_internet)
    return facing or tuple(port for port in ports if port.faces_internet is None)


def fastest_rates_mbps(unit: Unit, ports: Iterable[Ports], most: int) -> tuple[float, ...]:
    """Return the rates of some of a unit's ports, fastest first, that many at most.

    Raises `Missing` where the file leaves one open.
    """
    rates = [(need(port.rate_mbps, *_rates_of(unit)), port.count) for port in ports if port.count]
    each = (repeat(rate, count) for rate, count in sorted(rates, reverse=True))
    return tuple(islice(chain.from_iterable(each), most))


def line_port_rates_mbps(unit: Unit, most: int) -> tuple[float, ...]:
    """Return the rates of the ports that lines may go into, fastest first, that many at most."""
    return fastest_rates_mbps(unit, line_ports(need(unit.ports, *_rates_of(unit))), most)


def line_port_mbps(unit: Unit) -> float:
    """Return the rate of the fastest port that an internet line may go into; 0 for no port."""
    return max(line_port_rates_mbps(unit, 1), default=0.0)


def has_no_port_for(unit: Unit, medium: str) -> bool:
    """Return whether the file states a unit's ports and none of them takes a medium."""
    return _bounds(unit, medium).most_mbps == 0


def fastest_port_mbps(unit: Unit) -> float:
    """Return the rate of a unit's fastest port, of whatever medium; raise `Missing` if open."""
    sure_mbps, most_mbps = _bounds(unit, None)
    if sure_mbps < most_mbps or most_mbps == 0:
        raise Missing(Input(*_rates_of(unit)))
    return sure_mbps


def joined_mbps(ends: Sequence[Unit], medium: str, cable_mbps: float = math.inf) -> float:
    """Return the rate of a cable between two units: the least of the cable and of a port at each.

    Two ends agree on the fastest rate that both have (IEEE 802.3 clause 28). Raises `Missing`
    where an end has no port of the medium, or the file leaves open which rate it has.
    """
    for unit in ends:
        if has_no_port_for(unit, medium):
            raise Missing(Input((*unit.pointer, "ports"), f"a {medium} port for the cable"))
    bounds = [_bounds(unit, medium) for unit in ends]
    sure_mbps = min(cable_mbps, *(bound.sure_mbps for bound in bounds))
    most_mbps = min(cable_mbps, *(bound.most_mbps for bound in bounds))
    if sure_mbps < most_mbps:
        open_ends = (
            unit
            for unit, bound in zip(ends, bounds, strict=True)
            if bound.sure_mbps < min(bound.most_mbps, most_mbps)
        )
        raise Missing(*(Input(*_rates_of(unit)) for unit in open_ends))
    return sure_mbps


def _rates_of(unit: Unit) -> tuple[Pointer, str]:
    return (*unit.pointer, "ports"), "the rate of its ports"

"""What the primary's job needs, and which unit would do it better.

The job is to route the internet lines, unless the primary only bridges; to hold tables in memory
for that; to give the line a port; to give everything else that is plugged in there a port as fast;
and to send on the bands that the primary sends on. Radios beyond that are no part of it. A unit
outclasses the primary when it is better in one respect and worse in none: what the file leaves
open may be worse, so that it leaves the answer open.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.demand import line_down_mbps
from meshlint.workings.links.ports import fastest_rates_mbps, line_port_mbps, line_ports
from meshlint.workings.unknown import Input, Missing, need
from meshlint.workings.wired.compatibility import left_over, plugs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from meshlint.site.model import Unit
    from meshlint.workings.site_workings import Workings

JOB = "respect by respect of the primary's job, from the catalogue; common practice"

_Comparison = tuple[float, float, str, str]
"""What the unit has, what the primary has (more is better), and both in words."""


def _routing(unit: Unit) -> float:
    return need(unit.routing_mbps, (*unit.pointer, "routing_mbps"), "what it can route")


def _memory(unit: Unit) -> float:
    return need(unit.memory_mb, (*unit.pointer, "memory_mb"), "its memory")


def _primary(w: Workings) -> Unit:
    return w.site.units[w.site.primary]


def _only_bridges(primary: Unit) -> bool:
    return primary.routes is False


def _compared(w: Workings, unit: Unit) -> Iterator[Callable[[], _Comparison]]:
    """Yield a comparison for each respect of the job in which more is better."""

    def of(amount: Callable[[Unit], float], words: str) -> Callable[[], _Comparison]:
        def comparison() -> _Comparison:
            both = [amount(unit), amount(_primary(w))]
            return (both[0], both[1], words.format(both[0]), words.format(both[1]))

        return comparison

    if not _only_bridges(_primary(w)):
        yield of(_routing, "{:.0f} Mb/s routed")
        yield of(_memory, "{:.0f} MB of memory")
    yield of(line_port_mbps, "a {:.0f} Mb/s port for the line")


def _wanting(w: Workings, unit: Unit) -> Iterator[Callable[[], str]]:
    """Yield for each thing that the job needs a question: the answer is what is wanting, or ""."""
    yield lambda: _plugs_left(w, unit)
    yield lambda: _line_plug_wanting(w, unit)
    yield lambda: _slower_ports(w, unit)
    yield lambda: _bands_wanting(w, unit)


def _plugs_left(w: Workings, unit: Unit) -> str:
    wanted = plugs(w, _primary(w))
    if not wanted:
        return ""
    ports = need(unit.ports, (*unit.pointer, "ports"), "its ports")
    if left := left_over(wanted, ports, surely=False):
        rest = f" and {len(left) - 1} more" if len(left) > 1 else ""
        return f"no port for {left[0].words}{rest}"
    return ""


def _line_plug_wanting(w: Workings, unit: Unit) -> str:
    """Return what the line's plug lacks there: a fibre in a port made for it fits no copper."""
    theirs = [port for port in _primary(w).ports or () if port.faces_internet and port.count]
    media = {port.media for port in theirs}
    if not any(plug.is_line for plug in plugs(w, _primary(w))) or not media or None in media:
        return ""
    ports = need(unit.ports, (*unit.pointer, "ports"), "its ports")
    offered = {port.media for port in line_ports(ports) if port.count}
    if offered & media:
        return ""
    if None in offered:
        raise Missing(Input((*unit.pointer, "ports"), "the medium of its port for the line"))
    return f"no {' or '.join(sorted(filter(None, media)))} port for the line"


def _slower_ports(w: Workings, unit: Unit) -> str:
    """Return where what is plugged in besides the line would find slower ports than today.

    Fastest against fastest and so on down, for as many as are plugged in.
    """
    wanted = [plug for plug in plugs(w, _primary(w)) if not plug.is_line]
    if not wanted:
        return ""
    ours, theirs = (_rates_mbps(other, len(wanted)) for other in (unit, _primary(w)))
    for mine, today in zip(ours, theirs, strict=False):
        if mine < today:
            return f"a port of {mine:.0f} Mb/s where {today:.0f} Mb/s is plugged in today"
    return ""


def _rates_mbps(unit: Unit, most: int) -> tuple[float, ...]:
    """Return the rates of the ports that are not made for a line, fastest first."""
    ports = need(unit.ports, (*unit.pointer, "ports"), "the rate of its ports")
    return fastest_rates_mbps(unit, (port for port in ports if not port.faces_internet), most)


def _bands_wanting(w: Workings, unit: Unit) -> str:
    primary = _primary(w)
    used = [radio for radio in primary.radios.values() if radio.carries != ()]
    if not used:
        return ""
    if unit.has_no_radio:
        return "no radio"
    if not unit.radios:
        raise Missing(Input((*unit.pointer, "radios"), "its radios, or its model"))
    pointer = primary.pointer
    bands = {need(radio.band, (*radio.pointer, "band"), "the radio's band") for radio in used}
    have = {radio.band for radio in unit.radios.values()}
    lacking = sorted(bands - have) if None not in have else []
    if not lacking and not bands <= have:
        raise Missing(Input((*pointer, "radios"), "the band of each radio"))
    return f"no radio at {lacking[0]:g} GHz" if lacking else ""


def _gathered(asked: Iterable[Callable[[], str]]) -> tuple[str, ...]:
    """Return the answers that say something; with none, raise `Missing` if any is open."""
    found: list[str] = []
    missing: list[Input] = []
    for answer in asked:
        try:
            found += filter(None, [answer()])
        except Missing as error:
            missing.extend(error.inputs)
    if missing and not found:
        raise Missing(*dict.fromkeys(missing))
    return tuple(found)


def _better(comparison: Callable[[], _Comparison]) -> Callable[[], str]:
    def words() -> str:
        ours, theirs, mine, today = comparison()
        return f"{mine} against {today}" if ours > theirs else ""

    return words


def _worse(comparison: Callable[[], _Comparison]) -> Callable[[], str]:
    def words() -> str:
        ours, theirs, mine, today = comparison()
        return f"{mine} against {today}" if ours < theirs else ""

    return words


@fact(
    "unit.better_than_primary",
    Kind.TEXTS,
    "respects of the primary's job in which it is better",
    source=JOB,
)
def better_than_primary(w: Workings, unit: Unit) -> tuple[str, ...]:
    return _gathered(map(_better, _compared(w, unit)))


@fact(
    "unit.worse_than_primary",
    Kind.TEXTS,
    "respects of the primary's job in which it is worse; unknown while none is known and one is "
    "not stated",
    source=JOB,
)
def worse_than_primary(w: Workings, unit: Unit) -> tuple[str, ...]:
    return _gathered((*map(_worse, _compared(w, unit)), *_wanting(w, unit)))


@fact(
    "unit.mbps_gained_as_primary",
    Kind.NUMBER,
    "how much more of the internet line would pass if this unit were the primary",
    source="the smallest of line, routing and the port for the line, for both units",
    unit="Mb/s",
)
def mbps_gained_as_primary(w: Workings, unit: Unit) -> float:
    ours, theirs = (_passes_mbps(w, other) for other in (unit, _primary(w)))
    return ours - theirs


def _passes_mbps(w: Workings, unit: Unit) -> float:
    caps = [line_down_mbps(w), line_port_mbps(unit)]
    if not _only_bridges(_primary(w)):
        caps.append(_routing(unit))
    return min(caps)


@fact("unit.primary", Kind.TEXT, "the name of the site's primary", source=STATED)
def primary_name(w: Workings, _: Unit) -> str:
    return w.site.primary

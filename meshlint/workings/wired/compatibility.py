"""What fits together: settings and the model, cables and ports, a unit and the weather."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.site.model import ModelRadio
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.cables import cables, is_copper
from meshlint.workings.links.ports import line_ports
from meshlint.workings.spectrum.channel import can_tune, spans, tunes
from meshlint.workings.unknown import Input, Missing, Unknown, answer, need
from meshlint.workings.wired.equipment import GENERATIONS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.site.model import Pointer, Ports, Radio, Unit
    from meshlint.workings.site_workings import Workings

CATALOGUE = "the catalogue"
MATCHING = "the best way of plugging them in (maximum bipartite matching, Berge 1957)"


# --- settings and the model -----------------------------------------------------------------------


@fact("radio.name", Kind.TEXT, "the radio's name", source=STATED)
def radio_name(_: Workings, radio: Radio) -> str:
    return radio.name


@fact("radio.model", Kind.TEXT, "the model of its unit", source=STATED)
def radio_model(w: Workings, radio: Radio) -> str:
    return w.site.units[radio.unit].model or "equipment"


@fact(
    "radio.beyond_model",
    Kind.TEXTS,
    "settings beyond what the catalogue says that the model can do, with both values",
    source=CATALOGUE,
)
def beyond_model(w: Workings, radio: Radio) -> tuple[str, ...]:
    unit = w.site.units[radio.unit]
    if unit.model is not None and unit.model_radios is None:
        raise Missing(Input((*unit.pointer, "model"), "a model that the catalogue tells of"))
    if unit.model_radios is not None and radio.of_model is None:
        listing = ", ".join(unit.model_radios) or "none"
        return (f"the model has no radio {radio.name} (it has {listing})",)
    found = tuple(_beyond(radio))
    if not found:
        # What is left open, by the catalogue or the unit, could still be overstepped.
        for setting, limit in (("width_mhz", "max_width_mhz"), ("power_dbm", "max_power_dbm")):
            if getattr(radio, setting) is not None and getattr(radio, limit) is None:
                at = (*unit.pointer, "model") if unit.model is None else (*radio.pointer, limit)
                raise Missing(Input(at, "what the model can do at most"))
    return found


def _beyond(radio: Radio) -> Iterator[str]:
    able = radio.of_model or ModelRadio()
    if able.band is not None and radio.band not in (None, able.band):
        yield f"{radio.band:g} GHz on a radio for {able.band:g} GHz"
    widest = able.max_width_mhz or radio.max_width_mhz
    if radio.width_mhz is not None and widest is not None and radio.width_mhz > widest:
        yield f"{radio.width_mhz} MHz wide where {widest} MHz is the widest"
    most = able.max_power_dbm if able.max_power_dbm is not None else radio.max_power_dbm
    power_dbm = radio.power_dbm
    if power_dbm is None and radio.radiated_dbm is not None and radio.antenna_gain_dbi is not None:
        power_dbm = radio.radiated_dbm - radio.antenna_gain_dbi
    if power_dbm is not None and most is not None and power_dbm > most:
        yield f"{power_dbm:g} dBm where {most:g} dBm is the most"
    if None not in (able.streams, radio.streams) and radio.streams > able.streams:  # type: ignore[operator]
        yield f"{radio.streams} spatial streams where the model has {able.streams}"
    ranks = [GENERATIONS.index(g) for g in (radio.generation, able.generation) if g in GENERATIONS]
    if len(ranks) == 2 and ranks[0] > ranks[1]:
        yield f"{radio.generation} where the model has {able.generation}"
    if _is_out_of_tune(radio):
        width = f" at {radio.width_mhz} MHz" if radio.width_mhz else ""
        tuned = ", ".join(map(str, radio.tunes or ()))
        yield f"channel {radio.channel}{width} where it tunes {tuned or 'nothing'}"


def _is_out_of_tune(radio: Radio) -> bool:
    """Return whether a radio is set to a channel, or to a width of it, that it cannot tune."""
    numbers = tunes(radio)
    if numbers is None or not isinstance(radio.channel, int):
        return False
    found = answer(spans, radio)
    if isinstance(found, Unknown):
        return radio.channel not in numbers
    return not any(can_tune(radio, channel) for channel in found)


# --- cables and ports -----------------------------------------------------------------------------


class Plug(Struct, frozen=True):
    """One cable end at a unit, and the media of ports that take it.

    Of no media the file does not tell; a rate of `None` asks for nothing.
    """

    words: str
    pointer: Pointer
    media: tuple[str, ...]
    rate_mbps: float | None = None
    is_line: bool = False


_ANY = ("copper", "fibre", "coax")
"""An internet line comes by a box of its own, which gives whatever is wanted."""

_COAX = ("coax", "copper")
"""Coax plugs in as it is, or by an adapter into a copper port."""


_MOST_LIKE = 1000
"""Like devices that are looked at one by one: more than any unit has ports for."""


def plugs(w: Workings, unit: Unit) -> tuple[Plug, ...]:
    """Return everything that takes a port of the unit: cables, coax, lines and wired devices."""
    found = []
    for cable in w.once(cables):
        if cable.link is not None and cable.link.over == "cable" and unit.name in cable.ends:
            try:
                media: tuple[str, ...] = ("copper" if is_copper(cable) else "fibre",)
            except Missing:
                media = ()
            found.append(Plug(cable.label, cable.pointer, media, cable.link.rate_mbps))
    coax = [x for x in (w.site.backhaul or {}).values() if x.over == "coax"]
    found += [
        Plug(link.name, link.pointer, _COAX)
        for link in coax
        if unit.name in (link.from_unit, link.to_unit)
    ]
    for group in (w.site.clients or {}).values():
        if group.wired_to == unit.name:
            device = Plug(f"a device of {group.name}", group.pointer, ("copper",))
            found += [device] * min(group.count, _MOST_LIKE)
    lines = [x for x in (w.site.internet_lines or {}).values() if x.enters_at == unit.name]
    found += [
        Plug(f"internet line {line.name}", line.pointer, _ANY, is_line=True) for line in lines
    ]
    return tuple(found)


def _fits(plug: Plug, port: Ports, for_line: tuple[Ports, ...], *, surely: bool) -> bool:
    """Return whether a plug fits a port; where the file does not tell, the opposite of `surely`.

    An internet line goes into a port made for it where one is said to be.
    """
    if plug.is_line and port not in for_line:
        return False
    if port.media is None or not plug.media:
        if surely and plug.media != _ANY:
            return False
    elif port.media not in plug.media:
        return False
    if plug.rate_mbps is None:
        return True
    return not surely if port.rate_mbps is None else plug.rate_mbps <= port.rate_mbps


def left_over(plugs_: Iterable[Plug], ports: tuple[Ports, ...], *, surely: bool) -> list[Plug]:
    """Return the plugs for which no port is left when as many as possible are plugged in."""
    holds: list[list[Plug]] = [[] for _ in ports]
    for_line = line_ports(ports)

    # Plugs that fit the same ports fare alike: once one finds no place, none after it does, and
    # of those that hold a group of ports one stands for all.
    hopeless: set[tuple[tuple[str, ...], float | None, bool]] = set()

    def kind(plug: Plug) -> tuple[tuple[str, ...], float | None, bool]:
        return plug.media, plug.rate_mbps, plug.is_line

    def place(plug: Plug, tried: set[int]) -> bool:
        for at, port in enumerate(ports):
            if at in tried or not port.count or not _fits(plug, port, for_line, surely=surely):
                continue
            tried.add(at)
            if len(holds[at]) < port.count:
                holds[at].append(plug)
                return True
            kinds = {kind(other): position for position, other in enumerate(holds[at])}
            for position in kinds.values():
                if place(holds[at][position], tried):
                    holds[at][position] = plug
                    return True
        return False

    left = []
    for plug in plugs_:
        if kind(plug) in hopeless or not place(plug, set()):
            hopeless.add(kind(plug))
            left.append(plug)
    return left


@fact("unit.plugs", Kind.COUNT, "cables, lines and wired devices that take a port", source=STATED)
def plug_count(w: Workings, unit: Unit) -> float:
    wired = [g.count for g in (w.site.clients or {}).values() if g.wired_to == unit.name]
    beyond = sum(max(0, count - _MOST_LIKE) for count in wired)
    return len(plugs(w, unit)) + beyond


@fact("unit.port_words", Kind.TEXTS, "its ports in words", source=CATALOGUE)
def port_words(_: Workings, unit: Unit) -> tuple[str, ...]:
    ports = need(unit.ports, (*unit.pointer, "ports"), "its ports")
    return tuple(
        " ".join(
            (
                f"{port.count} x",
                "unstated rate" if port.rate_mbps is None else f"{port.rate_mbps:g} Mb/s",
                port.media or "",
            )
        ).strip()
        for port in ports
    )


@fact("unit.unplugged", Kind.TEXTS, "what finds no port that takes it", source=MATCHING)
def unplugged(w: Workings, unit: Unit) -> tuple[str, ...]:
    """Return it, the most favourable reading of what is not stated supposed.

    Where the unfavourable one leaves something over, the answer is open.
    """
    ports = need(unit.ports, (*unit.pointer, "ports"), "its ports")
    wanted = plugs(w, unit)
    left = left_over(wanted, ports, surely=False)
    if left:
        return tuple(_said(plug) for plug in left)
    if doubtful := left_over(wanted, ports, surely=True):
        raise Missing(*(_doubt(unit, plug) for plug in doubtful))
    return ()


def _said(plug: Plug) -> str:
    parts = [*plug.media[:1], f"{plug.rate_mbps:g} Mb/s" if plug.rate_mbps else ""]
    parts = parts if plug.media != _ANY else []
    details = ", ".join(part for part in parts if part)
    return f"{plug.words} ({details})" if details else plug.words


def _doubt(unit: Unit, plug: Plug) -> Input:
    if not plug.media and plug.pointer[0] == "backhaul":
        return Input((*plug.pointer, "medium"), "whether the cable is copper or fibre")
    return Input((*unit.pointer, "ports"), "rate and media of each of its ports")


# --- weather --------------------------------------------------------------------------------------


@fact("unit.weather_rated", Kind.TRUTH, "whether its maker rates it for outdoors", source=STATED)
def weather_rated(_: Workings, unit: Unit) -> bool:
    pointer = (*unit.pointer, "weather_rated")
    return need(unit.weather_rated, pointer, "whether its maker rates it for outdoors")


@fact(
    "unit.indoor_class_radios",
    Kind.TEXTS,
    "radios approved for indoors only",
    source="47 CFR 15.407: low-power indoor access points are for indoors",
)
def indoor_class_radios(_: Workings, unit: Unit) -> tuple[str, ...]:
    return tuple(r.name for r in unit.radios.values() if r.power_class == "low-indoor")

"""Changes that may mend a finding, most promising first: settings and wiring, never facts.

They are tried, not trusted: each must still be proven.
"""

from __future__ import annotations

from contextlib import suppress
from itertools import product
from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from meshlint.edits.rewriting import Drop, Edit, Set
from meshlint.site.model import Link, Network, Radio, Unit
from meshlint.workings.contention.must_defer import together
from meshlint.workings.spectrum.permission import choices_at
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import tree
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Site
    from meshlint.site.source import Pointer, Value
    from meshlint.workings.site_workings import Subject, Workings

Work = Literal["setting", "cable"]


class Candidate(Struct, frozen=True):
    """A change in words, its edits, and the kind of work that it is."""

    words: str
    edits: tuple[Edit, ...]
    work: Work = "setting"


_NETWORK: Final[dict[str, tuple[dict[str, Value], ...]]] = {
    "no-broken-cipher": ({"cipher": "ccmp"}, {"cipher": "ccmp", "akm": "psk-sae"}),
    "six-ghz-security": (
        {"akm": "sae", "pmf": "required"},
        {"akm": "owe", "pmf": "required"},
        {"akm": "dot1x", "pmf": "required"},
        {"pmf": "required"},
    ),
    "push-button-off": ({"push_button": "none"},),
    "roaming-aids": (
        {"neighbour_reports": True},
        {"neighbour_reports": True, "transition_advice": True},
        {"neighbour_reports": True, "transition_advice": True, "fast_transition": True},
    ),
    "voice-ready": (
        {"fast_transition": True},
        {"neighbour_reports": True, "transition_advice": True, "fast_transition": True},
    ),
    "clients-can-join": ({"akm": "psk-sae", "pmf": "optional"}, {"pmf": "optional"}),
}
"""What of a network may be set to mend a rule, the least first."""

_CHANNEL: Final = frozenset(
    {
        "airtime-room",
        "backhaul-band-choice",
        "backhaul-ends-agree",
        "backhaul-off-radar",
        "channel-exists",
        "channel-permitted",
        "client-cell-off-backhaul",
        "client-radio-off-radar",
        "clients-get-their-rate",
        "crowded-by-neighbours",
        "hidden-node",
        "indoor-only-outdoors",
        "lawful-clear-channel",
        "near-radar",
        "own-cells-apart",
        "radios-of-one-unit-apart",
        "room-for-three-channels",
        "slow-start-channel",
        "terminal-weather-radar",
        "two-four-narrow",
        "two-four-spacing",
    }
)
_PARENT: Final = frozenset(
    {"needless-hop", "hop-depth", "backhaul-carries-demand", "backhaul-in-reach", "airtime-room"}
)
_LAY: Final = frozenset({"cable-where-it-can-run", "hop-depth", "backhaul-dedicated-band"})
_POWER: Final = frozenset({"power-permitted"})
_EACH_WIDTH: Final = 4
_WIDTHS_MHZ: Final = (320, 160, 80, 40, 20)


def candidates(w: Workings, rule: str, subject: Subject) -> Iterator[Candidate]:
    """Yield changes that may mend a rule for a subject, in a fixed order.

    Where the file leaves out what the rest depend on, those are none.
    """
    with suppress(Missing):
        yield from _security(w.site, rule, subject.item)
    for rules, make in (
        (_POWER, _quieter_radios),
        (_LAY, _laid),
        (_PARENT, _parents),
        (_CHANNEL, _channels_of),
    ):
        if rule in rules:
            with suppress(Missing):
                yield from make(w, subject.item)
    if rule == "slow-basic-rates":
        for radio, rate in product(_radios(w, subject.item), (12, 24, 6)):
            label = f"radio {radio.name} of {radio.unit}"
            yield _settings(label, radio.pointer, {"lowest_basic_mbps": rate})


def _security(site: Site, rule: str, item: object) -> Iterator[Candidate]:
    """Yield settings of networks and of the wired side."""
    if rule in _NETWORK and isinstance(item, Network):
        for keys in _NETWORK[rule]:
            yield _settings(f"network {item.key}", item.pointer, keys)
    if rule == "network-carried" and isinstance(item, Network):
        yield from _carried(site, item)
    if rule == "management-inside" and isinstance(item, Unit):
        kept = [name for name in item.management_from or () if name in ("staff", "equipment")]
        for inside in (kept, ["staff"], ["equipment"]):
            if inside:
                names: list[Value] = list(inside)
                yield _settings(f"unit {item.name}", item.pointer, {"management_from": names})
    if rule == "one-router":
        yield from _one_router(site)
    if rule == "loop-guarded":
        yield from _guarded(site)


def _quieter_radios(w: Workings, item: object) -> Iterator[Candidate]:
    for radio in _radios(w, item):
        yield from _quieter(radio)


def _channels_of(w: Workings, item: object) -> Iterator[Candidate]:
    for radio in _radios(w, item):
        yield from _channels(w, radio)


def _settings(label: str, pointer: Pointer, keys: dict[str, Value]) -> Candidate:
    said = ", ".join(f"{key} {_shown(value)}" for key, value in keys.items())
    return Candidate(f"{label}: {said}", tuple(Set((*pointer, k), v) for k, v in keys.items()))


def _shown(value: Value) -> str:
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    return str(value).lower() if isinstance(value, bool) else str(value)


def _carried(site: Site, network: Network) -> Iterator[Candidate]:
    """Yield the links that lack the network's VLAN one by one, then all of them at once."""
    lacking = [
        link
        for link in (site.backhaul or {}).values()
        if link.vlans is not None and network.vlan not in link.vlans
    ]
    if network.vlan is None:
        return
    for links in (*([link] for link in lacking), lacking):
        edits = tuple(Set((*x.pointer, "vlans"), [*(x.vlans or ()), network.vlan]) for x in links)
        names = ", ".join(link.name for link in links)
        if edits:
            yield Candidate(f"let {names} carry VLAN {network.vlan}", edits)


def _one_router(site: Site) -> Iterator[Candidate]:
    edits: list[Edit] = []
    for name, unit in site.units.items():
        for key in ("routes", "hands_out_addresses"):
            wanted = name == site.primary
            if getattr(unit, key) not in (None, wanted):
                edits.append(Set((*unit.pointer, key), wanted))
    if edits:
        yield Candidate(f"let {site.primary} alone route and hand out addresses", tuple(edits))


def _guarded(site: Site) -> Iterator[Candidate]:
    for kind in ("rapid-spanning-tree", "mesh-routing"):
        edits = tuple(
            Set((*unit.pointer, "loop_protection"), kind)
            for unit in site.units.values()
            if unit.loop_protection in (None, "none")
        )
        if edits:
            yield Candidate(f"loop_protection {kind} on {len(edits)} units", edits)


def _radios(w: Workings, item: object) -> tuple[Radio, ...]:
    """Return the radios that a subject is about, whatever it is."""
    if isinstance(item, Radio):
        return (item,)
    if isinstance(item, Unit):
        return tuple(item.radios.values())
    if isinstance(item, Link) and item.over == "radio":
        try:
            return radios_of(w, item)
        except Missing:
            return ()
    found = [getattr(item, name, None) for name in ("radio", "first_radio", "second_radio")]
    return tuple(radio for radio in found if isinstance(radio, Radio))


def _quieter(radio: Radio) -> Iterator[Candidate]:
    """Yield lower powers in whole dB: the strongest that is proven is the one to take."""
    key = "power_dbm" if radio.power_dbm is not None else "radiated_dbm"
    power = getattr(radio, key)
    if power is None:
        return
    for power_dbm in range(int(-(-power // 1)) - 1, max(int(power) - 25, -1), -1):
        yield _settings(f"radio {radio.name} of {radio.unit}", radio.pointer, {key: power_dbm})


def _channels(w: Workings, radio: Radio) -> Iterator[Candidate]:
    """Yield other channels and widths, lawful for every radio that must move along."""
    joined = w.once(together)
    head = joined.get(radio.pointer)
    everyone = [r for unit in w.site.units.values() for r in unit.radios.values()]
    moving = tuple(r for r in everyone if head is not None and joined.get(r.pointer) == head)
    moving = moving or (radio,)
    if radio.band is None or radio.width_mhz is None:
        return
    widths = [width for width in _WIDTHS_MHZ if width <= radio.width_mhz]
    for width in widths:
        if width < radio.width_mhz and isinstance(radio.channel, int):
            yield _move(moving, radio.channel, width)
    for width in widths:
        try:
            found = choices_at(w, moving, radio.band, width)
        except Missing:
            return
        tried = 0
        for choice in found:
            number = choice.channel.number
            if (number, width) == (radio.channel, radio.width_mhz) or choice.turn_down_db > 0:
                continue
            tried += 1
            if tried > _EACH_WIDTH:
                break
            yield _move(moving, number, width)


def _move(moving: tuple[Radio, ...], number: int, width_mhz: int) -> Candidate:
    edits = tuple(edit for radio in moving for edit in _moved(radio, number, width_mhz))
    names = " and ".join(f"{radio.name} of {radio.unit}" for radio in moving)
    return Candidate(f"set {names} to channel {number} at {width_mhz} MHz", edits)


def _moved(radio: Radio, number: int, width_mhz: int) -> Iterator[Edit]:
    if radio.channel != number:
        yield Set((*radio.pointer, "channel"), number)
    if radio.width_mhz != width_mhz:
        yield Set((*radio.pointer, "width_mhz"), width_mhz)
        for key in ("second_channel", "block"):
            if getattr(radio, key) is not None:
                yield Drop((*radio.pointer, key))


def _uplink(w: Workings, item: object) -> Iterator[tuple[str, Link]]:
    """Yield the radio link that a unit hangs on, or that the subject is, with its lower unit."""
    for unit, link in w.once(tree).uplink.items():
        mine = isinstance(item, Link) and link.name == item.name
        mine = mine or (isinstance(item, Unit) and unit == item.name)
        if mine and link.over == "radio":
            yield unit, link


def _parents(w: Workings, item: object) -> Iterator[Candidate]:
    for unit, link in _uplink(w, item):
        near, far = ("from", "to") if link.from_unit == unit else ("to", "from")
        try:
            ours = next(r for r in radios_of(w, link) if r.unit == unit)
        except Missing:
            return
        below = set(w.once(tree).below(unit))
        for name, other in w.site.units.items():
            if name in below or name == link.far_end(unit):
                continue
            for radio in other.radios.values():
                if radio.band != ours.band or (radio.carries and "backhaul" not in radio.carries):
                    continue
                edits: list[Edit] = [
                    Set((*link.pointer, far), name),
                    Set((*link.pointer, f"{far}_radio"), radio.name),
                    Set((*link.pointer, f"{near}_radio"), ours.name),
                ]
                if isinstance(radio.channel, int) and radio.width_mhz is not None:
                    edits += _moved(ours, radio.channel, radio.width_mhz)
                yield Candidate(f"join {unit} to {name}", tuple(edits))


def _plain(value: object) -> Value:
    """Return a value of the model as a person writes it: 34 for 34.0, and category 6 unquoted."""
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, str) and value.isdigit():
        return int(value)
    return value  # type: ignore[return-value]


_OF_CABLES: Final = (
    "medium", "category", "length_m", "path", "run", "surge_protectors", "through", "fire_rating",
)  # fmt: skip


def _laid(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield the cable routes between the two ends of a link, each in the link's place."""
    for _, link in _uplink(w, item):
        for route in w.site.cable_routes or ():
            if set(route.between) != {link.from_unit, link.to_unit}:
                continue
            edits: list[Edit] = [Set((*link.pointer, "over"), "cable")]
            edits += [
                Drop((*link.pointer, key))
                for key in ("from_radio", "to_radio")
                if getattr(link, key) is not None
            ]
            for key in _OF_CABLES:
                value = getattr(route, key)
                if value is not None:
                    edits.append(Set((*link.pointer, key), _plain(value)))
            work = "use the laid cable" if route.state == "laid" else "lay the cable"
            yield Candidate(
                f"{work} from {link.from_unit} to {link.to_unit}", tuple(edits), "cable"
            )

"""Changes that may mend a finding, most promising first: settings and wiring, never facts.

They are tried, not trusted: each must still be proven.
"""

from __future__ import annotations

from contextlib import suppress
from itertools import islice, product
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from meshlint.edits.candidate import Candidate, move, moved, settings
from meshlint.edits.rewriting import Edit, Set
from meshlint.edits.wiring import (
    ends_alike,
    joined_to,
    laid,
    other_parents,
    other_radios,
    uplinks,
)
from meshlint.site.model import Link, Network, Radio, Unit
from meshlint.workings.governance.usual_ranges import RANGES, range_of
from meshlint.workings.spectrum.channel import law, span
from meshlint.workings.spectrum.permission import choices_at, sender
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.law.choices import ChannelChoice
    from meshlint.site.model import Site
    from meshlint.site.source import Pointer, Value
    from meshlint.workings.site_workings import Subject, Workings

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
_LAY: Final = frozenset(
    {
        "airtime-room",
        "backhaul-carries-demand",
        "backhaul-dedicated-band",
        "backhaul-in-reach",
        "backhaul-off-radar",
        "cable-where-it-can-run",
        "hop-depth",
        "old-generation-link",
        "three-radios-for-radio-backhaul",
    }
)
_OTHER_RADIOS: Final = frozenset(
    {
        "airtime-room",
        "backhaul-band-choice",
        "backhaul-carries-demand",
        "backhaul-dedicated-band",
        "backhaul-ends-agree",
        "backhaul-in-reach",
        "backhaul-off-radar",
        "client-cell-off-backhaul",
        "old-generation-link",
        "sensors-have-room",
    }
)
_ENDS: Final = frozenset({"backhaul-ends-agree"})
_POWER: Final = frozenset({"power-permitted"})
_EACH_WIDTH: Final = 4
_PLANS: Final = ((1, 6, 11), (1, 5, 9, 13))
_WIDTHS_MHZ: Final = (320, 160, 80, 40, 20)


def candidates(w: Workings, rule: str, subject: Subject) -> Iterator[Candidate]:
    """Yield changes that may mend a rule for a subject, in a fixed order.

    Where the file leaves out what the rest depend on, those are none.
    """
    with suppress(Missing):
        yield from _security(w.site, rule, subject.item)
    for rules, make in (
        (_POWER, _quieter_radios),
        (_ENDS, ends_alike),
        (_LAY, _laid),
        (_OTHER_RADIOS, other_radios),
        (_PARENT, other_parents),
        (_CHANNEL, _channels_of),
    ):
        if rule in rules:
            with suppress(Missing):
                yield from make(w, subject.item)
    if rule == "two-four-spacing":
        with suppress(Missing):
            yield from _one_plan(w)
    if rule == "slow-basic-rates":
        for radio, rate in product(_radios(w, subject.item), (12, 24, 6)):
            label = f"radio {radio.name} of {radio.unit}"
            yield settings(label, radio.pointer, {"lowest_basic_mbps": rate})


def _security(site: Site, rule: str, item: object) -> Iterator[Candidate]:
    """Yield settings of networks and of the wired side."""
    if rule in _NETWORK and isinstance(item, Network):
        for keys in _NETWORK[rule]:
            yield settings(f"network {item.key}", item.pointer, keys)
    if rule == "network-carried" and isinstance(item, Network):
        yield from _carried(site, item)
    if rule == "management-inside" and isinstance(item, Unit):
        kept = [name for name in item.management_from or () if name in ("staff", "equipment")]
        for inside in (kept, ["staff"], ["equipment"]):
            if inside:
                names: list[Value] = list(inside)
                yield settings(f"unit {item.name}", item.pointer, {"management_from": names})
    if rule == "one-router":
        yield from _one_router(site)
    if rule == "loop-guarded":
        yield from _guarded(site)


def _laid(w: Workings, item: object) -> Iterator[Candidate]:
    """Yield each cable by itself, then with the radio that it frees on a channel of its own."""
    cables = list(laid(w, item))
    yield from cables
    for unit, link in uplinks(w, item):
        freed = radio_of(w, link, unit)
        links = (w.site.backhaul or {}).values()
        if sum(freed in radios_of(w, one) for one in links if one.over == "radio") > 1:
            continue  # others still join it
        for cable, change in product(cables, islice(_channels(w, freed, alone=True), _EACH_WIDTH)):
            words = f"{cable.words}, and {change.words}"
            yield Candidate(words, (*cable.edits, *change.edits), cable.work)


def _quieter_radios(w: Workings, item: object) -> Iterator[Candidate]:
    for radio in _radios(w, item):
        yield from _quieter(radio)


def _channels_of(w: Workings, item: object) -> Iterator[Candidate]:
    for radio in _radios(w, item):
        yield from _channels(w, radio)


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
            yield Candidate(f"set loop_protection to {kind} on {len(edits)} units", edits)


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


def _one_plan(w: Workings) -> Iterator[Candidate]:
    """Yield every 2.4 GHz radio on the nearest channel of one plan, as many channels as can be."""
    radios = [r for unit in w.site.units.values() for r in unit.radios.values() if r.band == 2.4]  # noqa: PLR2004
    for plan in _PLANS:
        edits: dict[Pointer, tuple[Edit, ...]] = {}
        for radio in radios:
            for other in joined_to(w, radio):
                if not isinstance(radio.channel, int):
                    continue
                nearest = min(plan, key=lambda number, at=radio.channel: abs(number - at))
                edits.setdefault(other.pointer, tuple(moved(other, nearest, 20)))
        changed = tuple(edit for found in edits.values() for edit in found)
        if changed:
            numbers = ", ".join(map(str, plan))
            yield Candidate(f"keep all 2.4 GHz radios to channels {numbers}", changed)


def _quieter(radio: Radio) -> Iterator[Candidate]:
    """Yield lower powers in whole dB: the strongest that is proven is the one to take."""
    key = "power_dbm" if radio.power_dbm is not None else "radiated_dbm"
    power = getattr(radio, key)
    if power is None:
        return
    for power_dbm in range(int(-(-power // 1)) - 1, max(int(power) - 25, -1), -1):
        yield settings(f"radio {radio.name} of {radio.unit}", radio.pointer, {key: power_dbm})


def _stays_loud(w: Workings, radio: Radio, choice: ChannelChoice) -> bool:
    """Return whether a radio whose power nobody states keeps that of ordinary equipment there.

    It caps itself to the law, so a channel of less power than today's would shrink its cell unseen.
    """
    said = (radio.power_dbm, radio.radiated_dbm)
    if said != (None, None) or radio.band is None:
        return True
    place = "outdoors" if w.site.units[radio.unit].outdoors else "indoors"
    ordinary = [
        range_of(RANGES, f"units.*.radios.*.{key}", radio.band, place)
        for key in ("power_dbm", "antenna_gain_dbi")
    ]
    least_dbm = sum(float(one.usual) for one in ordinary if one is not None)
    with suppress(Missing):
        # What it may send today, were it indoors: an unlawful channel is capped like any other.
        now = replace(sender(w, radio), outdoors=False).limit(w.once(law), span(radio))
        least_dbm = min(least_dbm, now.eirp_dbm if now is not None else 0.0)
    return choice.limit.eirp_dbm >= least_dbm


def _channels(w: Workings, radio: Radio, *, alone: bool = False) -> Iterator[Candidate]:
    """Yield other channels and widths, lawful for every radio that must move along.

    Where its link is gone, a radio moves `alone`.
    """
    moving = (radio,) if alone else joined_to(w, radio)
    if radio.band is None or radio.width_mhz is None:
        return
    widths = [width for width in _WIDTHS_MHZ if width <= radio.width_mhz]
    for width in widths:
        if width < radio.width_mhz and isinstance(radio.channel, int) and not alone:
            yield move(moving, radio.channel, width)
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
            if not all(_stays_loud(w, one, choice) for one in moving):
                continue
            tried += 1
            if tried > _EACH_WIDTH:
                break
            yield move(moving, number, width)

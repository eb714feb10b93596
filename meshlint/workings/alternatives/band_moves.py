"""Whether backhaul would be better off on another band that all its units have.

A unit's one radio serves all its links of a band, and both ends of a link are on one channel. So
what moves is the whole set of links whose radios share a channel, to one channel and width that a
radio of the other band is set to already at one of the units. Units that have no radio there are
set to it where that is lawful, no link uses theirs, and clients keep the width that they have.

A move is looked at only where it takes no radio to itself from backhaul, is off radar wherever
today's channel is, and leaves room for what everybody asks for.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from meshlint.workings.alternatives.candidate_links import mark
from meshlint.workings.capacity.scenario import Scenario, baseline, drawn, still_fits, widened
from meshlint.workings.contention.domains import Contender, contenders
from meshlint.workings.contention.must_defer import together
from meshlint.workings.links.budget import budget_between
from meshlint.workings.links.last_hop import hop_of
from meshlint.workings.spectrum import eirp, radar_duty
from meshlint.workings.spectrum.channel import in_words, span
from meshlint.workings.spectrum.permission import choices_at
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import live_links, lower_end, units_behind
from meshlint.workings.unknown import Input, Missing, raise_missing

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.physics.capacity import Hop
    from meshlint.site.model import Link, Pointer, Radio
    from meshlint.workings.site_workings import Workings


ALONE: Final = 2.0
"""What a radio to itself is worth beside one that serves clients as well (common practice)."""


class RadioSetting(Struct, frozen=True):
    """What two radios must have in common to form a link."""

    band: float
    channel: int
    width_mhz: int
    second_channel: str | None
    block: int | None


class Outcome(Struct, frozen=True):
    """What the units behind a set of links get where it is, or would get elsewhere.

    With them stand units whose backhaul would share its air there; `before` is what all of these
    get as it stands, `None` where this is that.
    """

    scenario: Scenario
    mbps: dict[str, float]
    channel: str
    set_anew: tuple[str, ...]
    worth: float = 1.0
    before: Outcome | None = None

    @property
    def total_mbps(self) -> float:
        """Return what all of them get together."""
        return math.fsum(self.mbps.values())

    @property
    def least_mbps(self) -> float:
        """Return what the one gets that gets least."""
        return min(self.mbps.values())


class BandChoice(Struct, frozen=True):
    """A set of links that move together, as it stands and at its best: today's of equals."""

    links: tuple[Link, ...]
    today: Outcome
    best: Outcome


def moving(w: Workings, link: Link) -> tuple[Link, ...]:
    """Return the links in use that cannot change their channel without this one.

    Raises `Missing` for a link that is no radio link in use.
    """
    if link.over != "radio" or lower_end(w, link) is None:
        raise Missing(Input((*link.pointer, "over"), "a radio link that traffic uses"))
    joined = w.once(together)
    mine = joined[radios_of(w, link)[0].pointer]
    return w.once(_sets)[mine]


def _sets(w: Workings) -> dict[Pointer, tuple[Link, ...]]:
    joined = w.once(together)
    found: dict[Pointer, tuple[Link, ...]] = {}
    for link in w.once(live_links).values():
        if link.over == "radio" and lower_end(w, link) is not None:
            head = joined[radios_of(w, link)[0].pointer]
            found[head] = (*found.get(head, ()), link)
    return found


def choice(w: Workings, link: Link) -> BandChoice:
    """Return where the set of a link in use is, and where it would be best."""
    links = moving(w, link)
    return w.once(_chosen, links[0].name, links)


def _chosen(w: Workings, links: tuple[Link, ...]) -> BandChoice:
    """Return the best place of a set: the one of most worth, today's of equals.

    Raises `Missing` where today's is the best of those that can be told but others cannot be.
    """
    behind = {unit for link in links for unit in units_behind(w, link)}
    units = tuple(u for u in w.site.units if u in behind and w.site.units[u].kind == "access")
    if not units:
        raise Missing(Input((*links[0].pointer, "from"), "units that clients can use behind it"))
    standing = baseline(w, units, strict=True)
    words = in_words(radios_of(w, links[0])[0])
    today = Outcome(standing, drawn(w, standing), words, ())
    best, worth = today, 1.0
    missing = list(_unsettled(w, links))
    for setting in _settings(w, links):
        try:
            found = _moved(w, links, today, setting, worth)
        except Missing as error:
            missing.extend(error.inputs)
            continue
        if found is not None:
            best, worth = found, found.worth
    if best is today:
        raise_missing(missing)
    return BandChoice(links, best.before or today, best)


def _gain(mbps: Mapping[str, float], today: Outcome) -> float:
    """Return how many times today's the worse of total and least is."""
    total_mbps, least_mbps = math.fsum(mbps.values()), min(mbps.values())
    if today.least_mbps == 0:
        return math.inf if least_mbps > 0 else 0.0
    return min(least_mbps / today.least_mbps, total_mbps / today.total_mbps)


def _settings(w: Workings, links: tuple[Link, ...]) -> tuple[RadioSetting, ...]:
    """Return what radios on the bands that all units of a set have are set to, each once."""
    found = (_setting(radio) for radio in _elsewhere(w, links))
    return tuple(dict.fromkeys(setting for setting in found if setting is not None))


def _unsettled(w: Workings, links: tuple[Link, ...]) -> Iterator[Input]:
    """Return what to state of bands that all units have and no radio is on a known channel of."""
    radios = _elsewhere(w, links)
    settled = {radio.band for radio in radios if _setting(radio) is not None}
    for radio in radios:
        if radio.band not in settled:
            key = "width_mhz" if isinstance(radio.channel, int) else "channel"
            yield Input((*radio.pointer, key), "a fixed channel and its width")


def _elsewhere(w: Workings, links: tuple[Link, ...]) -> tuple[Radio, ...]:
    """Return the radios of a set's units on other bands that all of them have."""
    units = {name: w.site.units[name] for link in links for name in (link.from_unit, link.to_unit)}
    today = radios_of(w, links[0])[0].band
    bands = [{radio.band for radio in unit.radios.values()} for unit in units.values()]
    shared = set.intersection(*bands) - {None, today}
    return tuple(r for unit in units.values() for r in unit.radios.values() if r.band in shared)


def _setting(radio: Radio) -> RadioSetting | None:
    if radio.band is None or radio.width_mhz is None or not isinstance(radio.channel, int):
        return None
    return RadioSetting(
        radio.band, radio.channel, radio.width_mhz, radio.second_channel, radio.block
    )


def _moved(
    w: Workings, links: tuple[Link, ...], today: Outcome, setting: RadioSetting, beyond: float
) -> Outcome | None:
    """Return what a set gives at a setting, None where that is no gain or cannot be done.

    Worth is the gain, twice that on radios that serve no clients: those that do leave their clients
    about half of the air for each relay (common practice).
    """
    radios = _radios(w, links, setting)
    if radios is None:
        return None
    weight = 1.0 if any(map(may_serve_clients, radios.values())) else ALONE
    wanted = max(1.0, beyond / weight)
    hops: dict[str, Hop] = {}
    moved: dict[str, Contender] = {}
    for link in links:
        ends = (radios[link.from_unit], radios[link.to_unit])
        held = budget_between(w, *ends).held
        if held is None:
            return None
        key = f"link/{link.name}"
        hops[key] = hop_of(held, setting.band)
        moved[key] = Contender(key, link.name, link.pointer, ends, link)
    if _at_most_mbps(today.scenario, hops) <= today.least_mbps * wanted:
        return None
    anew = {name: radio for name, radio in radios.items() if radio.name.startswith(w.once(mark))}
    for name, radio in anew.items():
        key = f"radio/{name}/{_stated(w, radio, setting).name}"
        if key in w.once(contenders):
            moved[key] = replace(w.once(contenders)[key], radios=(radio,))
    scenario = replace(today.scenario, moved=moved, hops=hops)
    words = tuple(f"radio {_stated(w, r, setting).name} of {name}" for name, r in anew.items())
    channel = in_words(next(iter(radios.values())))
    before, after = (widened(w, here, scenario) for here in (today.scenario, scenario))
    if before is not today.scenario:
        today = replace(today, scenario=before, mbps=drawn(w, before))
    mbps = drawn(w, after)
    gain = _gain(mbps, today)
    if gain <= wanted or not still_fits(w, before, after):
        return None
    was = {radio.unit: radio for link in links for radio in radios_of(w, link)}
    lawful = all(_lawful(w, radio, was[name], anew=name in anew) for name, radio in radios.items())
    return Outcome(after, mbps, channel, words, gain * weight, today) if lawful else None


def _at_most_mbps(scenario: Scenario, hops: dict[str, Hop]) -> float:
    """Return a bound of what the one that gets least could have: each link to itself."""
    bounds = [
        hop.goodput_mbps / sum(any(f"link/{x.name}" == key for x in way) for way in ways)
        for ways in [scenario.ways.values()]
        for key, hop in hops.items()
    ]
    return min(bounds)


def _radios(w: Workings, links: tuple[Link, ...], setting: RadioSetting) -> dict[str, Radio] | None:
    """Return the radio of each unit that would carry a set, None where one has none that may."""
    found: dict[str, Radio] = {}
    for link in links:
        for was in radios_of(w, link):
            radio = found.get(was.unit) or _fitting(w, was, setting)
            if radio is None:
                return None
            found[was.unit] = radio
    return found


def _fitting(w: Workings, was: Radio, setting: RadioSetting) -> Radio | None:
    """Return a unit's radio on a setting, or its only one of that band set to it."""
    radios = w.site.units[was.unit].radios.values()
    able = [radio for radio in radios if radio.band == setting.band]
    on_it = next((radio for radio in able if _setting(radio) == setting), None)
    radio = on_it or (able[0] if len(able) == 1 else None)
    if radio is None or (may_serve_clients(radio) and not may_serve_clients(was)):
        return None
    if on_it is not None:
        return on_it
    wider = radio.max_width_mhz is not None and radio.max_width_mhz < setting.width_mhz
    kept = may_serve_clients(radio) and radio.width_mhz != setting.width_mhz
    if wider or kept or radio.pointer in w.once(together):
        return None
    return replace(
        radio,
        name=f"{w.once(mark)}{(radio.name, setting.channel, setting.width_mhz, setting.block)}",
        channel=setting.channel,
        width_mhz=setting.width_mhz,
        second_channel=setting.second_channel,
        block=setting.block,
    )


def _stated(w: Workings, radio: Radio, setting: RadioSetting) -> Radio:
    """Return the radio of the file that was set anew: the only one of its unit on that band."""
    radios = w.site.units[radio.unit].radios.values()
    return next(stated for stated in radios if stated.band == setting.band)


def _lawful(w: Workings, radio: Radio, was: Radio, *, anew: bool) -> bool:
    """Return whether a radio may carry what another carried: on no worse a channel for radar."""
    there = span(radio)
    allowed = [
        choice
        for choice in choices_at(w, (radio,), there.band, there.width_mhz)
        if choice.channel.centre_number == there.centre_number
    ]
    if not allowed:
        return False
    if not allowed[0].clear and not radar_duty.shared_with_radar_mhz(w, was):
        return False
    return not anew or eirp.over_limit_db(w, radio) <= 0

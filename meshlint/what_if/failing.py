"""A failure asked about: units or links that are gone, who goes dark, who comes back, and how.

What is gone is taken out of the file's value, with all that speaks of it. Units that are cut off
then join what is left, one island after the other: by the radios of any of its units, over the
least airtime metric from the primary to the unit that was nearest to it. Units that hang on them
follow. What stays dark is taken out as well, so that its radios fill no air and serve nobody;
devices near what is gone move to the strongest unit that holds their target level, where one does.
"""

from __future__ import annotations

import json
import math
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct
from msgspec.structs import replace

from meshlint.edits.proof import judged
from meshlint.edits.rewriting import rewritten
from meshlint.site.flow_style import in_flow_style
from meshlint.site.references import named_entries, names_of_nothing
from meshlint.site.source import read_document
from meshlint.what_if.joining import Pair, rewired, settled
from meshlint.workings.alternatives.candidate_links import by_radio, metric_of
from meshlint.workings.alternatives.parent import path_metric
from meshlint.workings.alternatives.roaming import alone
from meshlint.workings.capacity.voice import level_at_dbm
from meshlint.workings.links.attachment import devices_of, serving_radios
from meshlint.workings.links.goodput import measured_mbps
from meshlint.workings.links.last_hop import target_dbm
from meshlint.workings.propagation.geometry import CLIENT_HEIGHT_M, location_of
from meshlint.workings.topology.link_radios import radios_of
from meshlint.workings.topology.tree import live_links, parts, tree
from meshlint.workings.unknown import Missing
from meshlint.workings.wired.poe import source_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from meshlint.edits.proof import Judged
    from meshlint.run import Checker, OpenSite
    from meshlint.site.model import ClientGroup, Link, Site
    from meshlint.site.references import Raw
    from meshlint.site.source import Pointer
    from meshlint.workings.alternatives.candidate_links import CandidateLink
    from meshlint.workings.site_workings import Workings
    from meshlint.workings.unknown import Input

_RANKLESS: Final = 1e9
"""The metric of a way that cannot be told: it is taken where there is no other."""


class Comeback(Struct, frozen=True):
    """A unit that is joined again after a failure: to whom, and over what."""

    unit: str
    parent: str
    over: str


class Regrouped(Struct, frozen=True):
    """A client group whose units are gone: how many devices nobody serves, or what is missing.

    `to` is the unit that the others move to; empty where they are shared out, or are none.
    """

    group: str
    devices: float
    cut_off: float
    to: str = ""
    unsure: tuple[Input, ...] = ()


class Failed(Struct, frozen=True, eq=False):
    """What is left after a failure.

    `lost` are the units that fail, `powerless` those that are fed by them, `dark` those that stay
    cut off, `unsure` what is missing to tell whether they do. Without an `after` the primary is
    among what failed, and nothing is left.
    """

    lost: tuple[str, ...]
    links: tuple[str, ...]
    powerless: tuple[str, ...]
    comebacks: tuple[Comeback, ...]
    dark: tuple[str, ...]
    unsure: tuple[Input, ...]
    regrouped: tuple[Regrouped, ...]
    after: Judged | None
    clients_told: bool = True
    """Whether the file names any clients."""


def failed(
    checker: Checker, state: Judged, units: Collection[str], links: Collection[Link]
) -> Failed:
    """Return what is left of a site when some units and links fail at once."""
    w = state.opened.workings
    site = w.site
    gone = _with_powerless(state.opened, set(units), links)
    lost = tuple(name for name in site.units if name in units)
    powerless = tuple(name for name in site.units if name in gone and name not in units)
    names = tuple(dict.fromkeys(link.name for link in links))
    if site.primary in gone:
        dark = tuple(name for name in site.units if name in state.joined and name not in gone)
        everybody = tuple(
            Regrouped(group.name, group.count, group.count)
            for group in (site.clients or {}).values()
        )
        told = bool(site.clients)
        return Failed(lost, names, powerless, (), dark, (), everybody, None, told)
    tried = (*links, *_in_vain(w))
    data, comebacks = _joined_again(checker, state, gone, tried)
    opened = checker.open(data, state.path)
    dark = tuple(_dark(opened.workings, state.joined - gone))
    off = frozenset({*gone, *dark})
    raw, stated = _value(data), _value(state.data)
    _take_out(raw, site, dark, ())
    regrouped = [_regrouped(w, group, off) for group in (site.clients or {}).values()]
    for entry in regrouped:
        if entry is not None:
            _regroup(raw, stated["clients"], site.clients[entry.group], entry)  # type: ignore[index]
    return Failed(
        lost,
        names,
        powerless,
        comebacks,
        dark,
        _unsure(opened, dark, _parted(tried), gone),
        tuple(entry for entry in regrouped if entry is not None),
        judged(checker, _data(raw), state.path),
        bool(site.clients),
    )


def _with_powerless(opened: OpenSite, gone: set[str], links: Collection[Link]) -> set[str]:
    """Return the units that are gone and all that are fed by them, or over a cable that is gone."""
    cables = {frozenset((x.from_unit, x.to_unit)) for x in links if x.over == "cable"}
    sources = {x.name: source_of(opened.workings, x) for x in opened.site.units.values()}
    fed = {name: source for name, source in sources.items() if source is not None}
    gone = gone | {name for name, source in fed.items() if frozenset((name, source)) in cables}
    while new := {name for name, source in fed.items() if source in gone} - gone:
        gone |= new
    return gone


def _in_vain(w: Workings) -> tuple[Link, ...]:
    """Return the links that nothing hangs on, as they were measured to carry nothing."""
    used = {link.in_file for link in w.once(tree).uplink.values()}
    links = w.once(live_links).values()
    return tuple(x for x in links if x.in_file not in used and measured_mbps(w, x) == 0)


def _joined_again(
    checker: Checker, state: Judged, gone: set[str], links: Collection[Link]
) -> tuple[bytes, tuple[Comeback, ...]]:
    """Return the file without what is gone, its islands joined again as far as they can be."""
    w, path = state.opened.workings, state.path
    raw = _value(state.data)
    _take_out(raw, w.site, gone, links)
    data = _data(raw)
    opened = checker.open(data, path)
    comebacks = list(_over_other_links(w, opened, gone))
    while (pair := _best(w, opened.workings, state.joined - gone, _parted(links))) is not None:
        data = rewritten(data, rewired(opened.workings, _value(data), pair))
        opened = checker.open(data, path)
        data = rewritten(data, settled(opened.workings, pair))
        opened = checker.open(data, path)
        comebacks.append(Comeback(pair.ours.unit, pair.theirs.unit, f"radio {pair.ours.name}"))
    return data, tuple(comebacks)


def _over_other_links(w: Workings, opened: OpenSite, gone: set[str]) -> Iterator[Comeback]:
    """Yield the units that are joined by another link of the file than before."""
    before, after = w.once(tree), opened.workings.once(tree)
    for unit in after.order:
        was, now = before.uplink.get(unit), after.uplink.get(unit)
        if was is not None and now is not None and was.in_file != now.in_file and unit not in gone:
            yield Comeback(unit, now.far_end(unit), f"the link {now.in_file}")


def _dark(w: Workings, hoped: Collection[str]) -> list[str]:
    """Return the units of those that should be joined that are not."""
    rank = w.once(tree).rank
    return [name for name in w.site.units if name in hoped and name not in rank]


def _best(
    before: Workings, w: Workings, hoped: Collection[str], parted: Collection[frozenset[str]]
) -> Pair | None:
    """Return the radios that join a unit of an island at the least metric."""
    ways = w.once(tree)
    dark = _dark(w, hoped)
    links = [x for x in w.once(live_links).values() if {x.from_unit, x.to_unit} <= set(dark)]
    island = parts(dark, links)
    rank = before.once(tree).rank
    heads = {
        head: min((u for u in dark if island[u] == head), key=lambda u: rank.get(u, len(rank)))
        for head in set(island.values())
    }
    found: list[tuple[float, int, CandidateLink]] = []
    for unit in dark:
        inside = _within(w, links, heads[island[unit]]).get(unit, 0.0)
        for candidate in by_radio(w, w.site.units[unit], in_need=True).candidates:
            parent, metric = candidate.parent, candidate.metric
            if parent not in ways.rank or frozenset((unit, parent)) in parted:
                continue
            if metric < math.inf:
                total = inside + metric + _to_primary(w, parent)
                found.append((total, len(found), candidate))
    if not found:
        return None
    _, _, best = min(found)
    return Pair(*radios_of(w, best.link), 0, best.metric)


def _to_primary(w: Workings, unit: str) -> float:
    try:
        return min(path_metric(w, unit), _RANKLESS)
    except Missing:
        return _RANKLESS


def _within(w: Workings, links: Collection[Link], head: str) -> dict[str, float]:
    """Return the metric from each unit of an island to its head, over the island's links."""
    least, waiting = {head: 0.0}, [head]
    for here in waiting:  # grows on the way; islands are small
        for link in links:
            if here in (link.from_unit, link.to_unit):
                beyond = link.far_end(here)
                try:
                    metric = least[here] + min(metric_of(w, link), _RANKLESS)
                except Missing:
                    metric = least[here] + _RANKLESS
                if metric < least.get(beyond, math.inf):
                    least[beyond] = metric
                    waiting.append(beyond)
    return least


def _parted(links: Iterable[Link]) -> frozenset[frozenset[str]]:
    """Return the pairs of units that no longer hear each other: their radio link is gone."""
    return frozenset(frozenset((x.from_unit, x.to_unit)) for x in links if x.over == "radio")


def _unsure(
    opened: OpenSite,
    dark: Iterable[str],
    parted: Collection[frozenset[str]],
    gone: Collection[str],
) -> tuple[Input, ...]:
    """Return what is missing to tell of further ways of units that stay dark."""
    w = opened.workings
    return tuple(
        dict.fromkeys(
            wanted
            for name in dark
            for other, inputs in by_radio(w, w.site.units[name], in_need=True).unsure.items()
            if other not in gone and frozenset((name, other)) not in parted
            for wanted in inputs
        )
    )


def _value(data: bytes) -> Raw:
    """Return the file's value, no part of it shared with another."""
    return json.loads(json.dumps(read_document(data, "").value))  # type: ignore[no-any-return]


def _data(raw: Raw) -> bytes:
    """Return a file of the value: JSON is YAML, and shares nothing by an anchor."""
    return in_flow_style(raw).encode()


def unshared(data: bytes) -> bytes:
    """Return a file of the same value in which no part is shared by an anchor."""
    return _data(_value(data))


def _take_out(raw: Raw, site: Site, units: Collection[str], links: Iterable[Link]) -> None:
    """Take units and links out of a file's value, with all that speaks of them."""
    for link in {link.pointer: link for link in links}.values():
        _drop(raw, link.pointer)
        if link.whole is not None and not raw["backhaul"][link.whole]["radios"]:
            _drop(raw, ("backhaul", link.whole))
    for unit in units:
        _drop(raw, ("units", unit))
    while lost := {_speaker(at) for at, _ in names_of_nothing(raw)}:
        for pointer in sorted(lost, key=lambda at: str(at[-1]).zfill(9), reverse=True):
            _drop(raw, pointer)
    left = {r for name, unit in site.units.items() if name in raw["units"] for r in unit.radios}
    for _, network in named_entries(raw, "networks"):
        if "radios" in network:
            network["radios"] = [name for name in network["radios"] if name in left]


def _speaker(at: Pointer) -> Pointer:
    """Return what goes with a name that nothing bears: the entry of a list, or the key alone.

    A link, a line or a group cannot do without its unit, and goes as a whole.
    """
    if at[0] in ("backhaul", "internet_lines", "clients", "cable_routes", "neighbours", "readings"):
        return at[:2]
    return at[:-1] if at[-1] == "from" else at


def _drop(raw: Any, pointer: Pointer) -> None:  # noqa: ANN401 - a map or a list of a file
    into = raw
    for step in pointer[:-1]:
        into = into[step]
    del into[pointer[-1]]


def _regrouped(w: Workings, group: ClientGroup, off: frozenset[str]) -> Regrouped | None:
    """Return what becomes of a group, nothing where its units all stand."""
    try:
        here = [devices for devices in devices_of(w, group) if devices.unit in off]
        cut_off = math.fsum(alone(w, devices, off) for devices in here)
        if not here:
            return None
        to = _strongest(w, group, here[0].unit, off) if cut_off < group.count else ""
    except Missing as missing:
        return Regrouped(group.name, group.count, 0.0, unsure=missing.inputs)
    return Regrouped(group.name, sum(devices.count for devices in here), cut_off, to)


def _strongest(w: Workings, group: ClientGroup, unit: str, off: frozenset[str]) -> str:
    """Return the unit left that is strongest where a unit stands, empty for a group in an area."""
    if group.near is None:
        return ""
    place = replace(location_of(w, w.site.units[unit]), height_m=CLIENT_HEIGHT_M)
    levels: dict[str, float] = {}
    for radio in serving_radios(w, group):
        if radio.unit not in off:
            with suppress(Missing):
                level_dbm = level_at_dbm(w, radio, place)
                if level_dbm >= target_dbm(w, group):
                    levels[radio.unit] = max(level_dbm, levels.get(radio.unit, -math.inf))
    return max(levels, key=lambda name: levels[name])


def _regroup(raw: Raw, stated: Raw, group: ClientGroup, entry: Regrouped) -> None:
    """Put the devices of a group that are still served where they are now.

    Those of which nobody can tell where they go take no air of others.
    """
    served = round(group.count - entry.cut_off)
    clients = raw["clients"]
    if not served or (entry.unsure and group.area is None):
        clients.pop(group.name, None)
    elif entry.to:
        clients[group.name] = {**stated[group.name], "near": entry.to, "count": served}
    elif group.name in clients:
        clients[group.name]["count"] = served

"""The site's own client cells on one band: which share air, and which channels would part them.

Better channels come from graph colouring over the cells that hear each other, exact for small sites
(`meshlint.law.assignment`). They are held clear of the site's own backhaul in hearing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.law.assignment import Edge, assign
from meshlint.law.choices import widths_mhz
from meshlint.physics.channels import overlap_mhz
from meshlint.workings.contention import client_cells
from meshlint.workings.contention.carrier_sense import HEARING, within_carrier_sense
from meshlint.workings.contention.client_cells import group_of, hearing, sharing
from meshlint.workings.fact import Kind, fact
from meshlint.workings.propagation.cells import client_radios
from meshlint.workings.spectrum.channel import THREE_PLAN, in_words, span
from meshlint.workings.spectrum.permission import choices_at
from meshlint.workings.topology.link_radios import joined, may_use, radio_of
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.law.assignment import Assignment
    from meshlint.physics.channels import Channel
    from meshlint.site.model import Radio
    from meshlint.workings.propagation.cells import Pair
    from meshlint.workings.site_workings import Workings

COLOURING = "graph colouring over cells that hear each other, channels by the regulatory table"


WORTH_A_MOVE = 0.5
"""The share of today's shared spectrum that may be left for a move to be worth it, of cells that
are not next to each other: a convention of ours."""


class Plan(Struct, frozen=True):
    """A channel for each of some cells, by the radios' names, and whether they share nothing."""

    channels: Mapping[str, Channel]
    shares_mhz: float


def name_of(radio: Radio) -> str:
    """Return the name under which a cell stands in a plan."""
    return f"{radio.unit}/{radio.name}"


def candidates(
    w: Workings, radio: Radio, width_mhz: int, *, with_radar: bool = False
) -> tuple[Channel, ...]:
    """Return the channels that a cell may have at its power and a width, best first.

    Those free of radar, or the DFS channels too; at 2.4 GHz those of the three-channel plan alone:
    anything between them makes it worse.
    """
    if radio.band is None:
        return ()
    found = choices_at(w, (radio,), radio.band, width_mhz)
    # A check of ten minutes is the last to be taken.
    found = tuple(sorted(found, key=lambda choice: choice.check_s or 0))
    plan = THREE_PLAN if radio.band == 2.4 else ()
    return tuple(
        c.channel
        for c in found
        if (c.clear or (with_radar and not c.unflagged_mhz))
        and not c.turn_down_db
        and (not plan or c.channel.number in plan)
    )


def plan_at(
    w: Workings, cells: tuple[Radio, ...], width_mhz: int | None, *, with_radar: bool = False
) -> Plan | None:
    """Return the channels at which cells share least, `None` where one has no channel at all.

    Each cell has its own width where `width_mhz` is `None`, and prefers the channel it is on. DFS
    channels are among them where `with_radar` says so.
    """
    # A cell is in one group, and that is in the order of the file: its ends tell which.
    key = (cells[0].pointer, cells[-1].pointer, len(cells), width_mhz, with_radar)
    return w.once(_worked_out, key, cells, width_mhz, with_radar=with_radar)


def _worked_out(
    w: Workings, cells: tuple[Radio, ...], width_mhz: int | None, *, with_radar: bool
) -> Plan | None:
    options: dict[str, tuple[Channel, ...]] = {}
    for cell in cells:
        options[name_of(cell)] = channels_open_to(w, cell, width_mhz, with_radar=with_radar)
        if not options[name_of(cell)]:
            return None
    edges = tuple(
        Edge(name_of(one), name_of(other))
        for position, one in enumerate(cells)
        for other in hearing(w, one, cells[position + 1 :])
    )
    # Rests on the key alone, so that fillings of a site that hear alike search once.
    found = w.once_a_building(_assigned, (tuple(options.items()), edges), options, edges)
    return Plan(found.channels, found.cost)


def _assigned(
    _: Workings, options: Mapping[str, tuple[Channel, ...]], edges: tuple[Edge, ...]
) -> Assignment:
    return assign(options, edges)


def channels_open_to(
    w: Workings, cell: Radio, width_mhz: int | None = None, *, with_radar: bool = False
) -> tuple[Channel, ...]:
    """Return the channels that a cell may have, the one it is on first.

    No other on which the site's own backhaul in hearing would have to wait for it.
    """
    now = span(cell)
    width = now.width_mhz if width_mhz is None else min(width_mhz, now.width_mhz)
    mine = (now,) if width == now.width_mhz else _narrowed(w, cell, width)
    kept = client_cells.backhaul_in_hearing(w, cell)
    return mine + tuple(
        channel
        for channel in candidates(w, cell, width, with_radar=with_radar)
        if channel not in mine and not any(overlap_mhz(channel, other) for other in kept)
    )


def _narrowed(w: Workings, cell: Radio, width_mhz: int) -> tuple[Channel, ...]:
    """Return the narrower channel around the first 20 MHz of the one that a cell is on.

    It may be a DFS channel, as today's is. At 2.4 GHz all channels of the plan are 20 MHz wide.
    """
    if cell.band == 2.4:
        return ()
    found = candidates(w, cell, width_mhz, with_radar=True)
    return tuple(channel for channel in found if cell.channel in channel.members)


@fact(
    "pair.hear_each_other",
    Kind.TRUTH,
    "whether either unit's radio hears the other's",
    source=HEARING,
)
def pair_hear_each_other(w: Workings, pair: Pair) -> bool:
    return within_carrier_sense(w, pair.first_radio, pair.second_radio)


@fact("pair.channels", Kind.TEXT, "the channels of both cells in words", source="the site file")
def pair_channels(_: Workings, pair: Pair) -> str:
    words = (in_words(radio) for radio in (pair.first_radio, pair.second_radio))
    return " and ".join(dict.fromkeys(words))


@fact(
    "pair.in_a_radio_link",
    Kind.TRUTH,
    "whether a radio link uses one of the two radios, which then cannot choose freely",
    source="the site file",
)
def in_a_radio_link(w: Workings, pair: Pair) -> bool:
    return not (
        _serves_clients_alone(w, pair.first_radio) and _serves_clients_alone(w, pair.second_radio)
    )


def _serves_clients_alone(w: Workings, radio: Radio) -> bool:
    """Return whether no radio link uses a radio; raises `Missing` where a link may use either."""
    if client_cells.is_client_cell(w, radio):
        return True
    for link in (w.site.backhaul or {}).values():
        ends = (link.from_unit, link.to_unit)
        if link.over == "radio" and radio.unit in ends and may_use(link, radio):
            radio_of(w, link, radio.unit)
    return False


@fact(
    "pair.joined_by_radio",
    Kind.TRUTH,
    "whether radio links join the two radios, which then must share a channel",
    source="the site file",
)
def joined_by_radio(w: Workings, pair: Pair) -> bool:
    others = joined(w, pair.first_radio)
    return any(other.pointer == pair.second_radio.pointer for other in others)


@fact(
    "pair.better_channels",
    Kind.TEXT,
    "lawful, radar-free channels that would part the two cells and crowd no third; none if empty. "
    "For cells that are not next to each other only what at least halves the spectrum shared",
    source=COLOURING,
)
def better_channels(w: Workings, pair: Pair) -> str:
    """Return the least change that does it: one cell, the other, or a plan for the whole group.

    Neighbours should not share at all. Where channels are used again farther away some always do,
    and a change that moves the sharing about is no better plan.
    """
    worth = 1.0 if pair.next_to else WORTH_A_MOVE
    group = group_of(w, pair.first_radio)
    if pair.second_radio not in group:
        group = (*group, pair.second_radio)
    for moved, other in (
        (pair.second_radio, pair.first_radio),
        (pair.first_radio, pair.second_radio),
    ):
        channel = _better_alone(w, moved, other, group, worth)
        if channel is not None:
            return f"{_called(w, moved)} on channel {channel.number}"
    plan = plan_at(w, group, None)
    today_mhz = _shares_mhz(w, group)
    if plan is None or plan.shares_mhz >= today_mhz or plan.shares_mhz > worth * today_mhz:
        return ""
    ours, theirs = (
        plan.channels[name_of(radio)] for radio in (pair.first_radio, pair.second_radio)
    )
    return _changes(w, group, plan) if overlap_mhz(ours, theirs) == 0 else ""


def _called(w: Workings, radio: Radio) -> str:
    """Return a cell by its unit, and by its radio too where the unit has others of that band."""
    others = client_radios(w.site.units[radio.unit])
    several = sum(other.band == radio.band for other in others) > 1
    return f"{radio.unit} ({radio.name})" if several else radio.unit


def _better_alone(
    w: Workings, moved: Radio, other: Radio, group: tuple[Radio, ...], worth: float
) -> Channel | None:
    """Return the channel on which one cell shares least, all others kept; `None` if today's.

    Of equals the first that parts it from `other`; `None` where none of them does, or where it
    shares more than that part of what it shares today.
    """
    beside = [span(heard) for heard in hearing(w, moved, group)]
    options = channels_open_to(w, moved)
    costs = [sum(overlap_mhz(option, there) for there in beside) for option in options]
    least = min(costs)
    if least == costs[0] or least > worth * costs[0]:
        return None
    equals = (option for option, cost in zip(options, costs, strict=True) if cost == least)
    return next((option for option in equals if overlap_mhz(option, span(other)) == 0), None)


def _shares_mhz(w: Workings, cells: tuple[Radio, ...]) -> float:
    key = (cells[0].pointer, cells[-1].pointer, len(cells))
    return w.once(_shared_mhz, key, cells)


def _shared_mhz(w: Workings, cells: tuple[Radio, ...]) -> float:
    return sum(
        overlap_mhz(span(one), span(other))
        for position, one in enumerate(cells)
        for other in hearing(w, one, cells[position + 1 :])
    )


def _changes(w: Workings, cells: tuple[Radio, ...], plan: Plan) -> str:
    return ", ".join(
        f"{_called(w, cell)} on channel {plan.channels[name_of(cell)].number}"
        for cell in cells
        if plan.channels[name_of(cell)] != span(cell)
    )


@fact(
    "pair.air_left_percent",
    Kind.NUMBER,
    "what each cell keeps of its air when all own cells that share it are busy",
    source="equal turns among the cells that hear each other; a lower bound",
    unit="%",
)
def pair_air_left_percent(w: Workings, pair: Pair) -> float:
    return min(_air_left_percent(w, radio) for radio in (pair.first_radio, pair.second_radio))


def _air_left_percent(w: Workings, radio: Radio) -> float:
    return 100.0 / (1 + len(sharing(w, radio)))


@fact(
    "radio.shares_air_with",
    Kind.TEXTS,
    "units whose client cells share this one's spectrum and hear it",
    source=HEARING,
)
def shares_air_with(w: Workings, radio: Radio) -> tuple[str, ...]:
    return tuple(dict.fromkeys(other.unit for other in sharing(w, radio)))


@fact(
    "radio.is_client_cell",
    Kind.TRUTH,
    "whether it serves clients and no radio link uses it",
    source="the site file",
)
def is_client_cell(w: Workings, radio: Radio) -> bool:
    return _serves_clients_alone(w, radio)


@fact(
    "radio.air_left_percent",
    Kind.NUMBER,
    "what the cell keeps of its air when all own cells that share it are busy",
    source="equal turns among the cells that hear each other; a lower bound",
    unit="%",
)
def air_left_percent(w: Workings, radio: Radio) -> float:
    return _air_left_percent(w, radio)


@fact(
    "radio.width_that_parts_mhz",
    Kind.NUMBER,
    "the widest narrower width at which all own cells that hear each other have air of their own; "
    "0 where the present width would do, or none does",
    source=COLOURING,
    unit="MHz",
)
def width_that_parts_mhz(w: Workings, radio: Radio) -> float:
    plan = _parting(w, radio)
    return float(max(c.width_mhz for c in plan.channels.values())) if plan else 0.0


@fact(
    "radio.parting_plan",
    Kind.TEXT,
    "the channels at that width, unit by unit",
    source=COLOURING,
)
def parting_plan(w: Workings, radio: Radio) -> str:
    plan = _parting(w, radio)
    if plan is None:
        return ""
    cells = group_of(w, radio)
    return ", ".join(f"{_called(w, c)} {plan.channels[name_of(c)].number}" for c in cells)


_FEWEST_SHARING = 2
"""From so many cells on that share with one, it keeps a third of its airtime or less."""


@fact(
    "radio.dfs_plan",
    Kind.TEXT,
    "the channels, DFS channels among them, that part own cells where no other plan does, which "
    "keep a third of their airtime or less, or at least halve the spectrum that they share; empty "
    "where there is none, or no need",
    source=COLOURING,
)
def dfs_plan(w: Workings, radio: Radio) -> str:
    plan = w.once(_dfs_plan, radio.pointer, radio)
    if plan is None:
        return ""
    cells = group_of(w, radio)
    named = ", ".join(f"{_called(w, c)} {plan.channels[name_of(c)].number}" for c in cells)
    return f"{named}, at {max(c.width_mhz for c in plan.channels.values())} MHz"


@fact(
    "radio.dfs_plan_shares_mhz",
    Kind.NUMBER,
    "the spectrum that own cells still share after that plan, pair by pair; 0 without one",
    source=COLOURING,
    unit="MHz",
)
def dfs_plan_shares_mhz(w: Workings, radio: Radio) -> float:
    plan = w.once(_dfs_plan, radio.pointer, radio)
    return 0.0 if plan is None else plan.shares_mhz


def _dfs_plan(w: Workings, radio: Radio) -> Plan | None:
    if len(sharing(w, radio)) < _FEWEST_SHARING or _parting(w, radio) is not None:
        return None
    cells, here = group_of(w, radio), span(radio)
    now = plan_at(w, cells, None)
    if now is None or now.shares_mhz == 0:
        return None
    for width_mhz in (x for x in reversed(widths_mhz(here.band)) if x <= here.width_mhz):
        plan = plan_at(w, cells, width_mhz, with_radar=True)
        if plan is not None and plan.shares_mhz == 0:
            return plan
    plan = plan_at(w, cells, None, with_radar=True)
    today_mhz = min(now.shares_mhz, _shares_mhz(w, cells))
    return plan if plan is not None and plan.shares_mhz <= WORTH_A_MOVE * today_mhz else None


@fact(
    "radio.way_to_part",
    Kind.TEXT,
    "what parts own cells that hear each other: a narrower width, or DFS channels",
    source=COLOURING,
)
def way_to_part(w: Workings, radio: Radio) -> str:
    if narrower := _parting(w, radio):
        width_mhz = max(c.width_mhz for c in narrower.channels.values())
        return (
            f"set `width_mhz` to {width_mhz} on these radios, and give each a channel that does "
            "not overlap with the others'"
        )
    plan = dfs_plan.compute(w, radio)
    return f"let these cells use DFS channels too: {plan}" if plan else ""


HALF_POWER_DB = 3.0
"""By so much a radio may be turned down for a channel that still counts: a convention of ours."""


@fact(
    "radio.dfs_parts_it",
    Kind.TRUTH,
    "whether it is on a DFS channel, and on any radar-free channel of its width would have to be "
    "turned down by more than half or share more with own cells in hearing",
    source=COLOURING,
)
def dfs_parts_it(w: Workings, radio: Radio) -> bool:
    if not client_cells.is_client_cell(w, radio):
        return False
    now = span(radio)
    found = choices_at(w, (radio,), now.band, now.width_mhz)
    clear = [c.channel for c in found if c.clear and c.turn_down_db <= HALF_POWER_DB]
    if now in clear or not clear:
        return now not in clear
    beside = [span(heard) for heard in hearing(w, radio, group_of(w, radio))]
    today_mhz = sum(overlap_mhz(now, there) for there in beside)
    return all(sum(overlap_mhz(x, there) for there in beside) > today_mhz for x in clear)


@fact(
    "radio.group",
    Kind.TEXT,
    "the first of the own cells that hear each other, this one among them",
    source=HEARING,
)
def group_name(w: Workings, radio: Radio) -> str:
    band = need(radio.band, (*radio.pointer, "band"), "the radio's band")
    first = next(iter(group_of(w, radio)), radio)
    return f"{name_of(first)} at {band:g} GHz"


def _parting(w: Workings, radio: Radio) -> Plan | None:
    """Return the plan at the widest narrower width that parts a group which this one cannot."""
    group = group_of(w, radio)
    if not sharing(w, radio) or (now := plan_at(w, group, None)) is None or now.shares_mhz == 0:
        return None
    here = span(radio)
    for width_mhz in reversed(widths_mhz(here.band)):
        if width_mhz < here.width_mhz:
            plan = plan_at(w, group, width_mhz)
            if plan is not None and plan.shares_mhz == 0:
                return plan
    return None

"""What a country allows, for people who choose channels by hand: as a page of text, or as JSON.

Channels that are alike in everything but their number stand on one line. A number is that of the
first 20 MHz channel, as it is set.
"""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from meshlint.law.choices import choices, widths_mhz
from meshlint.law.classes import CLASSES, DEMANDS
from meshlint.law.radar_duty import radar_shared_mhz, radar_times, radar_unflagged_mhz
from meshlint.law.regulatory import permission
from meshlint.physics.channels import CENTRES, SIX_GHZ, all_channels
from meshlint.report.plain import harmless_json

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.law.choices import ChannelChoice
    from meshlint.law.regulatory import Country
    from meshlint.report.lines import Look

BANDS = tuple(CENTRES)
_SIX_FROM_MHZ = 5925
DATABASE = "Linux wireless regulatory database 2026.09.03"
_NOTICE = (
    "Engineering reference, no legal advice: the regulator's own text decides. Power is radiated "
    "power (EIRP) of the unit that offers the network, antenna included. A figure marked "
    "second-hand or from memory wants looking up before it is leant on."
)


class Section(Struct, frozen=True):
    """All channels of one band and width: those that are open, and those that are not, with why.

    `unsettled` are those of which nobody can tell, as nothing is on record or it depends on the
    radio.
    """

    band: float
    width_mhz: int
    open: tuple[ChannelChoice, ...]
    closed: tuple[tuple[int, tuple[str, ...]], ...]
    unsettled: tuple[tuple[int, tuple[str, ...]], ...]


def sections(
    law: Country, bands: Sequence[float], width_mhz: int | None, *, outdoors: bool
) -> tuple[Section, ...]:
    """Return what the country says of every band and width asked for, in rising order."""
    return tuple(
        _section(law, band, width, outdoors=outdoors)
        for band in bands
        for width in widths_mhz(band)
        if width_mhz in (None, width)
    )


def _section(law: Country, band: float, width_mhz: int, *, outdoors: bool) -> Section:
    found = choices(law, band, width_mhz, outdoors=outdoors)
    taken = {choice.channel.centre_number for choice in found}
    others = [
        (channel.number, permission(law, channel, outdoors))
        for channel in all_channels(band, width_mhz)
        if channel.centre_number not in taken
    ]
    closed = tuple((n, v.reasons) for n, v in others if not (outdoors and v.unsettled))
    unsettled = tuple((n, v.reasons) for n, v in others if outdoors and v.unsettled)
    ordered = sorted(found, key=lambda choice: choice.channel.low_mhz)
    return Section(band, width_mhz, tuple(ordered), closed, unsettled)


def as_text(law: Country, found: Sequence[Section], look: Look, *, outdoors: bool) -> str:
    """Return the page: one block for each band and width, sources at the end."""
    where = "outdoors" if outdoors else "indoors"
    lines = [look.paint(f"Channels open in {law.code} to a unit {where}", "title")]
    sources: dict[str, int] = {}
    for section in found:
        lines += ["", look.paint(f"{section.band:g} GHz, {section.width_mhz} MHz wide", "subject")]
        lines += _block(law, section, sources, look)
    if any(section.band == SIX_GHZ for section in found):
        lines += _classes(law, look)
    lines.append("")
    times = radar_times(law)
    if any(not choice.clear for section in found for choice in section.open):
        told = (
            "Radar: listen before use for the time given; leave within "
            f"{times.move_s} s of hearing one and stay away for {times.non_occupancy_s // 60} "
            f"minutes ({times.move_source})."
        )
        lines += _wrapped(told, look)
    for source, number in sources.items():
        lines += _wrapped(f"[{number}] {source}", look)
    lines += _wrapped(f"Spans, widths and radar duty: {DATABASE}. {_NOTICE}", look)
    return "\n".join(lines) + "\n"


def _block(law: Country, section: Section, sources: dict[str, int], look: Look) -> Iterator[str]:
    rows: dict[tuple[str, str, str, str], list[int]] = {}
    for choice in section.open:
        place = "indoors only" if choice.indoor_only else ""
        key = (_duty(choice), _power(choice, sources), place, _caveat(law, choice))
        rows.setdefault(key, []).append(choice.channel.number)
    if not rows:
        yield "  none"
    for (duty, *rest), numbers in rows.items():
        name = _numbers(numbers, section.band, section.width_mhz)
        text = "; ".join((f"{name}: {duty}", *filter(None, rest)))
        yield from _wrapped(text, look, "  ")
    for words, others in (("not open", section.closed), ("not on record", section.unsettled)):
        if others:
            shut = _numbers([n for n, _ in others], section.band, section.width_mhz)
            yield from _wrapped(look.paint(f"{words}: {shut}", "dim"), look, "  ")


def _caveat(law: Country, choice: ChannelChoice) -> str:
    """Say where two rules of the table had to be read as one, which a stricter reader would not."""
    notes = permission(law, choice.channel, outdoors=False).notes
    return "across two rules that meet" if any("that meet" in note for note in notes) else ""


def _classes(law: Country, look: Look) -> Iterator[str]:
    """Yield what each class of unit may do at 6 GHz, where the country has classes."""
    known = [c for c in CLASSES if law.code in c.codes and c.spans[0].low_mhz >= _SIX_FROM_MHZ]
    if known:
        yield ""
        yield look.paint("Classes of unit at 6 GHz (`power_class`)", "subject")
        yield from _wrapped("The channels above are for low-indoor, as most units are.", look, "  ")
    for each in known:
        spans = " and ".join(f"{s.low_mhz:g}-{s.high_mhz:g}" for s in each.spans)
        density = each.density_dbm_per_mhz
        bound = "" if density is None else f" and {density:g} dBm/MHz"
        yield from _wrapped(
            f"{each.name}: {each.place}, {spans} MHz, up to {each.cap_dbm:g} dBm{bound}; demands: "
            f"{DEMANDS[each.name]} ({each.source})",
            look,
            "  ",
        )


def _duty(choice: ChannelChoice) -> str:
    if choice.clear:
        return "free of radar"
    if choice.radar_shared_mhz == 0:
        return (
            "no radar check by the table, though weather radars send at 5600 to 5650 MHz: a gap of "
            "the table"
        )
    return f"{choice.radar_shared_mhz:g} MHz shared with radar, {choice.check_s} s check"


def _power(choice: ChannelChoice, sources: dict[str, int]) -> str:
    limit = choice.limit
    told = f"up to {_number(limit.eirp_dbm)} dBm"
    if limit.power_control_eirp_dbm is not None:
        told += f" ({_number(limit.power_control_eirp_dbm)} with power control)"
    if limit.conducted_dbm is not None:
        told += f", {_number(limit.conducted_dbm)} conducted"
    whose = "" if limit.regime == "table" else f" by {limit.regime}"
    marks = sorted(sources.setdefault(str(source), len(sources) + 1) for source in limit.sources)
    return f"{told}{whose} {''.join(f'[{mark}]' for mark in marks)}"


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _numbers(numbers: Sequence[int], band: float, width_mhz: int) -> str:
    """Return channel numbers as a list, runs of next channels from the first to the last."""
    grid = [channel.number for channel in all_channels(band, width_mhz)]
    runs: list[list[int]] = []
    for number in numbers:
        if runs and grid.index(number) == grid.index(runs[-1][-1]) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run))  # noqa: PLR2004
        for run in runs
    )


def _wrapped(text: str, look: Look, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        look.width,
        initial_indent=indent,
        subsequent_indent=f"{indent}  " if indent else "",
        break_long_words=False,
        break_on_hyphens=False,
    )


def as_json(law: Country, found: Sequence[Section], *, outdoors: bool) -> str:
    """Return the same as one JSON object, with an entry for each channel."""
    times = radar_times(law)
    report: dict[str, Any] = {
        "schema_version": 1,
        "country": law.code,
        "outdoors": outdoors,
        "radar_region": law.dfs_region,
        "radar_times": {
            "move_s": times.move_s,
            "non_occupancy_s": times.non_occupancy_s,
            "source": str(times.move_source),
        },
        "database": DATABASE,
        "classes_at_six_ghz": [
            {
                "class": each.name,
                "place": each.place,
                "spans_mhz": [list(span) for span in each.spans],
                "radiated_limit_dbm": each.cap_dbm,
                "density_limit_dbm_per_mhz": each.density_dbm_per_mhz,
                "demands": DEMANDS[each.name],
                "source": str(each.source),
            }
            for each in CLASSES
            if law.code in each.codes and each.spans[0].low_mhz >= _SIX_FROM_MHZ
        ],
        "channels": [entry for section in found for entry in _entries(law, section)],
    }
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def _entries(law: Country, section: Section) -> Iterator[dict[str, Any]]:
    opened = {choice.channel.centre_number: choice for choice in section.open}
    reasons = dict(section.closed) | dict(section.unsettled)
    unsettled = {number for number, _ in section.unsettled}
    for channel in all_channels(section.band, section.width_mhz):
        entry: dict[str, Any] = {
            "band_ghz": channel.band,
            "channel": channel.number,
            "width_mhz": channel.width_mhz,
            "centre_channel": channel.centre_number,
            "members": list(channel.members),
            "low_mhz": channel.low_mhz,
            "high_mhz": channel.high_mhz,
            "permitted": channel.centre_number in opened,
            "radar_shared_mhz": radar_shared_mhz(law, channel),
            "radar_unflagged_mhz": radar_unflagged_mhz(law, channel),
        }
        choice = opened.get(channel.centre_number)
        if choice is None:
            told = list(reasons[channel.number])
            yield {**entry, "on_record": channel.number not in unsettled, "reasons": told}
            continue
        limit = choice.limit
        yield {
            **entry,
            "check_s": choice.check_s,
            "indoor_only": choice.indoor_only,
            "radiated_limit_dbm": round(limit.eirp_dbm, 2),
            "radiated_limit_with_power_control_dbm": limit.power_control_eirp_dbm,
            "conducted_limit_dbm": limit.conducted_dbm,
            "regime": limit.regime,
            "sources": [
                {"document": s.document, "clause": s.clause, "read": s.status}
                for s in limit.sources
            ],
            "notes": list(limit.notes),
        }

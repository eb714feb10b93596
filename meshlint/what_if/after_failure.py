"""What each client group gets after a failure, and what became of those whose unit is gone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from meshlint.report.figures import figure
from meshlint.what_if.outcome import groups as rates_of

if TYPE_CHECKING:
    from meshlint.what_if.asking import Answer
    from meshlint.what_if.failing import Regrouped
    from meshlint.what_if.outcome import GroupRates

CUT_OFF: Final = "cut off"


def failure_rates(answer: Answer) -> tuple[GroupRates, ...]:
    """Return what each group gets after a failure, with what became of those whose unit is gone."""
    lost = answer.failed
    assert lost is not None
    by_group = {entry.group: entry for entry in lost.regrouped}
    after = lost.after or answer.before
    found = []
    for group in rates_of(answer.before, after):
        entry = by_group.get(group.group)
        if entry is not None:
            count = group.devices[0]
            nothing = lost.after is None or round(count - entry.cut_off) == 0
            rates = {
                name: replace(rate, after=entry.unsure or (0.0 if nothing else rate.after))
                for name, rate in group.rates.items()
            }
            note = _became(entry, count)
            found.append(replace(group, rates=rates, note=note, devices=(count, count)))
        else:
            found.append(group)
    return tuple(found)


def _became(entry: Regrouped, count: int) -> str:
    if entry.unsure:
        return ""
    if round(count - entry.cut_off) == 0:
        return CUT_OFF
    told = [f"{figure(entry.cut_off)} cut off"] if entry.cut_off else []
    if entry.cut_off < entry.devices:
        told.append(f"moves to {entry.to}" if entry.to else "served by units around")
    return ", ".join(told)

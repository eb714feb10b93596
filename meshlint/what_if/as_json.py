"""The answer for programs: all that the text tells, and what it had no room for."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from meshlint.edits.as_json import change_data
from meshlint.report.plain import harmless_json
from meshlint.what_if.after_failure import failure_rates
from meshlint.what_if.headline import headline

if TYPE_CHECKING:
    from meshlint.lint.finding import Finding
    from meshlint.what_if.asking import Answer
    from meshlint.what_if.failing import Failed
    from meshlint.what_if.outcome import Figure, GroupRates, Outcome, UnitWay
    from meshlint.what_if.parents import Parents
    from meshlint.what_if.room import Room

SCHEMA_VERSION: Final = 1

Data = dict[str, Any]


def as_json(answer: Answer) -> str:
    """Return the answer as one JSON object, keys in a fixed order."""
    found = answer.outcome
    report: Data = {
        "schema_version": SCHEMA_VERSION,
        "site": answer.before.opened.site.about.name,
        "path": answer.before.path,
        "answer": headline(answer),
        "possible": not answer.impossible and not (found and found.cannot_be),
        "missing": _missing(answer.untold),
        "lawful": not (found and found.unlawful),
        "changes": [change_data(step.words, step.work, step.edits) for step in answer.steps],
        "cannot_be_written": answer.unwritable or None,
        "readings_to_take_again": list(answer.done.old_readings) if answer.done else [],
        "waivers_taken_out": list(answer.done.needless_waivers) if answer.done else [],
    }
    if found is not None:
        report |= _outcome(found)
    report["room"] = [_room(entry) for entry in answer.rooms]
    report["parents"] = _parents(answer.parents) if answer.parents else None
    report["failure"] = _failure(answer, answer.failed) if answer.failed else None
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def _outcome(found: Outcome) -> Data:
    return {
        "rates": [_group(group) for group in found.groups],
        "ways": {
            unit: {"before": _way(was), "after": _way(now)}
            for unit, (was, now) in found.ways.items()
        },
        "findings_new": [finding_data(f) for f in found.appeared],
        "findings_gone": [finding_data(f) for f in found.gone],
        "findings_milder": [{**finding_data(f), "severity_before": was} for was, f in found.milder],
        "findings_unlawful": [finding_data(f) for f in found.unlawful],
        "not_judged_any_more": {rule: list(keys) for rule, keys in found.untold.items()},
        "cut_off": list(found.cut_off),
        "joined_again": list(found.joined_again),
        "devices_cut_off": found.devices_cut_off,
    }


def finding_data(finding: Finding) -> Data:
    """Return what a finding is about, and what it says."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "subject": finding.subject,
        "label": finding.label,
        "message": finding.message,
        "fingerprint": finding.fingerprint,
    }


def _group(group: GroupRates) -> Data:
    return {
        "group": group.group,
        "devices_before": group.devices[0],
        "devices_after": group.devices[1],
        **{
            f"{name}_mbps": {"before": _figure(rate.before), "after": _figure(rate.after)}
            for name, rate in group.rates.items()
        },
        "missing": _missing(
            *(value for r in group.rates.values() for value in (r.before, r.after))
        ),
        "note": group.note or None,
    }


def _way(way: UnitWay | None) -> Data | None:
    if way is None:
        return None
    return {
        "parent": way.parent,
        "hops": way.hops,
        "radio_hops": way.radio_hops,
        "at_most_mbps": _figure(way.mbps),
        "missing": _missing(way.mbps),
    }


def _figure(value: Figure) -> float | None:
    return round(value, 3) if isinstance(value, float) else None


def _missing(*values: Figure) -> list[str]:
    found = (wanted.key for value in values if isinstance(value, tuple) for wanted in value)
    return list(dict.fromkeys(found))


def _room(room: Room) -> Data:
    return {
        "group": room.group,
        "more": room.more,
        "then_breaks": finding_data(room.then) if room.then else None,
        "broken_already": [finding_data(f) for f in room.broken],
        "not_judged": {rule: list(keys) for rule, keys in room.open},
    }


def _parents(found: Parents) -> Data:
    return {
        "unit": found.unit,
        "today": _way(found.today),
        "found": [
            {
                "parent": parent.name,
                "words": parent.draft.steps[-1].words,
                "way": _way(parent.way),
                **_outcome(parent.outcome),
            }
            for parent in found.found
        ],
        "hang_on_it": list(found.below),
        "out_of_reach": list(found.out_of_reach),
        "without_fitting_radio": list(found.unfit),
        "left_out": found.more,
        "cable_routes": [
            {"between": list(route.between), "state": route.state} for route in found.cables
        ],
    }


def _failure(answer: Answer, lost: Failed) -> Data:
    return {
        "units": list(lost.lost),
        "links": list(lost.links),
        "without_power": list(lost.powerless),
        "offline": lost.after is None,
        "recovers": [
            {"unit": back.unit, "parent": back.parent, "over": back.over} for back in lost.comebacks
        ],
        "dark": list(lost.dark),
        "missing": _missing(lost.unsure),
        "devices_cut_off": sum(entry.cut_off for entry in lost.regrouped),
        "groups_moved": [
            {
                "group": entry.group,
                "devices": entry.devices,
                "cut_off": entry.cut_off,
                "to": entry.to or None,
                "missing": _missing(entry.unsure),
            }
            for entry in lost.regrouped
        ],
        "rates": [_group(group) for group in failure_rates(answer)],
    }

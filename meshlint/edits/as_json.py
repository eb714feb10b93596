"""What mends a site for programs: each finding, its change, what that gains and costs, the rest."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from meshlint.edits.rewriting import Drop, Edit
from meshlint.report.plain import harmless_json

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meshlint.edits.candidate import Candidate
    from meshlint.edits.mending import Mend, Unmended
    from meshlint.edits.proof import Judged, Judgement
    from meshlint.lint.finding import Severity

SCHEMA_VERSION: Final = 1

Data = dict[str, Any]


def as_json(mends: Sequence[Mend], left: Sequence[Unmended], after: Judged) -> str:
    """Return the proven changes and what is left as one JSON object, keys in a fixed order."""
    report: Data = {
        "schema_version": SCHEMA_VERSION,
        "site": after.opened.site.about.name,
        "path": after.path,
        "mends": [_mend(mend) for mend in mends],
        "left": [
            {
                "finding": _finding(entry.finding, entry.label, entry.severity),
                "tried": [{"words": words, "reason": reason} for words, reason in entry.reasons],
            }
            for entry in left
        ],
    }
    return harmless_json(json.dumps(report, indent=2, ensure_ascii=False)) + "\n"


def change_data(words: str, work: str, edits: Iterable[Edit]) -> Data:
    """Return a change: in words, the work that it is, and what is set, appended and dropped."""
    return {"words": words, "work": work, "edits": [_edit(edit) for edit in edits]}


def _edit(edit: Edit) -> Data:
    where = list(edit.pointer)
    if isinstance(edit, Drop):
        return {"do": "drop", "where": where}
    return {"do": type(edit).__name__.lower(), "where": where, "value": edit.value}


def _mend(mend: Mend) -> Data:
    proof, change = mend.proof, mend.change
    return {
        "finding": _finding(mend.finding, mend.label, mend.severity),
        "change": _change(change),
        "rule_then_holds": proof.holds,
        "severity_then": proof.left,
        "rates": [
            {"group": group, "down_mbps": {"before": round(was, 3), "after": round(now, 3)}}
            for group, (was, now) in proof.rates_mbps.items()
        ],
        "rates_by_usual_ranges": [
            {
                "group": group,
                "down_mbps": {"before": _ends(was), "after": _ends(now)},
            }
            for group, (was, now) in proof.usual_rates_mbps.items()
        ],
        "also_gone": _pairs(proof.gone),
        "new_but_milder": _pairs(proof.milder),
        "not_judged_any_more": _pairs(proof.open),
        "readings_to_take_again": list(proof.old_readings),
        "waivers_taken_out": list(proof.needless_waivers),
        "other_proven_changes": mend.others,
    }


def _ends(rates_mbps: tuple[float, ...]) -> Data:
    return {"low": round(min(rates_mbps), 3), "high": round(max(rates_mbps), 3)}


def _change(change: Candidate) -> Data:
    return change_data(change.words, change.work, change.edits)


def _finding(pair: Judgement, label: str, severity: Severity) -> Data:
    return {"rule": pair[0], "severity": severity, "subject": pair[1], "label": label}


def _pairs(pairs: Iterable[Judgement]) -> list[Data]:
    return [{"rule": rule, "subject": subject} for rule, subject in pairs]

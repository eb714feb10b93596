"""GitLab's code quality report, which it shows in a merge request and next to the changed lines.

The rules are those of its manual, "Code Quality report format": a JSON array of objects with
`description`, `check_name`, `fingerprint`, `severity` (info, minor, major, critical or blocker) and
`location` with `path`, relative to the repository and not beginning with `./`, and `lines.begin`.
It tells entries apart by their fingerprints alone, so one that two sites of one name share is
numbered. A list has no room for what holds of all of it, so a call that chose rules says so in an
entry of its own: what it did not look at must not be read as mended.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.lint.finding import fingerprint
from meshlint.report.alerts import Alert, Alerts
from meshlint.report.places import from_top
from meshlint.report.plain import harmless_json, visible
from meshlint.report.totals import Totals, chosen_words
from meshlint.site.problem import Place

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult

_SEVERITIES = {"error": "critical", "warning": "major", "note": "minor", "caution": "info"}

PARTIAL = "only-some-rules"
"""What stands for a rule in the entry that says that only some were looked at."""


class GitLabWriter:
    """Writes the array entry by entry."""

    def __init__(self) -> None:
        self._alerts = Alerts()
        self._seen: dict[str, int] = {}
        self._tally = Totals()
        self._first = ""

    def add(self, result: SiteResult) -> str:
        """Return the entries of one file."""
        self._tally.add(result)
        self._first = self._first or result.path
        return "".join(self._entry(alert) for alert in self._alerts.of(result))

    def finish(self) -> str:
        """Return the end of the array."""
        last = self._entry(_partial(chosen, self._first)) if (chosen := self._tally.chosen) else ""
        return last + ("\n]\n" if self._seen else "[]\n")

    def _entry(self, alert: Alert) -> str:
        from msgspec import json

        start = ",\n" if self._seen else "[\n"
        times = self._seen[alert.fingerprint] = self._seen.get(alert.fingerprint, 0) + 1
        is_caution = alert.severity == "caution" and alert.rule != PARTIAL
        kind = "Caution, for a licensed person to review: " if is_caution else ""
        remedy = f" Remedy: {alert.remedy}" if alert.remedy else ""
        entry = {
            "description": visible(f"{kind}{alert.message}{remedy}"),
            "check_name": alert.rule,
            "fingerprint": alert.fingerprint + (f"-{times}" if times > 1 else ""),
            "severity": "blocker" if alert.is_broken else _SEVERITIES[alert.severity],
            "location": {
                "path": from_top(alert.place.path).path,
                "lines": {"begin": max(1, alert.place.line)},
            },
        }
        return start + harmless_json(json.encode(entry).decode())


def _partial(chosen: tuple[int, int], path: str) -> Alert:
    words = f"Looked at by {chosen_words(chosen)}: what the others would say is not in this report."
    return Alert("caution", PARTIAL, "", Place(path, 1, 1), words, fingerprint("", PARTIAL, ""))

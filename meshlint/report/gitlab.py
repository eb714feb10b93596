"""GitLab's code quality report, which it shows in a merge request and next to the changed lines.

The rules are those of its manual, "Code Quality report format": a JSON array of objects with
`description`, `check_name`, `fingerprint`, `severity` (info, minor, major, critical or blocker) and
`location` with `path`, relative to the repository and not beginning with `./`, and `lines.begin`.
It tells entries apart by their fingerprints alone, so one that two sites of one name share is
numbered.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.report.alerts import Alerts
from meshlint.report.places import from_top
from meshlint.report.plain import harmless_json, visible

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult
    from meshlint.report.alerts import Alert

_SEVERITIES = {"error": "critical", "warning": "major", "note": "minor", "caution": "info"}


class GitLabWriter:
    """Writes the array entry by entry."""

    def __init__(self) -> None:
        self._alerts = Alerts()
        self._seen: dict[str, int] = {}

    def add(self, result: SiteResult) -> str:
        """Return the entries of one file."""
        return "".join(self._entry(alert) for alert in self._alerts.of(result))

    def finish(self) -> str:
        """Return the end of the array."""
        return "\n]\n" if self._seen else "[]\n"

    def _entry(self, alert: Alert) -> str:
        from msgspec import json

        start = ",\n" if self._seen else "[\n"
        times = self._seen[alert.fingerprint] = self._seen.get(alert.fingerprint, 0) + 1
        kind = "Caution, for a licensed person to review: " if alert.severity == "caution" else ""
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

"""Workflow commands of GitHub Actions, by which it shows findings next to the changed lines.

The rules are those of its manual, "Workflow commands for GitHub Actions": `::error`, `::warning` or
`::notice` with `file`, `line`, `col` and `title`; `%`, carriage return and line feed are written as
`%25`, `%0D` and `%0A`, and in a property `:` and `,` as `%3A` and `%2C`. It shows ten of each of
the three in a step, so the gravest are written first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.report.alerts import Alerts
from meshlint.report.places import from_top
from meshlint.report.plain import visible
from meshlint.report.totals import Totals, counted

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult
    from meshlint.report.alerts import Alert

_COMMANDS = {"error": "error", "warning": "warning", "note": "notice", "caution": "notice"}


class GitHubWriter:
    """Gathers the commands, and writes them at the end, the gravest first."""

    def __init__(self) -> None:
        self._alerts = Alerts()
        self._tally = Totals()
        self._lines: dict[int, list[str]] = {}

    def add(self, result: SiteResult) -> str:
        """Take one file in; nothing can be written before all are known."""
        self._tally.add(result)
        for alert in self._alerts.of(result):
            self._lines.setdefault(alert.rank, []).append(_command(alert))
        return ""

    def finish(self) -> str:
        """Return the commands, and a line for the log that counts."""
        lines = [line for rank in sorted(self._lines) for line in self._lines[rank]]
        return "".join([*lines, f"{counted(self._tally)}\n"])


def _command(alert: Alert) -> str:
    properties = {
        "file": from_top(alert.place.path).path,
        "line": str(max(1, alert.place.line)),
        "col": str(max(1, alert.place.column)),
        "title": f"{alert.severity} {alert.rule}" + (f", {alert.label}" if alert.label else ""),
    }
    row = ",".join(f"{name}={_property(value)}" for name, value in properties.items())
    because = f"\nBecause: {visible(alert.why)}" if alert.why else ""
    remedy = f"\nRemedy: {visible(alert.remedy)}" if alert.remedy else ""
    message = _data(f"{visible(alert.message)}{because}{remedy}")
    return f"::{_COMMANDS[alert.severity]} {row}::{message}\n"


def _data(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(visible(text)).replace(":", "%3A").replace(",", "%2C")

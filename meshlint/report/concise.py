"""One line for each finding, for editors and `grep`: `path:line:column: severity rule: words`.

The last line counts, and is none of that shape.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.report.alerts import Alerts
from meshlint.report.plain import visible
from meshlint.report.text import only_failing
from meshlint.report.totals import Totals, counted

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult
    from meshlint.report.alerts import Alert


class ConciseWriter:
    """Writes the lines of each file as it comes."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet
        self._alerts = Alerts()
        self._tally = Totals()

    def add(self, result: SiteResult) -> str:
        """Return the lines of one file, in its own order."""
        self._tally.add(result)
        if self._quiet:
            result = only_failing(result)
        alerts = sorted(self._alerts.of(result), key=lambda alert: (alert.place, alert.rank))
        return "".join(map(_line, alerts))

    def finish(self) -> str:
        """Return the line that counts."""
        return f"{counted(self._tally)}\n"


def _line(alert: Alert) -> str:
    place = f"{alert.place.path}:{max(1, alert.place.line)}:{max(1, alert.place.column)}"
    said = " ".join(f"{alert.message} {alert.remedy}".split())
    return visible(f"{place}: {alert.severity} {alert.rule}: {said}") + "\n"

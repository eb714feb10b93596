"""A design-rule linter for Wi-Fi mesh sites.

>>> import meshlint
>>> result = meshlint.check("central.site.yaml")
>>> [(finding.rule, finding.severity, finding.message) for finding in result.findings]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from meshlint.lint.finding import SiteResult

__version__ = "0.1.0"


def check(path: str | Path, *, today: date | None = None) -> SiteResult:
    """Return what the rules say of one site file, held to the policy of its place.

    `today` is the day on which waivers are judged; without one it is the reader's own day. A file
    that cannot be understood raises nothing: its `problems` say what is wrong and where.
    """
    # Imported here, so that `import meshlint` costs nothing.
    from datetime import date as day
    from pathlib import Path

    from meshlint.lint.finding import SiteResult
    from meshlint.run import Checker
    from meshlint.site.files import read_bytes
    from meshlint.site.problem import InputError

    shown = str(path)
    try:
        data = read_bytes(Path(path), shown)
    except InputError as error:
        return SiteResult(path=shown, problems=error.problems)
    return Checker(today or day.today()).check(data, shown)  # noqa: DTZ011 - the reader's own day

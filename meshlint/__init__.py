"""A design-rule linter for Wi-Fi mesh sites.

>>> import meshlint
>>> result = meshlint.check("central.site.yaml")
>>> [(finding.rule, finding.severity, finding.message) for finding in result.findings]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meshlint.api import Result, check, check_text
    from meshlint.lint.finding import Finding, NotJudged, Severity, Source
    from meshlint.site.problem import InputError, Place, Problem

__version__ = "0.1.0"

__all__ = [
    "Finding",
    "InputError",
    "NotJudged",
    "Place",
    "Problem",
    "Result",
    "Severity",
    "Source",
    "__version__",
    "check",
    "check_text",
]

_HOMES = {
    **dict.fromkeys(("Result", "check", "check_text"), "meshlint.api"),
    **dict.fromkeys(("Finding", "NotJudged", "Severity", "Source"), "meshlint.lint.finding"),
    **dict.fromkeys(("InputError", "Place", "Problem"), "meshlint.site.problem"),
}


def __getattr__(name: str) -> object:
    """Return a name of the interface, its module imported now: `import meshlint` costs nothing."""
    if name not in _HOMES:
        message = f"module 'meshlint' has no attribute '{name}'"
        raise AttributeError(message)
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    """Return the names of the interface, for a console's completion."""
    return sorted({*globals(), *__all__})

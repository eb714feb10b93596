"""The formats of a report, in one table, and where each goes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.finding import SiteResult
    from meshlint.report.text import Look

FORMATS = ("text", "json", "sarif", "junit", "markdown", "sarif-all")

LISTING = frozenset({"json", "sarif-all", "junit"})
"""Those that list what held or was not judged; to the others its number is enough."""


class Writer(Protocol):
    """Takes results one by one and returns what can be written of them so far."""

    def add(self, result: SiteResult) -> str:
        """Return what there is to write now that this file is known."""

    def finish(self) -> str:
        """Return what there is to write now that all files are known."""


def writer(name: str, look: Look, cards: Callable[[], Mapping[str, Card]]) -> Writer:
    """Return the writer of one of `FORMATS`; only its own module is imported."""
    if name == "text":
        from meshlint.report.text import TextWriter

        return TextWriter(look)
    if name == "json":
        from meshlint.report.as_json import JsonWriter

        return JsonWriter()
    if name in ("sarif", "sarif-all"):
        from meshlint.report.sarif import SarifWriter

        return SarifWriter(cards, whole_record=name == "sarif-all")
    if name == "junit":
        from meshlint.report.junit import JUnitWriter

        return JUnitWriter()
    if name == "markdown":
        from meshlint.report.markdown import MarkdownWriter

        return MarkdownWriter()
    message = f"no format {name}"
    raise ValueError(message)

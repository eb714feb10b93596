"""The formats of a report, in one table, and where each goes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.finding import SiteResult
    from meshlint.report.lines import Look

FORMATS = ("text", "json", "sarif", "junit", "markdown", "concise", "github", "gitlab", "sarif-all")

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
    made: Writer
    if name == "text":
        from meshlint.report.text import TextWriter

        made = TextWriter(look)
    elif name == "json":
        from meshlint.report.as_json import JsonWriter

        made = JsonWriter()
    elif name in ("sarif", "sarif-all"):
        from meshlint.report.sarif import SarifWriter

        made = SarifWriter(cards, whole_record=name == "sarif-all")
    elif name == "junit":
        from meshlint.report.junit import JUnitWriter

        made = JUnitWriter()
    elif name == "markdown":
        from meshlint.report.markdown import MarkdownWriter

        made = MarkdownWriter()
    elif name == "concise":
        from meshlint.report.concise import ConciseWriter

        made = ConciseWriter(quiet=look.quiet)
    elif name == "github":
        from meshlint.report.github import GitHubWriter

        made = GitHubWriter()
    elif name == "gitlab":
        from meshlint.report.gitlab import GitLabWriter

        made = GitLabWriter()
    else:
        message = f"no format {name}"
        raise ValueError(message)
    return made

"""What commands take, by kind: how each is read, and what a shell may complete it to.

Completion runs at every press of a key, so what it reads is small, and whatever goes wrong means
that there is nothing to offer.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Iterable

    from click.shell_completion import CompletionItem


class PathType(click.ParamType):  # type: ignore[type-arg] # click below 8.4 has none
    """A file or a folder; whether it is there, whoever reads it says with its place."""

    name = "path"

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002 - click calls it
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Leave it to the shell, which knows its files best."""
        from click.shell_completion import CompletionItem

        return [CompletionItem(incomplete, type="file")]


class RuleType(click.ParamType):  # type: ignore[type-arg]
    """The name of a rule, shipped or of the repository of the current folder."""

    name = "rule"

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the rules that begin so, each with what holds where it is kept."""
        from datetime import date

        from click.shell_completion import CompletionItem

        from meshlint.run import Checker, shipped_rules
        from meshlint.site.files import STANDARD_INPUT
        from meshlint.site.problem import InputError

        checker = Checker(date.min)
        try:
            rules = checker.all_rules(checker.policy_of(STANDARD_INPUT))
        except InputError:
            rules = shipped_rules()
        return [
            CompletionItem(card.id, help=card.title)
            for card in rules.cards
            if card.id.startswith(incomplete)
        ]


class CountryType(click.ParamType):  # type: ignore[type-arg]
    """A country's code of ISO 3166-1."""

    name = "code"

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the codes that begin so."""
        from meshlint.law.codes import COUNTRY_CODES

        return beginning(incomplete.upper(), sorted(COUNTRY_CODES))


class SubjectType(click.ParamType):  # type: ignore[type-arg]
    """A subject of the site that the call names, such as `units/desk`."""

    name = "subject"

    def shell_complete(
        self,
        ctx: click.Context,
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the subjects of the site that begin so."""
        from datetime import date

        from meshlint.run import Checker
        from meshlint.site.files import STANDARD_INPUT, read_bytes
        from meshlint.site.problem import InputError
        from meshlint.workings.subjects import SCOPES, subjects

        path = ctx.params.get("site") or _file_on_the_line()
        if not path or path == STANDARD_INPUT:
            return []
        try:
            workings = Checker(date.min).open(read_bytes(Path(path), path), path).workings
        except InputError:
            return []
        keys = {subject.key for scope in SCOPES for subject in subjects(workings, scope)[0]}
        return beginning(incomplete, sorted(keys))


def _file_on_the_line() -> str:
    """Return the first file among the words typed so far.

    click gives up on a line at an option that still lacks its value, and so forgets the others.
    """
    import shlex

    try:
        words = shlex.split(os.environ.get("COMP_WORDS", ""))
    except ValueError:  # a quote that is not closed yet
        return ""
    return next((word for word in words if os.path.isfile(word)), "")  # noqa: PTH113 - never raises


def beginning(incomplete: str, words: Iterable[str]) -> list[CompletionItem]:
    """Return the words that begin with what is typed so far."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(word) for word in words if word.startswith(incomplete)]

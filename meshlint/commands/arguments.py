"""What commands take, by kind: how each is read, and what a shell may complete it to.

Completion runs at every press of a key, so what it reads is small, and whatever goes wrong means
that there is nothing to offer.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

if TYPE_CHECKING:
    from collections.abc import Iterable

    from click.shell_completion import CompletionItem

    from meshlint.run import OpenSite


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
        from meshlint.workings.subjects import SCOPES, subjects

        opened = _opened(ctx)
        if opened is None:
            return []
        keys = {s.key for scope in SCOPES for s in subjects(opened.workings, scope)[0]}
        return beginning(incomplete, sorted(keys))


class NameType(click.ParamType):  # type: ignore[type-arg]
    """A name of the site that the call names, as reports spell it: `study`, `hall/mid`."""

    name = "name"

    def __init__(self, *kinds: Literal["units", "radios", "links", "groups", "routes"]) -> None:
        self.kinds = kinds

    def shell_complete(
        self,
        ctx: click.Context,
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the names of the site that begin so."""
        opened = _opened(ctx)
        if opened is None:
            return []
        site = opened.site
        names = {
            "units": list(site.units),
            "radios": [f"{u.name}/{radio}" for u in site.units.values() for radio in u.radios],
            "links": list(site.backhaul or ()),
            "groups": list(site.clients or ()),
            "routes": [" to ".join(route.between) for route in site.cable_routes or ()],
        }
        return beginning(incomplete, sorted(n for kind in self.kinds for n in names[kind]))


def _opened(ctx: click.Context) -> OpenSite | None:
    """Return the site that the call names, `None` where it cannot be read."""
    from datetime import date

    from meshlint.run import Checker
    from meshlint.site.files import STANDARD_INPUT, read_bytes
    from meshlint.site.problem import InputError

    path = ctx.params.get("site") or _file_on_the_line()
    if not path or path == STANDARD_INPUT:
        return None
    try:
        return Checker(date.min).open(read_bytes(Path(path), path), path)
    except InputError:
        return None


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

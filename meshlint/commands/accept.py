"""`meshlint accept`: write down today's findings, so that only new ones fail."""

from __future__ import annotations

import sys
from collections import Counter
from datetime import date
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.day import Day
from meshlint.fleet.discovery import site_files
from meshlint.fleet.runner import Orders, results_of
from meshlint.fleet.vanished_sites import folders_in, is_searched
from meshlint.lint.accepted import accepted_text, read_accepted
from meshlint.lint.finding import Listed
from meshlint.output import sole_writer, write_whole
from meshlint.run import Checker
from meshlint.site.files import followed
from meshlint.site.problem import InputError
from meshlint.terminal import NOT_UNDERSTOOD, refuse

if TYPE_CHECKING:
    from collections.abc import Container, Iterable
    from pathlib import Path

    from meshlint.lint.accepted import AcceptedList
    from meshlint.lint.finding import SiteResult
    from meshlint.site.problem import Problem


@click.command()
@click.argument("paths", nargs=-1, type=PathType())
@click.option(
    "--because", default="There before the gate.", show_default=True, help="Why they are accepted."
)
@click.option("--today", type=Day(), help="The day of acceptance.  [default: today]")
def command(paths: tuple[str, ...], because: str, today: date | None) -> None:
    """Write the open findings of the sites in PATHS to their repository's accepted list.

    From then on `meshlint check` fails only on new findings. Entries that are there already keep
    their day and reason; those whose finding is gone are taken out; sites not in PATHS are left
    alone, unless the whole repository was searched and has no such site any more. A finding that
    nobody may waive is not accepted, and neither is a caution.

    The list stands next to meshlint.yaml, which must be there: `meshlint: 1` is enough.

    \b
    Examples:
      meshlint accept
      meshlint accept branches/ --because "Until the refit in spring"
    """
    named = paths or (".",)
    files = site_files(named)
    if not files:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    day = today or date.today()  # noqa: DTZ011 - the reader's own day
    checker, searched = Checker(day), folders_in(named)
    found: dict[Path, dict[str, list[SiteResult]]] = {}
    lists: dict[Path, Path] = {}
    not_understood = False
    told: set[Problem] = set()
    for result in results_of(files, Orders(day, apart=True)):
        if result.problems or result.fault:
            _tell_not_understood(result, told)
            told.update(result.shared_problems)
            not_understood = True
            continue
        policy = checker.policy_of(result.path)
        if policy is None:
            refuse(
                f"no meshlint.yaml from the folder of {result.path} upwards, and the list stands "
                "next to it; write one, `meshlint: 1` is enough"
            )
        # Two policies may name one list, each in its own way.
        path = lists.setdefault(followed(policy.accepted), policy.accepted)
        found.setdefault(path, {}).setdefault(result.site, []).append(result)
    for path, sites in found.items():
        try:
            target = followed(path)
            with sole_writer(target.parent):
                before = read_accepted(path, str(path))
                # A file that could not be understood may be of any site.
                every_site_seen = is_searched(path, searched) and not not_understood
                left = {} if every_site_seen else before
                after = {**left, **_renewed(before, sites, because, day)}
                write_whole(target, accepted_text(after))
        except InputError as error:
            refuse(str(error))
        except OSError as error:
            refuse(f"{path} cannot be written: {error.strerror}")
        click.echo(_summary(path, before, after))
    _tell_refused(r for sites in found.values() for results in sites.values() for r in results)
    if not_understood:
        sys.exit(NOT_UNDERSTOOD)


def _tell_not_understood(result: SiteResult, told: Container[Problem]) -> None:
    """Say why a file could not be checked, unless that lies in another and was told already."""
    words = [str(problem) for problem in result.problems if problem not in told]
    for said in (*words, *filter(None, [result.fault])):
        click.echo(f"meshlint: {result.path}: {said}", err=True)


def _renewed(
    before: AcceptedList, sites: dict[str, list[SiteResult]], because: str, day: date
) -> AcceptedList:
    renewed: AcceptedList = {}
    for site, results in sites.items():
        gone = {entry.fingerprint for result in results for entry in result.vanished}
        kept = {e.fingerprint: e for e in before.get(site, ()) if e.fingerprint not in gone}
        for result in results:
            for finding in result.open_findings:
                known = kept.get(finding.fingerprint)
                # Another run may have put it there since this one looked.
                if known is not None and known.severity == finding.severity:
                    continue
                if finding.waivable:
                    kept[finding.fingerprint] = Listed(
                        rule=finding.rule,
                        subject=finding.subject,
                        severity=finding.severity,
                        fingerprint=finding.fingerprint,
                        since=day,
                        because=because,
                        place=finding.place,
                    )
        renewed[site] = tuple(kept.values())
    return renewed


def _summary(path: Path, before: AcceptedList, after: AcceptedList) -> str:
    def marks(entries: AcceptedList) -> set[str]:
        return {entry.fingerprint for listed in entries.values() for entry in listed}

    old, new = marks(before), marks(after)
    return (
        f"{path}: {len(new)} accepted findings, {len(new - old)} of them new; "
        f"{len(old - new)} no longer there and taken out."
    )


def _tell_refused(results: Iterable[SiteResult]) -> None:
    """Say how many findings stay open because nobody may waive them."""
    held = Counter(
        finding.rule
        for result in results
        for finding in result.open_findings
        if not finding.waivable
    )
    rules = ", ".join(f"{rule} ({number})" for rule, number in sorted(held.items()))
    if held:
        click.echo(f"Still open, since nobody may waive them: {held.total()}, of {rules}.")

"""`meshlint check`: judge site files and report what was found."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.day import Day
from meshlint.commands.delivery import Target, TargetType, delivered
from meshlint.terminal import refuse

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.fleet.cache import Cache
    from meshlint.lint.card import Card
    from meshlint.lint.finding import Severity


@click.command()
@click.argument("paths", nargs=-1)
@click.option(
    "--format",
    "targets",
    type=TargetType(),
    multiple=True,
    help="How to report: text, concise (a line each), json, sarif (open findings), sarif-all (the "
    "whole record), github, gitlab, junit or markdown; NAME=FILE writes to a file. May be given "
    "several times.  [default: text]",
)
@click.option(
    "--fail-at",
    type=click.Choice(["error", "warning", "note"]),
    help="The mildest severity that makes the exit status 1.  [default: the policy's, else error]",
)
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the report to this file, whole or not at all.",
)
@click.option(
    "--changed-since",
    metavar="REVISION",
    help="Only sites that changed in git since REVISION, or whose catalogue, policy, cards or "
    "accepted list did.",
)
@click.option(
    "--pre-commit",
    is_flag=True,
    help="As the pre-commit hook runs it: only sites that what is staged touches, or that changed "
    "since PRE_COMMIT_FROM_REF. All that git knows where nothing is staged or committed yet.",
)
@click.option("--jobs", type=click.IntRange(1), help="At most so many processes.")
@click.option("--no-cache", is_flag=True, help="Work everything out afresh, and keep nothing.")
@click.option(
    "--today",
    type=Day(),
    help="The day on which waivers are judged, for runs that must repeat.  [default: today]",
)
def command(
    paths: tuple[str, ...],
    targets: tuple[Target, ...],
    fail_at: Severity | None,
    output: Path | None,
    changed_since: str | None,
    pre_commit: bool,  # noqa: FBT001 - click passes options by name
    jobs: int | None,
    no_cache: bool,  # noqa: FBT001 - click passes options by name
    today: date | None,
) -> None:
    """Check site files, all *.site.yaml files in folders, or - for standard input.

    Without PATHS, checks the current folder. Folders are searched as git would: what .gitignore
    names is left out. The exit status is the same for every format.

    \b
    Exit status:
      0  nothing at or above the failing severity
      1  findings
      2  something could not be understood, or nothing was found to check
      3  meshlint itself failed

    \b
    Examples:
      meshlint check central.site.yaml
      meshlint check branches/ --fail-at warning
      git show HEAD~1:central.site.yaml | meshlint check -
      meshlint check branches/ --format text --format sarif=findings.sarif
      meshlint check --changed-since origin/main
    """
    if pre_commit and changed_since is not None:
        refuse("--pre-commit says itself what to compare with; leave --changed-since out")
    from meshlint.fleet.discovery import site_files
    from meshlint.fleet.runner import Orders, results_of
    from meshlint.fleet.vanished_sites import and_gone_sites
    from meshlint.report.formats import LISTING

    files = site_files(paths or (".",))
    if not files and not pre_commit:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    if pre_commit or changed_since is not None:
        files = _touched(files, changed_since)
    day = today or date.today()  # noqa: DTZ011 - the reader's own day
    listing = any(target.form in LISTING for target in targets)
    orders = Orders(day, fail_at, jobs, listing=listing)
    keys, kept = None, None
    if not no_cache:
        from meshlint.fleet.keys import Keys

        keys, kept = Keys(orders.today, orders.fail_at), _cache()

    def cards() -> Mapping[str, Card]:
        from meshlint.run import cards_for

        return cards_for(files, orders.today)

    results = results_of(files, orders, keys, kept)
    if not pre_commit and changed_since is None:
        results = and_gone_sites(results, paths or (".",))
    try:
        status = delivered(results, files, targets, output, cards)
    finally:
        if kept is not None:
            kept.close()
    if status:
        sys.exit(status)


def _cache() -> Cache | None:
    """Return the cache, `None` where there can be none, or it must not be used; that is told."""
    from meshlint.fleet.cache import trusted_cache
    from meshlint.fleet.cache_trust import NotTrustedError
    from meshlint.report.plain import visible

    try:
        return trusted_cache()
    except NotTrustedError as error:
        click.echo(f"meshlint: the cache is not used: {visible(str(error))}", err=True)
        return None


def _touched(files: tuple[str, ...], since: str | None) -> tuple[str, ...]:
    """Return the files that changed since a revision, or without one that the commit touches."""
    from meshlint.fleet.changed import NotKnown, touched_since
    from meshlint.fleet.commit import touched_by_commit

    try:
        touched = touched_by_commit(files) if since is None else touched_since(since, files)
    except NotKnown as error:
        refuse(str(error))
    if not touched:
        said = f"no site changed since {since}" if since else "the commit touches no site"
        click.echo(f"meshlint: {said}", err=True)
    return touched

"""`meshlint fleet`: questions that span sites."""

from __future__ import annotations

import os
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.day import Day
from meshlint.commands.delivery import Target, TargetType, delivered
from meshlint.fleet.cross_site_checks import Fleet
from meshlint.fleet.discovery import site_files
from meshlint.fleet.vanished_sites import and_gone_sites
from meshlint.run import Checker, cards_for
from meshlint.site.files import top_around, with_slashes
from meshlint.terminal import refuse

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.finding import Severity


@click.command()
@click.argument("paths", nargs=-1, type=PathType())
@click.option(
    "--format",
    "targets",
    type=TargetType(),
    multiple=True,
    help="How to report, as in `meshlint check`.  [default: text]",
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
@click.option("--today", type=Day(), help="The day on which waivers are judged.  [default: today]")
def command(
    paths: tuple[str, ...],
    targets: tuple[Target, ...],
    fail_at: Severity | None,
    output: Path | None,
    today: date | None,
) -> None:
    """Ask what no site answers alone, over all sites in PATHS or in the whole repository.

    It tells which names of sites or units are used twice, which models of a catalogue nobody uses,
    where a site differs from its siblings (the other sites of its class), and which sites of the
    accepted list have no file any more. A hook that is given only some files should run `meshlint
    check`; this one needs them all.

    \b
    Examples:
      meshlint fleet
      meshlint fleet branches/ --fail-at warning --format sarif=fleet.sarif
    """
    here = Path.cwd().resolve()
    named = paths or (os.path.relpath(top_around(here) or here),)
    files = site_files(named)
    if not paths:
        # From a folder inside the repository, `hall.site.yaml` and not `../north/hall.site.yaml`.
        files = tuple(sorted(with_slashes(os.path.relpath(file)) for file in files))
    if not files:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this repository'}")
    day = today or date.today()  # noqa: DTZ011 - the reader's own day

    def cards() -> Mapping[str, Card]:
        return cards_for(files, day)

    fleet = Fleet(Checker(day, fail_at), files)
    results = and_gone_sites(fleet.results(), named)
    status = delivered(results, files, targets, output, cards)
    if status:
        sys.exit(status)

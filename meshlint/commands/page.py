"""`meshlint page`: a site as one HTML page to hand over."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.day import Day
from meshlint.commands.opening import opened
from meshlint.page.render import READERS, page
from meshlint.run import Checker
from meshlint.terminal import deliver

if TYPE_CHECKING:
    from meshlint.page.render import Reader


@click.command()
@click.argument("site", type=PathType())
@click.option(
    "--for",
    "reader",
    type=click.Choice([*READERS, "all"]),
    default="client",
    show_default=True,
    help="Who is to read it.",
)
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.html",
    help="Write into this file.  [default: standard output]",
)
@click.option(
    "--today",
    type=Day(),
    help="The day on which the site is looked at, for runs that must repeat.  [default: today]",
)
def command(
    site: str, reader: Reader | Literal["all"], output: Path | None, today: date | None
) -> None:
    """Make one HTML page of SITE to read, print and hand over.

    For the client: what is got where, what fails with what, what to buy. For the installer: what
    to set on which unit, and what to measure. For review: findings and every number. The page has
    no script and asks nothing of any server.

    \b
    Examples:
      meshlint page central.site.yaml --output central.html
      meshlint page central.site.yaml --for installer --output ladder.html
    """
    day = today or date.today()  # noqa: DTZ011 - the reader's own day
    checker = Checker(day)
    found = opened(checker, site)
    result = checker.judge(found)
    readers = READERS if reader == "all" else (reader,)
    usual = checker.by_usual_values(found) if "client" in readers else None
    deliver(page(found.workings, found.rules.facts, result, readers, day, usual), output)
    if output is not None:
        click.echo(f"Wrote {output}.")

"""`meshlint workings`: every number of a site, or a drawing of it."""

from __future__ import annotations

from datetime import date
from itertools import chain
from pathlib import Path

import click

from meshlint.commands.arguments import PathType, SubjectType
from meshlint.commands.day import Day
from meshlint.commands.opening import opened
from meshlint.report import workings as report
from meshlint.report.plan import draw
from meshlint.report.plan_sheet import NothingToDraw
from meshlint.run import Checker
from meshlint.site.files import STANDARD_INPUT
from meshlint.terminal import deliver, refuse


@click.command()
@click.argument("site", type=PathType())
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
@click.option("--subject", type=SubjectType(), help="Only this subject, such as units/desk.")
@click.option(
    "--plan",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.svg",
    help="Draw the levels into this file instead: cells, walls, units, backhaul and findings.",
)
@click.option(
    "--band",
    type=click.Choice(["2.4", "5", "6"]),
    help="The band that is drawn.  [default: 5 where any unit serves it]",
)
@click.option(
    "--today",
    type=Day(),
    help="The day on which the site is looked at, for runs that must repeat.  [default: today]",
)
def command(
    site: str,
    form: str,
    subject: str | None,
    plan: Path | None,
    band: str | None,
    today: date | None,
) -> None:
    """Show every number worked out for SITE: unit, meaning, source, or why unknown.

    \b
    Examples:
      meshlint workings central.site.yaml
      meshlint workings central.site.yaml --subject units/desk
      meshlint workings central.site.yaml --plan central.svg
    """
    checker = Checker(today or date.today())  # noqa: DTZ011 - the reader's own day
    if plan is not None:
        _draw(checker, site, plan, None if band is None else float(band))
        return
    render = report.as_json if form == "json" else report.as_text
    found = opened(checker, site)
    parts = render(found.workings, found.rules.facts, subject)
    first = next(parts, "")
    if not first and subject is not None:
        refuse(f"{site} has no subject '{subject}'")
    for part in chain((first,), parts):
        click.echo(part, nl=False)


def _draw(checker: Checker, path: str, plan: Path, band: float | None) -> None:
    if path == STANDARD_INPUT:
        refuse("a plan is drawn from a file, not from standard input")
    found = opened(checker, path)
    try:
        deliver(draw(found.workings, checker.judge(found).open_findings, band), plan)
    except NothingToDraw:
        refuse(
            f"{path} has nothing to draw; state outline_m of a level, or where units stand on one"
        )
    click.echo(f"Drew {plan}.")

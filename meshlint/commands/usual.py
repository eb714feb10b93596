"""`meshlint usual`: what is taken for what a site does not state, and who says so."""

from __future__ import annotations

from datetime import date

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.opening import opened
from meshlint.report import usual as report
from meshlint.run import Checker
from meshlint.usual.fillings import gaps_of
from meshlint.workings.governance.usual_ranges import ranges_under


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
def command(site: str, form: str) -> None:
    """Show the usual range of each input that SITE leaves out: low, usual, high, source.

    What has no usual range, such as a scan of the neighbours, is not listed: nothing is taken for
    it. Ranges do not take the place of a data sheet; what the file states always counts. Sites of
    more than 400 radios are judged by what they state alone.

    \b
    Examples:
      meshlint usual cafe.site.yaml
      meshlint usual cafe.site.yaml --format json
    """
    checker = Checker(date.min)
    opened_site = opened(checker, site)
    found = opened_site.site
    gaps = gaps_of(found, ranges_under(opened_site.settings.usual_ranges))
    render = report.as_json if form == "json" else report.as_text
    click.echo(render(site, found.about.country, gaps), nl=False)

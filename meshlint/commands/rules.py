"""`meshlint rules`: every rule on a line."""

from __future__ import annotations

import click

from meshlint.commands.opening import rules_here
from meshlint.report.cards import as_json, listing


@click.command()
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
def command(form: str) -> None:
    """List the rules: name, severity, and what holds where the rule is kept.

    \b
    Examples:
      meshlint rules
      meshlint rules --format json
    """
    render = as_json if form == "json" else listing
    click.echo(render(rules_here().cards), nl=False)

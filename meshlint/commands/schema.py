"""`meshlint schema`: a JSON Schema for an editor."""

from __future__ import annotations

import click

from meshlint.site.schema import schema_text


@click.command()
@click.argument(
    "name",
    metavar="NAME",
    type=click.Choice(["site", "catalogue", "card", "policy", "accepted", "report"]),
)
def command(name: str) -> None:
    """Print a JSON Schema, for an editor to check and complete files with.

    NAME is site, catalogue, card, policy, accepted or report.

    \b
    Example:
      meshlint schema site > site.schema.json
    """
    click.echo(schema_text(name), nl=False)  # type: ignore[arg-type]

"""`meshlint rules`: every rule on a line."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List the rules: name, severity, and what holds where the rule is kept."""
    from meshlint.report.cards import listing
    from meshlint.run import shipped_rules

    click.echo(listing(shipped_rules().cards), nl=False)

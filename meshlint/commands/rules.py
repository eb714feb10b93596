"""`meshlint rules`: every rule on a line."""

from __future__ import annotations

import click

from meshlint.terminal import rules_here


@click.command()
def command() -> None:
    """List the rules: name, severity, and what holds where the rule is kept."""
    from meshlint.report.cards import listing

    click.echo(listing(rules_here().cards), nl=False)

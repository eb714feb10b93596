"""`meshlint policy`: what a repository asks of one site, and which line says so."""

from __future__ import annotations

from datetime import date

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.opening import opened
from meshlint.report.policy import as_text
from meshlint.run import Checker


@click.command()
@click.argument("site", type=PathType())
def command(site: str) -> None:
    """Print what holds for SITE, setting by setting, with the line that says so.

    \b
    Example:
      meshlint policy branches/annexe.site.yaml
    """
    checker = Checker(date.min)
    found = opened(checker, site)
    policy = found.policy
    if policy is None:
        click.echo(f"No meshlint.yaml from the folder of {site} upwards: every rule as shipped.")
        return
    every = checker.all_rules(policy)
    text = as_text(site, found.site.about.site_class, policy, found.settings, found.rules, every)
    click.echo(text, nl=False)

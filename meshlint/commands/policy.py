"""`meshlint policy`: what a repository asks of one site, and which line says so."""

from __future__ import annotations

import click

from meshlint.commands.arguments import PathType
from meshlint.terminal import refuse


@click.command()
@click.argument("site", type=PathType())
def command(site: str) -> None:
    """Print what holds for SITE, setting by setting, with the line that says so.

    \b
    Example:
      meshlint policy branches/annexe.site.yaml
    """
    from datetime import date
    from pathlib import Path

    from meshlint.report.policy import as_text
    from meshlint.run import Checker
    from meshlint.site.files import STANDARD_INPUT, read_bytes, read_standard_input
    from meshlint.site.problem import InputError

    checker = Checker(date.min)
    try:
        data = read_standard_input() if site == STANDARD_INPUT else read_bytes(Path(site), site)
        document = checker.read(data, site)
        policy = checker.policy_of(site)
        settings = checker.settings_of(document)
        rules = checker.rules_of(policy, settings)
        every = checker.all_rules(policy)
    except InputError as error:
        refuse(str(error))
    if policy is None:
        click.echo(f"No meshlint.yaml from the folder of {site} upwards: every rule as shipped.")
        return
    about = document.value["site"] if isinstance(document.value, dict) else {}
    site_class = about.get("class") if isinstance(about, dict) else None
    text = as_text(site, str(site_class) if site_class else None, policy, settings, rules, every)
    click.echo(text, nl=False)

"""`meshlint siblings`: what the sites of a class have in common, and who differs."""

from __future__ import annotations

import sys
from datetime import date

import click

from meshlint.commands.arguments import PathType
from meshlint.fleet.cross_site_checks import Fleet
from meshlint.fleet.discovery import site_files
from meshlint.report.siblings import as_text
from meshlint.run import Checker
from meshlint.terminal import NOT_UNDERSTOOD, refuse


@click.command()
@click.argument("paths", nargs=-1, type=PathType())
@click.option("--class", "wanted", help="Only the sites of this class.")
def command(paths: tuple[str, ...], wanted: str | None) -> None:
    """Show by class of site which values its sites share, and which sites differ.

    \b
    Examples:
      meshlint siblings
      meshlint siblings branches/ --class branch
    """
    files = site_files(paths or (".",))
    if not files:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    fleet = Fleet(Checker(date.min), files)
    classes = {name: profiles for name, profiles in fleet.classes.items() if wanted in (None, name)}
    if not classes:
        refuse(f"no site of class '{wanted}'" if wanted else "no site names its class")
    for name in sorted(classes):
        click.echo(as_text(name, classes[name], fleet.usual[name]), nl=False)
    if fleet.problems:
        for problem in fleet.problems:
            click.echo(f"meshlint: {problem}", err=True)
        sys.exit(NOT_UNDERSTOOD)

"""`meshlint what-if`: what a site would be after a change or a failure; nothing is written."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import NameType, PathType
from meshlint.commands.day import Day
from meshlint.run import Checker
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError
from meshlint.terminal import FINDINGS, Now, look, refuse

if TYPE_CHECKING:
    from meshlint.what_if.asking import Answer


@click.command()
@click.argument("site", type=PathType())
@click.option(
    "--without",
    multiple=True,
    metavar="UNIT|LINK",
    type=NameType("units", "links"),
    help="It fails: who goes dark, who recovers how. Several are one failure.",
)
@click.option(
    "--more",
    multiple=True,
    nargs=2,
    metavar="N GROUP",
    type=(click.IntRange(1, 100_000), NameType("groups")),
    help="N more devices of a client group, and how many fit before a rule breaks.",
)
@click.option(
    "--join",
    multiple=True,
    metavar="UNIT[=PARENT]",
    type=NameType("units"),
    help="Join a unit to another by radio; without PARENT, all possible ones side by side.",
)
@click.option(
    "--lay",
    multiple=True,
    metavar="ROUTE",
    type=NameType("routes"),
    help="Use a cable route of the file, such as 'study to hall'.",
)
@click.option(
    "--channel",
    multiple=True,
    metavar="RADIO=N",
    type=NameType("radios"),
    help="Set a radio, such as hall/mid, to a channel; what is joined to it moves along.",
)
@click.option(
    "--width",
    multiple=True,
    metavar="RADIO=MHZ",
    type=NameType("radios"),
    help="Give it another channel width.",
)
@click.option(
    "--power",
    multiple=True,
    metavar="RADIO=DBM",
    type=NameType("radios"),
    help="Give it another power.",
)
@click.option(
    "--primary", metavar="UNIT", type=NameType("units"), help="Let the internet line enter there."
)
@click.option(
    "--with",
    "pieces",
    multiple=True,
    metavar="FILE",
    type=PathType(),
    help="Add a unit or several: a YAML file with `units:`, and links and clients if you like.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
@click.option("--diff", is_flag=True, help="Print the change as a patch, for `git apply`.")
@click.option("--today", type=Day(), help="The day on which it is judged.  [default: today]")
def command(
    site: str,
    without: tuple[str, ...],
    more: tuple[tuple[int, str], ...],
    join: tuple[str, ...],
    lay: tuple[str, ...],
    channel: tuple[str, ...],
    width: tuple[str, ...],
    power: tuple[str, ...],
    primary: str | None,
    pieces: tuple[str, ...],
    form: str,
    diff: bool,  # noqa: FBT001
    today: date | None,
) -> None:
    """Say what SITE would be after a change or a failure; nothing is written.

    Changes are made in memory, in the file's own bytes, and judged by all rules again, so that the
    answer is what `meshlint check` says of the changed file. Several options are one change.
    Names are spelt as in reports: units, UNIT/RADIO, links, client groups.

    The exit status is 1 where the change cannot be made or told, breaks a law, cuts a unit off or
    brings an error.

    \b
    Examples:
      meshlint what-if shop.site.yaml --without landing
      meshlint what-if shop.site.yaml --more 20 phones
      meshlint what-if shop.site.yaml --join study
      meshlint what-if shop.site.yaml --join study=hall --channel hall/mid=44
      meshlint what-if shop.site.yaml --lay 'study to hall' --diff | git apply
    """
    from meshlint.what_if.asking import Question, answer
    from meshlint.what_if.names import MisaskedError

    question = Question(without, more, join, lay, channel, width, power, primary, pieces)
    if question.is_empty:
        refuse("what if what? Name a change, such as --without UNIT; --help lists them")
    if diff and (without or form == "json"):
        refuse("--diff prints a change; it goes with neither --without nor --format json")
    Now.file = site
    checker = Checker(today or date.today())  # noqa: DTZ011 - the reader's own day
    try:
        data = read_bytes(Path(site), site)
        found = answer(checker, data, site, question)
    except MisaskedError as error:
        refuse(f"{site}: {error}")
    except InputError as error:
        refuse(str(error))
    if diff:
        _print_patch(data, found, site)
    elif form == "json":
        from meshlint.what_if.as_json import as_json

        click.echo(as_json(found), nl=False)
    else:
        from meshlint.what_if.telling import as_text

        click.echo(as_text(found, look(to_file=False)), nl=False)
    sys.exit(FINDINGS if found.is_bad else 0)


def _print_patch(data: bytes, found: Answer, site: str) -> None:
    """Print the change as a patch; say on standard error where it is one to think about."""
    from meshlint.edits.patch import patch
    from meshlint.report.plain import visible
    from meshlint.what_if.headline import headline

    if found.parents is not None:
        refuse("--join UNIT compares parents; name one for a patch, as in --join UNIT=PARENT")
    if found.unwritable:
        refuse(f"{site}: no patch can be made, since {found.unwritable}")
    if found.is_bad:
        click.echo(f"meshlint: {visible(headline(found))}", err=True)
    if found.done is not None:
        click.echo(patch(data, found.done.after.data, site), nl=False)

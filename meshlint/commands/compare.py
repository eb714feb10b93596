"""`meshlint compare`: what a change to a site does to its findings and numbers."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.day import Day
from meshlint.compare import Side, compare
from meshlint.lint.finding import SEVERITIES
from meshlint.report import comparison as report
from meshlint.run import Checker
from meshlint.site.files import read_bytes
from meshlint.site.load import Catalogues
from meshlint.site.references import mapping
from meshlint.site.revisions import Revision
from meshlint.terminal import FINDINGS, Now, deliver, look, refuse

if TYPE_CHECKING:
    from collections.abc import Callable


@click.command()
@click.argument("old", type=PathType())
@click.argument("new", required=False, type=PathType())
@click.option("--since", metavar="REV", help="Compare one file with itself at a git revision.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "markdown"]),
    default="text",
    show_default=True,
    help="For people, for programs, or for a merge request.",
)
@click.option(
    "--fail-at",
    type=click.Choice(["error", "warning", "note"]),
    help="Exit with 1 if a finding at this severity or graver is new.",
)
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the report to this file, whole or not at all.",
)
@click.option(
    "--today",
    type=Day(),
    help="The day on which both are judged, for runs that must repeat.  [default: today]",
)
def command(
    old: str,
    new: str | None,
    since: str | None,
    form: str,
    fail_at: str | None,
    output: Path | None,
    today: date | None,
) -> None:
    """Put two site files, or one file at two git revisions, side by side.

    The keys that were changed, findings that are gone and new, what each client group gets, and
    every number that changed enough to matter, by what it means for people. Both states are held
    to the rules and the policy that hold now.

    \b
    Examples:
      meshlint compare before.site.yaml after.site.yaml
      meshlint compare central.site.yaml --since HEAD~1
      meshlint compare central.site.yaml --since main --format markdown --fail-at warning
    """
    if (new is None) == (since is None):
        refuse("compare takes two files, or one file and --since REV")
    checker = Checker(today or date.today())  # noqa: DTZ011 - the reader's own day
    after = new or old
    read: Callable[[Path, str], bytes] = read_bytes
    shown = old
    if since is not None:
        read = Revision(Path(old), since).read
        shown = f"{old} at {since}"
    checker.catalogues = Catalogues(read)
    before_side = _side(checker, read(Path(old), shown), old, shown)
    checker.catalogues = Catalogues()
    after_side = _side(checker, read_bytes(Path(after), after), after, after)
    found = compare(before_side, after_side)
    if form == "json":
        text = report.as_json(found)
    elif form == "markdown":
        text = report.as_markdown(found)
    else:
        text = report.as_text(found, look(to_file=output is not None))
    deliver(text, output)
    if fail_at is not None:
        grave = SEVERITIES[: SEVERITIES.index(fail_at) + 1]
        worse = (*found.appeared, *(finding for _, finding in found.graver))
        if any(finding.severity in grave for finding in worse):
            sys.exit(FINDINGS)


def _side(checker: Checker, data: bytes, path: str, shown: str) -> Side:
    """Return one state of a site, judged; raise `InputError`."""
    Now.file = shown
    checker.catalogues.asked.clear()
    opened = checker.open(data, path)
    stated = dict(mapping(opened.document.value))
    for catalogue in sorted(checker.catalogues.asked):
        said = mapping(checker.catalogues.at(catalogue, catalogue.name).value)
        stated[f"catalogue {catalogue.name}"] = said
    return Side(shown, checker.judge(opened), opened.workings, opened.rules.facts, stated)

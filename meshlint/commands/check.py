"""`meshlint check`: judge site files and report what was found."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.day import Day
from meshlint.terminal import FINDINGS, NOT_UNDERSTOOD, Now, deliver, look, refuse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.lint.finding import SiteResult


@click.command()
@click.argument("paths", nargs=-1)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
@click.option(
    "--fail-at",
    type=click.Choice(["error", "warning", "note"]),
    default="error",
    show_default=True,
    help="The mildest severity that makes the exit status 1.",
)
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the report to this file, whole or not at all.",
)
@click.option(
    "--today",
    type=Day(),
    help="The day on which waivers are judged, for runs that must repeat.  [default: today]",
)
def command(
    paths: tuple[str, ...], form: str, fail_at: str, output: Path | None, today: date | None
) -> None:
    """Check site files, all *.site.yaml files in folders, or - for standard input.

    Without PATHS, checks the current folder.

    \b
    Exit status:
      0  nothing at or above the failing severity
      1  findings
      2  something could not be understood, or nothing was found to check
      3  meshlint itself failed

    \b
    Examples:
      meshlint check central.site.yaml
      meshlint check branches/ --fail-at warning
      git show HEAD~1:central.site.yaml | meshlint check -
      meshlint check branches/ --format json --output findings.json
    """
    from meshlint.discovery import site_files
    from meshlint.lint.finding import SEVERITIES

    files = site_files(paths or (".",))
    if not files:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    results = _results(files, today or date.today())  # noqa: DTZ011 - the reader's own day
    if form == "json":
        from meshlint.report import as_json

        text = as_json.render(results)
    else:
        from meshlint.report import text as as_text

        text = as_text.render(results, look(to_file=output is not None))
    deliver(text, output)
    if any(result.problems for result in results):
        sys.exit(NOT_UNDERSTOOD)
    failing = SEVERITIES[: SEVERITIES.index(fail_at) + 1]
    if any(f.severity in failing for result in results for f in result.open_findings):
        sys.exit(FINDINGS)


def _results(files: Sequence[str], today: date) -> list[SiteResult]:
    from meshlint.lint.finding import SiteResult
    from meshlint.run import check_bytes, shipped_rules
    from meshlint.site.files import STANDARD_INPUT, read_bytes, read_standard_input
    from meshlint.site.load import Catalogues
    from meshlint.site.problem import InputError

    catalogues = Catalogues()
    cards = shipped_rules()
    results = []
    for path in files:
        Now.file = path
        try:
            data = read_standard_input() if path == STANDARD_INPUT else read_bytes(Path(path), path)
        except InputError as error:
            results.append(SiteResult(path=path, problems=error.problems))
            continue
        results.append(check_bytes(data, path, cards, catalogues, today))
    return results

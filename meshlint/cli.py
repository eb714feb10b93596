"""The command line: options in, text out, and an exit status that depends on nothing else.

0 nothing at or above the failing severity; 1 findings; 2 the input could not be understood or the
call is wrong; 3 the program failed.
"""

from __future__ import annotations

import os
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from meshlint import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.lint.finding import SiteResult
    from meshlint.report.text import Look
    from meshlint.site.model import Site

FINDINGS, NOT_UNDERSTOOD, FAILED, INTERRUPTED = 1, 2, 3, 130

_COLOURS = {
    "error": {"fg": "red", "bold": True},
    "warning": {"fg": "yellow", "bold": True},
    "note": {"fg": "cyan", "bold": True},
    "title": {"bold": True},
    "subject": {"underline": True},
    "place": {"dim": True},
    "label": {"dim": True},
}

_WIDEST = 110


class _Day(click.ParamType[date]):
    name = "YYYY-MM-DD"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> date:
        """Return the day that the text names."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"expected a day such as 2026-11-25, found {value!r}", param, ctx)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="meshlint %(version)s")
def cli() -> None:
    r"""Check Wi-Fi mesh sites against the design rules of the trade.

    A site is a YAML file. Every finding carries the numbers worked out for that site, why it
    matters, and who says so. A clean run is no certificate of legal or electrical compliance.

    \b
    Examples:
      meshlint new shop.site.yaml           write a first site file
      meshlint check shop.site.yaml         check it
      meshlint check sites/ --fail-at warning
      meshlint explain hop-depth            what a rule wants, and why
      meshlint workings shop.site.yaml      every number, with its source
    """


@cli.command()
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
    type=_Day(),
    help="The day on which waivers are judged, for runs that must repeat.  [default: today]",
)
def check(
    paths: tuple[str, ...], form: str, fail_at: str, output: Path | None, today: date | None
) -> None:
    r"""Check site files, all *.site.yaml files in folders, or - for standard input.

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
        _refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    results = _results(files, today or date.today())  # noqa: DTZ011 - the reader's own day
    if form == "json":
        from meshlint.report import as_json

        text = as_json.render(results)
    else:
        from meshlint.report import text as as_text

        text = as_text.render(results, _look(to_file=output is not None))
    _deliver(text, output)
    if any(result.problems for result in results):
        sys.exit(NOT_UNDERSTOOD)
    failing = SEVERITIES[: SEVERITIES.index(fail_at) + 1]
    if any(f.severity in failing for result in results for f in result.open_findings):
        sys.exit(FINDINGS)


@cli.command()
@click.argument("rule")
def explain(rule: str) -> None:
    r"""Say what a rule wants, why, what it does not see, and who says so.

    \b
    Example:
      meshlint explain backhaul-off-radar
    """
    from meshlint.report.cards import explanation
    from meshlint.run import shipped_rules

    rules = shipped_rules()
    known = {card.id: card for card in rules.cards}
    if rule not in known:
        import difflib

        near = difflib.get_close_matches(rule, known, 1)
        hint = f"; did you mean {near[0]}?" if near else "; `meshlint rules` lists all"
        _refuse(f"there is no rule '{rule}'{hint}")
    click.echo(explanation(known[rule], rules, _look(to_file=False).width), nl=False)


@cli.command()
def rules() -> None:
    """List the rules: name, severity, and what holds where the rule is kept."""
    from meshlint.report.cards import listing
    from meshlint.run import shipped_rules

    click.echo(listing(shipped_rules().cards), nl=False)


@cli.command()
@click.argument("site")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
@click.option("--subject", help="Only this subject, such as units/desk.")
def workings(site: str, form: str, subject: str | None) -> None:
    r"""Show every number worked out for SITE: unit, meaning, source, or why it is unknown.

    \b
    Examples:
      meshlint workings central.site.yaml
      meshlint workings central.site.yaml --subject units/desk
    """
    from meshlint.report import workings as report
    from meshlint.workings.catalogue import FACTS

    render = report.as_json if form == "json" else report.as_text
    text = render(_site(site), FACTS, subject)
    if not text.strip():
        _refuse(f"{site} has no subject '{subject}'")
    click.echo(text, nl=False)


@cli.command()
@click.argument("name", type=click.Choice(["site", "catalogue", "card"]))
def schema(name: str) -> None:
    r"""Print a JSON Schema, for an editor to check and complete site files with.

    \b
    Example:
      meshlint schema site > site.schema.json
    """
    from meshlint.site.schema import schema_text

    click.echo(schema_text(name), nl=False)  # type: ignore[arg-type]


@cli.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--name", help="The site's name.  [default: from the file's name]")
@click.option("--country", metavar="CODE", help="ISO 3166-1 code, such as GB.")
@click.option(
    "--units", type=click.IntRange(1, 50), default=2, show_default=True, help="How many units."
)
@click.option(
    "--backhaul",
    type=click.Choice(["cable", "radio"]),
    default="cable",
    show_default=True,
    help="How the units are joined.",
)
def new(path: Path, name: str | None, country: str | None, units: int, backhaul: str) -> None:
    r"""Write a commented first site file to PATH, ready to check; never overwrites.

    \b
    Example:
      meshlint new shop.site.yaml --country GB --units 3 --backhaul radio
    """
    from meshlint.starter import starter

    if country is not None and not (len(country) == 2 and country.isalpha()):  # noqa: PLR2004
        _refuse(f"expected a country of two letters such as GB, found {country!r}")
    site_name = name or path.name.split(".")[0].replace("-", " ").title()
    text = starter(
        site_name,
        str(path),
        country and country.upper(),
        units,
        backhaul,  # type: ignore[arg-type]
    )
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        _refuse(f"{path} is there already; nothing was written")
    except OSError as error:
        _refuse(f"{path} cannot be written: {error.strerror}")
    click.echo(f"Wrote {path}. Put in what the site is, then: meshlint check {path}")


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
        _Now.file = path
        try:
            data = read_standard_input() if path == STANDARD_INPUT else read_bytes(Path(path), path)
        except InputError as error:
            results.append(SiteResult(path=path, problems=error.problems))
            continue
        results.append(check_bytes(data, path, cards, catalogues, today))
    return results


def _site(path: str) -> Site:
    from meshlint.site.files import STANDARD_INPUT, read_bytes, read_standard_input
    from meshlint.site.load import Catalogues, load_site
    from meshlint.site.problem import InputError

    _Now.file = path
    try:
        data = read_standard_input() if path == STANDARD_INPUT else read_bytes(Path(path), path)
        return load_site(data, path, Catalogues())[0]
    except InputError as error:
        _refuse(str(error))


def _look(*, to_file: bool) -> Look:
    """Return how to write for where the text goes: colour and width are a terminal's."""
    from meshlint.report.text import Look

    if to_file or not sys.stdout.isatty():
        return Look()
    import shutil

    width = max(60, min(shutil.get_terminal_size().columns, _WIDEST))
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return Look(width)
    return Look(width, lambda text, role: click.style(text, **_COLOURS[role]))  # type: ignore[arg-type]


def _deliver(text: str, output: Path | None) -> None:
    if output is None:
        click.echo(text, nl=False)
        return
    from meshlint.output import write_whole

    try:
        write_whole(output, text)
    except OSError as error:
        _refuse(f"{output} cannot be written: {error.strerror}")


def _refuse(message: str) -> NoReturn:
    from meshlint.report.plain import visible

    lines = "\n".join(visible(line) for line in message.splitlines())
    click.echo(f"meshlint: {lines}", err=True)
    sys.exit(NOT_UNDERSTOOD)


class _Now:
    """What is being worked on, for the one line that a fault of the program leaves behind."""

    file = ""


def main() -> None:
    """Run the command line; whatever is no user's mistake is exit 3 and one line."""
    try:
        cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(NOT_UNDERSTOOD)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # The reader has gone (`| head`); what is still buffered must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(FAILED)
    except Exception as error:
        if os.environ.get("MESHLINT_TRACE"):
            raise
        from meshlint.report.plain import visible

        about = f" while working on {visible(_Now.file)}" if _Now.file else ""
        click.echo(
            f"meshlint: a fault of the program{about}: "
            f"{visible(f'{type(error).__name__}: {error}')}"
            "; set MESHLINT_TRACE=1 for the trace, and please report it",
            err=True,
        )
        sys.exit(FAILED)

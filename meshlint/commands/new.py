"""`meshlint new`: a first site file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import CountryType
from meshlint.fleet.discovery import SUFFIXES
from meshlint.output import write_new, write_whole
from meshlint.site.files import shown_name
from meshlint.site.schema import schema_text
from meshlint.starter.answers import Answers
from meshlint.starter.asking import HOW, GivenError, Terminal, answered
from meshlint.starter.examples import EXAMPLES, example_text
from meshlint.starter.questions import QUESTIONS, SKIP
from meshlint.starter.writing import SCHEMA_NAME, text_of
from meshlint.terminal import refuse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meshlint.starter.questions import Question


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--name", help="The site's name.  [default: from the file's name]")
@click.option("--kind", help="What it is: house, office, school ...")
@click.option("--country", type=CountryType(), metavar="CODE", help="ISO 3166-1 code, such as GB.")
@click.option("--storeys", help="How many and how large: '2, 12 x 8 m, 2.7 m high'.")
@click.option("--rooms", help="'3 x 2 rooms, stud wall inside, brick outside', or 'open plan'.")
@click.option("--units", help="'hall in room 2; loft on first at 6, 4: two bands', or how many.")
@click.option("--internet", help="Where the line enters, and its rates: 'hall, 500/70'.")
@click.option("--backhaul", help="'loft to hall by cable, 22 m; study to loft possible', or radio.")
@click.option("--clients", help="'6 phones near hall; 2 laptops in room 3'.")
@click.option("--neighbours", help="What a scan heard: 'hall: 1 at -60, 36 at -75', or none.")
@click.option("--example", type=click.Choice(EXAMPLES), help="Write a complete worked example.")
@click.option("--add", type=click.Choice(["unit"]), help="Add units to the file that PATH is.")
@click.option("--overwrite", is_flag=True, help="Write over a file that is there.")
def command(
    path: Path,
    name: str | None,
    example: str | None,
    add: str | None,
    overwrite: bool,  # noqa: FBT001
    **said: str | None,
) -> None:
    """Write a commented first site file to PATH, ready to check; never overwrites unasked.

    On a terminal it asks eight questions, those left out that an option answers; - leaves one
    out. Elsewhere it asks nothing. What is not said does not stand in the file.

    Its first line names a schema that lies in the same folder, by which an editor explains and
    completes what you type. Where there is none it is written too.

    \b
    Examples:
      meshlint new shop.site.yaml
      meshlint new shop.site.yaml --country GB --units 3 --backhaul radio
      meshlint new shop.site.yaml --example cafe
      meshlint new shop.site.yaml --add unit --units "loft on first at 6, 4" --backhaul radio
    """
    texts = [str(path), name or "", *(text or "" for text in said.values())]
    if any(shown_name(text) != text for text in texts):
        refuse("the name of the site or of its file, or an answer, is not UTF-8")
    if add is not None:
        others = {"name": name, "example": example, "overwrite": overwrite or None, **said}
        _alone("--add", others, _OF_UNITS)
        _add(path, said)
        return
    if not overwrite and (path.exists() or path.is_symlink()):
        refuse(f"{path} is there already; nothing was written")
    if not path.parent.is_dir():  # told before anything is asked
        refuse(f"{path} cannot be written: there is no folder {path.parent}")
    if example is not None:
        _alone("--example", {"name": name, **said})
        text = example_text(example)
    else:
        site_name = name or path.name.split(".")[0].replace("-", " ").title()
        text = text_of(site_name, str(path), _answers(said))
    _write(path, text, overwrite=overwrite)
    click.echo(f"Wrote {path}. Put in what the site is, then: meshlint check {path}")


_OF_UNITS = ("units", "backhaul")


def _alone(option: str, others: Mapping[str, object], allowed: Sequence[str] = ()) -> None:
    """Refuse options that mean nothing next to one."""
    for key, value in others.items():
        if value is not None and key not in allowed:
            refuse(f"{option} and --{key} are not for one call")


def _add(path: Path, said: Mapping[str, str | None]) -> None:
    """Add units to a site's file."""
    from datetime import date

    from meshlint.edits.adding import questions_of, with_units
    from meshlint.edits.rewriting import RefusedError
    from meshlint.edits.writing import ChangedError, write_over
    from meshlint.run import Checker
    from meshlint.site.files import read_bytes
    from meshlint.site.problem import InputError

    checker = Checker(date.min)
    try:
        data = read_bytes(path, str(path))
        site = checker.open(data, str(path)).site
        given = {key: text for key, text in said.items() if text is not None}
        answers = _answered(questions_of(site), given, Answers())
        after = with_units(data, site, answers)
        checker.open(after, str(path))
    except InputError as error:
        refuse(str(error))
    except RefusedError as error:
        refuse(f"{path}: {error}; nothing was written")
    try:
        kept = write_over(path, data, after)
    except ChangedError:
        refuse(f"{path} has changed since it was read; nothing was written")
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror}")
    names = ", ".join(unit.name for unit in answers.units or ())
    click.echo(f"Added {names} to {path}" + (f"; what it was is in {kept}" if kept else "") + ".")


def _answers(said: Mapping[str, str | None]) -> Answers:
    """Return what the options say, and what a person at a terminal answers."""
    given = {key: text for key, text in said.items() if text is not None}
    if country := given.pop("country", None):
        kind = given.get("kind", SKIP)
        given["kind"] = country if kind == SKIP else f"{kind}, {country}"
    return _answered(QUESTIONS, given, Answers())


def _answered(questions: Sequence[Question], given: Mapping[str, str], answers: Answers) -> Answers:
    terminal = None
    if sys.stdin.isatty() and sys.stdout.isatty() and any(q.key not in given for q in questions):
        terminal = Terminal(_read, click.echo)
        click.echo(HOW)
    try:
        return answered(questions, given, terminal, answers)
    except GivenError as error:
        refuse(f"--{error.key}: {error}")


def _read(prompt: str) -> str:
    line: str = click.prompt(prompt, default="", show_default=False, prompt_suffix="")
    return line


def _write(path: Path, text: str, *, overwrite: bool) -> None:
    try:
        (write_whole if overwrite else write_new)(path, text)
    except FileExistsError:
        refuse(f"{path} is there already; nothing was written")
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror}")
    if not path.name.endswith(SUFFIXES):
        click.echo(
            f"Note: {path} is passed over when a folder is checked, since its name does not end in "
            f"{' or '.join(SUFFIXES)}."
        )
    _write_schema(path.parent / SCHEMA_NAME)


def _write_schema(path: Path) -> None:
    """Put the schema next to the site, for its editor; one that is there stays as it is."""
    try:
        write_new(path, schema_text("site"))
    except FileExistsError:
        return
    except OSError as error:
        click.echo(f"Note: {path}, for an editor, cannot be written: {error.strerror}.")
        return
    click.echo(f"Wrote {path}, by which an editor explains and completes the site file.")

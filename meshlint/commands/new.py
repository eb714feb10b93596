"""`meshlint new`: a first site file."""

from __future__ import annotations

from pathlib import Path

import click

from meshlint.commands.arguments import CountryType
from meshlint.fleet.discovery import SUFFIXES
from meshlint.law.codes import known_country_code, meant_country_code
from meshlint.output import write_new
from meshlint.site.files import shown_name
from meshlint.site.schema import schema_text
from meshlint.starter import SCHEMA_NAME, starter
from meshlint.terminal import refuse


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--name", help="The site's name.  [default: from the file's name]")
@click.option("--country", type=CountryType(), metavar="CODE", help="ISO 3166-1 code, such as GB.")
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
def command(path: Path, name: str | None, country: str | None, units: int, backhaul: str) -> None:
    """Write a commented first site file to PATH, ready to check; never overwrites.

    Its first line names a schema that lies in the same folder, by which an editor explains and
    completes what you type. Where there is none it is written too.

    \b
    Example:
      meshlint new shop.site.yaml --country GB --units 3 --backhaul radio
    """
    if country is not None and not known_country_code(country.upper()):
        meant = meant_country_code(country)
        hint = f"; did you mean {meant}?" if meant else "; write it as GB, DE or US"
        refuse(f"{country!r} is no country code of ISO 3166-1{hint}")
    if shown_name(f"{name}{path}") != f"{name}{path}":
        refuse("the name of the site or of its file is not UTF-8")
    site_name = name or path.name.split(".")[0].replace("-", " ").title()
    text = starter(
        site_name,
        str(path),
        country and country.upper(),
        units,
        backhaul,  # type: ignore[arg-type]
    )
    try:
        write_new(path, text)
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
    click.echo(f"Wrote {path}. Put in what the site is, then: meshlint check {path}")


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

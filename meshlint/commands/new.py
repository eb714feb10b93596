"""`meshlint new`: a first site file."""

from __future__ import annotations

from pathlib import Path

import click

from meshlint.terminal import refuse


@click.command()
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
def command(path: Path, name: str | None, country: str | None, units: int, backhaul: str) -> None:
    """Write a commented first site file to PATH, ready to check; never overwrites.

    \b
    Example:
      meshlint new shop.site.yaml --country GB --units 3 --backhaul radio
    """
    from meshlint.starter import starter

    if country is not None and not (len(country) == 2 and country.isalpha()):  # noqa: PLR2004
        refuse(f"expected a country of two letters such as GB, found {country!r}")
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
        refuse(f"{path} is there already; nothing was written")
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror}")
    click.echo(f"Wrote {path}. Put in what the site is, then: meshlint check {path}")

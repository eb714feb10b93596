"""`meshlint channels`: what a country allows, for choosing by hand."""

from __future__ import annotations

import click

from meshlint.commands.arguments import CountryType
from meshlint.law import regulatory
from meshlint.law.codes import known_country_code, meant_country_code
from meshlint.report import channels as report
from meshlint.terminal import deliver, look, refuse


@click.command()
@click.argument("country", type=CountryType())
@click.option("--band", type=click.Choice(["2.4", "5", "6"]), help="Only this band, in GHz.")
@click.option(
    "--width",
    type=click.Choice(["20", "40", "80", "160", "320"]),
    help="Only channels of this width, in MHz.",
)
@click.option("--outdoors", is_flag=True, help="For a unit that stands outdoors.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
def command(country: str, band: str | None, width: str | None, outdoors: bool, form: str) -> None:  # noqa: FBT001 - click passes by name
    """Show the channels that COUNTRY opens: radar duty, check, power limit, source.

    A number is that of the first 20 MHz channel, as people set it.

    \b
    Examples:
      meshlint channels GB
      meshlint channels DE --band 5 --width 80
      meshlint channels US --band 6 --outdoors
      meshlint channels JP --format json
    """
    code = country.upper()
    if not known_country_code(code):
        meant = meant_country_code(code)
        hint = f"; did you mean {meant}?" if meant else "; write it as GB, DE or US"
        refuse(f"{country!r} is no country code of ISO 3166-1{hint}")
    law = regulatory.country(code)
    if law is None:
        refuse(f"nothing is known about {code}: the regulatory table has no such country")
    bands = report.BANDS if band is None else (float(band),)
    found = report.sections(law, bands, int(width) if width else None, outdoors=outdoors)
    if not found:
        refuse(f"there are no {width} MHz channels at {band} GHz")
    if form == "json":
        text = report.as_json(law, found, outdoors=outdoors)
    else:
        text = report.as_text(law, found, look(to_file=False), outdoors=outdoors)
    deliver(text, None)

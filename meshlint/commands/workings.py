"""`meshlint workings`: every number of a site."""

from __future__ import annotations

import click

from meshlint.terminal import refuse, site_at


@click.command()
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
def command(site: str, form: str, subject: str | None) -> None:
    """Show every number worked out for SITE: unit, meaning, source, or why it is unknown.

    \b
    Examples:
      meshlint workings central.site.yaml
      meshlint workings central.site.yaml --subject units/desk
    """
    from meshlint.report import workings as report
    from meshlint.workings.catalogue import FACTS

    render = report.as_json if form == "json" else report.as_text
    text = render(site_at(site), FACTS, subject)
    if not text.strip():
        refuse(f"{site} has no subject '{subject}'")
    click.echo(text, nl=False)

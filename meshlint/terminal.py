"""What commands share: how text leaves, how a call is refused, what each exit status means."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, NoReturn

import click

if TYPE_CHECKING:
    from pathlib import Path

    from meshlint.report.lines import Look, Role

FINDINGS, NOT_UNDERSTOOD, FAILED, INTERRUPTED = 1, 2, 3, 130
READER_GONE = 141
"""What a shell tells of a program that a closed pipe ended; 1 would say that there are findings."""

_COLOURS: dict[Role, dict[str, str | bool]] = {
    "error": {"fg": "red", "bold": True},
    "warning": {"fg": "yellow", "bold": True},
    "note": {"fg": "cyan", "bold": True},
    "caution": {"fg": "magenta", "bold": True},
    "title": {"bold": True},
    "subject": {"underline": True},
    "place": {"dim": True},
    "label": {"dim": True},
    "dim": {"dim": True},
}

_WIDEST = 110


class Now:
    """What is being worked on, for the one line that a fault of the program leaves behind."""

    file = ""


def look(*, to_file: bool, quiet: bool = False, explain: bool = False) -> Look:
    """Return how to write for where the text goes: colour and width are a terminal's."""
    from meshlint.report.lines import WIDTH, Look

    if to_file:
        return Look(quiet=quiet, explain=explain)
    width = WIDTH
    on_terminal = sys.stdout.isatty()
    if on_terminal:
        import shutil

        width = max(60, min(shutil.get_terminal_size().columns, _WIDEST))
    context = click.get_current_context(silent=True)
    wanted = context.color if context is not None else None
    painted = (on_terminal and os.environ.get("TERM") != "dumb") if wanted is None else wanted
    if not painted:
        return Look(width, quiet=quiet, explain=explain)

    def paint(text: str, role: Role) -> str:
        return click.style(text, **_COLOURS[role])  # type: ignore[arg-type]

    return Look(width, paint, quiet, explain)


def colour_option() -> click.Option:
    """Return the option that every command takes, before its name or after."""
    return click.Option(
        ["--color"],
        type=click.Choice(["auto", "always", "never"]),
        help="Whether to paint. By itself on a terminal; NO_COLOR and FORCE_COLOR are heeded.",
        expose_value=False,
        callback=_set_colour,
    )


def _set_colour(ctx: click.Context, _: click.Parameter, wanted: str | None) -> None:
    """Say to click, which else takes colour out of what goes to no terminal.

    The option is nearer than the environment, and as in Python NO_COLOR has the last word in that.
    """
    if wanted in ("always", "never"):
        ctx.color = wanted == "always"
    elif wanted == "auto":
        ctx.color = None
    elif ctx.parent is None:
        if os.environ.get("NO_COLOR"):
            ctx.color = False
        elif os.environ.get("FORCE_COLOR"):
            ctx.color = True


def deliver(text: str, output: Path | None) -> None:
    """Write text to standard output, or to where a call says."""
    if output is None:
        click.echo(text, nl=False)
        return
    from meshlint.output import RefusedError, write_report

    try:
        write_report(output, text)
    except RefusedError as error:
        refuse(f"{output}: {error}")
    except BrokenPipeError:
        raise
    except OSError as error:
        refuse(f"{output} cannot be written: {error.strerror}")


def refuse(message: str) -> NoReturn:
    """End the run with one line that says what could not be understood."""
    from meshlint.report.plain import visible

    lines = "\n".join(visible(line) for line in message.splitlines())
    click.echo(f"meshlint: {lines}", err=True)
    sys.exit(NOT_UNDERSTOOD)

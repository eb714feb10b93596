"""The command line: options in, text out, and an exit status that depends on nothing else.

What each status means stands in the help of the program, and in `terminal.py`.
"""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from meshlint import __version__
from meshlint.room import be_sure_of_room
from meshlint.terminal import (
    FAILED,
    INTERRUPTED,
    NOT_UNDERSTOOD,
    READER_GONE,
    Now,
    colour_option,
    refuse,
)

if TYPE_CHECKING:
    from types import FrameType

COMMANDS = {
    "check": "Check site files, all *.site.yaml files in folders, or - for standard input.",
    "compare": "Put two site files, or one file at two git revisions, side by side.",
    "explain": "Say what a rule wants, why, what it does not see, and who says so.",
    "rules": "List the rules: name, severity, and what holds where the rule is kept.",
    "workings": "Show every number worked out for SITE: unit, meaning, source, or why unknown.",
    "usual": "Show the usual range of each input that SITE leaves out: low, usual, high, source.",
    "page": "Make one HTML page of SITE to read, print and hand over.",
    "channels": "Show the channels that COUNTRY opens: radar duty, check, power limit, source.",
    "mend": "Show for each finding of SITE a change proven to mend it, or why there is none.",
    "what-if": "Say what SITE would be after a change or a failure; nothing is written.",
    "policy": "Print what holds for SITE, setting by setting, with the line that says so.",
    "accept": "Write the open findings of the sites in PATHS to their repository's accepted list.",
    "fleet": "Ask what no site answers alone, over all sites in PATHS or in the whole repository.",
    "siblings": "Show by class of site which values its sites share, and which sites differ.",
    "schema": "Print a JSON Schema, for an editor to check and complete files with.",
    "new": "Write a commented first site file to PATH, ready to check; never overwrites unasked.",
}
"""Each is a module of `meshlint.commands`, imported only when it is asked for; help shows these."""


class _ReaderGoneError(Exception):
    """Whoever read the output has gone, as `| head` does; click would end with 1 at its cause."""


class _Commands(click.Group):
    def invoke(self, ctx: click.Context) -> object:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError as error:
            raise _ReaderGoneError from error

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click calls it
        """Return the commands in the order that help shows."""
        return list(COMMANDS)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands into the help, and load none of them for it."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Return one command, its module imported now; `None` is click's word for unknown."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(
            f"meshlint.commands.{cmd_name.replace('-', '_')}"
        ).command
        command.name = cmd_name
        if not any(parameter.name == "color" for parameter in command.params):
            command.params.append(colour_option())
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that a call names; raise `UsageError` with what was meant."""
        name = args[0]
        if name in COMMANDS or name.startswith("-") or ctx.resilient_parsing:
            return super().resolve_command(ctx, args)
        import difflib

        near = difflib.get_close_matches(name, COMMANDS, 1)
        if near:
            hint = f"did you mean {near[0]}?"
        elif Path(name).exists():
            hint = f"did you mean `meshlint check {name}`?"
        else:
            hint = f"there are {', '.join(COMMANDS)}"
        raise click.UsageError(f"there is no command '{name}'; {hint}", ctx)


@click.group(
    cls=_Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, message="meshlint %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Check Wi-Fi mesh sites against the design rules of the trade.

    A site is a YAML file. Every finding carries the numbers worked out for that site, why it
    matters, and who says so. A clean run is no certificate of legal or electrical compliance.

    \b
    Examples:
      meshlint new shop.site.yaml           ask, and write a first site file
      meshlint check shop.site.yaml         check it
      meshlint check sites/ --fail-at warning
      meshlint explain hop-depth            what a rule wants, and why
      meshlint workings shop.site.yaml      every number, with its source

    \b
    Exit status of every command:
      0    nothing at or above the failing severity
      1    findings
      2    the input or the call could not be understood, or there was nothing to check
      3    meshlint itself failed, or the installation has a part missing
      130  interrupted, as by Ctrl-C
      141  the reader of the output has gone, as in `| head`
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help(), err=True)
        sys.exit(NOT_UNDERSTOOD)


cli.params.append(colour_option())


def main() -> None:
    """Run the command line; whatever is no user's mistake is exit 3 and one line."""
    _settle_streams()
    _heed_signals()
    be_sure_of_room()
    try:
        cli.main(prog_name="meshlint", standalone_mode=False)
    except _EndedError as error:
        sys.exit(error.status)
    except click.ClickException as error:
        _tell_misuse(error)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(INTERRUPTED)
    except (_ReaderGoneError, BrokenPipeError):
        _let_go()  # what is still buffered must not complain at exit
        sys.exit(READER_GONE)
    except Exception as error:  # noqa: BLE001 - it is told, and the status says it
        if _is_input_error(error):
            refuse(str(error))
        if isinstance(error, OSError) and error.filename is None and error.errno in _FULL:
            _let_go()
            _ended(NOT_UNDERSTOOD, f"the report cannot be written: {error.strerror}")
        _tell_missing_part(error)
        if os.environ.get("MESHLINT_TRACE"):
            import traceback

            traceback.print_exc()
            sys.exit(FAILED)
        about = f" while working on {Now.file}" if Now.file else ""
        said = f"{type(error).__name__}: {error}"[:_MOST_SAID]
        _ended(
            FAILED,
            f"a fault of the program{about}: {said}"
            "; set MESHLINT_TRACE=1 for the trace, and please report it",
        )


class _EndedError(BaseException):
    """A signal asked the program to end: what it has begun is cleared up on the way out."""

    def __init__(self, number: int) -> None:
        self.status = 128 + number
        super().__init__(number)


def _heed_signals() -> None:
    """Clear up when asked to end, unless whoever started the program wants that unheard."""
    own = os.getpid()

    def end(number: int, _: FrameType | None) -> None:
        if os.getpid() != own:  # a worker that has just begun
            os._exit(128 + number)
        for name in names:  # once is enough: nothing may stop the clearing up
            signal.signal(name, signal.SIG_IGN)
        raise _EndedError(number)

    names = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    for name in names:
        if signal.getsignal(name) is signal.SIG_DFL:
            signal.signal(name, end)


def _tell_misuse(error: click.ClickException) -> NoReturn:
    """End the run that was called wrongly, with what is wrong and where to read more."""
    context = getattr(error, "ctx", None)
    if isinstance(error, click.MissingParameter):
        if context is not None:
            click.echo(f"{context.get_help()}\n", err=True)
        _ended(NOT_UNDERSTOOD, error.format_message().partition(". Choose from")[0])
    said = " ".join(error.format_message().split()).removesuffix(".")
    called = context.command_path if context is not None else "meshlint"
    join = " " if said.endswith("?") else "; "
    _ended(NOT_UNDERSTOOD, f"{said}{join}`{called} --help` tells more")


_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})
_MOST_SAID = 300


def _settle_streams() -> None:
    """Let every text be written: nowhere if a stream is closed, else in UTF-8 or spelt out."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
        elif isinstance(stream, io.TextIOWrapper):
            if not stream.isatty():
                stream.reconfigure(encoding="utf-8")
            stream.reconfigure(errors="backslashreplace")


def _is_input_error(error: Exception) -> bool:
    from meshlint.site.problem import InputError

    return isinstance(error, InputError)


def _tell_missing_part(error: Exception) -> None:
    """End with a sentence where the installation lacks a module of others: no fault of ours."""
    part = (error.name or "").partition(".")[0] if isinstance(error, ModuleNotFoundError) else ""
    if part and part != "meshlint":
        _ended(
            FAILED,
            f"the installation has a part missing: there is no module '{part}'; install meshlint "
            "again with all that it needs",
        )


def _let_go() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _ended(status: int, words: str) -> NoReturn:
    from meshlint.report.plain import visible

    try:
        click.echo(f"meshlint: {visible(words)}", err=True)
    except OSError:  # nobody can be told; the status still says it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
    sys.exit(status)

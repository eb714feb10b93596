"""Where reports go: each format to standard output or to a file of its own, all in one pass."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import Struct

from meshlint.commands.arguments import beginning
from meshlint.fleet.progress import Progress
from meshlint.output import Output, RefusedError, place_of, report_to
from meshlint.report.formats import FORMATS, writer
from meshlint.report.plain import visible
from meshlint.terminal import FAILED, FINDINGS, NOT_UNDERSTOOD, look, refuse

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Mapping

    from click.shell_completion import CompletionItem

    from meshlint.lint.card import Card
    from meshlint.lint.finding import SiteResult
    from meshlint.report.formats import Writer


_MOST_FAULTS = 5
"""Faults of the program told one by one on standard error; one in every file is one fault."""


class Target(Struct, frozen=True):
    """A format and the file that it goes to; none is standard output."""

    form: str
    file: Path | None = None


class TargetType(click.ParamType):  # type: ignore[type-arg] # click below 8.4 has none
    """A format as an option takes it: `sarif`, or `sarif=findings.sarif`."""

    name = "NAME[=FILE]"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Target:
        """Return what the text names."""
        if isinstance(value, Target):
            return value
        form, _, file = str(value).partition("=")
        if form not in FORMATS or (not file and "=" in str(value)):
            self.fail(f"expected one of {', '.join(FORMATS)}, found {value!r}", param, ctx)
        return Target(form, Path(file) if file else None)

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002 - click calls it
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Return the formats that begin so."""
        return beginning(incomplete, FORMATS)


class _Sink(Struct):
    writer: Writer
    file: Output | None
    shown: Path | None


def delivered(
    results: Generator[SiteResult],
    files: tuple[str, ...],
    targets: tuple[Target, ...],
    output: Path | None,
    cards: Callable[[], Mapping[str, Card]],
    *,
    quiet: bool = False,
    explain: bool = False,
) -> int:
    """Write every report as the results come, and return the exit status they make.

    `files` are those that the run was asked to read, and `output` is the file of the one format
    that names none.
    """
    sinks = _sinks(_settled(targets, output), files, cards, quiet=quiet, explain=explain)
    progress = Progress(len(files))
    status = faults = 0
    try:
        for result in results:
            progress.step()
            status = max(status, _status(result))
            for sink in sinks:
                _write(sink, sink.writer.add(result), progress)
            if result.fault:
                faults += 1
                if faults <= _MOST_FAULTS:
                    progress.clear()
                    _tell_fault(result)
        progress.clear()
        if faults > _MOST_FAULTS:
            click.echo(f"meshlint: and {faults - _MOST_FAULTS} more faults", err=True)
        for sink in sinks:
            _write(sink, sink.writer.finish(), progress)
            if sink.file is not None:
                _kept(sink)
    finally:
        progress.clear()
        _drop(sinks)
        results.close()  # workers too have nothing left to do
    return status


def _settled(targets: tuple[Target, ...], output: Path | None) -> tuple[Target, ...]:
    settled = tuple(
        Target(target.form, target.file or output) for target in targets or (Target("text"),)
    )
    places = [target.file for target in settled]
    if len(places) > 1 and len(set(map(place_of, places))) < len(places):
        where = "standard output" if None in places else "one file"
        refuse(f"two reports would go to {where}; write --format NAME=FILE for each but one")
    return settled


def _sinks(
    targets: tuple[Target, ...],
    files: tuple[str, ...],
    cards: Callable[[], Mapping[str, Card]],
    *,
    quiet: bool,
    explain: bool,
) -> list[_Sink]:
    sinks: list[_Sink] = []
    for target in targets:
        how = look(to_file=target.file is not None, quiet=quiet, explain=explain)
        form = writer(target.form, how, cards)
        try:
            file = report_to(target.file, files) if target.file else None
        except OSError as error:
            _drop(sinks)
            refuse(f"{target.file} cannot be written: {error.strerror}")
        except RefusedError as error:
            _drop(sinks)
            refuse(f"{target.file}: {error}")
        sinks.append(_Sink(form, file, target.file))
    return sinks


def _drop(sinks: Iterable[_Sink]) -> None:
    for sink in sinks:
        if sink.file is not None:
            sink.file.drop()


def _write(sink: _Sink, text: str, progress: Progress) -> None:
    if not text:
        return
    if sink.file is None:
        progress.clear()
        click.echo(text, nl=False)
        return
    try:
        sink.file.write(text)
    except BrokenPipeError:  # told as that of standard output is
        raise
    except OSError as error:
        refuse(f"{sink.shown} cannot be written: {error.strerror}")


def _kept(sink: _Sink) -> None:
    assert sink.file is not None
    try:
        sink.file.keep()
    except BrokenPipeError:
        raise
    except OSError as error:
        refuse(f"{sink.shown} cannot be written: {error.strerror}")


def _status(result: SiteResult) -> int:
    if result.fault:
        return FAILED
    if result.problems:
        return NOT_UNDERSTOOD
    return FINDINGS if result.failing else 0


def _tell_fault(result: SiteResult) -> None:
    click.echo(
        f"meshlint: a fault of the program while working on {visible(result.path)}: "
        f"{visible(result.fault)}; set MESHLINT_TRACE=1 for the trace, and please report it",
        err=True,
    )

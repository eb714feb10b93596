"""`meshlint mend`: changes that are proven to mend a site's findings, shown or written."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import PathType
from meshlint.commands.day import Day
from meshlint.run import Checker
from meshlint.site.files import read_bytes
from meshlint.site.problem import InputError
from meshlint.terminal import FINDINGS, Now, refuse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meshlint.edits.mending import Mend, Unmended


@click.command()
@click.argument("site", type=PathType())
@click.argument("rule", required=False)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For people or for programs.",
)
@click.option("--diff", is_flag=True, help="Print one patch with all changes, for `git apply`.")
@click.option("--write", is_flag=True, help="Write the changes; on a terminal, ask first.")
@click.option("--today", type=Day(), help="The day on which it is judged.  [default: today]")
def command(
    site: str,
    rule: str | None,
    form: str,
    diff: bool,  # noqa: FBT001
    write: bool,  # noqa: FBT001
    today: date | None,
) -> None:
    """Show for each finding of SITE a change proven to mend it, or why there is none.

    Proven means: made in the file's own bytes, read again and judged by all rules again. The
    finding is gone or milder, nothing new is as grave, nobody is cut off, and no group of clients
    gets more than 5 % less. Settings and wiring are changed, never facts such as places or walls.
    Each change is proven on top of those above it.

    The exit status is 1 where a finding is left that no change is proven for.

    \b
    Examples:
      meshlint mend shop.site.yaml
      meshlint mend shop.site.yaml own-cells-apart
      meshlint mend shop.site.yaml --diff | git apply
      meshlint mend shop.site.yaml --write
    """
    from meshlint.edits.mending import mended
    from meshlint.edits.patch import patch
    from meshlint.report.plain import visible

    if diff + write + (form == "json") > 1:
        refuse("choose --diff, --write or --format json")
    Now.file = site
    checker = Checker(today or date.today())  # noqa: DTZ011 - the reader's own day
    try:
        data = read_bytes(Path(site), site)
        if rule is not None:
            known = {card.id for card in checker.all_rules(checker.policy_of(site)).cards}
            if rule not in known:
                refuse(f"there is no rule '{visible(rule)}'; `meshlint rules` lists them")
        mends, left, after = mended(checker, data, site, rule)
    except InputError as error:
        refuse(str(error))
    if diff:
        click.echo(patch(data, after.data, site), nl=False)
        sys.exit(FINDINGS if left else 0)
    if form == "json":
        from meshlint.edits.as_json import as_json

        click.echo(as_json(mends, left, after), nl=False)
        sys.exit(FINDINGS if left else 0)
    if not mends and not left:
        click.echo("There is no open finding to mend.")
        return
    _tell(mends, left, site)
    click.echo(
        f"{_count(len(mends), 'change')} proven; {_count(len(left), 'finding')} left without one"
    )
    if write and mends:
        _write(Path(site), data, after.data)
    sys.exit(FINDINGS if left else 0)


def _tell(mends: Sequence[Mend], left: Sequence[Unmended], site: str) -> None:
    from meshlint.report.plain import visible

    for mend in mends:
        click.echo("\n".join(visible(line) for line in _told(mend, site)) + "\n")
    for entry in left:
        click.echo(visible(f"{entry.severity} {entry.finding[0]} ({entry.label}): nothing proven"))
        if not entry.reasons:
            click.echo("  no setting or cable of the file is known to mend it; see its remedy")
        for words, reason in entry.reasons[:3]:
            click.echo(visible(f"  {words}: {reason}"))
        if len(entry.reasons) > 3:  # noqa: PLR2004 - as many as are shown
            click.echo(f"  and {len(entry.reasons) - 3} more changes were tried")


def _told(mend: Mend, site: str) -> Sequence[str]:
    from meshlint.edits.patch import patch
    from meshlint.report.figures import figure

    proof = mend.proof
    outcome = "holds" if proof.holds else "no longer applies"
    if proof.left is not None:
        outcome = f"is broken still, as a {proof.left}"
    lines = [
        f"{mend.severity} {mend.finding[0]} ({mend.label})",
        f"  {mend.change.words} ({mend.change.work}); then the rule {outcome}",
    ]
    for group, (was, now) in proof.rates_mbps.items():
        if abs(now - was) > 0.005 * was:
            lines.append(f"  {group}: {figure(now)} Mb/s for each device, was {figure(was)}")
    lines += [
        f"  {group}: {_range(now)} Mb/s for each device, was {_range(was)}, as equipment goes"
        for group, (was, now) in proof.usual_rates_mbps.items()
        if any(abs(n - w) > 0.005 * w for w, n in zip(was, now, strict=True))
    ]
    lines += [f"  also gone: {rule} at {subject}" for rule, subject in proof.gone]
    lines += [f"  new, but less grave: {rule} at {subject}" for rule, subject in proof.milder]
    if proof.open:
        lines.append(
            f"  cannot be told then: {', '.join(sorted({rule for rule, _ in proof.open}))}"
        )
    lines += [f"  to be measured again, and taken out: {name}" for name in proof.old_readings]
    lines += [
        f"  waiver no longer needed, and taken out: {name}" for name in proof.needless_waivers
    ]
    if mend.others:
        lines.append(f"  proven too: {_count(mend.others, 'other change')}")
    if len({edit.pointer[1] for edit in mend.change.edits if edit.pointer[0] == "units"}) > 1:
        lines.append("  set the unit furthest from the primary first, or you lose it")
    shown = patch(mend.before.data, proof.data, site).decode(errors="replace").splitlines()
    return [*lines, *(f"    {line}" for line in shown[2:])]


def _range(rates_mbps: tuple[float, ...]) -> str:
    from meshlint.report.figures import figure

    low, high = figure(min(rates_mbps)), figure(max(rates_mbps))
    return low if low == high else f"{low} to {high}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def _write(path: Path, before: bytes, after: bytes) -> None:
    from meshlint.edits.writing import ChangedError, write_over

    if sys.stdin.isatty() and not click.confirm(f"Write them to {path}?", default=False):
        return
    try:
        kept = write_over(path, before, after)
    except ChangedError:
        refuse(f"{path} has changed since it was read; nothing was written")
    except OSError as error:
        refuse(f"{path} cannot be written: {error.strerror}")
    click.echo(f"{path} is written" + (f"; what it was is in {kept}" if kept else ""))

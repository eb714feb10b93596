"""`meshlint check`: judge site files and report what was found."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meshlint.commands.arguments import PathType, RuleType
from meshlint.commands.day import Day
from meshlint.commands.delivery import Target, TargetType, delivered
from meshlint.fleet.discovery import site_files
from meshlint.fleet.runner import Orders, results_of
from meshlint.fleet.vanished_sites import and_gone_sites
from meshlint.lint.choice import Choice
from meshlint.report.formats import LISTING
from meshlint.report.plain import visible
from meshlint.site.files import STANDARD_INPUT
from meshlint.terminal import refuse

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.fleet.cache import Cache
    from meshlint.lint.card import Card
    from meshlint.lint.finding import Severity


@click.command()
@click.argument("paths", nargs=-1, type=PathType())
@click.option(
    "--format",
    "targets",
    type=TargetType(),
    multiple=True,
    help="How to report: text, concise (a line each), json, sarif (open findings), sarif-all (the "
    "whole record), github, gitlab, junit or markdown; NAME=FILE writes to a file. May be given "
    "several times.  [default: text]",
)
@click.option(
    "--fail-at",
    type=click.Choice(["error", "warning", "note"]),
    help="The mildest severity that makes the exit status 1.  [default: the policy's, else error]",
)
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the report to this file, whole or not at all.",
)
@click.option(
    "--changed-since",
    metavar="REVISION",
    help="Only sites that changed in git since REVISION, or whose catalogue, policy, cards or "
    "accepted list did.",
)
@click.option(
    "--pre-commit",
    is_flag=True,
    help="As the pre-commit hook runs it: only sites that what is staged touches, or that changed "
    "since PRE_COMMIT_FROM_REF. All that git knows where nothing is staged or committed yet.",
)
@click.option(
    "--stdin-filename",
    type=PathType(),
    metavar="PATH",
    help="What - stands for: its place decides on policy and catalogue, and reports name it.",
)
@click.option(
    "--rule",
    "only",
    type=RuleType(),
    multiple=True,
    help="Look at this rule alone; as often as wanted.",
)
@click.option(
    "--skip",
    type=RuleType(),
    multiple=True,
    help="Leave this rule out; as often as wanted.",
)
@click.option(
    "--stated-only",
    is_flag=True,
    help="Judge by what the file states alone. Else what is open for lack of radio figures is "
    "judged too, where all ordinary equipment gives the same answer.",
)
@click.option(
    "--quiet", "-q", is_flag=True, help="In text and concise, show what fails and counts alone."
)
@click.option(
    "--explain",
    is_flag=True,
    help="In text, say why each finding matters and who says so, and all that could not be judged.",
)
@click.option(
    "--verdicts",
    is_flag=True,
    help="In json, list what became of each rule for each subject, also where it does not apply.",
)
@click.option("--jobs", type=click.IntRange(1), help="At most so many processes.")
@click.option("--no-cache", is_flag=True, help="Work everything out afresh, and keep nothing.")
@click.option(
    "--today",
    type=Day(),
    help="The day on which waivers are judged, for runs that must repeat.  [default: today]",
)
def command(
    paths: tuple[str, ...],
    targets: tuple[Target, ...],
    fail_at: Severity | None,
    output: Path | None,
    changed_since: str | None,
    pre_commit: bool,  # noqa: FBT001 - click passes options by name
    stdin_filename: str | None,
    only: tuple[str, ...],
    skip: tuple[str, ...],
    stated_only: bool,  # noqa: FBT001
    quiet: bool,  # noqa: FBT001
    explain: bool,  # noqa: FBT001
    verdicts: bool,  # noqa: FBT001
    jobs: int | None,
    no_cache: bool,  # noqa: FBT001 - click passes options by name
    today: date | None,
) -> None:
    """Check site files, all *.site.yaml files in folders, or - for standard input.

    Without PATHS, checks the current folder. Folders are searched as git would: what .gitignore
    names is left out. The exit status is the same for every format.

    \b
    Exit status:
      0    nothing at or above the failing severity
      1    findings
      2    something could not be understood, or nothing was found to check
      3    meshlint itself failed, or the installation has a part missing
      130  interrupted, as by Ctrl-C
      141  the reader of the output has gone, as in `| head`

    \b
    Examples:
      meshlint check central.site.yaml
      meshlint check branches/ --fail-at warning
      git show HEAD~1:north/hall.site.yaml | meshlint check - --stdin-filename north/hall.site.yaml
      meshlint check branches/ --format text --format sarif=findings.sarif
      meshlint check --changed-since origin/main
      meshlint check cafe.site.yaml --stated-only --explain
      meshlint check . --rule channel-permitted --rule power-permitted --quiet
    """
    if stdin_filename is not None and STANDARD_INPUT not in paths:
        refuse("--stdin-filename names what standard input is; give - to have it read")
    if pre_commit and changed_since is not None:
        refuse("--pre-commit says itself what to compare with; leave --changed-since out")
    _refuse_unless_listed(targets, verdicts=verdicts)
    files = site_files(paths or (".",))
    if not files and not pre_commit:
        refuse(f"no *.site.yaml file in {', '.join(paths) or 'this folder'}")
    if pre_commit or changed_since is not None:
        files = _touched(files, changed_since)
    day = today or date.today()  # noqa: DTZ011 - the reader's own day
    listing = any(target.form in LISTING for target in targets)
    choice = _choice(only, skip, stdin_filename, files, day) if only or skip else None
    # A person at one site wants to know what to set; a gate over many wants to know what fails.
    advise = files == paths and len(paths) == 1 and not pre_commit and changed_since is None
    orders = Orders(
        day, fail_at, jobs, listing=listing, choice=choice, usual=not stated_only, advise=advise,
        verdicts=verdicts, standard_input_as=stdin_filename or STANDARD_INPUT,
    )  # fmt: skip
    keys, kept = None, None
    if not (no_cache or verdicts):
        from meshlint.fleet.keys import Keys

        keys, kept = Keys(day, fail_at, choice, usual=not stated_only, advise=advise), _cache()

    def cards() -> Mapping[str, Card]:
        from meshlint.run import cards_for

        return cards_for(_places(files, stdin_filename), day)

    results = results_of(files, orders, keys, kept)
    if not pre_commit and changed_since is None:
        results = and_gone_sites(results, paths or (".",))
    try:
        status = delivered(results, files, targets, output, cards, quiet=quiet, explain=explain)
    finally:
        if kept is not None:
            kept.close()
    if status:
        sys.exit(status)


def _refuse_unless_listed(targets: tuple[Target, ...], *, verdicts: bool) -> None:
    if verdicts and all(target.form != "json" for target in targets):
        refuse("--verdicts lists them in json; add --format json")


def _cache() -> Cache | None:
    """Return the cache, `None` where there can be none, or it must not be used; that is told."""
    from meshlint.fleet.cache import trusted_cache
    from meshlint.fleet.cache_trust import NotTrustedError

    try:
        return trusted_cache()
    except NotTrustedError as error:
        click.echo(f"meshlint: the cache is not used: {visible(str(error))}", err=True)
        return None


def _places(files: tuple[str, ...], stdin_filename: str | None) -> tuple[str, ...]:
    """Return the files, standard input under the name that it was given."""
    return tuple(stdin_filename or file if file == STANDARD_INPUT else file for file in files)


def _choice(
    only: tuple[str, ...],
    skip: tuple[str, ...],
    stdin_filename: str | None,
    files: tuple[str, ...],
    day: date,
) -> Choice:
    """Return the choice of rules, or end the run where it names one that there is not."""
    from meshlint.run import cards_for
    from meshlint.workings.subjects import FLEET_SCOPES

    known = cards_for(_places(files, stdin_filename), day) or cards_for(("a.site.yaml",), day)
    for name in (*only, *skip):
        if name not in known:
            import difflib

            near = difflib.get_close_matches(name, known, 1)
            hint = f"; did you mean {near[0]}?" if near else "; `meshlint rules` lists all"
            refuse(f"there is no rule '{name}'{hint}")
        elif known[name].about in FLEET_SCOPES:
            refuse(f"'{name}' is asked of all sites together, by `meshlint fleet`")
    choice = Choice(frozenset(only), frozenset(skip))
    if not any(name in choice for name in known):
        refuse("no rule is left to look at")
    return choice


def _touched(files: tuple[str, ...], since: str | None) -> tuple[str, ...]:
    """Return the files that changed since a revision, or without one that the commit touches."""
    from meshlint.fleet.changed import NotKnown, touched_since
    from meshlint.fleet.commit import touched_by_commit

    try:
        touched = touched_by_commit(files) if since is None else touched_since(since, files)
    except NotKnown as error:
        refuse(str(error))
    if not touched:
        said = f"no site changed since {since}" if since else "the commit touches no site"
        click.echo(f"meshlint: {said}", err=True)
    return touched

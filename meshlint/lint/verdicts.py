"""What a check tells besides findings: each verdict, what goes offline with what, and the line."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meshlint.lint.engine import SiteRun
    from meshlint.lint.finding import Verdict, VerdictWord
    from meshlint.workings.site_workings import Workings


def verdicts_of(run: SiteRun) -> tuple[Verdict, ...]:
    """Return every verdict of a run; a pair that is not there was not looked at.

    What a rule is not about is among them where the run kept it.
    """
    found: dict[tuple[str, str], VerdictWord] = {}
    found.update(dict.fromkeys(run.passed_over or (), "does not apply"))
    found.update(dict.fromkeys(run.sound, "held"))
    found.update(dict.fromkeys(run.assumed, "held, assumed"))
    found.update(((entry.rule, entry.subject), "not judged") for entry in run.not_judged)
    found.update(((told.finding.rule, told.finding.subject), "broken") for told in run.findings)
    return tuple(sorted((rule, subject, word) for (rule, subject), word in found.items()))


def single_points_of(w: Workings) -> tuple[str, ...]:
    """Return what goes offline with what, in sentences; a unit alone has nobody to take along."""
    if len(w.site.units) == 1:
        return ()
    from meshlint.workings.alternatives.single_points import single_points

    return single_points(w)


def line_shares_of(w: Workings) -> tuple[str, ...]:
    """Return what of the internet line reaches which units through the mesh, in sentences."""
    if not w.site.internet_lines or len(w.site.units) == 1:
        return ()
    from meshlint.workings.capacity.line_share import line_shares

    return line_shares(w)

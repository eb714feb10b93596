"""What became of each rule for each subject of a site, one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meshlint.lint.engine import SiteRun
    from meshlint.lint.finding import Verdict, VerdictWord


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

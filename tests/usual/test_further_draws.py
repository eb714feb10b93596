"""What usual ranges settle on everyday sites holds for further draws within them.

The aim of at most 1 % of contradictions is ours; `tests/benchmarks/usual_draws.py` counts them over
many more sites and draws, rule by rule.
"""

from __future__ import annotations

from datetime import date

import pytest
import yaml
from everyday import everyday

from meshlint.lint.engine import SiteRun
from meshlint.run import Checker
from meshlint.usual.fillings import Fillable, drawn, gaps_of
from meshlint.usual.settling import settle

DAY = date(2026, 11, 25)


@pytest.mark.parametrize("seed", range(200, 206))
def test_further_draws_contradict_next_to_nothing(seed: int) -> None:
    opened = Checker(DAY).open(yaml.safe_dump(everyday(seed)).encode(), "a.site.yaml")
    run = SiteRun(opened.rules, opened.workings, opened.document)
    run.judge_all()
    settle(run, deciding=False)
    settled = dict.fromkeys(run.assumed, "held")
    settled |= {
        (told.finding.rule, told.finding.subject): "broken"
        for told in run.findings
        if told.finding.assumed
    }
    assert settled
    rules = {rule: None for rule, _ in settled}
    site, gaps, against = Fillable(opened.workings), gaps_of(opened.site), 0
    figures = [gap for gap in gaps if gap.part != "choice"]
    for number in range(12):
        # What a radio on `auto` may do is known to most rules; the rest want a channel drawn too.
        left = dict(settled)
        for filled in (figures, gaps):
            filling = site.filled(drawn(f"further {number}"), filled)
            again = SiteRun(opened.rules, filling, opened.document, only=rules)
            again.judge_all()
            against += sum(
                pair in (again.sound if state == "broken" else again.broken)
                for pair, state in left.items()
            )
            left = {k: v for k, v in left.items() if k not in again.sound | again.broken.keys()}
    assert against <= 0.01 * 12 * len(settled)

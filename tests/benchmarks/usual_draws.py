"""How often further draws within the usual ranges contradict what a few fillings settled.

    python tests/benchmarks/usual_draws.py [SITES [DRAWS]]

Everyday sites are drawn at random (`everyday.py`); each open judgement that the fillings settle is
judged again with so many independent draws of every gap: first of figures, and of the channel of
radios on `auto` too where that leaves it open. Aims: at most 1 % of pairs of a verdict
and a draw contradict, and no rule more than 5 %. Also printed: the share of open judgements that
lack nothing but inputs with a range, and the share of these that were settled.
"""

from __future__ import annotations

import sys
from collections import Counter
from datetime import date
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).parents[1]))

from everyday import everyday

from meshlint.lint.engine import SiteRun
from meshlint.run import Checker
from meshlint.usual.fillings import Fillable, drawn, gaps_of
from meshlint.usual.settling import settle

DAY = date(2026, 11, 25)


def contradictions(
    seed: int, draws: int, pairs: Counter[str], against: Counter[str]
) -> tuple[int, int, int]:
    """Count pairs of verdict and draw by rule; return what was open, could be, and was settled."""
    opened = Checker(DAY).open(yaml.safe_dump(everyday(seed)).encode(), "a.site.yaml")
    run = SiteRun(opened.rules, opened.workings, opened.document)
    run.judge_all()
    before = list(run.not_judged)
    gaps = {gap.pointer: gap for gap in gaps_of(opened.site)}
    could = sum(all(wanted.pointer in gaps for wanted in entry.inputs) for entry in before)
    settle(run)
    settled = dict.fromkeys(run.assumed, "held")
    settled.update(
        ((told.finding.rule, told.finding.subject), "broken")
        for told in run.findings
        if told.finding.assumed
    )
    only: dict[str, set[str]] = {}
    for rule, subject in settled:
        only.setdefault(rule, set()).add(subject)
    wanted = {rule: frozenset(subjects) for rule, subjects in only.items()}
    site = Fillable(opened.workings)
    figures = [gap for gap in gaps.values() if gap.part != "choice"]
    for number in range(draws if settled else 0):
        pairs.update(rule for rule, _ in settled)
        left = dict(settled)
        for filled in (figures, gaps.values()):
            filling = site.filled(drawn(f"further {number}"), filled)
            again = SiteRun(opened.rules, filling, opened.document, only=wanted)
            again.judge_all()
            for (rule, subject), state in left.items():
                other = again.sound if state == "broken" else again.broken
                against[rule] += (rule, subject) in other
            left = {k: v for k, v in left.items() if k not in again.sound | again.broken.keys()}
            if not left:
                break
    return len(before), could, len(before) - len(run.not_judged)


def main() -> None:
    """Print the shares, rule by rule."""
    sites, draws = ([int(word) for word in sys.argv[1:]] + [60, 200][len(sys.argv) - 1 :])[:2]
    pairs: Counter[str] = Counter()
    against: Counter[str] = Counter()
    counted = [contradictions(seed, draws, pairs, against) for seed in range(sites)]
    open_, could, settled = (sum(column) for column in zip(*counted, strict=True))
    print(f"{sites} sites: {open_} open, {could} for lack of ranges alone, {settled} settled")
    rows = [(rule, pairs[rule], against[rule]) for rule in pairs]
    rows.sort(key=lambda row: (-row[2] / row[1], row[0]))
    for rule, all_, wrong in [*rows, ("all", pairs.total(), against.total())]:
        print(f"{rule:32} {all_:8} {wrong:6} {100 * wrong / all_:6.2f} %")


if __name__ == "__main__":
    main()

"""How much usual ranges settle on sites without radio figures, rule by rule.

    python tests/benchmarks/usual_share.py [FILE ...]

Files are the samples and the worked examples of `meshlint new` unless named, each stripped of what
an installer seldom knows (`usual_cost.py` has the list). Counted are open judgements, those that
lack nothing but inputs with a range, and those settled: of the first two all, of the last by rule.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import yaml
from usual_cost import DAY, without_figures

from meshlint.lint.engine import SiteRun
from meshlint.run import Checker
from meshlint.usual.fillings import gaps_of
from meshlint.usual.settling import settle

ROOT = Path(__file__).parents[2]


def main() -> None:
    """Print a row a rule, worst first."""
    named = [Path(word) for word in sys.argv[1:]]
    files = named or [
        *sorted(ROOT.glob("samples/**/*.site.yaml")),
        *sorted(ROOT.glob("meshlint/starter/worked/*.yaml")),
    ]
    could: Counter[str] = Counter()
    left: Counter[str] = Counter()
    open_ = settled = 0
    for path in files:
        text = yaml.safe_dump(without_figures(yaml.safe_load(path.read_bytes())), sort_keys=False)
        opened = Checker(DAY).open(text.encode(), str(path))
        run = SiteRun(opened.rules, opened.workings, opened.document)
        run.judge_all()
        gaps = {gap.pointer for gap in gaps_of(opened.site)}
        before = list(run.not_judged)
        could.update(e.rule for e in before if gaps.issuperset(i.pointer for i in e.inputs))
        settle(run)
        still = {(entry.rule, entry.subject) for entry in run.not_judged}
        left.update(
            entry.rule
            for entry in before
            if gaps.issuperset(i.pointer for i in entry.inputs)
            and (entry.rule, entry.subject) in still
        )
        open_ += len(before)
        settled += len(before) - len(run.not_judged)
    print(
        f"{len(files)} files: {open_} open, {could.total()} for lack of ranges, {settled} settled"
    )
    for rule in sorted(could, key=lambda rule: (-left[rule], rule)):
        print(f"{rule:32} {could[rule]:6} {left[rule]:6} left")


if __name__ == "__main__":
    main()

"""Every open finding of a site with the best change that is proven for it, or the reason why not.

A change is proven on top of those before it, so that all of them may be written together.
"""

from __future__ import annotations

from itertools import islice
from math import inf
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.edits.candidates import candidates
from meshlint.edits.proof import Proof, judged, proven
from meshlint.lint.finding import SEVERITIES

if TYPE_CHECKING:
    from meshlint.edits.candidate import Candidate
    from meshlint.edits.proof import Judged, Judgement
    from meshlint.lint.engine import Broken
    from meshlint.lint.finding import Severity
    from meshlint.run import Checker

MOST_TRIED: Final = 16
"""Changes that are tried for a finding: a count and no clock, so that every machine says the same.
"""


MOST_PROOFS: Final = 40
"""Changes that are tried for all findings of a report."""


class Mend(Struct, frozen=True, eq=False):
    """A finding and the change that mends it; `others` counts further ones that are proven too.

    `alone` is the proof of the change by itself, where that was asked for.
    """

    finding: Judgement
    label: str
    severity: Severity
    change: Candidate
    proof: Proof
    before: Judged
    others: int
    alone: Proof | None = None


class Unmended(Struct, frozen=True):
    """A finding that no change is proven for; `reasons` say why each of those tried is none."""

    finding: Judgement
    label: str
    severity: Severity
    reasons: tuple[tuple[str, str], ...]


class _Budget:
    """How many proofs may still be tried over all findings: without end, or as many as fit.

    A proof takes about the work that the first judgement of the site took; each filling of its
    gaps about a quarter of that, since much of it is shared.
    """

    def __init__(self, work: int | None, first: Judged) -> None:
        fillings = sum(filling.size for filling in first.run.fillings)
        cost = max(1, first.opened.workings.size + fillings // 4)
        self._left = inf if work is None else min(work // cost, MOST_PROOFS)

    @property
    def bounded(self) -> bool:
        """Return whether proofs are few, so that the first good change must do."""
        return self._left != inf

    def take(self) -> bool:
        self._left -= 1
        return self._left >= 0


def mended(
    checker: Checker,
    data: bytes,
    path: str,
    rule: str | None = None,
    *,
    work: int | None = None,
    alone: bool = False,
) -> tuple[tuple[Mend, ...], tuple[Unmended, ...], Judged]:
    """Return what mends a site's open findings, gravest first, what is left, and the last state.

    Where `work` bounds it, as many proofs are tried over all findings as keep so many values, and
    no more than `MOST_PROOFS`. With `alone` a
    change must mend its finding by itself too, and not only on top of those before it.
    Raises `InputError` for bytes that are no sound site file.
    """
    first = state = judged(checker, data, path)
    budget = _Budget(work, first)
    mends: list[Mend] = []
    left: dict[Judgement, Unmended] = {}
    while True:
        waiting = [pair for pair in _open(state, rule) if pair not in left]
        if not waiting:
            break
        pair = waiting[0]
        found = _best(checker, first, state, pair, budget, alone=alone)
        if isinstance(found, Unmended):
            left[pair] = found
            continue
        mends.append(found)
        state = found.proof.after
        if found.proof.left is not None:  # milder now, and that is the best that was found
            label = found.label
            left[pair] = Unmended(pair, label, found.proof.left, (("the change above", "milder"),))
    still = tuple(entry for pair, entry in left.items() if pair in set(_open(state, rule)))
    return tuple(mends), still, state


def _open(state: Judged, rule: str | None) -> list[Judgement]:
    found = [
        (SEVERITIES.index(verdict.severity), pair)
        for pair, verdict in state.verdicts.items()
        if verdict.state == "broken"
        and not verdict.accepted
        and verdict.severity in SEVERITIES
        and rule in (None, pair[0])
        and _broken(state, pair) is not None
    ]
    return [pair for _, pair in sorted(found)]


def _broken(state: Judged, pair: Judgement) -> Broken | None:
    """Return what a finding is made of, whether it rests on the file alone or on usual ranges."""
    return state.run.broken.get(pair) or state.run.broken_assumed.get(pair)


def _best(
    checker: Checker,
    first: Judged,
    state: Judged,
    pair: Judgement,
    budget: _Budget,
    *,
    alone: bool,
) -> Mend | Unmended:
    broken = _broken(state, pair)
    assert broken is not None  # or it would not be waiting
    subject = broken[1]
    severity = state.verdicts[pair].severity
    proofs: list[tuple[Candidate, Proof]] = []
    reasons: list[tuple[str, str]] = []
    tried = candidates(state.opened.workings, pair[0], subject)
    for change in islice(tried, MOST_TRIED):
        if not budget.take():
            break
        outcome = proven(checker, state, change.edits, pair, first)
        if isinstance(outcome, Proof):
            proofs.append((change, outcome))
            if budget.bounded and _is_clean(change, outcome):
                break
        else:
            reasons.append((change.words, outcome))
    for change, proof in sorted(proofs, key=lambda found: _order(*found)):
        by_itself = None
        if alone:
            held = proof if state is first else proven(checker, first, change.edits, pair)
            if isinstance(held, str):
                reasons.append((change.words, f"by itself, {held}"))
                continue
            by_itself = held
        others = len(proofs) - 1
        return Mend(pair, subject.label, severity, change, proof, state, others, by_itself)
    return Unmended(pair, subject.label, severity, tuple(reasons))


def _is_clean(change: Candidate, proof: Proof) -> bool:
    """Return whether a change settles its finding, and costs and leaves open nothing else."""
    left, _, new, unsure, cable, _, least = _order(change, proof)
    return not (left or new or unsure or cable) and proof.holds and -least >= 1.0


def _order(change: Candidate, proof: Proof) -> tuple[bool, bool, int, int, bool, int, float]:
    """Return what to sort proofs by, the best first; equals keep the order of the candidates.

    A cable that is still to be laid comes after what can be set or plugged in today.
    What people feel is rounded to a tenth, as the model's figures are no finer.
    """
    usual = [(was[0], now[0]) for was, now in proof.usual_rates_mbps.values()]
    gains = [now / was for was, now in (*proof.rates_mbps.values(), *usual) if was > 0]
    least = round(min(gains, default=1.0), 1)
    new = len(proof.milder), len(proof.open)
    return (
        proof.left is not None,
        not proof.holds,
        *new,
        change.work == "new cable",
        -len(proof.gone),
        -least,
    )

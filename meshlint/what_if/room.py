"""How many more devices of a group fit before a rule breaks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.edits.proof import changed, worse
from meshlint.lint.finding import SEVERITIES
from meshlint.what_if.settings import more

if TYPE_CHECKING:
    from meshlint.edits.proof import Judged, Judgement
    from meshlint.lint.finding import Finding
    from meshlint.what_if.draft import Draft
    from meshlint.workings.unknown import Unknown

MOST_MORE: Final = 4096

_OF_LOAD: Final = frozenset(
    {
        "airtime-room",
        "backhaul-carries-demand",
        "clients-get-their-rate",
        "clients-per-radio",
        "enough-addresses",
        "line-carries-demand",
        "primary-keeps-up",
        "sensors-have-room",
    }
)
"""Rules that hang on how many devices there are: what is left open of them may break earlier."""


class Room(Struct, frozen=True):
    """How many more devices of a group fit, and the finding that one more brings.

    `more` is `None` where none of the rules breaks up to `MOST_MORE`. `broken` are findings of
    today that grow with the group, `open` rules of load that nobody can judge, with what is
    missing.
    """

    group: str
    more: int | None
    then: Finding | None
    broken: tuple[Finding, ...]
    open: tuple[tuple[str, tuple[str, ...]], ...]


def room(draft: Draft, group: str, asked: int) -> Room:
    """Return how many more devices of a group fit on top of a draft; `asked` is tried first."""
    base = changed(draft.checker, draft.first, draft.edits).after
    stated = (draft.opened.site.clients or {})[group]

    def breaks(number: int) -> Finding | None:
        edits = (*draft.edits, *more(stated, number).edits)
        after = changed(draft.checker, draft.first, edits).after
        new = [p for p in worse(base, after) if _is_finding(after, p)]
        findings = [c.finding for c in after.run.findings]
        return min(
            (f for f in findings if (f.rule, f.subject) in new),
            key=lambda f: SEVERITIES.index(f.severity),
            default=None,
        )

    fits, tried = 0, asked
    then = breaks(tried)
    while then is None and tried < MOST_MORE:
        fits, tried = tried, min(2 * tried, MOST_MORE)
        then = breaks(tried)
    if then is None:
        return Room(group, None, None, _growing(draft, base, group, asked), _open(base))
    while tried - fits > 1:
        middle = (fits + tried) // 2
        found = breaks(middle)
        if found is None:
            fits = middle
        else:
            tried, then = middle, found
    return Room(group, fits, then, _growing(draft, base, group, asked), _open(base))


def _is_finding(state: Judged, pair: Judgement) -> bool:
    verdict = state.verdicts[pair]
    return verdict.state == "broken" and not verdict.accepted and verdict.severity in SEVERITIES


def _growing(draft: Draft, base: Judged, group: str, number: int) -> tuple[Finding, ...]:
    """Return the findings of today whose deciding numbers move with the group."""
    stated = (draft.opened.site.clients or {})[group]
    edits = (*draft.edits, *more(stated, number).edits)
    after = changed(draft.checker, draft.first, edits).after
    return tuple(
        candidate.finding
        for candidate in base.run.findings
        if _is_finding(base, pair := (candidate.finding.rule, candidate.finding.subject))
        and pair in base.run.broken
        and pair in after.run.broken
        and _deciding(base, pair) != _deciding(after, pair)
    )


def _deciding(state: Judged, pair: Judgement) -> list[object]:
    ready, _, known = state.run.broken[pair]
    values: list[object | Unknown] = [known[name] for name in ready.card.expect.reads]
    return [round(v, 6) if isinstance(v, float) else v for v in values]


def _open(state: Judged) -> tuple[tuple[str, tuple[str, ...]], ...]:
    lacking: dict[str, dict[str, None]] = {}
    for entry in state.run.not_judged:
        if entry.rule in _OF_LOAD:
            keys = lacking.setdefault(entry.rule, {})
            keys.update(dict.fromkeys(wanted.key for wanted in entry.inputs))
    return tuple((rule, tuple(keys)) for rule, keys in sorted(lacking.items()))

"""One cause told once: findings of a rule folded by their cause, and under what they follow from.

No finding is lost by it. Those of one rule and one cause become one that names the others, and a
consequence stays a finding of its own that says under which other it is told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.lint.finding import SEVERITIES
from meshlint.lint.telling import NOBODY

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.finding import Finding, Severity

_GRAVEST_FIRST = (*SEVERITIES, "caution")


class Candidate(Struct, frozen=True):
    """A finding with its card, what it shares its cause with, and what it would follow from.

    `weight` says which of equally grave ones is told for all, the largest; `roots` are the rules
    and subjects of the findings that would make it a consequence, the first that is there counts.
    """

    card: Card
    finding: Finding
    cause: str
    weight: float
    roots: tuple[tuple[str, str], ...]


def graver(severity: Severity, than: Severity) -> bool:
    """Return whether one severity is above another."""
    return _GRAVEST_FIRST.index(severity) < _GRAVEST_FIRST.index(than)


def fold(told: Iterable[Candidate]) -> list[Finding]:
    """Return the findings with those of one rule, cause and root folded into the worst of them.

    An accepted finding stands for itself: it must not take an open one into hiding, nor be taken.
    """
    entries = tuple(told)
    above = _above(entries)
    groups: dict[tuple[str, ...], list[Candidate]] = {}
    for entry in entries:
        groups.setdefault(_key(entry, above), []).append(entry)
    worst = {
        key: min(
            group, key=lambda told: (_GRAVEST_FIRST.index(told.finding.severity), -told.weight)
        )
        for key, group in groups.items()
    }
    folded = []
    for key, group in groups.items():
        first = worst[key]
        follows = tuple(other.finding.label for other in group if other is not first)
        root = above.get(_name(first))
        under = worst[_key(root, above)].finding.fingerprint if root else ""
        finding = first.finding
        if any(other.finding.devices for other in group):
            finding = _about_somebody(finding)
        changed = follows or under
        folded.append(replace(finding, follows=follows, under=under) if changed else finding)
    return folded


def _about_somebody(finding: Finding) -> Finding:
    """Return a finding without the words that nobody is there: others told with it have clients."""
    if NOBODY not in finding.message:
        return finding
    return replace(
        finding,
        message=finding.message.replace(NOBODY, "", 1),
        brief=max(finding.brief - len(NOBODY), 0),
    )


def _name(told: Candidate) -> tuple[str, str]:
    return told.finding.rule, told.finding.subject


def _key(told: Candidate, above: Mapping[tuple[str, str], Candidate]) -> tuple[str, ...]:
    """Return what is the same for all findings that are told as one."""
    apart = told.finding.subject if told.finding.is_accepted or not told.cause else ""
    root = above.get(_name(told))
    return (told.finding.rule, told.cause, apart, *(_key(root, above) if root else ()))


def _above(entries: Iterable[Candidate]) -> Mapping[tuple[str, str], Candidate]:
    """Return the root under which each consequence is told, by rule and subject.

    A root is open, no caution and no milder, so that nothing hides; where findings follow from
    each other in a circle none of them is told under another.
    """
    open_ = {_name(entry): entry for entry in entries if _is_open(entry)}
    parents = {
        name: parent
        for name, entry in open_.items()
        if (parent := next((root for root in entry.roots if _bears(root, entry, open_)), None))
    }
    above = {}
    for name, top in parents.items():
        passed = {name}
        while top in parents and top not in passed:
            passed.add(top)
            top = parents[top]  # noqa: PLW2901 - the walk upwards
        if top not in passed:
            above[name] = open_[top]
    return above


def _is_open(told: Candidate) -> bool:
    return not (told.finding.is_accepted or told.finding.is_caution)


def _bears(
    root: tuple[str, str], on: Candidate, open_: Mapping[tuple[str, str], Candidate]
) -> bool:
    """Return whether the finding that one would follow from is there and no milder."""
    found = open_.get(root)
    return (
        found is not None
        and found is not on
        and not graver(on.finding.severity, found.finding.severity)
    )

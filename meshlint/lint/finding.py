"""What a check of one site says: findings, rules not judged and why, and what was counted."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.lint.card import Source
    from meshlint.site.model import Waiver
    from meshlint.site.problem import Place, Problem
    from meshlint.workings.facts import FactValue, Input

Severity = Literal["error", "warning", "note", "caution"]

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
"""The severities of faults, gravest first: the result levels of OASIS SARIF 2.1.0.

A caution is of another kind. It asks a person to look, so it is neither a fault nor, where it is
not raised, something that held.
"""


@dataclass(frozen=True, slots=True)
class Related:
    """Another place in the file that bears on a finding."""

    place: Place
    says: str


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule broken by a subject, or a caution, with the numbers worked out for it.

    `follows` names the other subjects that break the same rule for the same cause; `waiver` is the
    entry of the site file that accepts the finding, if one does.
    """

    rule: str
    severity: Severity
    title: str
    subject: str
    label: str
    place: Place
    message: str
    why: str
    remedy: str
    sources: tuple[Source, ...]
    numbers: Mapping[str, FactValue]
    related: tuple[Related, ...] = ()
    follows: tuple[str, ...] = ()
    waiver: Waiver | None = None

    @property
    def is_caution(self) -> bool:
        """Return whether it asks a licensed person to look, and says nothing of a fault."""
        return self.severity == "caution"

    @property
    def fingerprint(self) -> str:
        """Return what stays the same when lines move: rule and subject, hashed."""
        return hashlib.sha256(f"{self.rule}\n{self.subject}".encode()).hexdigest()[:20]


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A rule that could not be worked out for a subject, and the inputs that would settle it."""

    rule: str
    subject: str
    label: str
    place: Place
    inputs: tuple[Input, ...]


@dataclass(frozen=True, slots=True)
class SiteResult:
    """All that a check says about one file.

    A file that could not be read has `problems` and nothing else. `findings` holds faults and
    cautions, accepted or not. `held` counts pairs of rule and subject, cautions never among them;
    `idle` names the rules that found nothing to look at.
    """

    path: str
    site: str = ""
    findings: tuple[Finding, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    held: tuple[str, ...] = ()
    idle: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def open_findings(self) -> tuple[Finding, ...]:
        """Return the faults that nobody has accepted."""
        return tuple(f for f in self.findings if f.waiver is None and not f.is_caution)

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """Return the cautions that nobody has answered for."""
        return tuple(f for f in self.findings if f.waiver is None and f.is_caution)

    @property
    def accepted(self) -> tuple[Finding, ...]:
        """Return the findings, cautions among them, that a waiver accepts."""
        return tuple(finding for finding in self.findings if finding.waiver is not None)

    def wanted(self) -> tuple[tuple[str, str, int, tuple[str, ...]], ...]:
        """Return (input, meaning, judgements, rules) for what is missing, most valuable first."""
        counts: dict[str, tuple[str, set[tuple[str, str]], set[str]]] = {}
        for entry in self.not_judged:
            for wanted in entry.inputs:
                _, judgements, rules = counts.setdefault(wanted.key, (wanted.wanted, set(), set()))
                judgements.add((entry.rule, entry.subject))
                rules.add(entry.rule)
        return tuple(
            sorted(
                (
                    (key, wanted, len(judgements), tuple(sorted(rules)))
                    for key, (wanted, judgements, rules) in counts.items()
                ),
                key=lambda row: (-len(row[3]), -row[2], row[0]),
            )
        )

"""What a check of one site says: findings, rules not judged and why, and what was counted.

The records are `msgspec` structs, which cost little to define and go to other processes and to the
cache as they are.
"""

from collections.abc import Iterable
from datetime import date
from typing import Literal

from msgspec import Struct

from meshlint.site.problem import Place, Problem
from meshlint.site.waiver import Pointer, Waiver
from meshlint.workings.fact import FactValue
from meshlint.workings.unknown import Input

Severity = Literal["error", "warning", "note", "caution"]

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
"""The severities of faults, gravest first: the result levels of OASIS SARIF 2.1.0.

A caution is of another kind. It asks a person to look, so it is neither a fault nor, where it is
not raised, something that held.
"""


_NUMBERED = frozenset("0123456789(")


class Source(Struct, frozen=True, array_like=True):
    """A published document and what in a card it supports.

    `holds_in` names the countries, or regions of radar rules, that it is about; none is everywhere.
    """

    document: str
    supports: str
    edition: str = ""
    clause: str = ""
    read: Literal["read", "second-hand", "from memory"] = "from memory"
    holds_in: tuple[str, ...] = ()

    @property
    def marked(self) -> str:
        """Return the document with a mark where its own text was not seen."""
        return str(self) if self.read == "read" else f"{self} ({self.read})"

    def __str__(self) -> str:
        # An annex, a table or a heading says itself what it is; a bare number does not.
        clause = f"clause {self.clause}" if self.clause[:1] in _NUMBERED else self.clause
        parts = (self.document, self.edition, clause)
        return ", ".join(part for part in parts if part)


class Listed(Struct, frozen=True, array_like=True):
    """An entry of a repository's accepted list: a finding that was there on the day `since`.

    It covers the finding at its severity or milder; one that has become graver is new.
    """

    rule: str
    subject: str
    severity: Severity
    fingerprint: str
    since: date
    because: str
    place: Place


class Related(Struct, frozen=True, array_like=True):
    """Another place in the file that bears on a finding."""

    place: Place
    says: str


class Assumption(Struct, frozen=True, array_like=True):
    """An input that the file does not state, and the usual range that it was taken to lie in."""

    pointer: Pointer
    words: str
    low: float | int | str
    usual: float | int | str
    high: float | int | str
    unit: str
    source: str


class Replacement(Struct, frozen=True, array_like=True):
    """Lines of a file, counted from one, and the text that takes their place.

    Where `last_line` is before `first_line`, the text goes in front of `first_line`.
    """

    first_line: int
    last_line: int
    text: str


class Fix(Struct, frozen=True, array_like=True):
    """A change of the site file that is proven to mend a finding, in words and in lines.

    `label` names the finding for which it was looked for: it may settle others with it. `work` is
    what kind of work it means on site. What is left of the finding is `left`, a severity, where it
    gets milder only.
    """

    label: str
    words: str
    work: str
    replacements: tuple[Replacement, ...]
    left: str = ""


class Finding(Struct, frozen=True, array_like=True):
    """A rule broken by a subject, or a caution, with the numbers worked out for it.

    `site` is the site's name. `follows` names the other subjects that break the same rule for the
    same cause, and `under` is the fingerprint of another rule's finding of which this one is a
    consequence; `waiver` is the entry of the site file that accepts the finding, and `listed` that
    of the repository's accepted list, if one does. `assumed` holds the usual ranges within which
    the rule is broken whatever the values are; a finding without any rests on the file alone.
    `fixes` are changes of the file that are proven to mend it, and those that it is told for.
    `devices` is how many client devices the finding is about, as far as that is known, and `brief`
    how many characters of the message a short report shows.
    """

    site: str
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
    numbers: dict[str, int | FactValue]
    related: tuple[Related, ...] = ()
    follows: tuple[str, ...] = ()
    waivable: bool = True
    waiver: Waiver | None = None
    listed: Listed | None = None
    under: str = ""
    assumed: tuple[Assumption, ...] = ()
    devices: float = 0.0
    brief: int = 0
    fixes: tuple[Fix, ...] = ()

    @property
    def in_short(self) -> str:
        """Return the part of the message that says who is hit, and by how much."""
        return self.message[: self.brief] if self.brief else self.message

    @property
    def is_accepted(self) -> bool:
        """Return whether a waiver or the accepted list covers it."""
        return self.waiver is not None or self.listed is not None

    @property
    def is_caution(self) -> bool:
        """Return whether it asks a licensed person to look, and says nothing of a fault."""
        return self.severity == "caution"

    @property
    def fingerprint(self) -> str:
        """Return what stays the same when lines or files move."""
        return fingerprint(self.site, self.rule, self.subject)


class NotJudged(Struct, frozen=True, array_like=True):
    """A rule that could not be worked out for a subject, and the inputs that would settle it."""

    rule: str
    subject: str
    label: str
    place: Place
    inputs: tuple[Input, ...]


Want = tuple[str, str, int, tuple[str, ...]]
"""A kind of missing input: where it would stand, what it is, how many judgements want it, of which
rules."""


VerdictWord = Literal["held", "held, assumed", "broken", "not judged", "does not apply"]

Verdict = tuple[str, str, VerdictWord]
"""A rule, the key of a subject, and what became of the rule for it."""


class SiteResult(Struct, frozen=True, array_like=True):
    """All that a check says about one file.

    A catalogue has no `site`. A file that could not be read has `problems` and nothing else; one
    that the program failed on has a `fault`. `fail_at` is the mildest severity that fails the site.
    `findings` holds faults and cautions, accepted or not; `wanted` is what would settle most of
    what was not judged, the most valuable first. `held` counts pairs of rule and subject, cautions
    never among them, and `assumed` those that hold whatever ordinary equipment the site has; `idle`
    names the rules that found nothing to look at; `vanished` holds entries
    of the accepted list that match no finding any more. A site that the accepted list speaks of and
    no file has any more `is_gone`: its `path` is the list's, and there is nothing to it but what
    has vanished with it. `unlisted` is how many more held, and how many more were not judged, than
    are listed, where whoever asked needs only their number. `chosen` is how many rules the call
    chose to look at and how many there are, where it did not look at all. `asked` holds, for each
    rule that could not be judged, the question that stays open: "whether cells overlap".
    `single_points` says what goes offline with what: no faults, but worth a line.
    So is what of the internet line gets through the mesh, in `line_shares`.
    `verdicts` lists what became of every rule for every subject, where that was wanted.
    """

    path: str
    site: str = ""
    fail_at: Severity = "error"
    findings: tuple[Finding, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    wanted: tuple[Want, ...] = ()
    held: tuple[str, ...] = ()
    idle: tuple[str, ...] = ()
    vanished: tuple[Listed, ...] = ()
    problems: tuple[Problem, ...] = ()
    fault: str = ""
    unlisted: tuple[int, int] = (0, 0)
    is_gone: bool = False
    chosen: tuple[int, int] | None = None
    assumed: tuple[str, ...] = ()
    asked: dict[str, str] = {}
    single_points: tuple[str, ...] = ()
    line_shares: tuple[str, ...] = ()
    verdicts: tuple[Verdict, ...] = ()

    @property
    def shared_problems(self) -> tuple[Problem, ...]:
        """Return its problems that lie in another file, such as a policy, and so in others' too."""
        return tuple(problem for problem in self.problems if problem.place.path != self.path)

    @property
    def times_held(self) -> int:
        """Return how many pairs of rule and subject held, listed or not."""
        return len(self.held) + self.unlisted[0]

    @property
    def times_not_judged(self) -> int:
        """Return how many could not be judged, listed or not."""
        return len(self.not_judged) + self.unlisted[1]

    @property
    def open_findings(self) -> tuple[Finding, ...]:
        """Return the faults that nobody has accepted."""
        return tuple(f for f in self.findings if not f.is_accepted and not f.is_caution)

    @property
    def failing(self) -> tuple[Finding, ...]:
        """Return the open faults that are grave enough to fail the site."""
        grave = SEVERITIES[: SEVERITIES.index(self.fail_at) + 1]
        return tuple(finding for finding in self.open_findings if finding.severity in grave)

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """Return the cautions that nobody has answered for."""
        return tuple(f for f in self.findings if not f.is_accepted and f.is_caution)

    @property
    def accepted(self) -> tuple[Finding, ...]:
        """Return the findings, cautions among them, that a waiver or the accepted list covers."""
        return tuple(finding for finding in self.findings if finding.is_accepted)

    def cause_of(self, finding: Finding) -> Finding | None:
        """Return the finding of another rule of which this one is a consequence, if there is one.

        It is open, no consequence itself, and a fault, as is every consequence.
        """
        if not finding.under:
            return None
        return next((f for f in self.findings if f.fingerprint == finding.under), None)


def wanted_by(not_judged: Iterable[NotJudged]) -> tuple[Want, ...]:
    """Return (input, meaning, judgements, rules) for what is missing, most valuable first."""
    counts: dict[str, tuple[str, set[tuple[str, str]], set[str]]] = {}
    keys: dict[Input, str] = {}  # what a site lacks is lacked again and again
    for entry in not_judged:
        judgement = (entry.rule, entry.subject)
        for wanted in entry.inputs:
            key = keys.get(wanted)
            if key is None:
                key = keys[wanted] = wanted.key
                counts.setdefault(key, (wanted.wanted, set(), set()))
            _, judgements, rules = counts[key]
            judgements.add(judgement)
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


def fingerprint(site: str, rule: str, subject: str) -> str:
    """Return a short name of a finding: the site's own name, the rule and the subject, hashed."""
    import hashlib

    return hashlib.sha256(f"{site}\n{rule}\n{subject}".encode()).hexdigest()[:20]

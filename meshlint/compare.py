"""Two states of a site side by side: findings gone and new, and every number that moved.

What moved is told by what it means for people: the table below lists the facts that they feel,
gravest first, with the least change worth telling. All other facts follow, where they moved by a
tenth or became another word.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct
from msgspec.structs import replace

from meshlint.gains import RATES, Losses
from meshlint.lint.finding import SEVERITIES
from meshlint.site.edits import Edit, edits
from meshlint.workings.consequences import rests_on
from meshlint.workings.fact import Kind, with_unit, written
from meshlint.workings.subjects import JUDGED_APART, SCOPES, subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.workings.fact import Fact, FactValue
    from meshlint.workings.site_workings import Subject, Workings

Good = Literal["more", "less", ""]
Verdict = Literal["better", "worse", "changed", "other"]


class Felt(Struct, frozen=True):
    """A fact that people feel: in short words, which way is good, and the least change to tell.

    `share` counts of the larger of the two values, `least` in the fact's own unit; both must be
    reached.
    """

    words: str
    good: Good
    share: float = 0.1
    least: float = 0.0


# Gravest first: who is joined at all, what they get, what they lose when something fails, what
# they wait for, and only then how that comes about.
FELT: dict[str, Felt] = {
    "site.shape": Felt("shape", ""),
    "site.deepest": Felt("hops to the farthest unit", "less", 0, 1),
    "unit.joined": Felt("joined to the primary", "more"),
    "unit.internet_mbps": Felt("best-case goodput from the internet", "more", 0.1, 1),
    "unit.backhaul_mbps": Felt("most that it gets from the primary", "more", 0.1, 1),
    "group.served_percent": Felt("share of what was promised", "more", 0, 1),
    "group.delivered_down_mbps": Felt("down for each device", "more", 0.1, 0.01),
    "group.delivered_up_mbps": Felt("up for each device", "more", 0.1, 0.01),
    "group.goodput_mbps": Felt("one device, with the air to itself", "more", 0.1, 1),
    "unit.radio_hops": Felt("radio hops to the primary", "less", 0, 1),
    "unit.parent": Felt("parent", ""),
    "unit.uplink_medium": Felt("uplink over", ""),
    "unit.dark_clients": Felt("clients cut off by one failure", "less", 0, 1),
    "unit.fallback_mbps": Felt("goodput after a failure", "more", 0.1, 1),
    "unit.client_airtime_lost_percent": Felt("clients' air lost to backhaul", "less", 0, 5),
    "unit.busy_latency_ms": Felt("delay when busy", "less", 0.1, 1),
    "link.radar_outage_s": Felt("silence after a radar", "less", 0, 1),
    "link.goodput_mbps": Felt("goodput of the link", "more", 0.1, 1),
    "link.medium": Felt("runs over", ""),
    "air.airtime_percent": Felt("of the air asked for", "less", 0, 5),
    "air.beacons_percent": Felt("of the air taken by beacons", "less", 0, 1),
    "group.second_level_dbm": Felt("second-best level", "more", 0, 3),
    "pair.overlap_percent": Felt("overlap of cells", "", 0, 5),
    "site.demand_down_mbps": Felt("asked for, down", "", 0.1, 1),
    "site.line_down_mbps": Felt("internet lines, down", "more", 0.1, 1),
}

_RANK = {name: position for position, name in enumerate(FELT)}
_USUAL = Felt("", "")
_MOST_NAMES = 6


class Side(Struct, frozen=True):
    """One state of a site: where it was read, what the rules say, its numbers, and their names."""

    shown: str
    result: SiteResult
    workings: Workings
    facts: Mapping[str, Fact]
    stated: Mapping[str, object] = {}
    """What the site file says, and under `catalogue PATH` what its catalogue does."""


class Change(Struct, frozen=True):
    """A fact of one subject that moved; `None` stands for unknown.

    A gain is only `changed` where what it rests on has a new error, of the rules `bought_with`, or
    where it comes of something that got worse: `because` says what.
    """

    subject: str
    label: str
    fact: str
    words: str
    unit: str
    before: FactValue | None
    after: FactValue | None
    shown_before: str
    shown_after: str
    verdict: Verdict
    is_felt: bool
    bought_with: tuple[str, ...] = ()
    because: str = ""


class Comparison(Struct, frozen=True):
    """All that differs between two states of a site."""

    old: Side
    new: Side
    gone: tuple[Finding, ...]
    appeared: tuple[Finding, ...]
    graver: tuple[tuple[str, Finding], ...]
    """Findings there before and after with another severity: the old one, and the finding now."""
    added: tuple[str, ...]
    removed: tuple[str, ...]
    changes: tuple[Change, ...]
    edits: tuple[Edit, ...] = ()
    """What the author changed, in the order of the file."""
    rates: tuple[Change, ...] = ()
    """What each client group gets, before and after, whether it moved or not."""

    @property
    def felt(self) -> tuple[Change, ...]:
        """Return the changes that people feel, subjects together, gravest subject first."""
        chosen = [change for change in self.changes if change.is_felt]
        first: dict[str, int] = {}
        for position, change in enumerate(chosen):
            first.setdefault(change.subject, position)
        return tuple(sorted(chosen, key=lambda change: first[change.subject]))

    @property
    def is_empty(self) -> bool:
        """Return whether nothing at all differs."""
        return not (
            self.gone
            or self.appeared
            or self.graver
            or self.added
            or self.removed
            or self.changes
            or self.edits
        )


def compare(old: Side, new: Side) -> Comparison:
    """Return what differs between two states of a site, by consequence."""
    before, after = _findings(old.result), _findings(new.result)
    were, are = _subjects(old.workings), _subjects(new.workings)
    order = {key: position for position, key in enumerate(are)}
    errors = _new_errors(before, after, are)
    rates = tuple(_rates(old, new, were, are))
    losses = Losses.between(rates, old, new, were, are)
    changes = sorted(
        (
            _less_glad(losses.told_with(change), new.workings, are[change.subject], errors)
            for change in _changes(old, new, were, are)
        ),
        key=lambda change: _weight(change, order),
    )
    return Comparison(
        old=old,
        new=new,
        gone=_gravest_first(before[key] for key in before if key not in after),
        appeared=_gravest_first(after[key] for key in after if key not in before),
        graver=tuple(
            sorted(
                (
                    (before[key].severity, after[key])
                    for key in after
                    if key in before and before[key].severity != after[key].severity
                ),
                key=lambda changed: _gravity(changed[1]),
            )
        ),
        added=tuple(key for key in are if key not in were),
        removed=tuple(key for key in were if key not in are),
        changes=tuple(changes),
        edits=tuple(edits(old.stated, new.stated)),
        rates=rates,
    )


def _rates(
    old: Side, new: Side, were: Mapping[str, Subject], are: Mapping[str, Subject]
) -> Iterator[Change]:
    """Yield what each client group gets; one that only one state has gets nothing in the other."""
    for key, subject in {**were, **are}.items():
        for name in RATES if subject.scope == "group" else ():
            if (declared := new.facts.get(name)) is None:
                continue
            before, after = (
                side.workings.value(declared, known[key]) if key in known else Unknown(())
                for side, known in ((old, were), (new, are))
            )
            change = _change(subject, declared, before, after)
            yield replace(
                change,
                shown_before=change.shown_before if key in were else "not there",
                shown_after=change.shown_after if key in are else "not there",
                verdict=change.verdict if before != after else "other",
            )


def _findings(result: SiteResult) -> dict[tuple[str, str], Finding]:
    """Return the open findings by rule and subject, those told under another's cause as well."""
    found: dict[tuple[str, str], Finding] = {}
    for finding in (*result.open_findings, *result.cautions):
        for label in (finding.label, *finding.follows):
            found.setdefault((finding.rule, label), finding)
    return found


def _new_errors(
    before: Mapping[tuple[str, str], Finding],
    after: Mapping[tuple[str, str], Finding],
    are: Mapping[str, Subject],
) -> dict[str, set[str]]:
    """Return for each subject the rules of which it has an error that it did not have."""
    named = {(subject.scope, subject.label): subject.key for subject in are.values()}
    found: dict[str, set[str]] = {}
    for key, finding in after.items():
        earlier = before.get(key)
        if finding.severity == "error" and (earlier is None or earlier.severity != "error"):
            first = are.get(finding.subject)
            subject = named.get((first.scope, key[1])) if first else None
            if subject:
                found.setdefault(subject, set()).add(finding.rule)
    return found


def _less_glad(
    change: Change, w: Workings, subject: Subject, errors: Mapping[str, set[str]]
) -> Change:
    """Return the change, a gain that rests on something with a new error no longer called one."""
    if change.verdict != "better" or not errors:
        return change
    rules = {rule for key in rests_on(w, subject) for rule in errors.get(key, ())}
    return replace(change, verdict="changed", bought_with=tuple(sorted(rules))) if rules else change


def _gravest_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings by severity, each once though several subjects share it."""
    return tuple(sorted({(f.rule, f.subject): f for f in findings}.values(), key=_gravity))


def _gravity(finding: Finding) -> int:
    return (*SEVERITIES, "caution").index(finding.severity)


def _subjects(w: Workings) -> dict[str, Subject]:
    return {
        subject.key: subject
        for scope in SCOPES
        if scope not in JUDGED_APART
        for subject in subjects(w, scope)[0]
    }


def _changes(
    old: Side,
    new: Side,
    were: Mapping[str, Subject],
    are: Mapping[str, Subject],
) -> Iterator[Change]:
    for key, subject in are.items():
        earlier = were.get(key)
        if earlier is None or earlier.scope != subject.scope:
            continue
        for declared in new.facts.values():
            if declared.scope == subject.scope:
                before = old.workings.value(declared, earlier)
                after = new.workings.value(declared, subject)
                if _matters(declared, before, after):
                    yield _change(subject, declared, before, after)


def _matters(declared: Fact, before: FactValue | Unknown, after: FactValue | Unknown) -> bool:
    if isinstance(before, Unknown) or isinstance(after, Unknown):
        return isinstance(before, Unknown) != isinstance(after, Unknown)
    if before == after:
        return False
    if not (_is_number(before) and _is_number(after)):
        return True
    felt = FELT.get(declared.qualified, _USUAL)
    moved = abs(_number(after) - _number(before))
    larger = max(abs(_number(before)), abs(_number(after)))
    return (
        moved >= felt.least
        and moved >= felt.share * larger
        and written(declared, before) != written(declared, after)
    )


def _is_number(value: FactValue) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(value: FactValue) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


def _change(
    subject: Subject, declared: Fact, before: FactValue | Unknown, after: FactValue | Unknown
) -> Change:
    felt = FELT.get(declared.qualified)
    return Change(
        subject=subject.key,
        label=subject.label,
        fact=declared.qualified,
        words=felt.words if felt else declared.meaning,
        unit=declared.unit,
        before=None if isinstance(before, Unknown) else before,
        after=None if isinstance(after, Unknown) else after,
        shown_before=_shown(declared, before),
        shown_after=_shown(declared, after),
        verdict=_verdict(felt, before, after),
        is_felt=felt is not None,
    )


def _shown(declared: Fact, value: FactValue | Unknown) -> str:
    if isinstance(value, Unknown):
        keys = list(dict.fromkeys(wanted.key for wanted in value.inputs))
        return f"not known without {', '.join(keys[:_MOST_NAMES])}"
    text = written(declared, value)
    if declared.kind is Kind.TEXT and not text:
        return "none"
    return with_unit(declared, value)


def _verdict(felt: Felt | None, before: FactValue | Unknown, after: FactValue | Unknown) -> Verdict:
    if felt is None or not felt.good or isinstance(before, Unknown) or isinstance(after, Unknown):
        return "other"
    rises = float(after) > float(before) if not isinstance(after, str | tuple) else False  # type: ignore[arg-type]
    return "better" if rises == (felt.good == "more") else "worse"


def _weight(change: Change, order: Mapping[str, int]) -> tuple[int, float, int]:
    """Return what changes are sorted by: the felt first, by rank; of one fact the larger first."""
    rank = _RANK.get(change.fact, len(_RANK))
    moved = 0.0
    if change.before is not None and change.after is not None and _is_number(change.after):
        larger = max(abs(_number(change.before)), abs(_number(change.after)))
        moved = abs(_number(change.after) - _number(change.before)) / larger if larger else 0.0
    return rank, -moved, order[change.subject]

"""Whether a change of a site file does what it promises: read again, judged again, compared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from msgspec import Struct

from meshlint.edits.along import old_measures, old_readings, without
from meshlint.edits.rewriting import Drop, RefusedError, rewritten
from meshlint.lint.engine import SiteRun
from meshlint.lint.finding import SEVERITIES
from meshlint.site.problem import InputError
from meshlint.workings.site_workings import Known
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.edits.rewriting import Edit
    from meshlint.lint.finding import Severity
    from meshlint.run import Checker, OpenSite
    from meshlint.site.model import Reading, Waiver
    from meshlint.workings.fact import Fact
    from meshlint.workings.site_workings import Workings

Judgement = tuple[str, str]
"""A rule and the key of a subject."""

LEAST_KEPT: Final = 0.95
"""The part of its rate that a change must leave every group: the model is no finer."""

_WAIVERS: Final = "waiver-current"

_RATE = "group.delivered_down_mbps"


class Verdict(Struct, frozen=True):
    """What became of one rule for one subject; `severity` is that of a finding, or of the card.

    `assumed` says that it came to this with any ordinary equipment, and not by the file alone.
    """

    state: Literal["held", "broken", "not judged"]
    severity: Severity
    accepted: bool = False
    assumed: bool = False


class Judged(Struct, frozen=True, eq=False):
    """A file with every verdict on it, what each group of clients gets, and which units are joined.

    A pair of rule and subject without a verdict was not looked at: the rule is not about it. Rates
    that the file alone does not tell are those of each filling of its gaps, the usual one first.
    """

    data: bytes
    path: str
    opened: OpenSite
    run: SiteRun
    verdicts: Mapping[Judgement, Verdict]
    rates_mbps: Mapping[str, float]
    usual_rates_mbps: Mapping[str, tuple[float, ...]]
    joined: frozenset[str]


class Changed(Struct, frozen=True, eq=False):
    """A file after some edits, and what was taken out with them since it tells of the old state."""

    after: Judged
    old_readings: tuple[str, ...]
    needless_waivers: tuple[str, ...]


class Proof(Struct, frozen=True):
    """A change that was applied and judged: the bytes after it, and what it costs and gains.

    `left` is how grave the finding still is, where it is milder only; `holds` whether the rule now
    holds, where the finding is gone (else it no longer applies). `milder` are new findings below
    its severity, `open` what cannot be told after it, `gone` other findings that went with it.
    Rates are those before and after; `usual_rates_mbps` are of ordinary equipment, one a filling.
    What `old_readings` and `needless_waivers` tell of is taken out by the same change.
    """

    data: bytes
    left: Severity | None
    holds: bool
    milder: tuple[Judgement, ...]
    open: tuple[Judgement, ...]
    gone: tuple[Judgement, ...]
    rates_mbps: Mapping[str, tuple[float, float]]
    usual_rates_mbps: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]]
    after: Judged
    old_readings: tuple[str, ...] = ()
    needless_waivers: tuple[str, ...] = ()


def judged(checker: Checker, data: bytes, path: str, beside: Judged | None = None) -> Judged:
    """Return every verdict on the bytes of a site file; raise `InputError`.

    `beside` is another state of the file, which it may share work with.
    """
    opened = checker.open(data, path, beside.opened if beside else None)
    run = SiteRun(opened.rules, opened.workings, opened.document)
    run.judge_all()
    run.note_what_is_open()
    settle = checker.settling(opened.settings, deciding=False)
    if settle is not None and run.not_judged:
        settle(run)
    run.accept(opened.site.waivers)
    run.judge_waivers(opened.site.waivers)
    run.accept_listed(checker.accepted_of(opened))
    usual = {card.id: card.severity for card in opened.rules.cards}
    verdicts: dict[Judgement, Verdict] = {
        pair: Verdict("held", usual[pair[0]]) for pair in run.sound
    }
    verdicts.update((pair, Verdict("held", usual[pair[0]], assumed=True)) for pair in run.assumed)
    for entry in run.not_judged:
        verdicts[entry.rule, entry.subject] = Verdict("not judged", usual[entry.rule])
    for told in run.findings:
        found = told.finding
        verdicts[found.rule, found.subject] = Verdict(
            "broken", found.severity, found.is_accepted, bool(found.assumed)
        )
    facts = opened.rules.facts
    rates = dict(_known(opened.workings, facts, "group", _RATE))
    by_filling = [dict(_known(filling, facts, "group", _RATE)) for filling in run.fillings]
    ranges = {
        group: tuple(found[group] for found in by_filling)
        for group in (by_filling[0] if by_filling else ())
        if group not in rates and all(group in found for found in by_filling)
    }
    is_joined = _known(opened.workings, facts, "unit", "unit.joined")
    joined = frozenset(unit for unit, value in is_joined if value)
    return Judged(data, path, opened, run, verdicts, rates, ranges, joined)


def proven(
    checker: Checker,
    before: Judged,
    edits: tuple[Edit, ...],
    finding: Judgement,
    first: Judged | None = None,
) -> Proof | str:
    """Return the proof that some edits mend a finding, or the reason why they do not.

    `first` is the file before other changes that `before` has already: nobody may lose more by all
    of them together than one may cost.
    """
    try:
        done = changed(checker, before, edits)
    except RefusedError as error:
        return str(error)
    except InputError as error:
        return f"the file would not be sound: {error.problems[0].message}"
    after = done.after
    refused = (
        _not_settled(before, after, finding)
        or _lost(before, after)
        or _lost(first or before, after)
    )
    if refused:
        return refused
    new, now = tuple(worse(before, after)), after.verdicts.get(finding)
    still = now is not None and now.state == "broken"
    return Proof(
        data=after.data,
        left=now.severity if now is not None and still else None,
        holds=now is not None and now.state == "held",
        milder=tuple(sorted(p for p in new if after.verdicts[p].state == "broken")),
        open=tuple(sorted(p for p in new if after.verdicts[p].state != "broken")),
        gone=tuple(
            sorted(
                pair
                for pair in worse(after, before)
                if pair != finding
                and before.verdicts[pair].state == "broken"
                and (pair not in after.verdicts or after.verdicts[pair].state == "held")
            )
        ),
        rates_mbps={
            group: (rate, after.rates_mbps[group]) for group, rate in before.rates_mbps.items()
        },
        usual_rates_mbps={
            group: (rates, after.usual_rates_mbps[group])
            for group, rates in before.usual_rates_mbps.items()
            if group in after.usual_rates_mbps
        },
        after=after,
        old_readings=done.old_readings,
        needless_waivers=done.needless_waivers,
    )


def changed(checker: Checker, before: Judged, edits: tuple[Edit, ...]) -> Changed:
    """Return what some edits make of a file, with all that goes with them, judged again.

    Raises `RefusedError` where they cannot be written, and `InputError` where the file would not
    be sound.
    """
    site = before.opened.site
    old = old_readings(before.opened.workings, edits)
    measured = old_measures(before.opened.workings, edits)
    edits = (
        *edits,
        *(Drop(("backhaul", link, "measured_mbps")) for link in measured),
        *without("readings", old, site),
    )
    data = rewritten(before.data, edits)
    after = judged(checker, data, before.path, before)
    if waived := _needless(before, after):
        data = rewritten(data, without("waivers", waived, site))
        after = judged(checker, data, before.path, before)
    told = [f"the throughput of {link}" for link in measured]
    told += [_name_of((site.readings or ())[at]) for at in old]
    return Changed(
        after=after,
        old_readings=tuple(dict.fromkeys(told)),
        needless_waivers=tuple(
            f"{waiver.rule} at {waiver.subject}"
            for waiver in site.waivers
            if waiver.position in waived
        ),
    )


def _needless(before: Judged, after: Judged) -> tuple[int, ...]:
    """Return the positions of waivers that had something to waive, and no longer have."""
    return tuple(
        waiver.position
        for waiver in before.opened.site.waivers
        if _state(before, waiver) == "held" and _state(after, waiver) == "broken"
    )


def _state(state: Judged, waiver: Waiver) -> str:
    verdict = state.verdicts.get((_WAIVERS, "/".join(map(str, waiver.pointer))))
    return verdict.state if verdict is not None else ""


def _name_of(reading: Reading) -> str:
    if reading.link is not None:
        return f"the throughput of {reading.link}"
    return f"the level of {reading.unit} on {reading.band:g} GHz"


def _not_settled(before: Judged, after: Judged, finding: Judgement) -> str:
    """Return why a finding is not settled without another as grave, empty where it is."""
    was, now = before.verdicts[finding], after.verdicts.get(finding)
    if now is not None and now.state == "not judged":
        return "the rule could not be judged any more"
    if now is not None and now.state == "broken" and not _graver(was.severity, now.severity):
        return "the finding would stay"
    new = tuple(worse(before, after))
    # What held while units were cut off may need more of the file once they are joined.
    strict = {card.id for card in after.opened.rules.cards if not card.waivable}
    joins = after.joined > before.joined
    offence = finding[0] in strict
    grave = [
        pair
        for pair in new
        if not _graver(was.severity, after.verdicts[pair].severity)
        # What is unlawful is put right even where that costs a rule that people may waive.
        and not (
            offence
            and pair[0] not in strict
            and after.verdicts[pair].severity == was.severity
            and after.verdicts[pair].state == "broken"
        )
        # A rule that was not about it before, and now lacks an input, finds nothing; nor does one
        # that held by usual ranges alone, and now needs to know the equipment.
        and (
            after.verdicts[pair].state == "broken"
            or (
                pair in before.verdicts
                and not before.verdicts[pair].assumed
                and (pair[0] in strict or not joins)
            )
        )
    ]
    if grave:
        rule, subject = min(grave, key=lambda pair: _rank(after.verdicts[pair].severity))
        state = after.verdicts[rule, subject].state
        return f"it would {'break' if state == 'broken' else 'leave open'} {rule} at {subject}"
    return ""


def worse(before: Judged, after: Judged) -> Iterator[Judgement]:
    """Yield what is broken, graver or open in one state and was not so in the other."""
    for pair, now in after.verdicts.items():
        was = before.verdicts.get(pair)
        same = was is not None and was.state == now.state
        graver = was is not None and _graver(now.severity, was.severity)
        if now.state != "held" and (not same or (now.state == "broken" and graver)):
            yield pair


def _lost(before: Judged, after: Judged) -> str:
    """Return who would lose more than a change may cost, empty if nobody would."""
    cut = before.joined - after.joined
    if cut:
        return f"it would cut {min(cut)} off"
    for group, rate in before.rates_mbps.items():
        now = after.rates_mbps.get(group)
        if now is None:
            return f"what {group} would get could not be told any more"
        # Units that were cut off take their part of the air again.
        if now < rate * LEAST_KEPT and not after.joined > before.joined:
            return f"{group} would get {now:.3g} Mb/s, not {rate:.3g}"
    return "" if after.joined > before.joined else _lost_in_a_filling(before, after)


def _lost_in_a_filling(before: Judged, after: Judged) -> str:
    """Return who would lose more with some ordinary equipment, empty if nobody would."""
    for group, rates in before.usual_rates_mbps.items():
        then = after.usual_rates_mbps.get(group) or (after.rates_mbps.get(group),) * len(rates)
        for rate, now in zip(rates, then, strict=True):
            if now is None:
                return f"what {group} would get could not be told any more"
            if now < rate * LEAST_KEPT:
                return f"{group} might get {now:.3g} Mb/s, not {rate:.3g}, as equipment goes"
    return ""


def _rank(severity: str) -> int:
    order: tuple[str, ...] = (*SEVERITIES, "caution")
    return order.index(severity) if severity in order else len(order)


def _graver(one: str, other: str) -> bool:
    return _rank(one) < _rank(other)


def _known(
    w: Workings, facts: Mapping[str, Fact], scope: str, fact: str
) -> Iterator[tuple[str, float]]:
    for subject in subjects(w, scope)[0]:
        value = Known(w, facts, subject)[fact]
        if isinstance(value, int | float) and not isinstance(value, Unknown):
            yield subject.pointer[-1], value  # type: ignore[misc]

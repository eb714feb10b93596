"""Cards against workings: who breaks what, what could not be told, and what is accepted."""

from __future__ import annotations

import re
from operator import attrgetter
from typing import TYPE_CHECKING

from msgspec.structs import replace

from meshlint.lint.card_places import place_in_card
from meshlint.lint.expression import ExpressionError
from meshlint.lint.finding import Finding, NotJudged, Related, SiteResult, wanted_by
from meshlint.lint.folding import Candidate, fold, graver
from meshlint.lint.telling import devices_of, sentence, told_of
from meshlint.lint.verdicts import line_shares_of, radios_by_name, single_points_of, verdicts_of
from meshlint.site.problem import InputError, Place
from meshlint.site.quoting import NOT_REPEATED, repeatable, repeatable_name
from meshlint.site.waiver import whole_link
from meshlint.workings.governance.waivers import JudgedWaiver
from meshlint.workings.site_workings import Known, Subject
from meshlint.workings.spectrum.channel import law
from meshlint.workings.subjects import JUDGED_APART, subjects
from meshlint.workings.unknown import Input, Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from collections.abc import Set as AbstractSet

    from meshlint.lint.card import Card, Rulebook
    from meshlint.lint.compiled_card import CompiledCard
    from meshlint.lint.condition import Value
    from meshlint.lint.expression import Expression
    from meshlint.lint.finding import Listed, Severity, Source
    from meshlint.lint.template import Shown
    from meshlint.site.model import Pointer, Waiver
    from meshlint.site.source import Document
    from meshlint.workings.site_workings import Workings

    Broken = tuple[CompiledCard, Subject, Known]
    """The card that a subject breaks, the subject, and what is known of it."""

_SITE_KEY = "site"

# A subject as reports call it: the section that it stands in, and its names there.
_NAMED = r"(?s)[a-z_]+/.+"

MOST_INPUTS = 100
"""Missing inputs that are told of one rule and one subject: whoever states those asks again."""

_PLACE_AND_RULE, _RULE_AND_PLACE = attrgetter("place", "rule"), attrgetter("rule", "place")


def check_site(
    rules: Rulebook,
    workings: Workings,
    document: Document,
    listed: Iterable[Listed] = (),
    fail_at: Severity = "error",
    settle: Callable[[SiteRun], None] | None = None,
    *,
    verdicts: bool = False,
) -> SiteResult:
    """Return every finding of the rules on one site.

    The ends of waivers are held against the day of the workings; `listed` is what the repository's
    accepted list says of this site, and `fail_at` the mildest severity that fails it. `settle` may
    judge what is open for lack of input, before waivers are held against what was found. With
    `verdicts` the result lists what became of each rule for each subject.
    """
    site = workings.site
    run = SiteRun(rules, workings, document)
    run.passed_over = [] if verdicts else None
    run.judge_all()
    run.note_what_is_open()
    if settle is not None and run.not_judged:
        settle(run)
    run.accept(site.waivers)
    run.judge_waivers(site.waivers)
    run.not_judged = radios_by_name(run)
    vanished, findings = run.accept_listed(listed), fold(run.findings)
    return SiteResult(
        path=document.path,
        site=site.about.name,
        fail_at=fail_at,
        findings=tuple(sorted(findings, key=_order)),
        not_judged=tuple(sorted(run.not_judged, key=_PLACE_AND_RULE)),
        wanted=wanted_by(sorted(run.not_judged, key=_RULE_AND_PLACE)),
        held=tuple(run.held),
        assumed=tuple(rule for rule, _ in run.assumed),
        idle=tuple(sorted(run.idle)),
        vanished=vanished,
        asked=run.asked(),
        single_points=single_points_of(workings),
        line_shares=line_shares_of(workings),
        verdicts=verdicts_of(run) if verdicts else (),
    )


def check_in_fleet(
    rules: Rulebook,
    workings: Workings,
    document: Document,
    named: Iterable[Subject],
    listed: Iterable[Listed] = (),
    fail_at: Severity = "error",
) -> SiteResult:
    """Return what the rules about fleets say of the subjects that were named in a document.

    The workings are of the document's site, or of one that names it.
    """
    site = workings.site
    run = SiteRun(rules, workings, document)
    for subject in named:
        run.judge_named(subject)
    run.note_what_is_open()
    run.accept(site.waivers)
    run.accept_listed(listed)
    return SiteResult(
        path=document.path,
        site=site.about.name,
        fail_at=fail_at,
        findings=tuple(sorted(fold(run.findings), key=_order)),
        held=tuple(run.held),
    )


class SiteRun:
    """One site on its way through the cards.

    `only` names the judgements that are wanted, by rule: some subjects, or all of them (`None`);
    such a run makes no findings, only what they are made of. `sound` and `broken` are pairs of a
    rule and a subject's key, as are `assumed`, which hold with any ordinary equipment, unlike
    `broken_assumed`; `fillings` are the workings that were looked at for both.
    """

    def __init__(
        self,
        rules: Rulebook,
        workings: Workings,
        document: Document,
        only: Mapping[str, frozenset[str] | None] | None = None,
    ) -> None:
        self.rules = rules
        self.document = document
        self.workings = workings
        assert workings.today is not None  # a check is of a day
        self.today = workings.today
        site = Subject("site", _SITE_KEY, "", workings.site, ())
        self.of_site = Known(workings, rules.facts, site)
        self.findings: list[Candidate] = []
        self.not_judged: list[NotJudged] = []
        self.places: dict[Pointer, Place] = {}
        self.held: list[str] = []
        self.only = only
        self.sound: set[tuple[str, str]] = set()
        self.broken: dict[tuple[str, str], Broken] = {}
        self.broken_assumed: dict[tuple[str, str], Broken] = {}
        self.fillings: tuple[Workings, ...] = ()
        self.assumed: list[tuple[str, str]] = []
        self.open: frozenset[tuple[str, str]] = frozenset()  # by the file alone
        self.told = 0
        """Characters of the messages of the repository's own cards."""
        self.idle: list[str] = []
        self.passed_over: list[tuple[str, str]] | None = None
        """Pairs of a rule and a subject that it is not about, where they are wanted."""

    def judge_all(self) -> None:
        """Judge every subject that the site itself can name, by every wanted card."""
        for scope in self.rules.by_scope:
            if scope not in JUDGED_APART:
                self.judge_scope(scope)

    def judge_scope(self, scope: str) -> None:
        """Judge all subjects of one kind."""
        cards = self.rules.ready(scope)
        if self.only is not None:
            cards = tuple(ready for ready in cards if ready.card.id in self.only)
            if not cards:
                return
        found, missing = subjects(self.workings, scope)
        looked_at: set[str] = set()
        if missing:
            inputs = tuple(dict.fromkeys(missing))
            for card in cards:
                self._unjudged(card.card, None, inputs)
                looked_at.add(card.card.id)
        for subject in found:
            self._judge_subject(cards, subject, looked_at)
        self.idle.extend(card.card.id for card in cards if card.card.id not in looked_at)

    def judge_named(self, subject: Subject) -> None:
        """Judge a subject that no site can name by itself."""
        self._judge_subject(self.rules.ready(subject.scope), subject, set())

    def note_what_is_open(self) -> None:
        """Remember what the file leaves open, before usual ranges settle some of it."""
        self.open = frozenset((entry.rule, entry.subject) for entry in self.not_judged)

    def asked(self) -> dict[str, str]:
        """Return the question that each rule leaves open, by rule."""
        open_ = {entry.rule for entry in self.not_judged}
        return {card.id: card.asks for card in self.rules.cards if card.id in open_ and card.asks}

    def judge_waivers(self, waivers: Iterable[Waiver]) -> None:
        cards = self.rules.ready("waiver")
        known = {card.id: card for card in self.rules.cards}
        # What is switched off, or asked of a whole fleet, cannot be told from one site alone.
        off = self.rules.switched_off | self.rules.of_fleets
        names = known.keys() | off
        judged = [
            self._waiver_subject(
                JudgedWaiver(
                    _repeatable(waiver, names),
                    self.today,
                    waiver.rule in known or waiver.rule in off,
                    waiver.rule not in known or self._takes_waivers(known[waiver.rule], waiver),
                    waiver.rule in off or self._bears_on_something(waiver),
                )
            )
            for waiver in waivers
        ]
        if not judged:
            self.idle.extend(card.card.id for card in cards)
        for subject in judged:
            self._judge_subject(cards, subject, set())

    def accept(self, waivers: tuple[Waiver, ...]) -> None:
        """Put to each finding so far the waiver that accepts it on the day of the run."""
        by_subject = {
            (waiver.rule, waiver.subject): waiver
            for waiver in reversed(waivers)
            if (waiver.because or "").strip() and waiver.until and waiver.until >= self.today
        }
        for at, told in enumerate(self.findings):
            rule, subject = told.finding.rule, told.finding.subject
            waiver = by_subject.get((rule, subject)) or by_subject.get((rule, whole_link(subject)))
            if waiver is not None and told.finding.waivable:
                self.findings[at] = replace(told, finding=replace(told.finding, waiver=waiver))

    def accept_listed(self, listed: Iterable[Listed]) -> tuple[Listed, ...]:
        """Put to each finding its entry of the accepted list; return those that match nothing."""
        entries = {entry.fingerprint: entry for entry in listed}
        if not entries:
            return ()
        vanished = set(entries)
        for at, told in enumerate(self.findings):
            entry = entries.get(told.finding.fingerprint)
            if entry is None or not told.finding.waivable:
                continue
            vanished.discard(entry.fingerprint)
            if not told.finding.is_accepted and not graver(told.finding.severity, entry.severity):
                accepted = replace(told.finding, listed=entry)
                self.findings[at] = replace(told, finding=accepted)
        apart = self.rules.switched_off | self.rules.of_fleets
        return tuple(
            entry
            for key, entry in entries.items()
            if key in vanished
            and entry.rule not in apart
            and not self.open & {(entry.rule, entry.subject), (entry.rule, _SITE_KEY)}
        )

    def _takes_waivers(self, card: Card, waiver: Waiver) -> bool:
        """Return whether what a waiver names may be waived; errors of some rules may not."""
        found = (t.finding for t in self.findings if _speaks_of(waiver, *_named_by(t.finding)))
        return next((f.waivable for f in found), card.waivable or card.milder_waivable)

    def _bears_on_something(self, waiver: Waiver) -> bool:
        """Return whether a finding, or a judgement that could not be made, is the waiver's."""
        return (
            any(_speaks_of(waiver, *_named_by(t.finding)) for t in self.findings)
            or any(_speaks_of(waiver, *named) for named in self.open)
            or (waiver.rule, _SITE_KEY) in self.open
        )

    def _waiver_subject(self, judged: JudgedWaiver) -> Subject:
        pointer = judged.waiver.pointer
        label = f"waiver of {judged.waiver.rule} for {judged.waiver.subject}"
        return Subject("waiver", "/".join(map(str, pointer)), label, judged, pointer)

    def _judge_subject(
        self, cards: tuple[CompiledCard, ...], subject: Subject, looked_at: set[str]
    ) -> None:
        """Judge one subject by every card about it; add the cards that had to look at it."""
        site = self.of_site if subject.scope != "site" else None
        known = Known(self.workings, self.rules.facts, subject, site)
        for ready in cards:
            if not self._is_wanted(ready.card.id, subject.key):
                continue
            try:
                if self._judge_card(ready, subject, known):
                    looked_at.add(ready.card.id)
            except ExpressionError as error:
                place = place_in_card(ready.card.path, error.condition)
                raise InputError.at(place, f"'{ready.card.id}': {error}") from error

    def _is_wanted(self, rule: str, subject: str) -> bool:
        wanted = self.only[rule] if self.only is not None else None
        return wanted is None or subject in wanted

    def _judge_card(self, ready: CompiledCard, subject: Subject, known: Known) -> bool:
        """Judge one subject by one card; return whether the card is about it at all."""
        card = ready.card
        concerned: Value = True
        if card.when is not None:
            concerned = (ready.when or ready.made_when(card.when))(known)
            if concerned is False:
                if self.passed_over is not None:
                    self.passed_over.append((card.id, subject.key))
                return False
        if concerned is True:
            outcome = (ready.expect or ready.made_expect())(known)
        else:
            outcome = _expected_anyhow(ready, known)
        if outcome is True:
            if not card.is_caution:
                self.held.append(card.id)
            self.sound.add((card.id, subject.key))
        elif outcome is False:
            self.broken[card.id, subject.key] = (ready, subject, known)
            if self.only is None:
                self.findings.append(self.finding(ready, subject, known))
        else:
            open_part = card.expect if concerned is True else card.when or card.expect
            self._unjudged(card, subject, _lacking(known, open_part))
        return True

    def _unjudged(self, card: Card, subject: Subject | None, inputs: tuple[Input, ...]) -> None:
        self.not_judged.append(
            NotJudged(
                card.id,
                subject.key if subject else _SITE_KEY,
                subject.label if subject else self.workings.site.about.name,
                self._place(subject.pointer if subject else ("site",)),
                inputs,
            )
        )

    def _place(self, pointer: Pointer) -> Place:
        """Return where a subject stands; many rules may be unable to tell of one."""
        known = self.places.get(pointer)
        if known is None:
            known = self.places[pointer] = self.document.key_place(pointer)
        return known

    def finding(
        self, ready: CompiledCard, subject: Subject, known: Known, shown: Shown | None = None
    ) -> Candidate:
        """Return the finding about a subject; its texts show what `shown` says, else `known`."""
        card, limits = ready.card, ready.limits
        shown = known if shown is None else shown
        devices = devices_of(subject, known)
        brief, details = told_of(ready, known, shown, self.rules.facts, devices)
        remedy = card.remedy.fill(self.rules.facts, shown, limits)
        severity = next(
            (s.severity for s in card.raises if ready.judge(s.condition, known) is True),
            card.severity,
        )
        numbers = {
            name: value
            for name in dict.fromkeys((*card.expect.reads, *card.said_reads))
            if not isinstance(value := known[name], Unknown)
        }
        place, *others = self._places(card, subject)
        finding = Finding(
            site=self.workings.site.about.name,
            rule=card.id,
            severity=severity,
            title=card.title,
            subject=subject.key,
            label=subject.label,
            place=place,
            message=f"{brief} {details}" if details else brief,
            why=card.why,
            remedy=sentence(remedy or f"`meshlint explain {card.id}` says what helps."),
            sources=self._holding(card.sources),
            numbers=numbers,
            related=tuple(Related(other, "see also") for other in others),
            waivable=card.may_be_waived(severity),
            devices=devices or 0.0,
            brief=len(brief) if details else 0,
        )
        if "/" in card.id:  # one of the repository's own
            self._count(card, len(finding.message) + len(finding.remedy))
        cause = known[card.cause] if card.cause else Unknown(())
        weight = known[card.worst_by] if card.worst_by else 0.0
        return Candidate(
            card,
            finding,
            "" if isinstance(cause, Unknown) else str(cause),
            float(weight) if isinstance(weight, int | float) else 0.0,
            tuple(_roots(ready, subject, known)),
        )

    def _holding(self, sources: tuple[Source, ...]) -> tuple[Source, ...]:
        """Return the sources that hold where the site is; all where that is not known."""
        here = answer(law, self.workings)
        if isinstance(here, Unknown):
            return sources
        places = {here.code, here.dfs_region}
        holding = (s for s in sources if not s.holds_in or not places.isdisjoint(s.holds_in))
        return tuple(holding) or sources

    def _count(self, card: Card, characters: int) -> None:
        self.told += characters
        if self.told > self.rules.most_told:
            words = f"messages of own cards hold more than {self.rules.most_told} characters"
            place = place_in_card(card.path, None)
            raise InputError.at(place, f"'{card.id}': with this card, the {words}")

    def _places(self, card: Card, subject: Subject) -> list[Place]:
        places: list[Place] = []
        for anchor in card.point_at:
            head, *rest = anchor.split(".")
            start: Pointer | None = subject.pointer if head == "self" else subject.anchors.get(head)
            if start is not None:
                pointer = (*start, *rest)
                place = self.document.place(pointer) if rest else self.document.key_place(pointer)
                if place not in places:
                    places.append(place)
        return places or [self.document.key_place(subject.pointer)]


def _expected_anyhow(ready: CompiledCard, known: Known) -> Value:
    """Return true where a card's `expect` holds although nobody can tell whether `when` does.

    Either way the card has nothing against the subject then. Anything else leaves it open: what is
    not as expected matters only where the card is about the subject.
    """
    try:
        outcome = (ready.expect or ready.made_expect())(known)
    except ExpressionError:
        # `when` may be there to keep the card from what it cannot reckon with.
        return Unknown(())
    return True if outcome is True else Unknown(())


def _lacking(known: Known, condition: Expression) -> tuple[Input, ...]:
    """Return the inputs that would settle the facts of a condition, once each; of many a few."""
    found: list[Input] = []
    for name in condition.reads:
        value = known[name]
        if type(value) is Unknown:
            found += value.inputs[:MOST_INPUTS]
    return tuple(dict.fromkeys(found))[:MOST_INPUTS] if len(found) > 1 else tuple(found)


def _roots(ready: CompiledCard, subject: Subject, known: Known) -> Iterator[tuple[str, str]]:
    """Yield the rule and subject of each finding that one about a subject would follow from."""
    for step in ready.card.follows_from:
        if step.condition is None or ready.judge(step.condition, known) is True:
            named = subject.key if step.subject == "self" else known[step.subject]
            if isinstance(named, str):
                yield step.rule, named
            elif isinstance(named, tuple):
                yield from ((step.rule, key) for key in named)


def _order(finding: Finding) -> tuple[Place, str, str]:
    return (finding.place, finding.rule, finding.subject)


def _named_by(finding: Finding) -> tuple[str, str]:
    return finding.rule, finding.subject


def _speaks_of(waiver: Waiver, rule: str, subject: str) -> bool:
    return waiver.rule == rule and waiver.subject in (subject, whole_link(subject))


def _repeatable(waiver: Waiver, rules: AbstractSet[str]) -> Waiver:
    """Return the waiver as findings may tell of it: what is no name may be a passphrase."""
    rule = waiver.rule in rules or repeatable_name(waiver.rule, rules)
    subject = re.fullmatch(_NAMED, waiver.subject) or repeatable(waiver.subject)
    return replace(
        waiver,
        rule=waiver.rule if rule else NOT_REPEATED,
        subject=waiver.subject if subject else NOT_REPEATED,
    )

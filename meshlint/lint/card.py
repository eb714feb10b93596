"""Rule cards: data that says what must hold for whom, why, and who says so.

A card is read and checked whole before any site is: its expressions are compiled and type-checked,
its placeholders looked up among the declared facts, its anchors among those of its scope. What is
wrong in a card is an `InputError` with the card's file, line and column.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, cast

from msgspec import Struct, field

from meshlint.lint.card_parts import Addition, Follow, Limit, Raise
from meshlint.lint.card_places import refuse_excess
from meshlint.lint.compiled_card import CompiledCard
from meshlint.lint.expression import Expression, ExpressionError, Language
from meshlint.lint.finding import Severity, Source
from meshlint.lint.template import Template, TemplateError, parse
from meshlint.site.files import read_bytes
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.problem import InputError, Place, Problem
from meshlint.site.references import mapping
from meshlint.site.schema import check
from meshlint.site.source import Document, read_document
from meshlint.workings.fact import Fact
from meshlint.workings.subjects import FLEET_SCOPES, SCOPES

COMMON_PRACTICE = "common practice"

_WORD = r"[\w.]+|\{[\w.]*|\S"


class Card(Struct, frozen=True):
    """One rule, checked and compiled."""

    id: str
    status: Literal["preview", "stable", "deprecated"]
    since: str
    about: str
    severity: Severity
    raises: tuple[Raise, ...]
    title: str
    asks: str
    why: str
    rationale: str
    blind_spots: str
    limits: Mapping[str, Limit]
    when: Expression | None
    expect: Expression
    says: Template
    additions: tuple[Addition, ...]
    remedy: Template
    point_at: tuple[str, ...]
    cause: str
    worst_by: str
    follows_from: tuple[Follow, ...]
    sources: tuple[Source, ...]
    waivable: bool
    milder_waivable: bool
    path: str

    @property
    def is_caution(self) -> bool:
        """Return whether the card raises cautions, which are neither faults nor passes."""
        return self.severity == "caution"

    def may_be_waived(self, severity: Severity) -> bool:
        """Return whether a finding of this severity may be accepted."""
        return self.waivable or (self.milder_waivable and severity != "error")

    @property
    def said_reads(self) -> tuple[str, ...]:
        """Return every fact that a message of this card may show."""
        templates = (self.says, self.remedy, *(addition.says for addition in self.additions))
        return tuple(dict.fromkeys(name for t in templates for name in t.reads))


class Rulebook(Struct, frozen=True):
    """Cards ready to judge, by id, and what they are judged with."""

    cards: tuple[Card, ...]
    by_scope: Mapping[str, tuple[Card, ...]]
    facts: Mapping[str, Fact]
    language: Language
    limits: Mapping[str, Mapping[str, float]]
    """The numbers that hold, by card and by the limit's own name."""
    most_told: int = LIMITS.messages
    """Characters of all messages that a repository's own cards may give about one site."""
    switched_off: frozenset[str] = frozenset()
    """Rules that a policy has taken out; a waiver for one is not blamed for covering nothing."""
    _ready: dict[str, tuple[CompiledCard, ...]] = field(default_factory=dict)

    def ready(self, scope: str) -> tuple[CompiledCard, ...]:
        """Return the cards about one kind of subject, ready to judge with."""
        ready = self._ready.get(scope)
        if ready is None:
            ready = self._ready[scope] = tuple(
                CompiledCard(card, self.language, self.limits[card.id])
                for card in self.by_scope.get(scope, ())
            )
        return ready

    @property
    def of_fleets(self) -> frozenset[str]:
        """Return the rules that are asked of a whole fleet, and that one site says nothing of."""
        cards = (card for scope in FLEET_SCOPES for card in self.by_scope.get(scope, ()))
        return frozenset(card.id for card in cards)

    def with_cards(
        self,
        cards: Iterable[Card],
        limits: Mapping[str, Mapping[str, float]],
        switched_off: Iterable[str] = (),
    ) -> "Rulebook":
        """Return a rulebook of other cards, or of the same with other numbers."""
        ordered = tuple(sorted(cards, key=lambda card: card.id))
        off = frozenset(switched_off)
        scopes, told = _by_scope(ordered), self.most_told
        return Rulebook(ordered, scopes, self.facts, self.language, limits, told, off)


def load_rulebook(
    paths: Iterable[Path],
    facts: Mapping[str, Fact],
    prefix: str = "",
    beside: Collection[str] = (),
    limits: Limits = LIMITS,
) -> Rulebook:
    """Return the cards in the files; raise `InputError` with all that is wrong in them.

    `prefix` is put before the name of every rule, and `beside` are rules that they may follow from.
    """
    documents, problems = _documents(paths)
    raws = [mapping(document.value) for document in documents]
    names = (name for raw in raws for name in raw.get("limits", {}))
    language = Language(facts, names, limits.expression)
    cards: dict[str, Card] = {}
    places: dict[str, Place] = {}
    for document in documents:
        try:
            refuse_excess(document, limits)
            card = _Reader(document, facts, language, prefix).card()
        except InputError as error:
            problems.extend(error.problems)
            continue
        place = document.place(("id",))
        if card.id in cards:
            problems.append(Problem(place, f"'{card.id}' stands at {places[card.id]} too"))
        cards[card.id], places[card.id] = card, place
    known = {*beside, *(prefix + raw["id"] for raw in raws)}
    for document, raw in zip(documents, raws, strict=True):
        for position, root in enumerate(raw.get("follows_from", ())):
            if root["rule"] not in known:
                place = document.place(("follows_from", position, "rule"))
                message = f"there is no rule '{root['rule']}' to follow from"
                problems.append(Problem(place, message))
    if problems:
        raise InputError(problems)
    return rulebook(cards.values(), facts)


def card_as_it_stands(data: bytes, path: str, facts: Mapping[str, Fact]) -> Card:
    """Return the card of a file's bytes, its shape checked, its expressions taken as they stand.

    Raises `InputError`. The tests hold the shipped cards to `load_rulebook`; every run of the
    program need not.
    """
    document = read_document(data, path)
    check(document, "card")
    return _Reader(document, facts, None).card()


def joined(
    rulebooks: Iterable[Rulebook], facts: Mapping[str, Fact], limits: Limits = LIMITS
) -> Rulebook:
    """Return the cards of several rulebooks, of which no two have a name in common, as one."""
    return rulebook((card for rules in rulebooks for card in rules.cards), facts, limits)


def _documents(paths: Iterable[Path]) -> tuple[list[Document], list[Problem]]:
    documents: list[Document] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            document = read_document(read_bytes(path, str(path)), str(path))
            check(document, "card")
            documents.append(document)
        except InputError as error:
            problems.extend(error.problems)
    return documents, problems


def rulebook(cards: Iterable[Card], facts: Mapping[str, Fact], most: Limits = LIMITS) -> Rulebook:
    """Return sound cards, no two of one name, ready to judge with."""
    ordered = tuple(sorted(cards, key=lambda card: card.id))
    limits = {
        card.id: {name: float(limit.default) for name, limit in card.limits.items()}
        for card in ordered
    }
    language = Language(facts)
    return Rulebook(ordered, _by_scope(ordered), facts, language, limits, most.messages)


def _by_scope(cards: tuple[Card, ...]) -> Mapping[str, tuple[Card, ...]]:
    scopes: dict[str, list[Card]] = {}
    for card in cards:
        scopes.setdefault(card.about, []).append(card)
    return {scope: tuple(about) for scope, about in scopes.items()}


class _Reader:
    """One card's document on its way to a `Card`; collects what is wrong with it.

    Without a language it takes the expressions and texts as they stand.
    """

    def __init__(
        self,
        document: Document,
        facts: Mapping[str, Fact],
        language: Language | None,
        prefix: str = "",
    ) -> None:
        self.document = document
        self.raw = cast("dict[str, Any]", document.value)
        self.facts = facts
        self.language = language
        self.prefix = prefix
        self.problems: list[Problem] = []

    def card(self) -> Card:
        raw = self.raw
        severity: Severity = raw["severity"]
        expect = self._expression(("expect",))
        raises = tuple(
            Raise(condition, step["severity"])
            for position, step in enumerate(raw.get("severity_when", ()))
            if (condition := self._expression(("severity_when", position, "if")))
        )
        additions = tuple(
            Addition(
                condition, self._template(("adds", position, "says")), addition.get("detail", False)
            )
            for position, addition in enumerate(raw.get("adds", ()))
            if (condition := self._expression(("adds", position, "if")))
        )
        when = self._expression(("when",)) if "when" in raw else None
        says, remedy = self._template(("says",)), self._template(("remedy",))
        anchors, sources, follows = self._anchors(), self._sources(), self._follows()
        cause, worst_by = (self._own_fact((key,)) for key in ("cause", "worst_by"))
        limits = self._limits()
        if severity == "caution" and raises:
            self._problem(("severity_when",), "a caution is a kind of its own and never graver")
        if severity == "caution" and "follows_from" in raw:
            self._problem(("follows_from",), "a caution is a kind of its own and follows from none")
        if self.problems or expect is None:
            raise InputError(self.problems)
        return Card(
            id=self.prefix + raw["id"],
            status=raw["status"],
            since=raw["since"],
            about=raw["about"],
            severity=severity,
            raises=raises,
            title=raw["title"],
            asks=raw.get("asks", ""),
            why=_folded(raw["why"]),
            rationale=raw["rationale"],
            blind_spots=raw["blind_spots"],
            limits=limits,
            when=when,
            expect=expect,
            says=says,
            additions=additions,
            remedy=remedy,
            point_at=anchors,
            cause=cause,
            worst_by=worst_by,
            follows_from=follows,
            sources=sources,
            waivable=raw.get("waivable", True),
            milder_waivable=raw.get("milder_waivable", False),
            path=self.document.path,
        )

    def _expression(self, pointer: tuple[str | int, ...]) -> Expression | None:
        text = _at(self.raw, pointer)
        if self.language is None:
            return Expression(text)
        try:
            return self.language.compile(text, self.raw.get("limits", {}), self.raw["about"])
        except ExpressionError as error:
            lines = text.split("\n")[: error.line]
            offset = sum(len(line) + 1 for line in lines[:-1]) + error.column - 1
            self._problem(pointer, str(error), text, offset)
            return None

    def _template(self, pointer: tuple[str | int, ...]) -> Template:
        text = _folded(_at(self.raw, pointer))
        if self.language is None:
            return Template(text)
        limits = self.raw.get("limits", {})
        try:
            return parse(text, self.facts, limits, self.raw["about"])
        except TemplateError as error:
            self._problem(pointer, str(error), text, error.offset)
            return Template("")

    def _problem(
        self, pointer: tuple[str | int, ...], message: str, text: str = "", offset: int = 0
    ) -> None:
        start = self.document.place(pointer)
        self.problems.append(Problem(self._word_at(start, text, offset), message))

    def _word_at(self, start: Place, text: str, offset: int) -> Place:
        """Return the place in the file of the word at the offset of a text that starts there.

        Quotes and folded blocks move columns and lines but leave words whole, so the word is
        looked for, past as many others like it as stand before it in the text.
        """
        found = re.compile(_WORD).match(text, offset)
        if found is None:
            return start
        before = text.count(found[0], 0, offset)
        line, column = start.line, start.column
        for _ in range(text.count("\n") + len(text) + 1):
            at = self.document.line_text(line).find(found[0], column - 1)
            if at < 0:
                line, column = line + 1, 1
            elif before:
                before, column = before - 1, at + 2
            else:
                return Place(start.path, line, at + 1)
        return start

    def _limits(self) -> Mapping[str, Limit]:
        limits = {name: Limit(name, **e) for name, e in self.raw.get("limits", {}).items()}
        for limit in limits.values():
            if not limit.minimum <= limit.default <= limit.maximum:
                self._problem(
                    ("limits", limit.name, "default"),
                    f"expected a number between {limit.minimum:g} and {limit.maximum:g}, as the "
                    f"limit itself says, found {limit.default:g}",
                )
        return limits

    def _anchors(self) -> tuple[str, ...]:
        known = ("self", *SCOPES[self.raw["about"]].anchors)
        for position, anchor in enumerate(self.raw["point_at"]):
            if anchor.split(".")[0] not in known:
                listing = ", ".join(known)
                self._problem(("point_at", position), f"no anchor '{anchor}'; known: {listing}")
        return tuple(self.raw["point_at"])

    def _follows(self) -> tuple[Follow, ...]:
        found = []
        for position, step in enumerate(self.raw.get("follows_from", ())):
            here = ("follows_from", position)
            subject = "self" if step["subject"] == "self" else self._own_fact((*here, "subject"))
            condition = self._expression((*here, "if")) if "if" in step else None
            found.append(Follow(step["rule"], subject, condition))
        return tuple(found)

    def _own_fact(self, pointer: tuple[str | int, ...]) -> str:
        """Return the fact about the card's subject that a key names, or nothing without the key."""
        if len(pointer) == 1 and pointer[0] not in self.raw:
            return ""
        name: str = _at(self.raw, pointer)
        if name not in self.facts or self.facts[name].scope != self.raw["about"]:
            self._problem(pointer, f"there is no fact {name} about a {self.raw['about']}")
        return name

    def _sources(self) -> tuple[Source, ...]:
        found = [
            Source(**{**source, "holds_in": tuple(source.get("holds_in", ()))})
            for source in self.raw.get("sources", ())
        ]
        if "practice" in self.raw:
            found.append(Source(COMMON_PRACTICE, _folded(self.raw["practice"]), read="read"))
        if not found:
            self.problems.append(
                Problem(
                    self.document.place(()),
                    "a card names at least one source, or says under `practice` what is "
                    "common practice in it",
                )
            )
        return tuple(found)


def _at(value: Any, pointer: tuple[str | int, ...]) -> Any:  # noqa: ANN401 - a checked document
    for step in pointer:
        value = value[step]
    return value


def _folded(text: str) -> str:
    return " ".join(text.split())

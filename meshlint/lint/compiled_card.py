"""Cards ready to judge with: their conditions as functions, made when first wanted.

Most cards of a run are asked of many subjects, some of none; so a condition is turned into a
function once, and not before.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.condition import Condition, Reads, Value
    from meshlint.lint.expression import Expression, Language


class CompiledCard:
    """A card with its limits, and with those of its conditions that were asked for so far.

    `when` and `expect` are kept apart from the others: they are asked of every subject.
    """

    __slots__ = ("_language", "_others", "card", "expect", "limits", "when")

    def __init__(self, card: Card, language: Language, limits: Mapping[str, float]) -> None:
        self.card = card
        self.limits = limits
        self.when: Condition | None = None
        self.expect: Condition | None = None
        self._language = language
        self._others: dict[str, Condition] = {}

    def made_when(self, condition: Expression) -> Condition:
        """Return the card's `when` as a function, kept from then on."""
        self.when = self._language.prepared(condition, self.limits)
        return self.when

    def made_expect(self) -> Condition:
        """Return the card's `expect` as a function, kept from then on."""
        self.expect = self._language.prepared(self.card.expect, self.limits)
        return self.expect

    def judge(self, condition: Expression, known: Reads) -> Value:
        """Return what another of the card's conditions comes to for a subject."""
        ready = self._others.get(condition.text)
        if ready is None:
            ready = self._language.prepared(condition, self.limits)
            self._others[condition.text] = ready
        return ready(known)

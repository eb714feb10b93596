"""Some rules of all, for a call that looks at those alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from meshlint.lint.card import Rulebook


class Choice(Struct, frozen=True):
    """The rules named, or all where none is, without those to skip."""

    only: frozenset[str] = frozenset()
    skip: frozenset[str] = frozenset()

    def __contains__(self, rule: str) -> bool:
        """Return whether a rule is looked at."""
        return rule not in self.skip and (not self.only or rule in self.only)

    def of(self, rules: Rulebook) -> Rulebook:
        """Return the rules without those left out.

        What is left out counts as switched off, so that no waiver and no accepted finding turns
        stale because nobody looked.
        """
        left_out = (card.id for card in rules.cards if card.id not in self)
        return rules.with_cards(
            (card for card in rules.cards if card.id in self),
            rules.limits,
            rules.switched_off.union(left_out),
        )


def counted(looked_at: Rulebook, of: Rulebook) -> tuple[int, int]:
    """Return how many rules of sites one rulebook has, and how many another."""
    held, every = (sum(card.id not in r.of_fleets for card in r.cards) for r in (looked_at, of))
    return held, every

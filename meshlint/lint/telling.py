"""What a finding says of its subject: the short part, and the details."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meshlint.workings.subjects import SCOPES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.lint.compiled_card import CompiledCard
    from meshlint.lint.template import Shown
    from meshlint.workings.fact import Fact
    from meshlint.workings.site_workings import Known, Subject

NOBODY = " The file states no clients there."
"""What follows a text about clients that the file knows none of."""

_SERVING = frozenset({"unit", "radio", "link"})
"""Scopes whose subject serves the clients that a text speaks of."""

_PEOPLE = re.compile(r"\b([Cc]lients?|[Dd]evices?|[Ee]verybody)\b")


def told_of(
    ready: CompiledCard,
    known: Known,
    shown: Shown,
    facts: Mapping[str, Fact],
    devices: float | None,
) -> tuple[str, str]:
    """Return what a card says of a subject that breaks it: the short part, and the details.

    A text about clients says so where the file states that the subject serves none.
    """
    card, limits = ready.card, ready.limits
    said = [a for a in card.additions if ready.judge(a.condition, known) is True]
    brief, details = (
        " ".join(filter(None, (part.fill(facts, shown, limits) for part in parts)))
        for parts in (
            (card.says, *(addition.says for addition in said if not addition.is_detail)),
            [addition.says for addition in said if addition.is_detail],
        )
    )
    brief = sentence(brief or f"this does not hold: {card.title}.")
    if devices == 0 and card.about in _SERVING and _PEOPLE.search(brief):
        brief += NOBODY
    return brief, details


def devices_of(subject: Subject, known: Known) -> float | None:
    """Return how many client devices a subject serves, `None` where nothing tells."""
    name = SCOPES[subject.scope].devices
    value = known[name] if name else None
    return float(value) if isinstance(value, int | float) else None


def sentence(text: str) -> str:
    """Return the text with its first letter and its end as a sentence has them."""
    if text.endswith("?."):
        text = text[:-1]  # the last number shown was a question: did you mean 36?
    return text[:1].upper() + text[1:]

"""Cards as text: one explained whole, or all in a list."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from meshlint.lint.finding import SEVERITIES
from meshlint.report.plain import harmless_json, visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.card import Card, Rulebook


def listing(cards: Iterable[Card]) -> str:
    """Return one line for each card: name, severity, title."""
    cards = list(cards)
    wide = max((len(card.id) for card in cards), default=0)
    told = [_severities(card) for card in cards]
    column = max(map(len, told), default=0)
    return "".join(
        f"{c.id.ljust(wide)}  {severities.ljust(column)}  {visible(c.title)}\n"
        for c, severities in zip(cards, told, strict=True)
    )


def as_json(cards: Iterable[Card]) -> str:
    """Return the cards as one JSON object, for a program that shows or chooses rules."""
    from msgspec import json

    rules = [
        {
            "rule": card.id,
            "about": card.about,
            "severity": card.severity,
            "severities": list(dict.fromkeys([card.severity, *(r.severity for r in card.raises)])),
            "status": card.status,
            "since": card.since,
            "title": card.title,
            "why": card.why,
            "rationale": card.rationale.strip(),
            "blind_spots": card.blind_spots.strip(),
            "waivable": card.waivable,
            "limits": {
                name: {
                    "default": limit.default,
                    "minimum": limit.minimum,
                    "maximum": limit.maximum,
                    "unit": limit.unit,
                    "because": limit.because,
                }
                for name, limit in card.limits.items()
            },
            "sources": [
                {"document": str(source), "supports": source.supports, "read": source.read}
                for source in card.sources
            ],
        }
        for card in cards
    ]
    text = json.format(json.encode({"schema_version": 1, "rules": rules}), indent=2)
    return harmless_json(text.decode()) + "\n"


def _severities(card: Card) -> str:
    """Return the mildest and the gravest severity that a card's findings can have."""
    if card.is_caution:
        return card.severity
    ranks = sorted(
        {SEVERITIES.index(s) for s in (card.severity, *(r.severity for r in card.raises))}
    )
    mildest, gravest = SEVERITIES[ranks[-1]], SEVERITIES[ranks[0]]
    return mildest if mildest == gravest else f"{mildest} to {gravest}"


def explanation(card: Card, rules: Rulebook, width: int) -> str:
    """Return all that a card has to say, wrapped to a width in columns."""
    return "".join(f"{visible(line)}\n" for line in _explained(card, rules, width))


def _explained(card: Card, rules: Rulebook, width: int) -> Iterator[str]:
    def wrapped(text: str, indent: str = "") -> Iterator[str]:
        hanging = indent + ("  " if indent else "")
        yield from textwrap.wrap(
            text, width, initial_indent=indent, subsequent_indent=hanging, break_long_words=False
        )

    yield f"{card.id}: {card.title}"
    yield f"Judged on each {card.about}; {card.severity}; {card.status} since {card.since}."
    yield ""
    yield from wrapped(card.rationale)
    yield ""
    yield from wrapped(f"What it does not see. {card.blind_spots}")
    yield ""
    if card.when is not None:
        yield from wrapped(f"Looked at when: {card.when.text}", "  ")
    yield from wrapped(f"Must hold: {card.expect.text}", "  ")
    for step in card.raises:
        yield from wrapped(f"{step.severity.capitalize()} when: {step.condition.text}", "  ")
    limits = rules.limits[card.id]
    for name, limit in card.limits.items():
        yield from wrapped(
            f"limit.{name} = {limits[name]:g} {limit.unit} (from {limit.minimum:g} to "
            f"{limit.maximum:g}). {limit.because}",
            "  ",
        )
    yield ""
    yield "Facts it reads:"
    for name in dict.fromkeys((*(card.when.reads if card.when else ()), *card.expect.reads)):
        declared = rules.facts[name]
        unit = f", in {declared.unit}" if declared.unit else ""
        yield from wrapped(f"{name}: {declared.meaning}{unit}. From {declared.source}.", "  ")
    yield ""
    yield "Sources:"
    for source in card.sources:
        yield from wrapped(f"{source} ({source.read}), for {source.supports}.", "  ")
    if card.is_caution:
        yield ""
        yield from wrapped(
            "This is a caution. It is neither a fault nor a pass: local code and a licensed person "
            "decide."
        )
    if not card.waivable:
        yield ""
        what = "An error" if card.milder_waivable else "A finding"
        yield f"{what} of this rule cannot be waived."

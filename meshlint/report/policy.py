"""A policy as it holds for one site: every setting with the place that makes it so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.lint.card import Card, Rulebook
    from meshlint.lint.policy import Policy, RuleSetting, Settings
    from meshlint.site.problem import Place

_WIDEST = 72
"""Longest setting that the column of places makes room for."""

_Row = tuple[str, "Place | None"]
"""A setting, and the place that makes it so."""


def as_text(
    site: str,
    site_class: str | None,
    policy: Policy,
    settings: Settings,
    rules: Rulebook,
    every: Rulebook,
) -> str:
    """Return what holds for a site: `rules` as they are held, `every` card as it stands."""
    lines = _lines(site, site_class, policy, settings, rules, every)
    return "".join(f"{visible(line)}\n" for line in lines)


def _lines(
    site: str,
    site_class: str | None,
    policy: Policy,
    settings: Settings,
    rules: Rulebook,
    every: Rulebook,
) -> Iterator[str]:
    of_class = f", class {site_class}" if site_class else ""
    yield f"{site}{of_class}, is held to {policy.path}:"
    yield ""
    cards = {card.id: card for card in every.cards}
    rows = list(_rows(policy, settings, cards))
    wide = max(len(text) for text, _ in rows if len(text) <= _WIDEST)
    for text, place in rows:
        yield f"  {text.ljust(wide)}  {place or 'unless stated'}"
    yield ""
    spoken = len(settings.rules)
    held, total = len(rules.cards), len(cards)
    yield f"{held} rules are judged; {total - spoken} of all {total} are as their cards say."


def _rows(policy: Policy, settings: Settings, cards: dict[str, Card]) -> Iterator[_Row]:
    if settings.fail_at is not None:
        yield f"fails at: {settings.fail_at[0]}", settings.fail_at[1]
    else:
        yield "fails at: error", None
    if settings.catalogue is not None:
        yield f"catalogue: {settings.catalogue[0]}", settings.catalogue[1]
    yield f"accepted list: {policy.accepted}", policy.accepted_place
    if settings.usual is not None:
        judged, place = settings.usual
        yield f"judged by usual ranges: {'yes' if judged else 'no'}", place
    for own, place in settings.usual_ranges:
        where = "".join(f" {key} {own[key]}" for key in ("band", "place") if key in own)
        span = f"{own['low']}, {own['usual']}, {own['high']}"
        yield f"usual range: {own['input']}{where} = {span}", place
    for radar, place in settings.radars:
        yield f"radar: {radar['name']}", place
    for folder in policy.card_folders:
        yield f"own cards: {folder.name}/ from {folder.path}", folder.place
    for name, place in policy.facts:
        yield f"installed facts: {name}", place
    for name in sorted(settings.rules):
        yield from _rule(cards[name], settings.rules[name])


def _rule(card: Card, setting: RuleSetting) -> Iterator[_Row]:
    if setting.switched_off is not None:
        reason, place = setting.switched_off
        yield f"{card.id}: switched off: {reason}", place
        return
    if setting.severity is not None:
        severity, place = setting.severity
        yield f"{card.id}: {severity} (its card: {card.severity})", place
    for name, (number, place) in setting.limits.items():
        limit = card.limits[name]
        text = f"{card.id}: {name} = {number:g} {limit.unit} (its card: {limit.default:g})"
        yield text, place

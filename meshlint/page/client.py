"""What the page says to the person who pays: what is got where, what is bought, what to decide.

No rule names, nothing about passphrases, and no name of anybody who approved a waiver.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.page.figures import Figure, Told
    from meshlint.site.model import Site

CALLS_RULE = "voice-ready"
_SECRETS = re.compile(r"secret|pass-?phrase|password|\bPIN\b|vault", re.IGNORECASE)


class Service(Struct, frozen=True):
    """What one group of devices gets."""

    name: str
    where: Figure
    devices: Figure
    wanted_down: Figure
    down: Figure
    up: Figure
    calls: str


class Loss(Struct, frozen=True):
    """What happens when one unit, or its way to the primary, fails."""

    unit: str
    what: Figure
    dark: Figure
    devices: Figure
    is_primary: bool
    after: Figure
    parent: Figure
    left: Figure


class Need(Struct, frozen=True):
    """A row of the list of what is planned, or of what has no state."""

    what: str
    count: str


class Advice(Struct, frozen=True):
    """A fault or a caution in plain words."""

    title: str
    message: str
    why: str
    remedy: str


class Agreed(Struct, frozen=True):
    """A finding that was accepted, until when, and why where the reason names nobody."""

    message: str
    until: str
    because: str


class ClientPart(Struct, frozen=True):
    """All that the part for the client says."""

    services: tuple[Service, ...]
    failures: tuple[Loss, ...]
    planned: tuple[Need, ...]
    stateless: tuple[str, ...]
    advice: tuple[Advice, ...]
    agreed: tuple[Agreed, ...]
    cautions: tuple[Advice, ...]
    untold: int


def client_part(told: Told, result: SiteResult) -> ClientPart:
    """Return what the client is told of a site."""
    site = told.workings.site
    return ClientPart(
        tuple(_services(told, result)),
        failures(told),
        tuple(_planned(site)),
        tuple(_stateless(site)),
        tuple(_plain(result.open_findings)),
        tuple(_agreed(result.accepted)),
        tuple(_plain(result.cautions)),
        result.times_not_judged,
    )


def _services(told: Told, result: SiteResult) -> Iterator[Service]:
    for key in told.keys("group"):
        yield Service(
            told.label("group", key),
            told.figure("group.unit", key),
            told.figure("group.count", key),
            told.figure("group.wanted_down_mbps", key),
            told.figure("group.delivered_down_mbps", key),
            told.figure("group.delivered_up_mbps", key),
            _calls(told, result, key),
        )


def _calls(told: Told, result: SiteResult, key: str) -> str:
    """Say whether calls work, by what the check found; a group that makes none is not asked."""
    if told.value("group.use", key) != "voice":
        return "not planned for calls"
    found = [f for f in result.findings if f.rule == CALLS_RULE]
    if any(key == f.subject or key in f.follows for f in found):
        return "no, calls will suffer"
    if any(key == n.subject and n.rule == CALLS_RULE for n in result.not_judged):
        return "not known"
    return "yes"


def failures(told: Told) -> tuple[Loss, ...]:
    """Return what each unit's loss, or that of its way, does."""
    primary = told.workings.site.primary
    return tuple(
        Loss(
            told.label("unit", key),
            told.figure("unit.loss", key),
            told.figure("unit.dark_units", key),
            told.figure("unit.dark_clients", key),
            told.label("unit", key) == primary,
            told.figure("unit.fallback_after", key),
            told.figure("unit.fallback_parent", key),
            told.figure("unit.fallback_mbps", key),
        )
        for key in told.keys("unit")
    )


def _planned(site: Site) -> Iterator[Need]:
    models = Counter(
        unit.model or f"{unit.name} (no model stated)"
        for unit in site.units.values()
        if unit.state == "planned"
    )
    for model, count in models.items():
        yield Need(model, str(count))
    for link in (site.backhaul or {}).values():
        if link.state == "planned" and link.over != "radio":
            kind = f"category {link.category}" if link.category else "category not stated"
            length = "length not stated" if link.length_m is None else f"{link.length_m:g} m"
            what = link.over if link.medium is None else f"{link.medium} {link.over}"
            yield Need(f"{what}, {kind}, {link.from_unit} to {link.to_unit}", length)


def _stateless(site: Site) -> Iterator[str]:
    yield from (unit.name for unit in site.units.values() if unit.state is None)
    for link in (site.backhaul or {}).values():
        if link.state is None and link.over != "radio":
            yield f"the {link.over} {link.name}"


def _plain(findings: Iterable[Finding]) -> Iterator[Advice]:
    for found in findings:
        if not _is_secret(found):
            remedy = re.sub(r" under `[^`]*`|`", "", found.remedy)
            yield Advice(found.title, found.message, found.why, remedy)


def _is_secret(found: Finding) -> bool:
    texts = (found.rule, found.title, found.message, found.remedy, *found.numbers)
    return any(_SECRETS.search(text) for text in texts)


def _agreed(findings: Iterable[Finding]) -> Iterator[Agreed]:
    for found in findings:
        if _is_secret(found):
            continue
        waiver = found.waiver
        if waiver is None:
            yield Agreed(found.message, "", "")
            continue
        because = waiver.because or ""
        names = [name for name in (waiver.approved_by or "").split() if len(name) > 1]
        if _SECRETS.search(because) or any(n.lower() in because.lower() for n in names):
            because = ""
        yield Agreed(found.message, str(waiver.until or ""), because)

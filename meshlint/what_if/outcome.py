"""Two judged states of a file, told by what a change does: to people, to units and to findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.edits.proof import LEAST_KEPT, worse
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.edits.proof import Judged
    from meshlint.lint.finding import Finding, Severity
    from meshlint.run import OpenSite
    from meshlint.workings.fact import FactValue
    from meshlint.workings.site_workings import Subject
    from meshlint.workings.unknown import Input

RATES: Final = {
    "down": "group.delivered_down_mbps",
    "up": "group.delivered_up_mbps",
    "alone": "group.goodput_mbps",
}
"""What one device of a group gets while all are busy, and with the air to itself."""

_LAWS: Final = frozenset(
    {"channel-permitted", "indoor-only-outdoors", "power-permitted", "terminal-weather-radar"}
)
_CANNOT_BE: Final = frozenset({"channel-exists", "within-the-model"})

Figure = float | tuple["Input", ...] | None
"""A number; what is missing to tell it; or `None` for what is not there."""


class Rate(Struct, frozen=True):
    """One rate of a client group in Mb/s, before and after."""

    before: Figure
    after: Figure

    @property
    def share(self) -> float | None:
        """What is left of it (1 for all); `None` where that cannot be told."""
        if not isinstance(self.before, float) or not isinstance(self.after, float):
            return None
        return self.after / self.before if self.before else 1.0 if not self.after else None

    @property
    def is_less(self) -> bool:
        """Whether it falls by more than the model's own error."""
        return self.share is not None and self.share < LEAST_KEPT

    @property
    def is_more(self) -> bool:
        """Whether it grows by more than the model's own error."""
        if self.before == 0 and isinstance(self.after, float):
            return self.after > 0
        return self.share is not None and self.share > 1 / LEAST_KEPT


class GroupRates(Struct, frozen=True):
    """A client group: how many devices it has before and after, and what one of them gets.

    `note` says what became of it where no number tells.
    """

    group: str
    devices: tuple[int, int]
    rates: Mapping[str, Rate]
    note: str = ""

    @property
    def loses(self) -> bool:
        """Whether a device gets less of what it asks for."""
        return any(self.rates[name].is_less for name in ("down", "up"))

    @property
    def gains(self) -> bool:
        """Whether a device gets more of what it asks for, and no less."""
        return not self.loses and any(self.rates[name].is_more for name in ("down", "up"))


class UnitWay(Struct, frozen=True):
    """The way of a unit: its parent, the hops and the radio hops to the primary, and the rate.

    The rate is the most that it gets from the primary, in Mb/s.
    """

    parent: str
    hops: int
    radio_hops: int
    mbps: Figure


class Outcome(Struct, frozen=True, eq=False):
    """All that differs for people between two states of a file.

    `appeared` are new or graver findings, gravest first, `milder` those that are less grave then,
    each with how grave it was, `unlawful` and `cannot_be` those of them
    that break the law or name what equipment cannot do; a law that is broken today counts where
    the change touches the radio. `untold` are judgements that cannot be made any more, with what
    is missing.
    """

    groups: tuple[GroupRates, ...]
    ways: Mapping[str, tuple[UnitWay | None, UnitWay | None]]
    appeared: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    milder: tuple[tuple[Severity, Finding], ...]
    untold: Mapping[str, tuple[str, ...]]
    cut_off: tuple[str, ...]
    joined_again: tuple[str, ...]
    unlawful: tuple[Finding, ...]
    cannot_be: tuple[Finding, ...]
    devices_cut_off: float | None = None

    @property
    def is_bad(self) -> bool:
        """Whether the change cannot be made, breaks a law, cuts a unit off or brings an error."""
        errors = any(finding.severity == "error" for finding in self.appeared)
        return bool(errors or self.unlawful or self.cannot_be or self.cut_off)

    def found(self, severity: Severity) -> int:
        """Return how many new findings are of a severity."""
        return sum(finding.severity == severity for finding in self.appeared)


def outcome(before: Judged, after: Judged, touched: Iterable[str] = ()) -> Outcome:
    """Return what differs; `touched` are the subjects that the change is about."""
    old, new = _findings(before), _findings(after)
    fresh = {pair for pair in worse(before, after) if after.verdicts[pair].state == "broken"}
    appeared = sorted((new[p] for p in fresh if not new[p].is_accepted), key=_gravity)
    here = set(touched)
    still = {p for p, f in new.items() if p[0] in _LAWS and p[1] in here}
    unlawful = [new[p] for p in sorted(fresh | still) if p[0] in _LAWS and not new[p].waivable]
    gone = [
        old[pair]
        for pair in worse(after, before)
        if before.verdicts[pair].state == "broken"
        and not old[pair].is_accepted
        and (pair not in after.verdicts or after.verdicts[pair].state == "held")
    ]
    milder = [
        (old[pair].severity, new[pair])
        for pair in old.keys() & new.keys()
        if _gravity(new[pair]) > _gravity(old[pair]) and not new[pair].is_accepted
    ]
    cut = tuple(u for u in before.opened.site.units if u in before.joined - after.joined)
    again = after.joined - before.joined - {after.opened.site.primary} if before.joined else ()
    return Outcome(
        groups=tuple(groups(before, after)),
        ways=dict(_ways(before, after)),
        appeared=tuple(appeared),
        gone=tuple(sorted(gone, key=_gravity)),
        milder=tuple(sorted(milder, key=lambda entry: _gravity(entry[1]))),
        untold=_untold(before, after),
        cut_off=cut,
        joined_again=tuple(u for u in before.opened.site.units if u in again),
        unlawful=tuple(unlawful),
        cannot_be=tuple(new[p] for p in sorted(fresh) if p[0] in _CANNOT_BE),
        devices_cut_off=_devices(before, cut),
    )


def groups(before: Judged, after: Judged) -> Iterator[GroupRates]:
    """Yield what each client group gets, in the order of the file."""
    were, are = _named(before, "group"), _named(after, "group")
    for name in {**were, **are}:
        sides = ((before, were.get(name)), (after, are.get(name)))
        counts = [getattr(subject.item, "count", 0) if subject else 0 for _, subject in sides]
        rates = {
            key: Rate(*(_figure(state.opened, fact, subject) for state, subject in sides))
            for key, fact in RATES.items()
        }
        yield GroupRates(name, (counts[0], counts[1]), rates)


def _findings(state: Judged) -> dict[tuple[str, str], Finding]:
    return {(c.finding.rule, c.finding.subject): c.finding for c in state.run.findings}


def _gravity(finding: Finding) -> tuple[int, str, str]:
    order = ("error", "warning", "note", "caution")
    return order.index(finding.severity), finding.rule, finding.subject


def _untold(before: Judged, after: Judged) -> dict[str, tuple[str, ...]]:
    """Return the rules that cannot be judged any more where they could be, with what is missing."""
    lacking: dict[str, dict[str, None]] = {}
    for entry in after.run.not_judged:
        was = before.verdicts.get((entry.rule, entry.subject))
        if was is not None and was.state != "not judged":
            keys = lacking.setdefault(entry.rule, {})
            keys.update(dict.fromkeys(wanted.key for wanted in entry.inputs))
    return {rule: tuple(keys) for rule, keys in sorted(lacking.items())}


def _named(state: Judged, scope: str) -> dict[str, Subject]:
    if scope == "group" and state.opened.site.clients is None:
        return {}
    return {str(s.pointer[-1]): s for s in subjects(state.opened.workings, scope)[0]}


def _ways(
    before: Judged, after: Judged
) -> Iterator[tuple[str, tuple[UnitWay | None, UnitWay | None]]]:
    were, are = (
        {name: way_of(state.opened, subject) for name, subject in _named(state, "unit").items()}
        for state in (before, after)
    )
    for name in {**were, **are}:
        yield name, (were.get(name), are.get(name))


def ways(opened: OpenSite, unit: str) -> UnitWay | None:
    """Return the way of a unit of a site, `None` where it has none."""
    found, _ = subjects(opened.workings, "unit")
    return way_of(opened, next(s for s in found if s.label == unit))


def way_of(opened: OpenSite, subject: Subject) -> UnitWay | None:
    """Return the way of a unit, `None` for the primary and where it has none."""
    parent, hops, radio_hops = (
        _value(opened, f"unit.{fact}", subject) for fact in ("parent", "hops", "radio_hops")
    )
    if isinstance(parent, Unknown) or not isinstance(hops, int | float) or not parent:
        return None
    mbps = _figure(opened, "unit.backhaul_mbps", subject)
    return UnitWay(str(parent), int(hops), int(radio_hops), mbps)  # type: ignore[arg-type]


def _figure(opened: OpenSite, fact: str, subject: Subject | None) -> Figure:
    if subject is None:
        return None
    value = _value(opened, fact, subject)
    if isinstance(value, Unknown):
        return value.inputs
    return float(value) if isinstance(value, int | float) else None


def _value(opened: OpenSite, fact: str, subject: Subject) -> FactValue | Unknown:
    return opened.workings.value(opened.rules.facts[fact], subject)


def _devices(state: Judged, units: Iterable[str]) -> float | None:
    """Return how many devices are on some units, `None` where that is not known."""
    named, total = _named(state, "unit"), 0.0
    for unit in units:
        value = _value(state.opened, "unit.clients", named[unit])
        if isinstance(value, Unknown) or not isinstance(value, int | float):
            return None
        total += value
    return total

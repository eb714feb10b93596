"""Which gains of a comparison are none, since they come of something that got worse.

A group that was pushed to another band has a louder level there; the air that it left is freer; a
unit that is gone makes the longest way shorter. Such a number is told as changed, with the reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.workings.consequences import rests_on

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.compare import Change, Side
    from meshlint.workings.fact import FactValue
    from meshlint.workings.site_workings import Subject
    from meshlint.workings.unknown import Unknown

RATES = ("group.goodput_mbps", "group.delivered_down_mbps", "group.delivered_up_mbps")
"""What each client group gets: told of every group, moved or not."""

EASED = frozenset(
    {
        "site.deepest",
        "unit.dark_clients",
        "unit.client_airtime_lost_percent",
        "air.airtime_percent",
        "group.served_percent",
    }
)
"""Facts that get better where less is asked for, fewer are served, or clients are slower."""

_ASKED = {
    "group.clients": "{label} has {after:g} devices, not {before:g}",
    "group.wanted_down_mbps": "a device of {label} asks for {after:g} Mb/s down, not {before:g}",
    "group.wanted_up_mbps": "a device of {label} asks for {after:g} Mb/s up, not {before:g}",
}


class Losses(Struct, frozen=True):
    """What got worse, in words: for each subject that it befell, and for what that rested on."""

    own: Mapping[str, str]
    """By subject: a group that gets less or was moved to other air, and that air."""
    behind: Mapping[str, str]
    """By subject: what befell or left what rested on it, for the facts of `EASED`."""

    @classmethod
    def between(
        cls,
        rates: Iterable[Change],
        old: Side,
        new: Side,
        were: Mapping[str, Subject],
        are: Mapping[str, Subject],
    ) -> Losses:
        """Return what got worse between two states; `rates` is what each group gets."""
        own = _befell(rates, old, new, were, are)
        words = {key: own[key] for key in own if key in were and were[key].scope == "group"}
        for key, said in _left(old, new, were, are):
            words.setdefault(key, said)
        behind: dict[str, str] = {}
        airs = _airs_by_radio(old, were)
        for key, said in words.items():
            for touched in _rested_on(old, were[key], airs):
                behind.setdefault(touched, said)
        return cls(own, behind)

    def told_with(self, change: Change) -> Change:
        """Return the change; what looks like a gain and comes of a loss is none, and says why.

        What a group gets is the measure itself, and stays what it is.
        """
        if change.verdict != "better" or change.fact in RATES:
            return change
        because = self.own.get(change.subject, "")
        if not because and change.fact in EASED:
            because = self.behind.get(change.subject, "")
        return replace(change, verdict="changed", because=because) if because else change


def _befell(
    rates: Iterable[Change],
    old: Side,
    new: Side,
    were: Mapping[str, Subject],
    are: Mapping[str, Subject],
) -> dict[str, str]:
    """Return what befell each group that gets less or was moved to other air, and that air."""
    declared = new.facts.get("group.air")
    found: dict[str, str] = {}
    for change in rates:
        if change.verdict == "worse":
            words = (
                f"a device of {change.label} gets {change.shown_after}, not {change.shown_before}"
            )
            found.setdefault(change.subject, words)
    for key, group in are.items():
        if group.scope != "group" or key not in were or declared is None:
            continue
        before = old.workings.value(declared, were[key])
        after = new.workings.value(declared, group)
        if isinstance(before, str) and isinstance(after, str) and before and before != after:
            moved = f"{group.label} moved from {_air(before)} to {_air(after) or 'none'}"
            if key in found:
                found[before] = f"{moved}, and {found[key]}"
            found[key] = f"{moved}, and {found[key]}" if key in found else moved
        elif isinstance(before, str) and key in found:
            found.setdefault(before, found[key])
    return found


def _left(
    old: Side, new: Side, were: Mapping[str, Subject], are: Mapping[str, Subject]
) -> Iterator[tuple[str, str]]:
    """Yield the groups and units that are gone or ask for less, and what became of them."""
    joined = new.facts.get("unit.joined")
    for key, subject in were.items():
        if subject.scope not in {"group", "unit"}:
            continue
        if key not in are:
            yield key, f"{_named(subject)} is not there any more"
        elif subject.scope == "unit":
            if joined is not None and (
                old.workings.value(joined, subject) is True
                and new.workings.value(joined, are[key]) is False
            ):
                yield key, f"{subject.label} is not joined to the primary any more"
        else:
            for name, words in _ASKED.items():
                if (declared := new.facts.get(name)) is not None:
                    before = old.workings.value(declared, subject)
                    after = new.workings.value(declared, are[key])
                    if _is_less(after, before):
                        yield key, words.format(label=_named(subject), before=before, after=after)


def _named(subject: Subject) -> str:
    """Return a subject's label; a group's name may be a plural, as phones is."""
    return f"the group {subject.label}" if subject.scope == "group" else subject.label


def _is_less(after: FactValue | Unknown, before: FactValue | Unknown) -> bool:
    return isinstance(after, int | float) and isinstance(before, int | float) and after < before


def _airs_by_radio(side: Side, were: Mapping[str, Subject]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for key, subject in were.items():
        for radio in rests_on(side.workings, subject) if subject.scope == "air" else ():
            found.setdefault(radio, []).append(key)
    return found


def _rested_on(side: Side, subject: Subject, airs: Mapping[str, list[str]]) -> Iterator[str]:
    """Yield what a subject rested on, as reports name it: its way, and the airs of that way.

    The ends of a link are on the way as well, also where it is a cable. What holds of the site as a
    whole, such as its longest way, comes of its units.
    """
    w = side.workings
    links = w.site.backhaul or {}
    if subject.scope == "unit":
        yield "site"
    for key in sorted(rests_on(w, subject)):
        yield key
        section, _, name = key.partition("/")
        if section == "backhaul" and (link := links.get(name)) is not None:
            yield from (f"units/{link.from_unit}", f"units/{link.to_unit}")
        unit, is_radio, _ = name.partition("/radios/")
        if section == "units" and is_radio:
            yield from (f"units/{unit}", *airs.get(key, ()))


def _air(key: str) -> str:
    """Return the words for the air with a key: `airs/desk/mid` is that of desk, radio mid."""
    _, _, own = key.partition("/")
    unit, _, radio = own.rpartition("/")
    return f"radio {radio} of {unit}" if unit else own

"""The answer in one or two sentences: what a person on the telephone would be told first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.report.figures import counted, figure, in_words
from meshlint.what_if.after_failure import CUT_OFF, failure_rates

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.lint.finding import Finding
    from meshlint.what_if.asking import Answer
    from meshlint.what_if.failing import Failed
    from meshlint.what_if.outcome import GroupRates, Outcome, UnitWay
    from meshlint.what_if.parents import Parent, Parents
    from meshlint.what_if.room import Room

_MOST_NAMED: Final = 2
_DECISIVE: Final = frozenset({"airtime-room", "clients-get-their-rate"})
"""Rules without which nobody can tell whether more devices fit."""
_FELT: Final = 1.1
"""A rate of a way must move by so much to be told: the model is no finer."""


def headline(answer: Answer) -> str:
    """Return the answer in one or two sentences."""
    if answer.impossible:
        return f"Not possible: {answer.impossible.removesuffix('.')}."
    if answer.untold:
        lacking = answer.untold[0]
        what = f", {lacking.wanted}" if lacking.wanted else ""
        return f"This cannot be told: the file does not state {lacking.key}{what}."
    if answer.parents is not None:
        return _of_parents(answer.parents)
    assert answer.outcome is not None
    return " ".join(filter(None, _sentences(answer, answer.outcome)))


def _sentences(answer: Answer, found: Outcome) -> Iterator[str]:
    if answer.failed is not None:
        yield _refused(found)
        yield _of_failure(answer.failed, failure_rates(answer))
    elif not any(step.edits for step in answer.steps):
        yield "Nothing changes: the file has it so already."
    elif answer.rooms and len(answer.steps) == 1:
        yield _of_room(answer.rooms[0], found)
    else:
        yield _refused(found) or _of_change(found, deed(answer))
        yield from (_room_left(room) for room in answer.rooms)


def deed(answer: Answer) -> str:
    """Return what is done, as it ends "If you ..."."""
    words = [step.words for step in answer.steps]
    if len(words) > _MOST_NAMED:
        return f"make these {len(words)} changes"
    return " and ".join(words) or "change nothing"


def _refused(found: Outcome) -> str:
    """Return that a change breaks the law or cannot be made, empty where it may be."""
    told = []
    if found.unlawful:
        told.append(f"Not lawful: {_message(found.unlawful[0])}")
    if found.cannot_be:
        told.append(f"Not possible: {_message(found.cannot_be[0])}")
    return " ".join(told)


def _message(finding: Finding) -> str:
    text = finding.in_short.strip()
    return text[:1].lower() + text[1:] if not text[:2].isupper() else text


def _of_change(found: Outcome, done: str) -> str:
    bad, good = list(_bad(found)), list(_good(found))
    rates = _rates(found)
    if not bad and not good and _is_told(found):
        return f"If you {done}, nobody notices: {rates}, and no rule breaks."
    if not bad and not good:
        return f"If you {done}, no rule breaks; {rates}."
    if not bad:
        return f"If you {done}, {in_words(good)}. No rule breaks; {rates}."
    tail = f" In return, {in_words(good)}." if good else ""
    if not any(group.loses for group in found.groups):
        tail += f" {_capital(rates)}."
    return f"If you {done}, {in_words(bad)}.{tail}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _is_told(found: Outcome) -> bool:
    return bool(found.groups) and all(g.rates["down"].share is not None for g in found.groups)


def _rates(found: Outcome) -> str:
    known = [g for g in found.groups if g.rates["down"].share is not None]
    if not found.groups:
        return "the file names no clients"
    if not known:
        return "what each group gets cannot be told"
    if len(known) < len(found.groups):
        return "no group gets less, as far as can be told"
    gains = any(group.gains for group in known)
    return "no group gets less" if gains else "every group gets as much as now"


def _bad(found: Outcome) -> Iterator[str]:
    if found.cut_off:
        devices = found.devices_cut_off
        people = f", with {counted(devices, 'device')}" if devices else ""
        verb = "is" if len(found.cut_off) == 1 else "are"
        yield f"{in_words(list(found.cut_off))} {verb} cut off{people}"
    errors = [f for f in found.appeared if f.severity == "error"]
    others = [f for f in found.appeared if f.severity not in ("error", "caution")]
    yield from _breaking(errors)
    yield from _moved([g for g in found.groups if g.loses], "less")
    yield from _ways(found, better=False)
    if not errors:
        yield from _breaking(others)
    cautions = [f for f in found.appeared if f.severity == "caution"]
    if cautions and not (errors or others or found.cut_off):
        yield f"{cautions[0].rule} at {cautions[0].label} asks a licensed person to look"
    if found.untold and not (errors or found.cut_off):
        yield f"{in_words(list(found.untold), 3)} cannot be judged any more"


def _good(found: Outcome) -> Iterator[str]:
    if found.joined_again:
        verb = "is" if len(found.joined_again) == 1 else "are"
        yield f"{in_words(list(found.joined_again))} {verb} joined again"
    yield from _moved([g for g in found.groups if g.gains], "more")
    yield from _ways(found, better=True)
    yield from _several([f for f in found.gone if f.severity != "caution"], "settled")


def _breaking(findings: list[Finding]) -> Iterator[str]:
    yield from _several(findings, "new")


def _several(findings: list[Finding], became: str) -> Iterator[str]:
    """Yield what became of some findings, the gravest of them by name."""
    if not findings:
        return
    first = findings[0]
    severity = f"{'an' if first.severity == 'error' else 'a'} {first.severity}"
    if findings[1:]:
        gravest = f"the gravest {first.rule} at {first.label} ({severity})"
        yield f"{len(findings)} findings are {became}, {gravest}"
    elif became == "new":
        yield f"{first.rule} at {first.label} is a new {first.severity}"
    else:
        yield f"{first.rule} at {first.label} ({severity}) is {became}"


def _moved(groups: Sequence[GroupRates], verdict: str) -> Iterator[str]:
    """Yield what a group gets, and how many more get less or more."""
    if groups:
        yield _rate(groups[0])
    if groups[1:]:
        more = counted(len(groups) - 1, "more group")
        yield f"{more} {'get' if groups[2:] else 'gets'} {verdict}"


def _rate(group: GroupRates) -> str:
    for name, words in (("down", ""), ("up", " up")):
        rate = group.rates[name]
        if (rate.is_less or rate.is_more) and isinstance(rate.after, float):
            was = figure(rate.before) if isinstance(rate.before, float) else "nothing"
            return f"{group.group} get {figure(rate.after)} Mb/s{words} each instead of {was}"
    return f"{group.group} get the same"


def _ways(found: Outcome, *, better: bool) -> Iterator[str]:
    """Yield the units joined to another parent whose rate moves, the first of them."""
    told = 0
    for unit, (was, now) in found.ways.items():
        if was is None or now is None or not _is_other(was, now) or told:
            continue
        if not isinstance(was.mbps, float) or not isinstance(now.mbps, float):
            continue
        moved = now.mbps / was.mbps if was.mbps else float("inf")
        if (moved > _FELT) if better else (moved < 1 / _FELT):
            told += 1
            yield f"{unit} can get {figure(now.mbps)} Mb/s at most instead of {figure(was.mbps)}"


def _is_other(was: UnitWay, now: UnitWay) -> bool:
    return was != now


def _of_parents(found: Parents) -> str:
    if not found.found:
        reach = "none is in reach" if found.out_of_reach else "no other unit has a fitting radio"
        return f"There is no other unit that {found.unit} could join: {reach}."
    best, count = found.found[0], len(found.found) + found.more
    ways = f"There {'is' if count == 1 else 'are'} {counted(count, 'other way')}"
    ways += f" to join {found.unit}"
    price, gain = _price(best), _gain(found.today, best.way)
    if price and count == 1:
        return f"{ways}, and it has a price: with {best.name}, {price}."
    if price:
        return f"{ways}, none without a price. With {best.name}, {price}."
    if best.way is None or not isinstance(best.way.mbps, float):
        return f"{ways}. With {best.name} no rule breaks; what it gets cannot be told."
    if gain:
        return f"{ways}. Best is {best.name}: {gain}, and no rule breaks."
    return f"{ways}, but none gives it more than it can get now."


def _price(parent: Parent) -> str:
    refused = _refused(parent.outcome)
    if refused:
        return refused[:1].lower() + refused[1:].removesuffix(".")
    return in_words(list(_bad(parent.outcome))[:_MOST_NAMED])


def _gain(today: UnitWay | None, then: UnitWay | None) -> str:
    if then is None or not isinstance(then.mbps, float):
        return ""
    if today is None:
        return f"{figure(then.mbps)} Mb/s at most"
    if isinstance(today.mbps, float) and then.mbps > _FELT * today.mbps:
        return f"{figure(then.mbps)} Mb/s at most instead of {figure(today.mbps)}"
    return ""


def _of_failure(lost: Failed, groups: Sequence[GroupRates]) -> str:
    what = in_words([*lost.lost, *(f"the link {name}" for name in lost.links)])
    devices = sum(entry.cut_off for entry in lost.regrouped)
    power = f"{_row(lost.powerless)} {_has(lost.powerless)} no power" if lost.powerless else ""
    if lost.after is None:
        then = f"{power}, and the whole site is offline" if power else "the whole site is offline"
        return f"Without {what}, {then}{f'; {_cut_off(devices)}' if devices else ''}."
    parts = [power] if power else []
    if lost.dark:
        parts.append(f"{_row(lost.dark)} {'goes' if len(lost.dark) == 1 else 'go'} dark")
    parts += [f"{back.unit} joins {back.parent} over {back.over}" for back in lost.comebacks]
    if not parts:
        parts.append("no other unit goes dark")
    people = _cut_off(devices) if devices else "no device is cut off"
    if not lost.clients_told:
        people = "the file names no clients"
    open_ = []
    if lost.unsure:
        open_.append("whether another way is left")
    if unsure := [entry.group for entry in lost.regrouped if entry.unsure]:
        people = _cut_off(devices) if devices else ""
        open_.append(f"who serves {in_words(unsure)} then")
    cannot = f" The file does not tell {in_words(open_)}." if open_ else ""
    moved = list(_moved([g for g in groups if g.loses and g.note != CUT_OFF], "less"))
    then = f" Then {in_words(moved)}." if moved else ""
    return f"Without {what}, {in_words(parts, 4)}{f'; {people}' if people else ''}.{then}{cannot}"


def _cut_off(devices: float) -> str:
    return f"{counted(devices, 'device')} {'is' if devices == 1 else 'are'} cut off"


def _has(units: tuple[str, ...]) -> str:
    return "has" if len(units) == 1 else "have"


def _row(units: tuple[str, ...]) -> str:
    return in_words(list(units))


def _of_room(room: Room, found: Outcome) -> str:
    asked = next(g for g in found.groups if g.group == room.group)
    number = asked.devices[1] - asked.devices[0]
    if refused := _refused(found):
        return refused
    moved = list(_moved([g for g in found.groups if g.loses], "less"))
    rates = f"Then {in_words(moved)}" if moved else _capital(_rates(found))
    return f"{_room(room, number)} {rates}."


def _room(room: Room, number: int) -> str:
    """Return whether some more devices fit, and when a rule breaks."""
    then = "none of the rules that can be judged breaks with up to 4096 more"
    if room.then is not None:
        breaking = f"{room.then.rule} at {room.then.label} is a new {room.then.severity}"
        then = f"with {room.more + 1 if room.more else 'one'} more, {breaking}"
    if room.broken:
        first = room.broken[0]
        already = f"{first.rule} at {first.label} breaks already, and gets worse"
        return f"There is no room for more devices in the group {room.group}: {already}; {then}."
    if room.more == 0:
        return f"No more device fits in the group {room.group}: {then}."
    if room.more is not None and room.more < number:
        return f"{room.more} more devices fit in the group {room.group}, not {number}: {then}."
    open_ = in_words([rule for rule, _ in room.open], 3)
    if _DECISIVE & {rule for rule, _ in room.open}:
        keys = in_words(list(dict.fromkeys(k for _, lacking in room.open for k in lacking)), 2)
        told = f"Whether {number} more devices fit in the group {room.group} cannot be told"
        stay = "stay" if room.open[1:] else "stays"
        return f"{told} without {keys}: {open_} {stay} open; {then}."
    sure = f" as far as can be told, which leaves {open_} open" if room.open else ""
    return f"{number} more devices fit in the group {room.group}{sure}; {then}."


def _room_left(room: Room) -> str:
    return _room(room, room.more or 1)

"""The answer as text: the answer itself, then a table of what it rests on, in about ten lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.report.figures import counted, figure, in_words
from meshlint.report.lines import wrapped
from meshlint.report.plain import visible
from meshlint.what_if.after_failure import failure_rates
from meshlint.what_if.headline import headline

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meshlint.lint.finding import Finding
    from meshlint.report.lines import Look
    from meshlint.what_if.asking import Answer
    from meshlint.what_if.failing import Failed
    from meshlint.what_if.outcome import Figure, GroupRates, Outcome, UnitWay
    from meshlint.what_if.parents import Parent, Parents

_MOST_ROWS: Final = 6
_MOST_FINDINGS: Final = 4
_MOST_KEYS: Final = 3


def as_text(answer: Answer, look: Look) -> str:
    """Return the answer as lines for people."""
    lines = list(_lines(answer, look))
    return "\n".join(lines) + "\n"


def _lines(answer: Answer, look: Look) -> Iterator[str]:
    yield from (look.paint(line, "title") for line in wrapped(visible(headline(answer)), look, ""))
    if answer.impossible or answer.untold:
        return
    if answer.parents is not None:
        yield from _steps(answer, look)
        yield from _parents(answer.parents, look)
        return
    assert answer.outcome is not None
    yield from _steps(answer, look)
    if answer.failed is not None:
        yield from _failure(answer, answer.failed, look)
    else:
        yield from _groups(answer.outcome.groups, look)
        assert answer.done is not None
        yield from _ways(answer.outcome, answer.done.after.opened.site.primary, look)
    for room in answer.rooms:
        if room.then is not None:
            more = (room.more or 0) + 1
            words = f"{_finding(room.then)}. {room.then.in_short}"
            yield from _entry(f"with {more}", words, look)
    yield from _findings(answer.outcome, look)
    yield from _taken_out(answer, look)


def _steps(answer: Answer, look: Look) -> Iterator[str]:
    """Yield what is done, where the first sentence has no room for it, and in which order."""
    several = len(answer.steps) > 1 or (answer.steps and answer.failed is not None)
    for step in answer.steps if several else ():
        yield from _entry("change", f"{step.words} ({step.work})", look)
    radios = {
        edit.pointer[1]
        for step in answer.steps
        for edit in step.edits
        if edit.pointer[0] == "units" and edit.pointer[2:3] == ("radios",)
    }
    if len(radios) > 1:
        yield from _entry(
            "order", "set the unit furthest from the primary first, or you lose it", look
        )
    if answer.unwritable:
        yield from _entry("no diff", answer.unwritable, look)


def _groups(groups: Sequence[GroupRates], look: Look) -> Iterator[str]:
    """Yield a table of what a device of each group gets, those that move first."""
    known = [g for g in groups if any(_is_told(g.rates[name].after) for name in ("down", "up"))]
    rows = sorted(known, key=lambda g: (not g.note, not g.loses, not g.gains))
    if rows:
        table = [("each device gets", "down, Mb/s", "up, Mb/s", "")]
        table += [_row(group) for group in rows[:_MOST_ROWS]]
        yield from _table(table, look)
        if rows[_MOST_ROWS:]:
            yield f"  and {counted(len(rows) - _MOST_ROWS, 'more group')}; --format json lists all"
    unknown = [group for group in groups if group not in known]
    if unknown:
        names = in_words([group.group for group in unknown], 4)
        lacking = _keys([g.rates["down"].after for g in unknown])
        yield from _entry("unknown", f"what {names} get, without {lacking}", look)


def _row(group: GroupRates) -> tuple[str, str, str, str]:
    before, after = group.devices
    devices = f"{before} -> {after}" if before != after else f"{after}"
    down, up = group.rates["down"], group.rates["up"]
    verdict = "less" if group.loses else "more" if group.gains else ""
    return (
        f"{group.group} ({devices})",
        _pair(down.before, down.after),
        _pair(up.before, up.after),
        group.note or verdict,
    )


def _is_told(value: Figure) -> bool:
    return isinstance(value, float)


def _pair(before: Figure, after: Figure) -> str:
    was, now = _figure(before), _figure(after)
    return now if was == now or before is None else f"{was} -> {now}"


def _figure(value: Figure) -> str:
    if value is None:
        return "-"
    return figure(value) if isinstance(value, float) else "?"


def _keys(values: Sequence[Figure]) -> str:
    keys = dict.fromkeys(i.key for value in values if isinstance(value, tuple) for i in value)
    return in_words(list(keys), _MOST_KEYS) or "more figures"


def _table(rows: Sequence[tuple[str, ...]], look: Look) -> Iterator[str]:
    shown = [tuple(visible(cell) for cell in row) for row in rows]
    widths = [max(len(row[at]) for row in shown) for at in range(len(shown[0]))]
    for number, row in enumerate(shown):
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        line = "  " + "  ".join(cells).rstrip()
        yield look.paint(line, "dim") if not number else line


def _ways(found: Outcome, primary: str, look: Look) -> Iterator[str]:
    """Yield the units whose way to the primary is another one."""
    moved = [
        (unit, was, now)
        for unit, (was, now) in found.ways.items()
        if (now is not None or unit != primary)
        and ((was is None) != (now is None) or (was and now and _differ(was, now)))
    ]
    for unit, was, now in moved[:_MOST_FINDINGS]:
        yield from _entry("way", f"{unit}: {_way(was, now)}", look)
    if moved[_MOST_FINDINGS:]:
        yield from _entry("", f"and {len(moved) - _MOST_FINDINGS} more units by another way", look)


def _differ(was: UnitWay, now: UnitWay) -> bool:
    if (was.parent, was.hops, was.radio_hops) != (now.parent, now.hops, now.radio_hops):
        return True
    if isinstance(was.mbps, float) and isinstance(now.mbps, float):
        return abs(was.mbps - now.mbps) > 0.1 * max(was.mbps, now.mbps)
    return isinstance(was.mbps, float) != isinstance(now.mbps, float)


def _way(was: UnitWay | None, now: UnitWay | None) -> str:
    if now is None:
        return "cut off"
    parts = [f"through {now.parent}" + _was(was and was.parent, now.parent)]
    hops, then = (counted(way.hops, "hop") if way else None for way in (now, was))
    parts.append(f"{hops}{_was(then, hops)}")
    if _is_told(now.mbps):
        before = _figure(was.mbps) if was else None
        parts.append(f"at most {_figure(now.mbps)} Mb/s{_was(before, _figure(now.mbps))}")
    else:
        parts.append(f"rate not known without {_keys([now.mbps])}")
    return ", ".join(parts)


def _was(before: object, now: object) -> str:
    return f" (now {before})" if before is not None and before != now else ""


def _findings(found: Outcome, look: Look) -> Iterator[str]:
    yield from _some("new", [_finding(f) for f in found.appeared], look)
    yield from _some("gone", [_finding(f) for f in found.gone], look)
    yield from _some("milder", [f"{_finding(f)}, was {was}" for was, f in found.milder], look)
    if found.untold:
        rules = in_words(list(found.untold))
        keys = list(dict.fromkeys(key for lacking in found.untold.values() for key in lacking))
        yield from _entry("not told", f"{rules}, without {in_words(keys, _MOST_KEYS)}", look)


def _finding(finding: Finding) -> str:
    return f"{finding.severity} {finding.rule}: {finding.label}"


def _some(label: str, texts: Sequence[str], look: Look) -> Iterator[str]:
    for text in texts[:_MOST_FINDINGS]:
        yield from _entry(label, text, look)
    if texts[_MOST_FINDINGS:]:
        yield from _entry("", f"and {len(texts) - _MOST_FINDINGS} more", look)


def _taken_out(answer: Answer, look: Look) -> Iterator[str]:
    if answer.done is None:
        return
    for name in answer.done.old_readings:
        yield from _entry("measure", f"again, since it was taken before: {name}", look)
    for name in answer.done.needless_waivers:
        yield from _entry("waiver", f"no longer needed, and taken out: {name}", look)


def _failure(answer: Answer, lost: Failed, look: Look) -> Iterator[str]:
    for back in lost.comebacks:
        yield from _entry("recovers", f"{back.unit}: joins {back.parent} over {back.over}", look)
    if lost.dark:
        yield from _entry("dark", in_words(list(lost.dark), 9), look)
    if lost.unsure:
        keys = _keys([lost.unsure])
        yield from _entry("unknown", f"whether they find another way, without {keys}", look)
    yield from _groups(failure_rates(answer), look)
    for entry in lost.regrouped:
        if entry.unsure:
            keys = _keys([entry.unsure])
            yield from _entry("unknown", f"who serves {entry.group} then, without {keys}", look)


def _parents(found: Parents, look: Look) -> Iterator[str]:
    rows: list[tuple[str, ...]] = [
        ("join to", "hops", "at most, Mb/s", "new findings", "gets less")
    ]
    if found.today is not None:
        today = found.today
        rows.append((f"{today.parent} (today)", str(today.hops), _figure(today.mbps), "", ""))
    rows += [_parent(parent) for parent in found.found]
    yield from _table(rows, look)
    unknown = [p.way.mbps for p in found.found if p.way and isinstance(p.way.mbps, tuple)]
    if unknown:
        yield from _entry("unknown", f"rates marked ?, without {_keys(unknown)}", look)
    for label, names in (
        ("too far", found.out_of_reach),
        ("depend on it", found.below),
        ("no radio", found.unfit),
    ):
        if names:
            yield from _entry(label, in_words(list(names), 9), look)
    if found.more:
        yield from _entry("left out", f"{counted(found.more, 'unit')} with a longer way", look)
    for route in found.cables:
        far = next(end for end in route.between if end != found.unit)
        words = f"{route.state} to {far}; ask with --lay '{found.unit} to {far}'"
        yield from _entry("cable", words, look)


def _parent(parent: Parent) -> tuple[str, ...]:
    found, way = parent.outcome, parent.way
    counts = [
        counted(found.found(severity), severity)
        for severity in ("error", "warning", "note", "caution")
        if found.found(severity)
    ]
    first = next((f.rule for f in found.appeared), "")
    new = f"{', '.join(counts)} ({first}{', ...' if len(found.appeared) > 1 else ''})"
    if found.unlawful:
        new = f"not lawful: {found.unlawful[0].rule}"
    losers = [*found.cut_off, *(group.group for group in found.groups if group.loses)]
    return (
        f"{parent.name} by {parent.radio}",
        str(way.hops) if way else "-",
        _figure(way.mbps) if way else "-",
        new if found.appeared or found.unlawful else "none",
        in_words(losers, 3) or "nobody",
    )


def _entry(label: str, text: str, look: Look) -> Iterator[str]:
    indent = " " * 14
    first, *rest = wrapped(visible(text), look, indent)
    yield f"  {look.paint(label.ljust(10), 'label')}  {first[len(indent) :]}"
    yield from rest

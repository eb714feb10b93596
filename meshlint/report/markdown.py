"""Markdown for a merge request: what is new first, then what went, then what could not be told.

Everything from a site file is data. It is written so that CommonMark shows it letter by letter:
no markup, no links, and no mention of anybody. What a card puts between back quotes is code.

A forge takes a comment of 65,536 characters; what does not fit is left out, the mildest first, and
its number said. What many sites have in the same words is told of the first, and of the others
where it stands.
"""

from __future__ import annotations

import re
from textwrap import indent
from typing import TYPE_CHECKING

from msgspec import Struct, field

from meshlint.lint.finding import SEVERITIES
from meshlint.report.brief import proven
from meshlint.report.plain import in_a_row, visible
from meshlint.report.repeated import Told
from meshlint.report.totals import Totals, chosen_words, gone_words, number_of, shown_points

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult
    from meshlint.report.repeated import Repeated
    from meshlint.site.problem import Problem

MOST = 50
"""Entries shown of each kind; nobody reads more in a comment on a merge request."""

MOST_CHARACTERS = 65_000
"""What the whole report may hold, a little less than a comment may."""

_MOST_UNDER = 10
"""Consequences told under one finding."""

_ROOM_OF_OTHERS = 8_000
"""Characters kept for each section but that of new findings, which has the rest."""

# What begins markup in the middle of a line; nothing of a file ever begins one. Forges make links
# of bare addresses and pictures of words between colons.
_CODE = re.compile(r"(?<![\w`\\])`([^\s`](?:[^`\n]*[^\s`])?)`(?![\w`])")
_MARKUP = re.compile(r"([\\`*_\[\]#!|<>~$&:^]|(?<=www)\.)")


class MarkdownWriter:
    """Gathers what is shown, at most `MOST` of each kind, and writes it at the end."""

    def __init__(self) -> None:
        self._tally = Totals()
        self._told: set[Problem] = set()
        self._repeated = Told()
        self._sections: dict[str, dict[int, _Entries]] = {title: {} for title in _TITLES}

    def add(self, result: SiteResult) -> str:
        """Take one file in; nothing can be written before all are known."""
        self._tally.add(result)
        if self._repeated.is_known_problem(result):
            return ""
        told = self._repeated.without_known(result)
        for title, rank, number, lines in _entries(told, self._told):
            entries = self._sections[title].setdefault(rank, _Entries())
            entries.told_of += number
            if entries.shown < MOST:
                entries.shown += number
                entries.kept.append((number, lines))
        self._told.update(result.shared_problems)
        return ""

    def finish(self) -> str:
        """Return the report."""
        return "".join(self._lines())

    def _lines(self) -> Iterator[str]:
        for entry in self._repeated.repeated:
            same = self._sections[_SAME].setdefault(0, _Entries())
            same.told_of += 1
            if len(same.kept) < MOST:
                same.kept.append((1, _same(entry)))
        head, tail = self._head(), "".join(self._tail())
        sections = {
            title: [by_rank[rank] for rank in sorted(by_rank)]
            for title, by_rank in self._sections.items()
            if by_rank
        }
        told = {
            title: _told(title, ranks, _ROOM_OF_OTHERS)
            for title, ranks in sections.items()
            if title != _NEW
        }
        if _NEW in sections:
            room = MOST_CHARACTERS - sum(map(len, (head, tail, *told.values())))
            told[_NEW] = _told(_NEW, sections[_NEW], room)
        yield head
        yield from (told[title] for title in sections)
        yield tail

    def _head(self) -> str:
        tally = self._tally
        counts: list[tuple[int, str, str]] = [
            (tally.severities[severity], severity, f"{severity}s") for severity in SEVERITIES
        ]
        counts.append((tally.unreadable, "file not understood", "files not understood"))
        counts.append((tally.faults, "fault of the program", "faults of the program"))
        said = ", ".join(f"{n} {one if n == 1 else many}" for n, one, many in counts if n)
        rules = f", by {chosen_words(tally.chosen)}" if tally.chosen else ""
        return f"## meshlint: {said or 'nothing new'} in {number_of(tally.sites, 'site')}{rules}\n"

    def _tail(self) -> Iterator[str]:
        tally = self._tally
        yield (
            f"\n{tally.held} held, {tally.assumed} more with any ordinary equipment, "
            f"{tally.not_judged} not judged, {tally.waived} accepted by "
            f"waiver, {tally.listed} by the accepted list.\n"
        )
        if tally.single_points and tally.sites == 1:
            yield f"{escaped(shown_points(tally))}\n"
        if tally.line_shares and tally.sites == 1:
            yield f"{escaped(' '.join(tally.line_shares))}\n"
        wanted = tally.most_wanted()
        if wanted:
            key, meaning, judgements, _ = wanted[0]
            words = f", {escaped(meaning)}" if meaning else ""
            settled = number_of(judgements, "judgement")
            yield f"The line that would settle most: {escaped(key)}{words} ({settled}).\n"


class _Entries(Struct):
    """Entries of one rank in a section: of how many findings, and those that may be shown."""

    told_of: int = 0
    shown: int = 0
    kept: list[tuple[int, str]] = field(default_factory=list)


def _told(title: str, ranks: list[_Entries], room: int) -> str:
    """Return a section, gravest first, as far as `MOST` and the room in characters go."""
    parts = [f"\n### {title}\n\n"]
    left = sum(entries.told_of for entries in ranks)
    shown, used = 0, len(parts[0]) + len(_and_more(left))
    for number, lines in (entry for entries in ranks for entry in entries.kept):
        if shown >= MOST:
            break
        if used + len(lines) > room:
            continue  # one that is longer than most must not push out the others
        shown, left, used = shown + number, left - number, used + len(lines)
        parts.append(lines)
    if left:
        parts.append(_and_more(left))
    return "".join(parts)


def _same(entry: Repeated) -> str:
    left = entry.others - len(entry.shown)
    places = ", ".join(map(escaped, entry.shown)) + (f" and {left} more" if left else "")
    number = number_of(entry.others, entry.counted)
    # A problem is known by its place, which many sites share; findings need their words.
    is_problem = entry.counted == "more file"
    what = entry.first if is_problem else f"{entry.what} ({entry.first})"
    return f"- {escaped(what)}: {number}, {places}\n"


def _and_more(number: int) -> str:
    return f"- and {number} more\n"


_NEW, _GONE, _UNREAD, _SAME, _CAUTIONS, _ACCEPTED = _TITLES = (
    "New findings",
    "Accepted, and no longer there",
    "Not understood",
    "The same elsewhere",
    "For a licensed person to review",
    "Accepted by waiver",
)


def render(results: Iterable[SiteResult]) -> str:
    """Return the whole report on results that are all there."""
    writer = MarkdownWriter()
    for result in results:
        writer.add(result)
    return writer.finish()


def escaped(text: str) -> str:
    """Return a text so that CommonMark shows it as it is, in one line."""
    shown = _MARKUP.sub(r"\\\1", visible(text))
    # No escape keeps a forge from telling somebody that their name was mentioned.
    return shown.replace("@", "@\u200b")


def with_code(text: str) -> str:
    """Return a text as `escaped` does, what stands between back quotes in it as code.

    A back quote inside a word, as a name may have it, begins no code; and code means itself.
    """
    parts = _CODE.split(text)
    parts[::2] = map(escaped, parts[::2])
    parts[1::2] = (f"`{visible(part)}`" for part in parts[1::2])
    return "".join(parts)


def _entries(result: SiteResult, told: set[Problem]) -> Iterator[tuple[str, int, int, str]]:
    """Yield each entry: where it stands, its rank there, how many findings it is, and its text."""
    if result.fault:
        said = f"- {escaped(result.path)}: a fault of the program: {escaped(result.fault)}\n"
        yield _UNREAD, 0, 1, said
    for problem in result.problems:
        if problem in told:
            continue  # one mistake in a policy or a catalogue, in the way of many sites
        yield _UNREAD, 0, 1, f"- {escaped(str(problem.place))}: {escaped(problem.message)}\n"
    for rank, number, text in _new(result):
        yield _NEW, rank, number, text
    for caution in result.cautions:
        yield _CAUTIONS, 0, 1, _finding(caution)
    for finding in result.accepted:
        if (waiver := finding.waiver) is not None:
            until = waiver.until.isoformat() if waiver.until else ""
            by = escaped(waiver.approved_by or "nobody named")
            why = escaped(waiver.because or "")
            yield _ACCEPTED, 0, 1, f"{_head(finding)}: by {by} until {until}: {why}\n"
    if result.is_gone:
        yield _GONE, 0, len(result.vanished), f"- {escaped(gone_words(result))}\n"
        return
    for entry in result.vanished:
        text = (
            f"- {escaped(entry.rule)} for {escaped(entry.subject)} of {escaped(result.site)}: take "
            f"{escaped(str(entry.place))} out\n"
        )
        yield _GONE, 0, 1, text


def _new(result: SiteResult) -> Iterator[tuple[int, int, str]]:
    """Yield each open finding with those that follow from it in a list under it.

    Its rank is that of the gravest of them.
    """
    found = result.open_findings
    following: dict[str, list[Finding]] = {}
    for finding in found:
        if finding.under:
            following.setdefault(finding.under, []).append(finding)
    for finding in found:
        if not finding.under:
            under = following.get(finding.fingerprint, ()) if following else ()
            under = sorted(under, key=lambda other: SEVERITIES.index(other.severity))
            shown = [_finding(other, "and so ") for other in under[:_MOST_UNDER]]
            if (left := len(under) - len(shown)) > 0:
                shown.append(_and_more(left))
            told = "".join(indent(lines, "  ") for lines in shown)
            rank = min(SEVERITIES.index(f.severity) for f in (finding, *under))
            yield rank, 1 + len(under), _finding(finding) + told


def _finding(finding: Finding, lead: str = "") -> str:
    likewise = f" Likewise {escaped(in_a_row(finding.follows))}." if finding.follows else ""
    fixes = "".join(f"  Proven: {with_code(proven(fix, finding))}.\n" for fix in finding.fixes)
    return (
        f"{_head(finding, lead)}: {with_code(finding.message)}{likewise}\n"
        f"  Remedy: {with_code(finding.remedy)}\n"
        f"{fixes}"
        f"  Why: {with_code(finding.why)} {escaped(_cited(finding))}\n"
    )


def _cited(finding: Finding) -> str:
    return f"({'; '.join(source.marked for source in finding.sources)})"


def _head(finding: Finding, lead: str = "") -> str:
    return (
        f"- {lead}**{finding.severity}** {escaped(finding.rule)}, {escaped(finding.label)}, "
        f"{escaped(str(finding.place))}"
    )

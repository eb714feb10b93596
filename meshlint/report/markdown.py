"""Markdown for a merge request: what is new first, then what went, then what could not be told.

Everything from a site file is data. It is written so that CommonMark shows it letter by letter:
no markup, no links, and no mention of anybody.
"""

from __future__ import annotations

import re
from textwrap import indent
from typing import TYPE_CHECKING

from meshlint.lint.finding import SEVERITIES
from meshlint.report.plain import visible
from meshlint.report.tally import Tally, gone_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meshlint.lint.finding import Finding, SiteResult

MOST = 50
"""Entries shown of each kind; a comment on a merge request has a bounded size."""

# What begins markup in the middle of a line; nothing of a file ever begins one. Forges make links
# of bare addresses and pictures of words between colons.
_MARKUP = re.compile(r"([\\`*_\[\]#!|<>~$&:^]|(?<=www)\.)")


class MarkdownWriter:
    """Gathers what is shown, at most `MOST` of each kind, and writes it at the end."""

    def __init__(self) -> None:
        self._tally = Tally()
        self._sections: dict[str, list[str]] = {title: [] for title in _TITLES}
        self._counts = dict.fromkeys(_TITLES, 0)
        self._shown = dict.fromkeys(_TITLES, 0)

    def add(self, result: SiteResult) -> str:
        """Take one file in; nothing can be written before all are known."""
        self._tally.add(result)
        for title, number, lines in _entries(result):
            self._counts[title] += number
            if self._shown[title] < MOST:
                self._shown[title] += number
                self._sections[title].append(lines)
        return ""

    def finish(self) -> str:
        """Return the report."""
        return "".join(self._lines())

    def _lines(self) -> Iterator[str]:
        tally = self._tally
        counts: list[tuple[int, str, str]] = [
            (tally.severities[severity], severity, f"{severity}s") for severity in SEVERITIES
        ]
        counts.append((tally.unreadable, "file not understood", "files not understood"))
        counts.append((tally.faults, "fault of the program", "faults of the program"))
        said = ", ".join(f"{n} {one if n == 1 else many}" for n, one, many in counts if n)
        sites = f"{tally.sites} site{'' if tally.sites == 1 else 's'}"
        yield f"## meshlint: {said or 'nothing new'} in {sites}\n"
        for title, lines in self._sections.items():
            if not lines:
                continue
            yield f"\n### {title}\n\n"
            yield from lines
            if self._counts[title] > self._shown[title]:
                yield f"- and {self._counts[title] - self._shown[title]} more\n"
        yield (
            f"\n{tally.held} held, {tally.not_judged} not judged, {tally.waived} accepted by "
            f"waiver, {tally.listed} by the accepted list.\n"
        )
        wanted = tally.most_wanted()
        if wanted:
            key, meaning, judgements, _ = wanted[0]
            words = f", {escaped(meaning)}" if meaning else ""
            yield f"Most would be settled by {escaped(key)}{words} ({judgements} judgements).\n"


_NEW, _GONE, _UNREAD, _CAUTIONS, _ACCEPTED = _TITLES = (
    "New findings",
    "Accepted, and no longer there",
    "Not understood",
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


def _entries(result: SiteResult) -> Iterator[tuple[str, int, str]]:
    """Yield where each entry stands, how many findings it tells of, and its text."""
    if result.fault:
        said = f"- {escaped(result.path)}: a fault of the program: {escaped(result.fault)}\n"
        yield _UNREAD, 1, said
    for problem in result.problems:
        yield _UNREAD, 1, f"- {escaped(str(problem.place))}: {escaped(problem.message)}\n"
    for number, told in _new(result):
        yield _NEW, number, told
    for caution in result.cautions:
        yield _CAUTIONS, 1, _finding(caution)
    for finding in result.accepted:
        if (waiver := finding.waiver) is not None:
            until = waiver.until.isoformat() if waiver.until else ""
            by = escaped(waiver.approved_by or "nobody named")
            why = escaped(waiver.because or "")
            yield _ACCEPTED, 1, f"{_head(finding)}: by {by} until {until}: {why}\n"
    if result.is_gone:
        yield _GONE, len(result.vanished), f"- {escaped(gone_words(result))}\n"
        return
    for entry in result.vanished:
        text = (
            f"- {escaped(entry.rule)} for {escaped(entry.subject)} of {escaped(result.site)}: take "
            f"{escaped(str(entry.place))} out\n"
        )
        yield _GONE, 1, text


def _new(result: SiteResult) -> Iterator[tuple[int, str]]:
    """Yield each open finding, gravest first, with those that follow from it in a list under it."""
    found = sorted(result.open_findings, key=lambda f: SEVERITIES.index(f.severity))
    following: dict[str, list[Finding]] = {}
    for finding in found:
        if finding.under:
            following.setdefault(finding.under, []).append(finding)
    for finding in found:
        if not finding.under:
            under = following.get(finding.fingerprint, ()) if following else ()
            told = "".join(indent(_finding(other, "and so "), "  ") for other in under)
            yield 1 + len(under), _finding(finding) + told


def _finding(finding: Finding, lead: str = "") -> str:
    likewise = f" Likewise {escaped(', '.join(finding.follows))}." if finding.follows else ""
    return (
        f"{_head(finding, lead)}: {escaped(finding.message)}{likewise}\n"
        f"  Remedy: {escaped(finding.remedy)}\n"
    )


def _head(finding: Finding, lead: str = "") -> str:
    return (
        f"- {lead}**{finding.severity}** {escaped(finding.rule)}, {escaped(finding.label)}, "
        f"{escaped(str(finding.place))}"
    )

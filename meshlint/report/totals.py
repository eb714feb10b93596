"""What is counted over all files of a run, file by file, so that no report holds them all."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, Final

from msgspec import Struct, field

from meshlint.lint.finding import SEVERITIES

if TYPE_CHECKING:
    from meshlint.lint.finding import Severity, SiteResult


_MOST_BOXES: Final = 2
"""So many switches are told of in the summary."""


def gone_words(result: SiteResult) -> str:
    """Return what there is to say of a listed site that no file has any more."""
    number = len(result.vanished)
    entries = "entry" if number == 1 else f"{number} entries"
    return (
        f"No site is called {result.site} any more: take its {entries} out, from "
        f"{result.vanished[0].place} on, or let `meshlint accept` do it. To the list a site that "
        "was given another name is another site."
    )


def counted(tally: Totals) -> str:
    """Return what a run found in one sentence; zero of anything but findings is left out."""
    counts = tally.severities
    found = [number_of(counts[s], s) for s in SEVERITIES if counts[s]] or ["no findings"]
    checked = f"{number_of(tally.sites, 'site')} checked: {', '.join(found)}"
    if tally.catalogues:
        catalogues = number_of(tally.catalogues, "catalogue")
        checked = checked.replace(" checked", f" and {catalogues} checked", 1)
    accepted = " and ".join(
        [f"{tally.waived} by waiver"] * bool(tally.waived)
        + [f"{tally.listed} by the accepted list"] * bool(tally.listed)
    )
    if tally.chosen:
        checked = checked.replace(" checked", f" checked by {chosen_words(tally.chosen)}", 1)
    # Among the kinds of findings "of them" could be the findings; sites and catalogues fail.
    things = "files" if tally.catalogues else "sites"
    fail = "fails" if tally.failing_files == 1 else "fail"
    failing = f"{tally.failing_files} of the {tally.understood} {things} {fail}"
    parts = [
        checked if tally.understood else "Nothing was checked",
        failing if tally.failing_files and tally.understood > 1 else "",
        f"{tally.held} held" if tally.held else "",
        f"{tally.assumed} more held with any ordinary equipment" if tally.assumed else "",
        f"{tally.not_judged} not judged" if tally.not_judged else "",
        f"accepted: {accepted}" if accepted else "",
        f"{number_of(tally.cautions, 'caution')} for a licensed person" if tally.cautions else "",
        f"{tally.vanished} accepted no longer there" if tally.vanished else "",
    ]
    return "; ".join(filter(None, parts)) + "."


def shown_points(tally: Totals) -> str:
    """Return what goes offline with what at the only site of a run, in few sentences."""
    first, *others = tally.single_points
    told = [first, *others[:_MOST_BOXES]]
    if (left := len(others) - _MOST_BOXES) > 0:
        told.append(f"{left} more of its boxes take units along.")
    return " ".join(told)


def chosen_words(chosen: tuple[int, int]) -> str:
    """Return how many rules a call chose: `2 of 85 rules`."""
    return f"{chosen[0]} of {number_of(chosen[1], 'rule')}"


def number_of(number: int, word: str) -> str:
    """Return a number with its word: `1 site`, `2 sites`."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


class Totals(Struct):
    """Counts so far."""

    files: int = 0
    catalogues: int = 0
    unreadable: int = 0
    faults: int = 0
    failing: int = 0
    failing_files: int = 0
    held: int = 0
    assumed: int = 0
    not_judged: int = 0
    waived: int = 0
    listed: int = 0
    vanished: int = 0
    cautions: int = 0
    severities: dict[Severity, int] = field(default_factory=lambda: dict.fromkeys(SEVERITIES, 0))
    by_rule: dict[str, tuple[int, int]] = field(default_factory=dict)
    """By rule: how many open findings of sites, and in how many sites."""
    idle: frozenset[str] | None = None
    """Rules that found nothing to look at in any file so far; none yet without a file."""
    chosen: tuple[int, int] | None = None
    """How many rules the call chose to look at, and how many there are in the file with most."""
    asked: dict[str, str] = field(default_factory=dict)
    """By rule: the question that it leaves open where it could not be judged."""
    wanted: dict[str, tuple[str, int, set[str]]] = field(default_factory=dict)
    """By kind of missing input: its meaning, how many judgements want it, and of which rules."""

    single_points: tuple[str, ...] = ()
    """What goes offline with what at the last site; a line of the summary if it is the only one."""

    line_shares: tuple[str, ...] = ()
    """What of its internet line reaches units through the mesh; told likewise."""

    @property
    def understood(self) -> int:
        """Return how many files were checked."""
        return self.files - self.unreadable - self.faults

    @property
    def sites(self) -> int:
        """Return how many sites were checked."""
        return self.understood - self.catalogues

    def add(self, result: SiteResult) -> None:
        """Count one file."""
        if result.is_gone:
            self.vanished += len(result.vanished)
            return
        self.files += 1
        if result.fault:
            self.faults += 1
            return
        if result.problems:
            self.unreadable += 1
            return
        self.catalogues += not result.site
        self.chosen = max(
            filter(None, (self.chosen, result.chosen)), key=itemgetter(1), default=None
        )
        failing, open_findings = result.failing, result.open_findings
        self.failing += len(failing)
        self.failing_files += bool(failing)
        self.held += result.times_held
        self.assumed += len(result.assumed)
        self.not_judged += result.times_not_judged
        self.vanished += len(result.vanished)
        self.cautions += len(result.cautions)
        for finding in result.accepted:
            if finding.waiver is not None:
                self.waived += 1
            else:
                self.listed += 1
        by_rule: dict[str, int] = {}
        for finding in open_findings:
            self.severities[finding.severity] += 1
            by_rule[finding.rule] = by_rule.get(finding.rule, 0) + 1
        for rule, count in by_rule.items() if result.site else ():
            findings, files = self.by_rule.get(rule, (0, 0))
            self.by_rule[rule] = (findings + count, files + 1)
        self.single_points = result.single_points or self.single_points
        self.line_shares = result.line_shares or self.line_shares
        self.idle = (frozenset if self.idle is None else self.idle.intersection)(result.idle)
        self.asked.update(result.asked)
        for key, meaning, judgements, rules in result.wanted:
            known = self.wanted.get(key)
            if known is None:
                self.wanted[key] = (meaning, judgements, set(rules))
            else:
                known[2].update(rules)
                self.wanted[key] = (known[0], known[1] + judgements, known[2])

    def most_broken(self) -> list[tuple[str, int, int]]:
        """Return (rule, findings, files) for what is broken, in the most files first."""
        rows = [(rule, findings, files) for rule, (findings, files) in self.by_rule.items()]
        return sorted(rows, key=lambda row: (-row[2], -row[1], row[0]))

    def most_wanted(self) -> list[tuple[str, str, int, list[str]]]:
        """Return (input, meaning, judgements, rules) for what is missing, most valuable first."""
        rows = sorted(self.wanted.items(), key=lambda row: (-len(row[1][2]), -row[1][1], row[0]))
        return [
            (key, meaning, judgements, sorted(names)) for key, (meaning, judgements, names) in rows
        ]

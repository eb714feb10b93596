"""SARIF 2.1.0 (OASIS), for code review tools: rules with their help, results with their places.

Services that show a log take each result for an alert, whatever its `kind` and its `suppressions`
say, and refuse a run of more than 25,000. So results are open findings, and files that were not
understood; the run's properties count the rest. With `whole_record` everything is a result:

A fault is `fail` with its severity as level; a caution is `review` and what was not judged `open`,
both of level `none`, as section 3.27.10 asks of every kind but `fail`. A waiver is a suppression
`inSource`, an entry of the accepted list one that is `external`. A file that could not be
understood is a result, so that a viewer shows it, and a notification, so that the run is no
success.

No result has a `baselineState`: section 3.27.24 wants one on all results of a run or on none, and
the accepted list knows only findings that were accepted, not what could not be judged that day,
what was left to a licensed person, or what was waived. Suppressions say all that it does know.

Places are relative to the top of the repository, which section 3.14.14 lets a log name without
saying where on this machine it lies.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from meshlint import __version__
from meshlint.lint.finding import fingerprint
from meshlint.report.alerts import NOT_UNDERSTOOD, PROGRAM_FAULT
from meshlint.report.brief import proven
from meshlint.report.places import from_top, uri_of
from meshlint.report.plain import harmless_json, in_a_row
from meshlint.report.totals import Totals, chosen_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from meshlint.lint.card import Card
    from meshlint.lint.finding import Assumption, Finding, Fix, Listed, NotJudged, SiteResult
    from meshlint.site.problem import Place, Problem

VERSION = "2.1.0"
SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"
FINGERPRINT = "meshlintFinding/v1"
TOP = "%SRCROOT%"

Json = dict[str, Any]

# What a rule of ours that is no card says of itself.
_OWN = {
    NOT_UNDERSTOOD: "Every file that is checked can be understood",
    PROGRAM_FAULT: "The program does not fail on a file",
}

_LEVELS = {"error": "error", "warning": "warning", "note": "note", "caution": "none"}


class SarifWriter:
    """Writes the log result by result; the rules, which results refer to by index, come last.

    `cards` gives every card that findings may come from, and is asked at the end.
    """

    def __init__(
        self, cards: Callable[[], Mapping[str, Card]], *, whole_record: bool = False
    ) -> None:
        self._cards = cards
        self._whole_record = whole_record
        self._rules: dict[str, int] = {}
        self._tally = Totals()
        self._begun = False
        self._results = 0
        self._notifications: list[Json] = []
        self._told: set[Problem] = set()

    def add(self, result: SiteResult) -> str:
        """Return the results of one file."""
        self._tally.add(result)
        for problem in result.problems:
            self._notify(f"{problem.place}: {problem.kept_message}", result.path)
        if result.fault:
            self._notify(result.fault, result.path)
        pieces = []
        for entry in self._of(result):
            pieces.append((",\n" if self._results else "\n") + _encoded(entry))
            self._results += 1
        self._told.update(result.shared_problems)
        return self._head() + "".join(pieces)

    def finish(self) -> str:
        """Return the rules and the end."""
        cards = self._cards()
        ids = [*self._rules, *(name for name in cards if name not in self._rules)]
        driver = {
            "name": "meshlint",
            "version": __version__,
            "semanticVersion": __version__,
            "rules": [_rule(name, cards.get(name)) for name in ids],
        }
        # A run without a file is one for which nothing had changed: one that found none is refused.
        understood = not (self._tally.unreadable or self._tally.faults)
        invocation: Json = {"executionSuccessful": understood}
        if self._notifications:
            invocation["toolExecutionNotifications"] = self._notifications
        return (
            f'{self._head()}\n],\n"tool": {_encoded({"driver": driver})},\n'
            f'"invocations": [{_encoded(invocation)}],\n'
            f'"originalUriBaseIds": {_encoded({TOP: {"description": {"text": _TOP_SAID}}})},\n'
            f'"properties": {_encoded(_counts(self._tally))},\n'
            '"columnKind": "unicodeCodePoints"\n}]}\n'
        )

    def _head(self) -> str:
        if self._begun:
            return ""
        self._begun = True
        return f'{{"$schema": "{SCHEMA}",\n"version": "{VERSION}",\n"runs": [{{\n"results": ['

    def _notify(self, text: str, path: str) -> None:
        self._notifications.append(
            {
                "level": "error",
                "message": {"text": message_text(text)},
                "locations": [{"physicalLocation": {"artifactLocation": _artifact(path)}}],
            }
        )

    def _of(self, result: SiteResult) -> Iterator[Json]:
        for problem in result.problems:
            if problem not in self._told:
                yield self._problem(problem)
        if result.fault:
            base = self._base(PROGRAM_FAULT, "fail", "error", result.fault)
            where = {"physicalLocation": {"artifactLocation": _artifact(result.path)}}
            known = {FINGERPRINT: fingerprint(from_top(result.path).path, PROGRAM_FAULT, "")}
            yield {
                **base, "locations": [where], "partialFingerprints": known, "suppressions": [],
            }  # fmt: skip
        for finding in result.findings if self._whole_record else result.open_findings:
            yield self._finding(finding, result)
        if not self._whole_record:
            return
        for entry in result.not_judged:
            yield self._not_judged(entry, result)
        for listed in result.vanished:
            yield self._vanished(listed, result)

    def _base(self, rule: str, kind: str, level: str, text: str) -> Json:
        index = self._rules.setdefault(rule, len(self._rules))
        return {
            "ruleId": rule,
            "ruleIndex": index,
            "kind": kind,
            "level": level,
            "message": {"text": message_text(text)},
        }

    def _problem(self, problem: Problem) -> Json:
        base = self._base(NOT_UNDERSTOOD, "fail", "error", problem.kept_message)
        # What is told of a file has no name of its own; where on which line it stands may change.
        known = fingerprint(from_top(problem.place.path).path, NOT_UNDERSTOOD, problem.kept_message)
        return {
            **base,
            "locations": [_location(problem.place)],
            "partialFingerprints": {FINGERPRINT: known},
            "suppressions": [],
        }

    def _finding(self, finding: Finding, result: SiteResult) -> Json:
        cause = result.cause_of(finding)
        likewise = f" Likewise {in_a_row(finding.follows)}." if finding.follows else ""
        follows = f" Follows from {cause.rule} for {cause.label}." if cause else ""
        text = f"{finding.message}{likewise}{follows} {finding.why} Remedy: {finding.remedy}"
        kind = "review" if finding.is_caution else "fail"
        entry = {
            **self._base(finding.rule, kind, _LEVELS[finding.severity], text),
            "locations": [_location(finding.place, finding.subject)],
            "partialFingerprints": {FINGERPRINT: finding.fingerprint},
            "suppressions": list(_suppressions(finding)),
        }
        properties: Json = {}
        if finding.assumed:
            properties["assumed"] = [_assumption(one) for one in finding.assumed]
        related = [(_location(r.place), r.says) for r in finding.related]
        if cause is not None:
            # What one location is to another is all that the format has names for (3.34.3). Which
            # result this one follows from stands in the property bag, by its fingerprint.
            properties["followsFrom"] = cause.fingerprint
            entry["locations"][0]["relationships"] = [
                {"target": len(related) + 1, "kinds": ["relevant"]}
            ]
            says = f"follows from {cause.rule}: {cause.message}"
            related.append((_location(cause.place, cause.subject), says))
        if finding.fixes:
            entry["fixes"] = [_fix(fix, finding, result.path) for fix in finding.fixes]
        if properties:
            entry["properties"] = properties
        if related:
            entry["relatedLocations"] = [
                {"id": at, **location, "message": {"text": message_text(says)}}
                for at, (location, says) in enumerate(related, 1)
            ]
        return entry

    def _not_judged(self, entry: NotJudged, result: SiteResult) -> Json:
        wanted = "; ".join(
            "/".join(map(str, i.pointer)) + (f", {i.wanted}" if i.wanted else "")
            for i in entry.inputs
        )
        text = f"{entry.label}: not judged without {wanted}."
        return {
            **self._base(entry.rule, "open", "none", text),
            "locations": [_location(entry.place, entry.subject)],
            "partialFingerprints": {
                FINGERPRINT: fingerprint(result.site, entry.rule, entry.subject)
            },
            "suppressions": [],
        }

    def _vanished(self, entry: Listed, result: SiteResult) -> Json:
        gone = result.site if result.is_gone else ""
        since = f"accepted since {entry.since.isoformat()}"
        text = f"{entry.subject}: {since}, and no longer there."
        if gone:
            text = f"{entry.subject} of {gone}: {since}, and no site is called {gone} any more."
        text += " Take the line out of the accepted list."
        return {
            **self._base(entry.rule, "informational", "none", text),
            "locations": [_location(entry.place, entry.subject)],
            "partialFingerprints": {FINGERPRINT: entry.fingerprint},
            "suppressions": [],
        }


def render(
    results: Iterable[SiteResult], cards: Mapping[str, Card], *, whole_record: bool = False
) -> str:
    """Return the log on results that are all there."""
    writer = SarifWriter(lambda: cards, whole_record=whole_record)
    return "".join([*map(writer.add, results), writer.finish()])


def message_text(text: str) -> str:
    """Return a text as a SARIF message that means just this text.

    Braces are doubled (section 3.11.5); brackets that would make a link are escaped (3.11.6).
    """
    plain = text.replace("{", "{{").replace("}", "}}")
    if "](" not in plain:
        return plain
    return re.sub(r"([\[\]\\])", r"\\\1", plain)


def _location(place: Place, subject: str = "") -> Json:
    location: Json = {
        "physicalLocation": {
            "artifactLocation": _artifact(place.path),
            "region": {"startLine": max(1, place.line), "startColumn": max(1, place.column)},
        }
    }
    if subject:
        location["logicalLocations"] = [{"fullyQualifiedName": subject}]
    return location


def _artifact(path: str) -> Json:
    base = {"uriBaseId": TOP} if from_top(path).is_inside else {}
    return {"uri": uri_of(path), **base}


_TOP_SAID = "The top of the repository that the files lie in, or the folder of the run."


def _counts(tally: Totals) -> Json:
    """Return how much there is besides results, under names that say what it is."""
    return {
        "held": tally.held,
        "heldAssumed": tally.assumed,
        "notJudged": tally.not_judged,
        "cautions": tally.cautions,
        "acceptedByWaiver": tally.waived,
        "acceptedByList": tally.listed,
        "acceptedNoLongerThere": tally.vanished,
        **({"rulesChosen": chosen_words(tally.chosen)} if tally.chosen else {}),
    }


def _assumption(one: Assumption) -> Json:
    """Return an input that was assumed: where it would stand, its usual range and its source."""
    return {
        "at": "/".join(map(str, one.pointer)),
        "low": one.low,
        "usual": one.usual,
        "high": one.high,
        "unit": one.unit,
        "source": one.source,
    }


def _fix(fix: Fix, finding: Finding, path: str) -> Json:
    """Return a proven change as whole lines: from the start of one to the start of another."""
    return {
        "description": {"text": message_text(proven(fix, finding))},
        "artifactChanges": [
            {
                "artifactLocation": _artifact(path),
                "replacements": [
                    {
                        "deletedRegion": {
                            "startLine": part.first_line,
                            "startColumn": 1,
                            "endLine": part.last_line + 1,
                            "endColumn": 1,
                        },
                        "insertedContent": {"text": part.text},
                    }
                    for part in fix.replacements
                ],
            }
        ],
    }


def _suppressions(finding: Finding) -> Iterator[Json]:
    """Yield what accepts a finding.

    Its status is the default, accepted, and left out: printings of the schema differ over its name.
    """
    if finding.waiver is not None:
        waiver = finding.waiver
        until = f" until {waiver.until.isoformat()}" if waiver.until else ""
        by = f" (approved by {waiver.approved_by}{until})" if waiver.approved_by else until
        yield {
            "kind": "inSource",
            "justification": f"{waiver.because}{by}",
        }
    if finding.listed is not None:
        listed = finding.listed
        yield {
            "kind": "external",
            "justification": f"{listed.because} (since {listed.since.isoformat()})",
            "location": _location(listed.place),
        }


def _rule(name: str, card: Card | None) -> Json:
    if card is None:
        title = _OWN.get(name, name)
        return {"id": name, "shortDescription": {"text": title}, "help": {"text": title}}
    sources = "; ".join(
        f"{source} ({source.read}), for {source.supports}" for source in card.sources
    )
    help_text = (
        f"{card.rationale.strip()}\n\nWhat it does not see: {card.blind_spots.strip()}\n\n"
        f"Sources: {sources}"
    )
    return {
        "id": name,
        "shortDescription": {"text": message_text(card.title)},
        "fullDescription": {"text": message_text(card.why)},
        "help": {"text": message_text(help_text)},
        "defaultConfiguration": {"level": _LEVELS[card.severity]},
        "properties": {"tags": [card.about, card.status]},
    }


def _encoded(value: Json) -> str:
    from msgspec import json

    return harmless_json(json.encode(value).decode())

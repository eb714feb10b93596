"""What is open for lack of inputs that have a usual range, judged under several fillings of them.

If every filling breaks a rule, that is a finding, at most a warning, which names what was assumed.
If every filling keeps it, it holds whatever ordinary equipment the site has. If they differ, it
stays open, and the inputs that decide are what it is open for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec.structs import replace

from meshlint.lint.engine import SiteRun
from meshlint.lint.finding import Assumption
from meshlint.lint.folding import graver
from meshlint.usual.fillings import MANY_UNITS, USUAL, Fillable, Filling, fillings_for, gaps_of
from meshlint.workings.fact import Spread
from meshlint.workings.governance.usual_ranges import RANGES
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Input

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meshlint.lint.condition import Value
    from meshlint.lint.engine import Broken
    from meshlint.lint.finding import NotJudged
    from meshlint.lint.folding import Candidate
    from meshlint.site.model import Pointer
    from meshlint.usual.fillings import Gap
    from meshlint.workings.governance.usual_ranges import UsualRange
    from meshlint.workings.site_workings import Known, Subject, Workings

MOST_RADIOS = 400
"""Beyond that many, several judgements of all that is open would take minutes."""

MOST_IN_A_UNIT = 24
"""No ordinary unit has so many radios, and each is held against each."""

Judgement = tuple[str, str]
"""A rule and the key of a subject."""

Outcome = Literal["held", "broken", "open", "passed over"]


def settle(run: SiteRun, ranges: tuple[UsualRange, ...] = RANGES, *, deciding: bool = True) -> None:
    """Judge a run's open judgements by usual ranges, and put what is settled into the run.

    Most rules know what a radio on `auto` may do; for the rest it takes channels that it may
    choose, and radios that links may use, in sites that are not large. What stays open names the
    inputs that decide it, where `deciding` asks for that. Sites of more than `MOST_RADIOS`, or of
    more in a unit than `MOST_IN_A_UNIT`, are left as they are.
    """
    radios = [len(unit.radios) for unit in run.workings.site.units.values()]
    if sum(radios) > MOST_RADIOS or max(radios, default=0) > MOST_IN_A_UNIT:
        return
    gaps = {gap.pointer: gap for gap in gaps_of(run.workings.site, ranges)}
    stated = {at: gap for at, gap in gaps.items() if gap.part not in ("use", "choice")}
    _settle(run, stated, deciding=deciding)
    if len(stated) < len(gaps) and len(run.workings.site.units) <= MANY_UNITS:
        _settle(run, gaps, deciding=deciding)


def by_usual_values(w: Workings, ranges: tuple[UsualRange, ...] = RANGES) -> Workings | None:
    """Return the workings of a site with its gaps at their usual values; `None` without gaps.

    Channels that radios choose themselves stay open, and so do the gaps of very large sites.
    """
    gaps = [gap for gap in gaps_of(w.site, ranges) if gap.part != "choice"]
    if not gaps or sum(len(unit.radios) for unit in w.site.units.values()) > MOST_RADIOS:
        return None
    return Fillable(w).filled(USUAL, gaps)


def _settle(run: SiteRun, gaps: Mapping[Pointer, Gap], *, deciding: bool) -> None:
    waiting = [entry for entry in run.not_judged if all(i.pointer in gaps for i in entry.inputs)]
    if not waiting:
        return
    agreed = _Agreed(run, waiting)
    site = Fillable(run.workings)
    for filling in fillings_for(len(run.workings.site.units)):
        agreed.hold_against(site.filled(filling, gaps.values()))
    run.fillings = run.fillings or agreed.fillings
    if any(gap.part in ("use", "choice") for gap in gaps.values()):
        agreed.leave_open_what_names_a_choice()
    broken = agreed.with_outcome("broken")
    asked = deciding and len(run.workings.site.units) <= _MOST_UNITS
    differing = agreed.differing if asked else ()
    rests_on = _rests_on(run, site, (*broken, *differing), waiting, gaps)
    for judgement in broken:
        run.findings.append(agreed.told(judgement, tuple(map(_assumption, rests_on[judgement]))))
    run.broken_assumed.update(agreed.broken_by_usual(broken))
    cautions = {card.id for card in run.rules.cards if card.is_caution}
    held = agreed.with_outcome("held")
    run.assumed.extend(pair for pair in held if pair[0] not in cautions)
    kinds = _deciding(run, site, {key: rests_on[key] for key in differing}, gaps.values())
    lacking = agreed.lacking_by_usual()
    run.not_judged = [
        _narrowed(_beyond_ranges(entry, gaps, lacking), rests_on, kinds)
        for entry in run.not_judged
        if not agreed.settles(entry)
    ]


class _Agreed:
    """The judgements on which every filling so far agrees, and what each came to."""

    def __init__(self, run: SiteRun, waiting: Iterable[NotJudged]) -> None:
        self._run = run
        about = {card.id: card.about for card in run.rules.cards}
        self._decided = run.sound | run.broken.keys()
        self._single: set[Judgement] = set()
        self._whole: set[str] = set()
        for entry in waiting:
            if entry.subject == "site" and about[entry.rule] != "site":
                self._whole.add(entry.rule)
            else:
                self._single.add((entry.rule, entry.subject))
        self._outcomes: dict[Judgement, Outcome] | None = None
        self._incomplete: set[str] = set()
        self._runs: list[SiteRun] = []

    def hold_against(self, site: Workings) -> None:
        """Judge one filled site, and keep what comes to the same as in those before."""
        found = _judged(self._run, site, self._wanted())
        self._runs.append(found)
        here = self._outcomes_in(found)
        before = here if self._outcomes is None else self._outcomes
        self._outcomes = {
            judgement: outcome
            for judgement, outcome in before.items()
            if outcome != "open" and here.get(judgement) == outcome
        }
        gone = {rule for rule, _ in (before.keys() | here.keys()) - self._outcomes.keys()}
        self._incomplete |= gone & self._whole

    def _wanted(self) -> dict[str, frozenset[str] | None]:
        left = self._single if self._outcomes is None else self._outcomes.keys()
        wanted: dict[str, set[str]] = {}
        for rule, subject in left:
            wanted.setdefault(rule, set()).add(subject)
        only: dict[str, frozenset[str] | None] = {k: frozenset(v) for k, v in wanted.items()}
        only.update(dict.fromkeys(self._whole - self._incomplete))
        return only

    def _outcomes_in(self, run: SiteRun) -> dict[Judgement, Outcome]:
        found: dict[Judgement, Outcome] = dict.fromkeys(self._single, "passed over")
        found.update(_outcomes(run))
        return {key: outcome for key, outcome in found.items() if key not in self._decided}

    @property
    def differing(self) -> tuple[Judgement, ...]:
        """Return the open judgements about one subject that fillings bring to different ends."""
        return tuple(sorted(self._single - (self._outcomes or {}).keys()))

    def with_outcome(self, outcome: Outcome) -> list[Judgement]:
        """Return the judgements that every filling brings to an outcome."""
        return sorted(key for key, found in (self._outcomes or {}).items() if found == outcome)

    def leave_open_what_names_a_choice(self) -> None:
        """Leave open what would be told of a channel that was only drawn: words that differ."""
        for judgement in self.with_outcome("broken"):
            card = self._runs[0].broken[judgement][0].card
            for name in card.said_reads:
                said = {str(run.broken[judgement][2][name]) for run in self._runs}
                words = isinstance(self._runs[0].broken[judgement][2][name], str)
                if words and len(said) > 1 and self._outcomes is not None:
                    self._outcomes.pop(judgement, None)
                    self._incomplete.add(judgement[0])

    def settles(self, entry: NotJudged) -> bool:
        """Return whether nothing of an open judgement is left open."""
        if entry.rule in self._whole and (entry.rule, entry.subject) not in self._single:
            return entry.rule not in self._incomplete
        return (entry.rule, entry.subject) in (self._outcomes or {})

    def broken_by_usual(self, judgements: Iterable[Judgement]) -> dict[Judgement, Broken]:
        """Return what judgements that every filling breaks are made of, by usual values.

        Their subjects are the file's own, with its gaps; of some it can name none.
        """
        found: dict[Judgement, Broken] = {}
        own: dict[str, dict[str, Subject]] = {}
        for judgement in judgements:
            ready, subject, known = self._runs[0].broken[judgement]
            if subject.scope not in own:
                named, _ = subjects(self._run.workings, subject.scope)
                own[subject.scope] = {one.key: one for one in named}
            stated = own[subject.scope].get(subject.key)
            if stated is not None:
                found[judgement] = (ready, stated, known)
        return found

    def lacking_by_usual(self) -> dict[Judgement, tuple[Input, ...]]:
        """Return what is still missing where every gap holds its usual value."""
        return {(entry.rule, entry.subject): entry.inputs for entry in self._runs[0].not_judged}

    @property
    def fillings(self) -> tuple[Workings, ...]:
        """Return the workings of every filling, that by usual values first."""
        return tuple(run.workings for run in self._runs)

    def told(self, judgement: Judgement, assumed: tuple[Assumption, ...]) -> Candidate:
        """Return the finding of a judgement that every filling breaks, its numbers as ranges."""
        ready, subject, known = self._runs[0].broken[judgement]
        shown = _Shown([run.broken[judgement][2] for run in self._runs])
        told = self._run.finding(ready, subject, known, shown)
        severity, brief = told.finding.severity, told.finding.in_short
        details = told.finding.message.removeprefix(brief)
        brief = f"{brief} {assuming(assumed)}"
        finding = replace(
            told.finding,
            severity="warning" if graver(severity, "warning") else severity,
            message=f"{brief}{details}",
            brief=len(brief) if details else 0,
            assumed=assumed,
        )
        return replace(told, finding=finding)


class _Shown(dict[str, "Value | Spread"]):
    """What the fillings say of a subject: numbers that differ as a range, texts as usual."""

    def __init__(self, fillings: list[Known]) -> None:
        self._fillings = fillings

    def __missing__(self, name: str) -> Value | Spread:
        values = [known[name] for known in self._fillings]
        numbers = [v for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
        if len(numbers) == len(values) and len(set(numbers)) > 1:
            self[name] = Spread(min(numbers), max(numbers))
        else:
            self[name] = values[0]
        return self[name]


def _beyond_ranges(
    entry: NotJudged, gaps: Mapping[Pointer, Gap], lacking: Mapping[Judgement, tuple[Input, ...]]
) -> NotJudged:
    """Return an open judgement with the inputs for which there is no usual range, if any.

    What has a range would be filled, so that stating it alone would settle nothing.
    """
    inputs = tuple(one for one in entry.inputs if one.pointer not in gaps)
    inputs = inputs or lacking.get((entry.rule, entry.subject), ())
    return replace(entry, inputs=inputs) if inputs else entry


def _narrowed(
    entry: NotJudged,
    rests_on: Mapping[Judgement, tuple[Gap, ...]],
    deciding: Mapping[Judgement, frozenset[str]],
) -> NotJudged:
    """Return an open judgement with the inputs that decide it; as it is where none does alone."""
    judgement = entry.rule, entry.subject
    kinds = deciding.get(judgement)
    if not kinds:
        return entry
    inputs = tuple(
        Input(gap.pointer, gap.range.words) for gap in rests_on[judgement] if gap.range.key in kinds
    )
    return replace(entry, inputs=inputs) if inputs else entry


def _rests_on(
    run: SiteRun,
    site: Fillable,
    judgements: Iterable[Judgement],
    waiting: Iterable[NotJudged],
    gaps: Mapping[Pointer, Gap],
) -> dict[Judgement, tuple[Gap, ...]]:
    """Return for each judgement the gaps without which it could not be made.

    What was missing is filled, and what is missing then, until nothing is.
    """
    first = {(entry.rule, entry.subject): entry.inputs for entry in waiting}
    lacking = {
        (rule, subject): {
            wanted.pointer for wanted in first.get((rule, subject)) or first.get((rule, "site"), ())
        }
        for rule, subject in judgements
    }
    wanted = _by_rule(lacking)
    for _ in range(_MOST_ROUNDS):
        known = sorted({at for pointers in lacking.values() for at in pointers}, key=str)
        again = _judged(run, site.filled(USUAL, [gaps[at] for at in known]), wanted)
        more = {(e.rule, e.subject): {i.pointer for i in e.inputs} for e in again.not_judged}
        grown = False
        for judgement, pointers in tuple(lacking.items()):
            new = more.get(judgement) or more.get((judgement[0], "site")) or set()
            new = (new & gaps.keys()) - pointers
            lacking[judgement] = pointers | new
            grown = grown or bool(new)
        if not grown:
            break
    return {
        key: tuple(gaps[at] for at in sorted(_with_siblings(found, gaps), key=str))
        for key, found in lacking.items()
    }


_TOGETHER = (("power_dbm", "antenna_gain_dbi"), ("streams", "generation"))
"""Inputs that nothing is worked out from one by one: a level needs both of the first, a rate both
of the second. Where another judgement has asked for one already, only the other is missed."""


def _with_siblings(pointers: set[Pointer], gaps: Mapping[Pointer, Gap]) -> set[Pointer]:
    """Return some gaps with those that they are only ever used together with."""
    more = {
        (*at[:-1], key)
        for at in pointers
        for keys in _TOGETHER
        if at[-1] in keys
        for key in keys
        if (*at[:-1], key) in gaps
    }
    return pointers | more


def _deciding(
    run: SiteRun,
    site: Fillable,
    differing: Mapping[Judgement, tuple[Gap, ...]],
    gaps: Iterable[Gap],
) -> dict[Judgement, frozenset[str]]:
    """Return for each judgement the kinds of input of which one alone turns it.

    Each kind by itself is taken to both ends of its range while all others stay as usual.
    """
    if not differing:
        return {}
    gaps = tuple(gaps)
    wanted = _by_rule(differing)
    usual = _outcomes(_judged(run, site.filled(USUAL, gaps), wanted))
    resting: dict[str, list[Judgement]] = {}
    for judgement, its in differing.items():
        for kind in {gap.range.key for gap in its}:
            resting.setdefault(kind, []).append(judgement)
    found: dict[Judgement, set[str]] = {judgement: set() for judgement in differing}
    for kind, judgements in sorted(resting.items()):
        left = judgements
        for end in (0.0, 1.0):
            filling = _alone(kind, end)
            turned = _outcomes(_judged(run, site.filled(filling, gaps), _by_rule(left)))
            for judgement in left:
                if turned.get(judgement) != usual.get(judgement):
                    found[judgement].add(kind)
            left = [judgement for judgement in left if kind not in found[judgement]]
            if not left:
                break
    return {judgement: frozenset(deciding) for judgement, deciding in found.items()}


def _alone(kind: str, end: float) -> Filling:
    return Filling(f"{kind} at {end}", lambda gap: end if gap.range.key == kind else 0.5)


def _judged(run: SiteRun, site: Workings, wanted: Mapping[str, frozenset[str] | None]) -> SiteRun:
    found = SiteRun(run.rules, site, run.document, only=wanted)
    found.judge_all()
    return found


def _by_rule(judgements: Iterable[Judgement]) -> dict[str, frozenset[str] | None]:
    found: dict[str, set[str]] = {}
    for rule, subject in judgements:
        found.setdefault(rule, set()).add(subject)
    return {rule: frozenset(subjects) for rule, subjects in found.items()}


def _outcomes(run: SiteRun) -> dict[Judgement, Outcome]:
    found: dict[Judgement, Outcome] = dict.fromkeys(run.sound, "held")
    found.update(dict.fromkeys(run.broken, "broken"))
    found.update(((entry.rule, entry.subject), "open") for entry in run.not_judged)
    return found


_MOST_ROUNDS = 6

_MOST_UNITS = 8
"""In larger sites the inputs that decide are not looked for: each kind of input takes two more
judgements of all that is open."""


def _assumption(gap: Gap) -> Assumption:
    usual = gap.range
    return Assumption(
        gap.pointer, usual.words, usual.low, usual.usual, usual.high, usual.unit, usual.source
    )


def assuming(assumed: Iterable[Assumption]) -> str:
    """Return what was assumed in one clause, each range once: `Assuming ... 14 to 23 dBm`."""
    ranges = list(dict.fromkeys(_span(one) for one in sorted(assumed, key=_rank)))
    if len(ranges) > _MOST_TOLD:
        ranges[_MOST_TOLD:] = ["and more that `meshlint usual` lists"]
    return f"(assuming ordinary equipment: {', '.join(ranges)})"


_MOST_TOLD = 4
"""Ranges that one finding tells of; its data holds all."""

_NAMED = {"streams": "streams", "height_m": "m above the floor", "thickness_mm": "mm of wall"}
"""Last keys of inputs whose range would not say by its unit what it is of."""

_FIRST = ("power_dbm", "antenna_gain_dbi", "streams", "generation", "width_mhz")


def _rank(one: Assumption) -> int:
    """Return where an input's range comes in the clause: what people know best comes first."""
    key = str(one.pointer[-1])
    return _FIRST.index(key) if key in _FIRST and one.pointer[0] == "units" else len(_FIRST)


def _span(one: Assumption) -> str:
    unit = _NAMED.get(str(one.pointer[-1]), one.unit)
    whose = "devices " if one.pointer[0] == "clients" else ""
    if one.pointer[0] == "backhaul":
        return f"backhaul at {one.usual}"
    if one.pointer[-1] == "carries":
        return "radios that serve clients and backhaul alike"
    span = f"{one.low}" if one.low == one.high else f"{one.low} to {one.high}"
    if (one.low, one.high, unit) == (1, 1, "streams"):
        unit = "stream"
    return f"{whose}{span} {unit}".strip()

"""What a check tells besides findings: each verdict, what goes offline with what, and the line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, cast

from msgspec.structs import replace

from meshlint.workings.unknown import Input

if TYPE_CHECKING:
    from meshlint.lint.engine import SiteRun
    from meshlint.lint.finding import NotJudged, Verdict, VerdictWord
    from meshlint.workings.site_workings import Workings


def verdicts_of(run: SiteRun) -> tuple[Verdict, ...]:
    """Return every verdict of a run; a pair that is not there was not looked at.

    What a rule is not about is among them where the run kept it.
    """
    found: dict[tuple[str, str], VerdictWord] = {}
    found.update(dict.fromkeys(run.passed_over or (), "does not apply"))
    found.update(dict.fromkeys(run.sound, "held"))
    found.update(dict.fromkeys(run.assumed, "held, assumed"))
    found.update(((entry.rule, entry.subject), "not judged") for entry in run.not_judged)
    found.update(((told.finding.rule, told.finding.subject), "broken") for told in run.findings)
    return tuple(sorted((rule, subject, word) for (rule, subject), word in found.items()))


def single_points_of(w: Workings) -> tuple[str, ...]:
    """Return what goes offline with what, in sentences; a unit alone has nobody to take along."""
    if len(w.site.units) == 1:
        return ()
    from meshlint.workings.alternatives.single_points import single_points

    return single_points(w)


def line_shares_of(w: Workings) -> tuple[str, ...]:
    """Return what of the internet line reaches which units through the mesh, in sentences."""
    if not w.site.internet_lines or len(w.site.units) == 1:
        return ()
    from meshlint.workings.capacity.line_share import line_shares

    return line_shares(w)


_OF_A_RADIO: Final = 4  # units, a unit, radios, a radio: what comes after it is one of its keys


def radios_by_name(run: SiteRun) -> list[NotJudged]:
    """Return what was not judged, where a radio that only the model tells of is one input.

    A unit whose file leaves out a radio of its model lacks that radio, and not six of its keys.
    """
    units = cast("dict[str | int, Any]", cast("Any", run.document.value)["units"])
    named: dict[Input, Input] = {}

    def told(wanted: Input) -> Input:
        at = wanted.pointer
        if len(at) <= _OF_A_RADIO or (at[0], at[2]) != ("units", "radios"):
            return wanted
        unit = run.workings.site.units.get(str(at[1]))
        if (
            unit is None
            or at[3] not in (unit.model_radios or ())
            or at[3] in units[at[1]].get("radios", {})
        ):
            return wanted
        return Input(at[:_OF_A_RADIO], f"radio {at[3]} of {at[1]}, which its model has")

    found = []
    for entry in run.not_judged:
        inputs = [named.get(x) or named.setdefault(x, told(x)) for x in entry.inputs]
        found.append(replace(entry, inputs=tuple(dict.fromkeys(inputs))))
    return found

"""Facts about waivers: what the check found out about each entry of the site file's list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from datetime import date

    from meshlint.site.model import Waiver
    from meshlint.workings.site_workings import Workings

CHECK = "the check itself"


class JudgedWaiver(Struct, frozen=True):
    """A waiver, and what became of it in a check on the day `today`."""

    waiver: Waiver
    today: date
    rule_exists: bool
    rule_waivable: bool
    matches: bool


@fact("waiver.rule", Kind.TEXT, "the rule that it speaks of", source=STATED)
def rule(_: Workings, judged: JudgedWaiver) -> str:
    return judged.waiver.rule


@fact("waiver.subject", Kind.TEXT, "the subject that it speaks of", source=STATED)
def subject(_: Workings, judged: JudgedWaiver) -> str:
    return judged.waiver.subject


@fact("waiver.approved_by", Kind.TEXT, "who accepted the finding", source=STATED)
def approved_by(_: Workings, judged: JudgedWaiver) -> str:
    return judged.waiver.approved_by or ""


@fact("waiver.faults", Kind.TEXTS, "what is wrong with it", source=CHECK)
def faults(_: Workings, judged: JudgedWaiver) -> tuple[str, ...]:
    """Return every reason why the waiver does not count."""
    waiver = judged.waiver
    found = []
    if not judged.rule_exists:
        found.append(f"there is no rule {waiver.rule}")
    elif not judged.rule_waivable:
        found.append(f"{waiver.rule} is a rule that nobody may waive")
    if not (waiver.because or "").strip():
        found.append("it gives no reason under `because`")
    if waiver.until is None:
        found.append("it has no end date under `until`")
    elif waiver.until < judged.today:
        found.append(f"it ended on {waiver.until.isoformat()}")
    if judged.rule_exists and judged.rule_waivable and not judged.matches:
        found.append("it matches no finding any more")
    return tuple(found)


@fact("waiver.until", Kind.TEXT, "its last day", source=STATED)
def until(_: Workings, judged: JudgedWaiver) -> str:
    return judged.waiver.until.isoformat() if judged.waiver.until else ""


@fact(
    "waiver.days_left",
    Kind.COUNT,
    "days until its last one, none where it states no end and so does not count",
    source=CHECK,
    unit="days",
)
def days_left(_: Workings, judged: JudgedWaiver) -> float:
    last = judged.waiver.until
    return max(0, (last - judged.today).days) if last else 0

"""The readings of a site taken together: how many, how old, and what they shift levels by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.propagation.calibration import applied_offset_db, offset, slope
from meshlint.workings.unknown import need

if TYPE_CHECKING:
    from datetime import date

    from meshlint.site.model import Site
    from meshlint.workings.site_workings import Workings

SLOPE = "least squares for a line over the logarithm of distance, all level readings together"
FITTED = "least squares for a constant: the mean difference of all level readings"


@fact("site.readings", Kind.COUNT, "how many readings the file holds", source=STATED)
def readings(w: Workings, _: Site) -> float:
    return len(w.site.readings or ())


def _newest(w: Workings) -> date:
    """Return the newest day of a reading; one without a day could be newer."""
    for at, reading in enumerate(w.site.readings or ()):
        need(reading.taken, ("readings", at, "taken"), "the day of the reading")
    days = [reading.taken for reading in w.site.readings or () if reading.taken is not None]
    return need(max(days, default=None), ("readings",), "a reading")


@fact("site.newest_reading", Kind.TEXT, "the day of the newest reading", source=STATED)
def newest_reading(w: Workings, _: Site) -> str:
    return w.once(_newest).isoformat()


@fact(
    "site.reading_age_days",
    Kind.COUNT,
    "how old the newest reading is on the day of the check",
    source=STATED,
    unit="d",
)
def reading_age_days(w: Workings, _: Site) -> float:
    today = need(w.today, ("readings",), "a day to count from: the day of the check")
    return (today - w.once(_newest)).days


@fact(
    "site.days_from_reading_to_change",
    Kind.COUNT,
    "how many days after the newest reading the site was changed; 0 where it was not",
    source=STATED,
    unit="d",
)
def days_from_reading_to_change(w: Workings, _: Site) -> float:
    changed = need(w.site.about.changed, ("site", "changed"), "the day of the newest change")
    return max(0, (changed - w.once(_newest)).days)


@fact(
    "site.readings_offset_db",
    Kind.NUMBER,
    "how much louder the site is than computed, over all level readings",
    source=FITTED,
    unit="dB",
    digits=1,
)
def readings_offset_db(w: Workings, _: Site) -> float:
    return w.once(offset)[0]


@fact(
    "site.readings_offset_error_db",
    Kind.NUMBER,
    "standard error of that offset",
    source="standard deviation of the differences over the square root of their number",
    unit="dB",
    digits=1,
)
def readings_offset_error_db(w: Workings, _: Site) -> float:
    return w.once(offset)[1]


@fact(
    "site.readings_offset_applied_db",
    Kind.NUMBER,
    "the shift that computed levels have got from readings; 0 unless the site asks for it",
    source=FITTED,
    unit="dB",
    digits=1,
)
def readings_offset_applied_db(w: Workings, _: Site) -> float:
    return applied_offset_db(w)


@fact(
    "site.readings_slope_db",
    Kind.NUMBER,
    "how much louder the site is than computed for every tenfold of distance; told, never applied",
    source=SLOPE,
    unit="dB",
    digits=1,
)
def readings_slope_db(w: Workings, _: Site) -> float:
    return w.once(slope)[0]


@fact(
    "site.readings_slope_error_db",
    Kind.NUMBER,
    "standard error of that slope; one that is under twice as large as this tells nothing",
    source=SLOPE,
    unit="dB",
    digits=1,
)
def readings_slope_error_db(w: Workings, _: Site) -> float:
    return w.once(slope)[1]

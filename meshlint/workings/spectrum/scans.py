"""Where the file tells of a scan for other people's networks, and what was heard there.

`neighbours` tells of scans at every unit but those that say `scan_made: false`: of a scanned unit
that no entry names, nothing was heard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Neighbour
    from meshlint.workings.site_workings import Workings


def is_scanned(w: Workings, unit: str) -> bool:
    """Return whether the file tells what a scan at a unit heard."""
    return w.site.neighbours is not None and w.site.units[unit].scan_made is not False


def scan_at(w: Workings, unit: str) -> tuple[tuple[int, Neighbour], ...]:
    """Return what a scan heard at a unit, with its place in the file's list.

    Raises `Missing` where nobody scanned.
    """
    entries = need(w.site.neighbours, ("neighbours",), "a scan of foreign networks, [] if none")
    if not is_scanned(w, unit):
        wanted = "a scan at this unit, its networks under neighbours"
        raise Missing(Input(("units", unit, "scan_made"), wanted))
    return tuple((at, entry) for at, entry in enumerate(entries) if entry.heard_at == unit)

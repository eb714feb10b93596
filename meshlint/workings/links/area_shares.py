"""How the devices of an area part among the units that serve it, place by place.

Needs numpy, and is imported by nothing but the workings of sites with groups in areas.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from meshlint.site.model import Pointer, Radio
    from meshlint.workings.propagation.coverage_map import CoverageMap
    from meshlint.workings.propagation.raster import Floats, Truths


class Rates(NamedTuple):
    """What a group and a radio make of a level: rising levels needed, and what each gives then.

    `weaker_db` is how much weaker the devices are heard than they hear, nothing where stronger.
    """

    needed_dbm: tuple[float, ...]
    goodput_mbps: tuple[float, ...]
    weaker_db: float


class Part(NamedTuple):
    """One radio's part of an area (0 to 1), and the parts of it by the row of `Rates` held there.

    `level_dbm` is the mean of the levels there in the weaker direction; row -1 holds no rate.
    """

    part: float
    level_dbm: float
    rows: Mapping[int, float]


def strongest_units(
    cover: CoverageMap, inside: Truths, radios: Sequence[Radio]
) -> Mapping[str, float]:
    """Return for each unit the part of some places where one of its radios is the strongest."""
    levels = _levels(cover, inside, radios)
    won = np.argmax(levels, axis=0)
    counts = np.bincount(won, minlength=len(radios)) / levels.shape[1]
    found: dict[str, float] = {}
    for radio, part in zip(radios, counts, strict=True):
        found[radio.unit] = found.get(radio.unit, 0.0) + float(part)
    return found


def split(
    cover: CoverageMap, inside: Truths, radios: Sequence[Radio], rates: Mapping[Pointer, Rates]
) -> Mapping[Pointer, Part]:
    """Return which part of some places each radio serves.

    On each band a device joins the strongest radio; of the bands it uses the one that gives it
    most, and where none gives it anything the strongest.
    """
    levels = _levels(cover, inside, radios)
    count = levels.shape[1]
    best_mbps = np.full(count, -1.0)
    best_dbm = np.full(count, -np.inf)
    best = np.zeros(count, dtype=np.intp)
    row = np.full(count, -1, dtype=np.intp)
    for band in sorted({radio.band or 0.0 for radio in radios}):
        mine = [at for at, radio in enumerate(radios) if (radio.band or 0.0) == band]
        won = np.asarray(mine)[np.argmax(levels[mine], axis=0)]
        for at in mine:
            here = won == at
            if not here.any():
                continue
            found = rates[radios[at].pointer]
            level = levels[at] - found.weaker_db
            rows = np.searchsorted(np.asarray(found.needed_dbm), level, side="right") - 1
            gives = np.where(rows >= 0, np.asarray(found.goodput_mbps)[np.maximum(rows, 0)], 0.0)
            better = here & (
                (gives > best_mbps) | ((gives == 0) & (best_mbps == 0) & (level > best_dbm))
            )
            best[better], row[better] = at, rows[better]
            best_mbps[better], best_dbm[better] = gives[better], level[better]
    return {
        radio.pointer: _part(best_dbm[best == at], row[best == at], count)
        for at, radio in enumerate(radios)
        if (best == at).any()
    }


def _part(levels: Floats, rows: Truths, whole: int) -> Part:
    found, counts = np.unique(rows, return_counts=True)
    parts = {int(r): int(n) / len(rows) for r, n in zip(found, counts, strict=True)}
    return Part(len(rows) / whole, float(levels.mean()), parts)


def _levels(cover: CoverageMap, inside: Truths, radios: Sequence[Radio]) -> Floats:
    return np.stack([cover.of(radio)[inside] for radio in radios])


def uncovered_part(
    cover: CoverageMap,
    inside: Truths,
    radios: Sequence[Radio],
    left: Collection[Pointer],
    unit: str,
    target_dbm: float,
) -> float:
    """Return the part of some places where a unit is the strongest and no radio left covers."""
    levels = _levels(cover, inside, radios)
    ours = np.asarray([radio.unit == unit for radio in radios])[np.argmax(levels, axis=0)]
    stay = [at for at, radio in enumerate(radios) if radio.pointer in left]
    covered = (levels[stay] >= target_dbm).any(axis=0)
    return float((ours & ~covered).mean())

"""Roughly where each country lies: the box round its airports, for telling a slip of the pen.

`data/country-extents.csv` is computed by `python -m meshlint.law.extents` from the PyPI package
airportsdata (MIT licence; 28,000 airports and airfields with country and place). A box is no
border: it holds seas and neighbours too, so it only ever tells that a place is far out.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

MARGIN_DEG = 1.5
"""Added on every side, about 165 km, since nobody lives on the runway."""

_DATA = Path(__file__).parent / "data" / "country-extents.csv"
_COLUMNS = ("country", "south", "west", "north", "east")

# Its claims have no one box.
_LEFT_OUT = ("AQ",)


class Extent(NamedTuple):
    """A box in degrees; `west` is greater than `east` where it crosses the date line."""

    south: float
    west: float
    north: float
    east: float

    def holds(self, latitude: float, longitude: float) -> bool:
        """Return whether a point is in the box or within the margin of it."""
        width = (self.east - self.west) % 360
        return (
            self.south - MARGIN_DEG <= latitude <= self.north + MARGIN_DEG
            and (longitude - self.west + MARGIN_DEG) % 360 <= width + 2 * MARGIN_DEG
        )


def extent(country: str) -> Extent | None:
    """Return the box of a country by ISO 3166-1 code; `None` where none is known."""
    return _extents().get(country)


@cache
def _extents() -> dict[str, Extent]:
    import csv

    with _DATA.open(encoding="utf-8", newline="") as file:
        return {
            row["country"]: Extent(*(float(row[key]) for key in _COLUMNS[1:]))
            for row in csv.DictReader(file)
        }


def _shortest_arc(longitudes: list[float]) -> tuple[float, float]:
    """Return west and east ends of the shortest arc that holds all the longitudes."""
    ordered = sorted(set(longitudes))
    following = [*ordered[1:], ordered[0] + 360]
    widest = max(range(len(ordered)), key=lambda at: following[at] - ordered[at])
    return ordered[(widest + 1) % len(ordered)], ordered[widest]


def main() -> None:
    """Write the table anew."""
    import csv

    import airportsdata

    places: dict[str, list[tuple[float, float]]] = {}
    for row in airportsdata.load().values():
        if len(row["country"]) == 2 and row["country"] not in _LEFT_OUT:  # noqa: PLR2004 - ISO 3166
            places.setdefault(row["country"], []).append((row["lat"], row["lon"]))
    with _DATA.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(_COLUMNS)
        for country, points in sorted(places.items()):
            latitudes = [latitude for latitude, _ in points]
            west, east = _shortest_arc([longitude for _, longitude in points])
            box = (min(latitudes), west, max(latitudes), east)
            writer.writerow([country, *(f"{degrees:.2f}" for degrees in box)])


if __name__ == "__main__":
    main()

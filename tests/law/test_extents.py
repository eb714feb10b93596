"""Where countries lie, held against the places of the tz database.

`zone-places.csv` is zone.tab of the IANA time zone database (public domain), coordinates turned
into degrees: the chief place of every zone of every country, from another source than the boxes.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from meshlint.law.extents import extent

PLACES = Path(__file__).with_name("zone-places.csv")

# Small or empty countries without an airfield of their own in the data, and Antarctica, whose
# claims have no one box.
UNKNOWN = {"AD", "AQ", "AX", "GS", "LI", "MC", "PN", "PR", "PS", "SJ", "SM", "TF", "TK", "VA", "VI"}
# A research station halfway to Antarctica.
OUTSIDE = {"Antarctica/Macquarie"}


def rows() -> list[dict[str, str]]:
    with PLACES.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_place_of_the_tz_database_lies_in_its_country() -> None:
    out = set()
    for row in rows():
        box = extent(row["country"])
        if box is not None and not box.holds(float(row["latitude"]), float(row["longitude"])):
            out.add(row["zone"])
    assert out == OUTSIDE


def test_the_countries_of_which_nothing_is_known_are_few_and_small() -> None:
    assert {row["country"] for row in rows() if extent(row["country"]) is None} == UNKNOWN


def test_a_box_tells_most_wrong_countries_apart() -> None:
    """For each place, how many of the other countries would be taken for its own."""
    places = [row for row in rows() if extent(row["country"])]
    countries = sorted({row["country"] for row in places})
    wrong = sum(
        box.holds(float(row["latitude"]), float(row["longitude"]))
        for row in places
        for other in countries
        if other != row["country"] and (box := extent(other))
    )
    assert wrong / (len(places) * (len(countries) - 1)) < 0.02


@pytest.mark.parametrize(
    ("country", "latitude", "longitude", "inside"),
    [
        ("NZ", -43.9, -176.5, True),  # the Chatham Islands, beyond the date line
        ("FJ", -17.0, 179.99, True),
        ("FJ", -17.0, -179.99, True),
        ("FJ", -17.0, 0.0, False),
        ("GB", 54.4, -2.3, True),
        ("GB", -2.3, 54.4, False),
        ("US", 21.3, -157.9, True),
    ],
)
def test_boxes_across_the_date_line_hold_both_sides(
    country: str, latitude: float, longitude: float, *, inside: bool
) -> None:
    box = extent(country)
    assert box is not None
    assert box.holds(latitude, longitude) is inside

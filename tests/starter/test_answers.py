"""What people answer in the trade's words, and what is told of an answer that is not understood.

Outside references: 0.3048 m to the foot (international agreement of 1959), channels 1 to 14 at
2.4 GHz (IEEE 802.11).
"""

from __future__ import annotations

import re

import pytest

from meshlint.starter.answers import Answers, Group, Heard, Join, Joins, Line, NewUnit, Rooms, Spot
from meshlint.starter.plan import ground_of
from meshlint.starter.questions import QUESTIONS, taken
from meshlint.starter.reading import UnclearError

HOUSE = {
    "kind": "house, GB",
    "storeys": "2, 12 x 8 m, 2.7 m high",
    "rooms": "3 x 2 rooms, stud wall inside, brick, two leaves outside, "
    "timber floor between storeys",
    "units": "hall in 2; landing in room 8; study on first at 11, 4: 2.4 + 5 + 5 GHz; "
    "all: two bands",
}


def answers(**said: str) -> Answers:
    """Return the answers of a house, some said otherwise, in the order of the questions."""
    found = Answers()
    for question in QUESTIONS:
        text = {**HOUSE, **said}.get(question.key)
        if text is not None:
            taken(question, text, found)
    return found


@pytest.mark.parametrize(
    ("said", "word", "surroundings", "country"),
    [
        ("house, GB", "house", "home", "GB"),
        ("Café, fr", "Café", "commercial", "FR"),
        ("DE", None, None, "DE"),
        ("guest house", "guest house", "home", None),
    ],
)
def test_a_kind_of_place_stands_for_its_surroundings(
    said: str, word: str | None, surroundings: str | None, country: str | None
) -> None:
    kind = answers(kind=said).kind
    assert kind is not None
    assert (kind.word, kind.surroundings, kind.country) == (word, surroundings, country)


@pytest.mark.parametrize(
    ("said", "levels", "size_m", "rise_m"),
    [
        ("2, 12 x 8 m, 2.7 m high", ("ground", "first"), (12, 8), 2.7),
        ("12.5x8", ("ground",), (12.5, 8), None),
        ("2 storeys, 40 by 26 ft, 9 ft high", ("ground", "first"), (12.192, 7.925), 2.743),
        ("2", ("ground", "first"), (None, None), None),
    ],
)
def test_storeys_have_a_number_a_size_and_a_height(
    said: str, levels: tuple[str, ...], size_m: tuple[float, float], rise_m: float | None
) -> None:
    storeys = answers(storeys=said, rooms="open plan", units="hall").storeys
    assert storeys is not None
    assert storeys.levels == levels
    assert (storeys.width_m, storeys.depth_m, storeys.rise_m) == (*size_m, rise_m)


@pytest.mark.parametrize(
    ("said", "rooms"),
    [
        (HOUSE["rooms"], Rooms(3, 2, False, "stud wall", "brick, two leaves", "timber floor")),
        ("open plan, coated glass outside", Rooms(0, 0, True, None, "coated glass")),
        ("rooms, Brick inside", Rooms(0, 0, None, "brick")),
        ("3 by 2", Rooms(3, 2, False)),
    ],
)
def test_walls_are_of_what_the_trade_calls_them(said: str, rooms: Rooms) -> None:
    assert answers(rooms=said, units="hall").rooms == rooms


def test_units_stand_in_rooms_and_at_points_and_are_of_a_kind() -> None:
    assert answers().units == (
        NewUnit("hall", "two bands", at=Spot(6, 2, "ground")),
        NewUnit("landing", "two bands", at=Spot(6, 2, "first")),
        NewUnit("study", "2.4 + 5 + 5 GHz", at=Spot(11, 4, "first")),
    )
    assert answers(units="2: model lark 3; shed").units == (
        NewUnit("unit-1", model="lark 3"),
        NewUnit("unit-2", model="lark 3"),
        NewUnit("shed"),
    )


def test_places_and_cables_are_told_in_feet_as_well() -> None:
    said = "hall on first at 20, 10 ft; attic on first at 20 ft 10; den"
    found = answers(units=said, backhaul="den to hall by cable, 100 ft")
    assert {u.at for u in (found.units or ())[:2]} == {Spot(6.096, 3.048, "first")}
    assert found.backhaul == Joins((Join("den", "hall", "cable", length_m=30.48),))


def test_rooms_are_numbered_through_all_storeys() -> None:
    rooms = ground_of(answers()).rooms
    assert list(rooms) == [f"room {n}" for n in range(1, 13)]
    assert rooms["room 6"] == Spot(10, 6, "ground")
    assert rooms["room 7"] == Spot(2, 2, "first")


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ("hall", Line("hall")),
        ("Hall, 500/70", Line("hall", 500, 70)),
        ("hall, 500 down, 70 up", Line("hall", 500, 70)),
        ("hall, 500 Mb/s / 70 Mb/s", Line("hall", 500, 70)),
    ],
)
def test_the_internet_enters_at_a_unit(said: str, line: Line) -> None:
    assert answers(internet=said).internet == line


@pytest.mark.parametrize(
    ("said", "joins"),
    [
        (
            "landing to hall by radio at 5 GHz; study to hall by cable, cat 6a, 22 m",
            (
                Join("landing", "hall", "radio", one_radio="mid", other_radio="mid"),
                Join("study", "hall", "cable", category="6A", length_m=22),
            ),
        ),
        (
            "study and landing by radio at 5 GHz",
            (Join("study", "landing", "radio", one_radio="mid 2", other_radio="mid"),),
        ),
        ("radio", (Join("landing", "hall", "radio"), Join("study", "hall", "radio"))),
        ("study to hall laid, cat 5e", (Join("study", "hall", state="laid", category="5e"),)),
        ("study to hall: possible", (Join("study", "hall", state="possible"),)),
    ],
)
def test_units_are_joined_and_cables_are_laid_or_possible(
    said: str, joins: tuple[Join, ...]
) -> None:
    assert answers(backhaul=said).backhaul == Joins(joins)


def test_that_no_cable_can_run_elsewhere_has_to_be_said() -> None:
    assert answers(backhaul="cable; nothing else").backhaul == Joins(
        (Join("landing", "hall", "cable"), Join("study", "hall", "cable")), nowhere_else=True
    )


def test_devices_are_near_a_unit_in_a_room_or_wired() -> None:
    said = "6 phones near hall for voice; 2 laptops in 12; 1 till wired to study; 3 phones"
    assert answers(clients=said).clients == (
        Group("phones", 6, near="hall", use="voice"),
        Group("laptops", 2, room="room 12"),
        Group("till", 1, wired_to="study"),
        Group("phones 2", 3),
    )


def test_neighbours_are_heard_at_units() -> None:
    said = "hall: 1 at -60, 36 at -75.5 dBm; study: 6 GHz 37 at -80"
    assert answers(neighbours=said).neighbours == (
        Heard("hall", 2.4, 1, -60),
        Heard("hall", 5, 36, -75.5),
        Heard("study", 6, 37, -80),
    )
    assert answers(neighbours="none").neighbours == ()


@pytest.mark.parametrize(
    ("key", "said", "told"),
    [
        ("kind", "hose, GB", "'hose' is no kind of place that is known here; did you mean house?"),
        ("kind", "house, UK", "'UK' is no country code of ISO 3166-1; did you mean GB?"),
        ("storeys", "big", "'big' is not understood; write it as in 2, 12 x 8 m, 2.7 m high"),
        ("storeys", "0 x 8 m", "that cannot be the size of a storey"),
        ("rooms", "3 x 2 rooms, cheese inside", "no losses are published for 'cheese'; known are"),
        ("rooms", "stud wal inside", "no losses are published for 'stud wal'; did you mean stud"),
        ("rooms", "brick", "'brick' is not understood; write it as in 3 x 2 rooms"),
        ("rooms", "20 x 2 rooms", "these rooms would be less than a metre wide"),
        ("rooms", "0 x 2 rooms", "a site has from 1 to 100 rooms"),
        ("units", "hall; Hall: two bands; hall", "'hall' is named twice"),
        ("units", "hall in 99", "there is no '99'; there is room 1"),
        ("units", "hall at 2, 4", "write on which storey: hall on ground at 2, 4"),
        ("units", "hall on first", "write where on first: hall on first at 2, 4"),
        ("units", "hall on third at 2, 4", "there is no 'third'; "),
        ("units", "hall: quick", "'quick' is not known here"),
        ("units", "hall: 802.11ax", "say which bands it has"),
        ("units", "90", "from 1 to 50 units are written at once"),
        ("units", "a/b", "a name has 1 to 60 letters and no /"),
        ("internet", "hal", "there is no 'hal'; did you mean hall?"),
        ("internet", "hall, fast", "'fast' is not understood; write down and up as in 500/70"),
        ("backhaul", "hall to hall by cable", "a join has two ends, and both are 'hall' here"),
        ("backhaul", "study to hall by radio at 6 GHz", "'study' has 2.4, 5, 5 GHz, and no 6 GHz"),
        ("backhaul", "study to hall by cable at 5 GHz", "a link over cable has no band"),
        ("backhaul", "study to hall by cable, cat 4", "'cat 4' is not understood; a cable has"),
        ("backhaul", "study near hall", "'study near hall' is not understood; write it as in"),
        ("clients", "phones near hall", "'phones near hall' is not understood; write it as in 6"),
        ("neighbours", "1 at -60", "write where it was heard first, as in hall: 1 at -60"),
        ("rooms", "12 x 8 rooms", "a site has at most 100 rooms here, all storeys together"),
        ("neighbours", "hall: 15 at -60", "there is no channel 15 at 2.4 GHz"),
        ("neighbours", "hall: loud", "'loud' is not understood; write a channel and its level"),
        ("units", "-", "this cannot be left out: a site has one unit at least"),
        ("units", "ha\x1b[2Jll", "there is a character in it that cannot be shown"),
    ],
)
def test_an_answer_that_is_not_understood_says_how_to_write_it(
    key: str, said: str, told: str
) -> None:
    with pytest.raises(UnclearError, match=re.escape(told)):
        answers(**{key: said})

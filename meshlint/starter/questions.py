"""The eight questions: what each asks, an example, what Enter takes, and how its answer is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct

from meshlint.starter import reading
from meshlint.starter.plan import ground_of, is_grid
from meshlint.starter.reading import MOST_ROOMS, UnclearError
from meshlint.starter.units import joins, radios_of, units

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.starter.answers import Answers, Kind, NewUnit, Rooms

SKIP: Final = "-"
"""The answer that leaves something out."""


class Question(Struct, frozen=True):
    """A question in the trade's words.

    `usual` gives the answer that Enter takes, from what was answered before; `read` raises
    `UnclearError`; `asked` says whether it makes sense after the answers before it. `least` is
    the least that a file needs of it, empty where it can be left out.
    """

    key: str
    asks: str
    example: str
    usual: Callable[[Answers], str]
    read: Callable[[str, Answers], Any]
    asked: Callable[[Answers], bool] = lambda _: True
    least: str = ""

    @property
    def needed(self) -> bool:
        """Return whether a file cannot do without an answer."""
        return bool(self.least)


_SIZES: Final = {
    "house": "2, 12 x 8 m, 2.7 m high",
    "farm": "2, 12 x 8 m, 2.7 m high",
    "flat": "10 x 8 m",
    "guest house": "2, 32 x 12 m, 2.8 m high",
    "hotel": "3, 32 x 12 m, 2.8 m high",
    "office": "25 x 15 m",
    "school": "2, 50 x 16 m, 3.3 m high",
    "warehouse": "60 x 40 m",
    "factory": "60 x 40 m",
}
_WALLS: Final = {
    "house": "3 x 2 rooms, stud wall inside, brick outside, timber floor between storeys",
    "farm": "3 x 2 rooms, brick inside, one-brick wall outside",
    "flat": "2 x 2 rooms, stud wall inside, reinforced concrete outside",
    "guest house": "8 x 2 rooms, stud wall inside, brick outside",
    "hotel": "8 x 2 rooms, stud wall inside, brick outside",
    "office": "5 x 3 rooms, stud wall inside, coated glass outside",
    "school": "6 x 2 rooms, brick inside, brick outside",
}
_PEOPLE: Final = {
    "house": ("6 phones", "2 laptops"),
    "flat": ("4 phones", "2 laptops"),
    "farm": ("4 phones", "2 laptops"),
    "office": ("20 phones", "20 laptops"),
    "school": ("60 tablets", "20 laptops"),
    "warehouse": ("10 scanners", "4 phones"),
}


def _word(answers: Answers) -> str:
    return (answers.kind.word or "").lower() if answers.kind else ""


def _usual_size(answers: Answers) -> str:
    return _SIZES.get(_word(answers), "15 x 10 m")


def _usual_rooms(answers: Answers) -> str:
    alone = answers.storeys is not None and len(answers.storeys.levels) == 1
    said = _WALLS.get(_word(answers), "open plan, brick outside")
    return said.removesuffix(", timber floor between storeys") if alone else said


def _usual_units(answers: Answers) -> str:
    ground = ground_of(answers)
    if len(ground.rooms) > 1:
        first, *_, last = ground.rooms
        other = "upstairs" if len(ground.levels) > 1 else "unit-2"
        return f"router in {first}; {other} in {last}; all: two bands"
    return "2: two bands"


def _usual_internet(answers: Answers) -> str:
    return _names(answers)[0]


def _usual_joins(answers: Answers) -> str:
    first, *others = _names(answers)
    at_5 = {n for n, radios in radios_of(answers.units or ()).items() if 5 in radios.values()}  # noqa: PLR2004 - GHz
    return "; ".join(
        f"{name} to {first} by radio" + (" at 5 GHz" if {name, first} <= at_5 else "")
        for name in others
    )


def _usual_clients(answers: Answers) -> str:
    names = _names(answers)
    some, others = _PEOPLE.get(_word(answers), ("10 phones", "4 laptops"))
    return f"{some} near {names[0]}; {others} near {names[-1]}"


def _names(answers: Answers) -> list[str]:
    return [unit.name for unit in answers.units or ()]


def _read_rooms(text: str, answers: Answers) -> Rooms:
    said, storeys = reading.rooms(text), answers.storeys
    if storeys is None:
        raise UnclearError("rooms are on storeys; say first how many there are and how large")
    if said.columns and not is_grid(storeys, said):
        raise UnclearError("rooms can be drawn where a storey has a size; give that first")
    if said.columns and storeys.width_m and storeys.depth_m:
        least_m = min(storeys.width_m / said.columns, storeys.depth_m / said.rows)
        if said.columns * said.rows * len(storeys.levels) > MOST_ROOMS:
            raise UnclearError(f"a site has at most {MOST_ROOMS} rooms here, all storeys together")
        if least_m < 1:
            raise UnclearError("these rooms would be less than a metre wide")
    if said.between_storeys and len(storeys.levels) == 1:
        raise UnclearError("there is one storey, so nothing is between storeys")
    return said


def _read_units(text: str, answers: Answers) -> tuple[NewUnit, ...]:
    return units(text, ground_of(answers))


QUESTIONS: Final[tuple[Question, ...]] = (
    Question(
        "kind",
        "What kind of place is it, and in which country?",
        "house, GB",
        lambda answers: _usual_kind(answers.kind),
        lambda text, _: reading.kind(text),
    ),
    Question(
        "storeys",
        "How many storeys has it, and how large is one?",
        "2, 12 x 8 m, 2.7 m high   (from floor to floor; ft will do as well)",
        _usual_size,
        lambda text, _: reading.storeys(text),
    ),
    Question(
        "rooms",
        "Rooms or open plan, and what are the walls of?",
        "3 x 2 rooms, stud wall inside, brick outside   (columns x rows), or open plan",
        _usual_rooms,
        _read_rooms,
        lambda answers: answers.storeys is not None,
    ),
    Question(
        "units",
        "Which units are there, where, and of what kind?",
        "hall in room 2; loft on first at 6, 4: three bands, 802.11ax, 2 streams; all: two bands",
        _usual_units,
        _read_units,
        least="--units 2",
    ),
    Question(
        "internet",
        "Where does the internet enter, and how fast is it down and up, in Mb/s?",
        "hall, 500/70",
        _usual_internet,
        lambda text, answers: reading.internet(text, _names(answers)),
    ),
    Question(
        "backhaul",
        "How are the units joined, and between which is cable laid or could be?",
        "loft to hall by radio at 5 GHz; study to hall by cable, 22 m; loft to study possible",
        _usual_joins,
        lambda text, answers: joins(text, radios_of(answers.units or ())),
        lambda answers: len(answers.units or ()) > 1,
    ),
    Question(
        "clients",
        "Who uses it, and where?",
        "6 phones near hall; 2 laptops in room 3; 1 till wired to hall; 2 cameras near loft for "
        "camera",
        _usual_clients,
        lambda text, answers: reading.clients(text, _names(answers), ground_of(answers)),
    ),
    Question(
        "neighbours",
        "What does a scan hear of the neighbours' networks?",
        "hall: 1 at -60, 36 at -75; loft: 11 at -70   (channel and level in dBm), or none",
        lambda _: SKIP,
        lambda text, answers: reading.neighbours(text, _names(answers)),
    ),
)


def _usual_kind(kind: Kind | None) -> str:
    """Return the kind that Enter takes, in the country that the machine is set to."""
    import os

    from meshlint.law.codes import known_country_code

    if kind is not None:
        return ", ".join(filter(None, (kind.word, kind.country)))
    for name in ("LC_ALL", "LC_MEASUREMENT", "LANG"):
        code = os.environ.get(name, "").partition(".")[0].partition("_")[2]
        if known_country_code(code):
            return f"house, {code}"
    return "house"


def taken(question: Question, text: str, answers: Answers) -> None:
    """Put the answer to a question with those before it; raise `UnclearError`."""
    said = text.strip()
    if said == SKIP:
        if question.needed:
            raise UnclearError("this cannot be left out: a site has one unit at least")
        setattr(answers, question.key, None)
        return
    if not said.isprintable():
        raise UnclearError("there is a character in it that cannot be shown")
    setattr(answers, question.key, question.read(said, answers))

"""A question in, an answer out: the changes made in memory one after the other, then judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.edits.proof import judged
from meshlint.edits.rewriting import RefusedError
from meshlint.site.problem import InputError
from meshlint.what_if.additions import with_piece
from meshlint.what_if.draft import Draft, rank
from meshlint.what_if.failing import Failed, failed, unshared
from meshlint.what_if.joining import ImpossibleError, lays
from meshlint.what_if.names import MisaskedError, Names
from meshlint.what_if.parents import Parents, joined, parents
from meshlint.what_if.room import Room, room
from meshlint.what_if.settings import channel, more, power, primary, width
from meshlint.workings.unknown import Missing

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.edits.proof import Changed, Judged
    from meshlint.run import Checker
    from meshlint.site.model import Radio
    from meshlint.what_if.outcome import Outcome
    from meshlint.what_if.step import Step
    from meshlint.workings.site_workings import Workings
    from meshlint.workings.unknown import Input


class Question(Struct, frozen=True):
    """What is asked, in the words of the call; each entry is one option as it was given."""

    without: tuple[str, ...] = ()
    more: tuple[tuple[int, str], ...] = ()
    join: tuple[str, ...] = ()
    lay: tuple[str, ...] = ()
    channel: tuple[str, ...] = ()
    width: tuple[str, ...] = ()
    power: tuple[str, ...] = ()
    primary: str | None = None
    pieces: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether nothing is asked."""
        return self == Question()


class Answer(Struct, frozen=True, eq=False):
    """What a site would be.

    `impossible` says why the change cannot be made, and `untold` what is missing to tell anything;
    the rest is then empty. `parents` answers
    `--join UNIT`, and is all there is then. `unwritable` says why the change cannot be written
    into the file as it is laid out, though it can be told what it does.
    """

    before: Judged
    steps: tuple[Step, ...]
    impossible: str = ""
    untold: tuple[Input, ...] = ()
    done: Changed | None = None
    outcome: Outcome | None = None
    failed: Failed | None = None
    rooms: tuple[Room, ...] = ()
    parents: Parents | None = None
    unwritable: str = ""

    @property
    def is_bad(self) -> bool:
        """Whether it cannot be done or told, breaks a law, cuts a unit off or brings an error."""
        if self.impossible or self.untold or (self.outcome is not None and self.outcome.is_bad):
            return True
        lost = self.failed
        return lost is not None and (lost.after is None or bool(lost.dark))


def answer(checker: Checker, data: bytes, path: str, question: Question) -> Answer:
    """Return the answer to a question about the bytes of a site file.

    Raises `MisaskedError` for a question that names nothing, and `InputError` for bytes that are no
    sound site file, or a piece that is not sound.
    """
    before = judged(checker, data, path)
    try:
        return _answer(checker, before, question)
    except RefusedError as error:
        flat = judged(checker, unshared(data), path)
        try:
            found = _answer(checker, flat, question)
        except RefusedError:
            return Answer(before, (), impossible=str(error))
        from msgspec.structs import replace

        return replace(found, before=before, unwritable=str(error))


def _answer(checker: Checker, before: Judged, question: Question) -> Answer:
    draft = Draft.of(checker, before)
    for path in question.pieces:
        draft = with_piece(draft, path)
    try:
        return _answered(draft, question)
    except InputError as error:
        words = f"the file would not be sound: {error.problems[0].message}"
        return Answer(before, draft.steps, impossible=words)
    except ImpossibleError as error:
        return Answer(before, draft.steps, impossible=str(error))
    except Missing as missing:
        return Answer(before, draft.steps, untold=missing.inputs)


def _answered(draft: Draft, question: Question) -> Answer:
    draft = _wired(draft, question)
    bare = [word for word in question.join if not Names(draft.opened.site).is_pair(word)]
    draft = _set(draft, question)
    if bare:
        if len(bare) > 1 or question.without or question.more:
            words = "the parents of one unit are asked for alone, without --without and --more"
            raise MisaskedError(words)
        unit = Names(draft.opened.site).unit(bare[0])
        return Answer(draft.first, draft.steps, parents=parents(draft, unit))
    rooms: tuple[Room, ...] = ()
    for number, word in question.more:
        group = Names(draft.opened.site).group(word)
        if len(question.more) == 1:
            rooms = (room(draft, group.name, number),)
        draft = draft.then(more(group, number))
    done, found = draft.judged()
    lost = None
    if question.without:
        names = Names(done.after.opened.site)
        things = [names.what_fails(word) for word in question.without]
        units = {thing for thing in things if isinstance(thing, str)}
        links = [leg for thing in things if not isinstance(thing, str) for leg in thing]
        lost = failed(draft.checker, done.after, units, links)
    return Answer(draft.first, draft.steps, "", (), done, found, lost, rooms)


def _wired(draft: Draft, question: Question) -> Draft:
    """Return the draft with another primary, cables laid and units joined as asked."""
    if question.primary is not None:
        unit = Names(draft.opened.site).unit(question.primary)
        draft = draft.then(primary(draft.opened.site, unit))
    for word in question.lay:
        _, route = Names(draft.opened.site).route(word)
        options = [draft.then(step) for step in lays(draft.w, draft.raw, route)]
        draft = _best(options, route.between)
    for word in question.join:
        names = Names(draft.opened.site)
        if names.is_pair(word):
            draft = joined(draft, *names.pair(word)).draft
    return draft


def _best(options: list[Draft], units: tuple[str, ...]) -> Draft:
    if len(options) == 1:
        return options[0]
    return min(options, key=lambda option: rank(option.judged()[1], units))


def _set(draft: Draft, question: Question) -> Draft:
    """Return the draft with radios set as asked.

    Raises `MisaskedError` where two radios that are joined would be set apart.
    """
    asked: list[tuple[str, str, str, float]] = []
    for key, entries in (
        ("power_dbm", question.power),
        ("width_mhz", question.width),
        ("channel", question.channel),
    ):
        for word in entries:
            name, _, value = word.rpartition("=")
            radio = Names(draft.opened.site).radio(name or word)
            number = _number(key, value)
            draft = draft.then(_SETTERS[key](draft.w, radio, number))
            asked.append((key, radio.unit, radio.name, number))
    for key, unit, name, number in asked:
        is_now = getattr(draft.opened.site.units[unit].radios[name], key)
        if key != "power_dbm" and is_now != number:
            words = (
                f"{unit}/{name} is joined to another radio that is asked about, so that both must "
                f"have one {_WORDS[key]}: {number:g} or {is_now}"
            )
            raise MisaskedError(words)
    return draft


_WORDS: Final = {"power_dbm": "power in dBm", "width_mhz": "width in MHz", "channel": "channel"}
_SETTERS: Final[dict[str, Callable[[Workings, Radio, float], Step]]] = {
    "power_dbm": lambda _, radio, number: power(radio, number),
    "width_mhz": lambda w, radio, number: width(w, radio, int(number)),
    "channel": lambda w, radio, number: channel(w, radio, int(number)),
}


def _number(key: str, text: str) -> float:
    try:
        return float(text) if key == "power_dbm" else int(text)
    except ValueError:
        words = f"'{text}' is no {_WORDS[key]}; write RADIO=NUMBER, such as hall/mid=36"
        raise MisaskedError(words) from None

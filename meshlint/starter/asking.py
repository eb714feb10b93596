"""The questions asked one after another, with a way back to each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.starter.questions import SKIP, taken
from meshlint.starter.reading import UnclearError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meshlint.starter.answers import Answers
    from meshlint.starter.questions import Question

BACK: Final = "<"

HOW: Final = (
    f"Enter takes what stands in brackets, {SKIP} leaves it out, {BACK} goes back to correct, "
    "Ctrl-C stops and writes nothing."
)


class GivenError(Exception):
    """An answer that came with the call and is not understood; `key` is its question's."""

    def __init__(self, key: str, message: str) -> None:
        super().__init__(message)
        self.key = key


class Terminal(Struct, frozen=True):
    """Where questions are asked: `read` shows a prompt and returns a line, `show` shows a line."""

    read: Callable[[str], str]
    show: Callable[[str], None]


def answered(
    questions: Sequence[Question],
    given: Mapping[str, str],
    terminal: Terminal | None,
    answers: Answers,
) -> Answers:
    """Return `answers` with what the call gave and what was said at the terminal, if there is one.

    Raises `GivenError` for what was given and is not understood, and for what cannot be left out.
    """
    talk = _Talk(questions, given, terminal, answers)
    at, step = 0, 1
    while at < len(questions):
        question = questions[at]
        if not talk.is_settled(question):
            step = talk.ask(question)
        elif at == 0:  # the way back ends here
            step = 1
        at = max(at + step, 0)
    return answers


class _Talk:
    """One run through the questions."""

    def __init__(
        self,
        questions: Sequence[Question],
        given: Mapping[str, str],
        terminal: Terminal | None,
        answers: Answers,
    ) -> None:
        self._questions = questions
        self._given = given
        self._terminal = terminal
        self._answers = answers
        self._said: dict[str, str] = {}

    def is_settled(self, question: Question) -> bool:
        """Return whether a question need not be asked, its answer taken or left out."""
        if question.key in self._given:
            try:
                taken(question, self._given[question.key], self._answers)
            except UnclearError as error:
                raise GivenError(question.key, str(error)) from None
            return True
        if self._terminal is not None and question.asked(self._answers):
            return False
        if question.needed:
            raise GivenError(question.key, f"this has to be said, as in '{question.least}'")
        setattr(self._answers, question.key, None)
        return True

    def ask(self, question: Question) -> int:
        """Ask once and return how far to go on: to the next, to the same or back."""
        assert self._terminal is not None
        show, key = self._terminal.show, question.key
        usual = self._said.get(key) or question.usual(self._answers)
        number = self._questions.index(question) + 1
        show(f"\n{number} of {len(self._questions)}. {question.asks}")
        show(f"   For example: {question.example}")
        line = self._terminal.read(f"   [{usual}] ").strip()
        if line == BACK:
            return -1
        try:
            taken(question, line or usual, self._answers)
        except UnclearError as error:
            said = str(error)
            show(f"   {said}" if said.endswith((".", "?")) else f"   {said}.")
            self._said.pop(key, None)
            return 0
        self._said[key] = line or usual
        return 1

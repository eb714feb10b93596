"""The rule language: Common Expression Language over declared facts, from `cel-expr-python`.

The only module that touches that library. Its habits are dealt with here: what went wrong while
evaluating comes back as a value of type ERROR, an absent variable among it, and whole numbers do
not mix with others, so every number is handed over as a float. An expression has no loops beyond
a list, no input or output, and no way to Python.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from cel_expr_python import cel

from meshlint.workings.facts import Kind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.workings.facts import Fact, FactValue

MOST_CHARACTERS = 2000
"""A longer expression is refused: no rule needs one, and it bounds the parser's time."""

_TEXT = re.compile(r"'(?:[^'\\\n]|\\.)*'|\"(?:[^\"\\\n]|\\.)*\"")
_NAME = re.compile(r"(?<![\w.])([a-z_]\w*)\.([a-z_]\w*)")
_AT = re.compile(r"<input>:(\d+):(\d+): (.*)")

Outcome = Literal["true", "false", "unknown"]


class ExpressionError(Exception):
    """An expression that does not mean anything; `line` and `column` count from one within it."""

    def __init__(self, message: str, line: int = 1, column: int = 1) -> None:
        self.line = line
        self.column = column
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Expression:
    """A compiled, type-checked condition and the names of the facts and limits that it reads."""

    text: str
    reads: tuple[str, ...]
    limits: tuple[str, ...]
    compiled: cel.Expression

    def judge(self, activation: cel.Activation) -> Outcome:
        """Return what the condition comes to; a fact left out of the activation is unknown."""
        value = self.compiled.eval(activation=activation)
        if value.type() == cel.Type.BOOL:
            return "true" if value.plain_value() else "false"
        message = str(value.value())
        if "No value with name" in message:
            return "unknown"
        raise ExpressionError(f"'{self.text}' cannot be evaluated: {message}")


class Language:
    """The variables that expressions may read: every declared fact, and limits by card."""

    def __init__(self, facts: Iterable[Fact], limits: Iterable[str]) -> None:
        self._variables = {fact.qualified: _type_of(fact.kind) for fact in facts}
        # Only the number of a limit differs from card to card, so each card's limits get names of
        # their own and one activation serves all cards of a subject.
        self._limits = dict.fromkeys(limits, cel.Type.DOUBLE)
        self._environment = cel.NewEnv(variables=self._variables | self._limits)

    def compile(self, text: str, card: str, limits: Iterable[str], scope: str) -> Expression:
        """Return the condition compiled, or raise `ExpressionError` with its place in the text."""
        if len(text) > MOST_CHARACTERS:
            raise ExpressionError(f"an expression may have {MOST_CHARACTERS} characters at most")
        own = tuple(limits)
        names = names_in(text)
        for match in _names(text):
            self._settle(match, text, own, scope)
        bare = {f"limit.{name}": cel.Type.DOUBLE for name in own}
        checked = _compiled(cel.NewEnv(variables=self._variables | bare), text)
        if checked.return_type() != cel.Type.BOOL:
            raise ExpressionError(f"expected a condition, true or false, not {_said(checked)}")
        compiled = checked
        if any(name.startswith("limit.") for name in names):
            compiled = _compiled(self._environment, qualified_limits(text, card))
        return Expression(
            text,
            tuple(name for name in names if not name.startswith("limit.")),
            tuple(limit_name(card, name[6:]) for name in names if name.startswith("limit.")),
            compiled,
        )

    def activation(self, values: Mapping[str, FactValue]) -> cel.Activation:
        """Return known values in the form that `Expression.judge` takes."""
        return self._environment.Activation({name: _plain(v) for name, v in values.items()})

    def _settle(self, match: re.Match[str], text: str, limits: tuple[str, ...], scope: str) -> None:
        name, group, rest = match[0], match[1], match[2]
        line, column = _position(text, match.start())
        if group == "limit":
            if rest not in limits:
                raise ExpressionError(f"this card declares no limit '{rest}'", line, column)
        elif name not in self._variables:
            import difflib

            near = difflib.get_close_matches(name, self._variables, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise ExpressionError(f"there is no fact {name}{hint}", line, column)
        elif group not in (scope, "site"):
            message = f"{name} is a fact about a {group}; this card is about a {scope}"
            raise ExpressionError(message, line, column)


def names_in(text: str) -> tuple[str, ...]:
    """Return the dotted names that an expression reads, once each, in order."""
    return tuple(dict.fromkeys(match[0] for match in _names(text)))


def _names(text: str) -> Iterator[re.Match[str]]:
    # Quoted texts are blanked out at their own length, so that places stay what they are.
    return _NAME.finditer(_TEXT.sub(lambda quoted: " " * len(quoted[0]), text))


def limit_name(card: str, limit: str) -> str:
    """Return the variable under which a card's limit stands in the shared activation."""
    return f"limit.{card.replace('-', '_')}.{limit}"


def qualified_limits(text: str, card: str) -> str:
    """Return the text with the card's own limits under their shared names."""

    def renamed(match: re.Match[str]) -> str:
        if match[1] is None:
            return match[0]
        return limit_name(card, match[2]) if match[1] == "limit" else match[0]

    return re.sub(f"(?:{_TEXT.pattern})|{_NAME.pattern}", renamed, text)


def _compiled(environment: cel.Env, text: str) -> cel.Expression:
    try:
        return environment.compile(text)
    except RuntimeError as error:
        found = _AT.search(str(error))
        if found is None:
            raise ExpressionError(str(error)) from error
        message = found[3]
        if "(double, int)" in message or "(int, double)" in message:
            message += "; facts are numbers with a point, so write 1.0 for 1, and sizes without one"
        raise ExpressionError(message, int(found[1]), int(found[2])) from error


def _position(text: str, at: int) -> tuple[int, int]:
    return text.count("\n", 0, at) + 1, at - (text.rfind("\n", 0, at) + 1) + 1


def _said(expression: cel.Expression) -> str:
    name: str = expression.return_type().name().partition("<")[0]
    said = {"DOUBLE": "a number", "INT": "a number", "STRING": "a text", "LIST": "a list"}
    return said.get(name, name.lower())


def _plain(value: FactValue) -> bool | float | str | list[str]:
    if isinstance(value, tuple):
        return list(value)
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


@cache
def _types() -> Mapping[Kind, cel.Type]:
    return {
        Kind.NUMBER: cel.Type.DOUBLE,
        Kind.COUNT: cel.Type.DOUBLE,
        Kind.TRUTH: cel.Type.BOOL,
        Kind.TEXT: cel.Type.STRING,
        Kind.TEXTS: cel.Type.List(cel.Type.STRING),
    }


def _type_of(kind: Kind) -> cel.Type:
    return _types()[kind]

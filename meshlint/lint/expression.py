"""The rule language: Common Expression Language over declared facts.

What cards need of it is checked and judged here, by `condition_kinds.py` and `condition.py`. The
rest is for `cel-expr-python`, which is there only where somebody installed it (`meshlint[cel]`):
it is 50 MB, and to be had for a few systems. This is the only module that touches it, and deals
with its habits: what went wrong while evaluating comes back as a value of type ERROR, an absent
variable among it, and whole numbers do not mix with others, so every number is handed over as a
float. An expression has no loops beyond a list, no input or output, and no way to Python.
"""

from __future__ import annotations

import re
from functools import cache, cached_property
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.lint.condition import in_python
from meshlint.lint.condition_kinds import NotPlainError, kind_of
from meshlint.site.limits import LIMITS
from meshlint.workings.fact import Kind
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from cel_expr_python import cel

    from meshlint.lint.condition import Condition, Reads, Value
    from meshlint.workings.fact import Fact, FactValue

EXTRA = "meshlint[cel]"
"""What brings the library, in the words of an installer."""

# How a value that is no condition is told.
_PLAIN_SAID = {
    Kind.TRUTH: "",
    Kind.NUMBER: "a number",
    Kind.COUNT: "a number",
    Kind.TEXT: "a text",
    Kind.TEXTS: "a list",
}

MOST_LOOPS = 2
"""Each list gone through within another multiplies the time."""

_LOOP = r"\.(?:all|exists|exists_one|filter)\s*\("

# Text and lists that can be joined, or made anew from others, can be made to fill any memory.
_CONFIGURATION = """
name: meshlint
stdlib:
  exclude_macros: [map]
  exclude_functions:
    - name: "_+_"
      overloads: [{id: add_string}, {id: add_list}, {id: add_bytes}]
"""

_TEXT = r"'(?:[^'\\\n]|\\.)*'|\"(?:[^\"\\\n]|\\.)*\""
_NAME = r"(?<![\w.])([a-z_]\w*)\.([a-z_]\w*)"
# What the library would read as a fact, and `_NAME` would not; texts are in guillemets by then.
_HIDDEN = r"//|`|»«|(?<![\w.])[A-Za-z_]\w*\s+\.|\.\s|(?:^|\bin|[^\w)\]}»\s])\s*\.[A-Za-z_]"
_AT = r"<input>:(\d+):(\d+): (.*)"


class ExpressionError(Exception):
    """An expression that does not mean anything; `line` and `column` count from one within it."""

    def __init__(
        self, message: str, line: int = 1, column: int = 1, condition: str | None = None
    ) -> None:
        self.condition = condition
        """The expression, where it was understood and failed on a site."""
        self.line = line
        self.column = column
        super().__init__(message)


class Expression(Struct, frozen=True):
    """A condition as a card has it: plain text, compiled by a `Language` when first judged."""

    text: str

    @property
    def reads(self) -> tuple[str, ...]:
        """Return the facts that it reads."""
        return _read(self.text)[0]

    @property
    def limits(self) -> tuple[str, ...]:
        """Return the card's limits that it reads, by their own names."""
        return _read(self.text)[1]


class Language:
    """The variables that expressions may read: every declared fact, and the limits of a card.

    One environment serves all cards. To check a text, limits are variables in it; to judge, they
    are numbers, so that two cards, or two policies, may give one name different ones.
    """

    def __init__(
        self,
        facts: Mapping[str, Fact],
        limits: Iterable[str] = (),
        most_characters: int = LIMITS.expression,
    ) -> None:
        self._facts = facts
        self._most_characters = most_characters
        self._limits = frozenset(limits)

    def compile(self, text: str, limits: Iterable[str], scope: str) -> Expression:
        """Return the condition, or raise `ExpressionError` with the place in it of what is wrong.

        `limits` are those that the card declares.
        """
        if len(text) > self._most_characters:
            message = f"an expression may have {self._most_characters} characters at most"
            raise ExpressionError(message)
        if len(re.findall(_LOOP, text)) > MOST_LOOPS:
            raise ExpressionError(f"an expression may go through {MOST_LOOPS} lists at most")
        if hidden := re.search(_HIDDEN, re.sub(_TEXT, _in_guillemets, text)):
            message = "a fact is written in one piece; comments and triple quotes are not read"
            raise ExpressionError(message, *_position(text, hidden.start()))
        own = tuple(limits)
        for match in _names(text):
            self._settle(match, text, own, scope)
        try:
            said = _PLAIN_SAID[kind_of(text, self._facts)]
        except NotPlainError as refused:
            said = self._asked_of_library(text, refused)
        if said:
            raise ExpressionError(f"expected a condition, true or false, not {said}")
        return Expression(text)

    def _asked_of_library(self, text: str, refused: NotPlainError) -> str:
        """Return what a text gives by the library, nothing for a condition.

        Raises `ExpressionError` where it means nothing, and where there is no library to ask.
        """
        try:
            checked = _compiled(self._environment, text)
        except ModuleNotFoundError as error:
            message = str(refused)
            if not refused.is_mistake:
                message = (
                    f"this is not in the language of cards that meshlint knows by itself: {message}"
                    f"; for all of CEL install {EXTRA}"
                )
            raise ExpressionError(message, *_position(text, refused.offset)) from error
        return "" if checked.return_type().name() == "BOOL" else _said(checked)

    def prepared(self, condition: Expression, limits: Mapping[str, float]) -> Condition:
        """Return the condition as a function of what is known, with the card's limits in it.

        It returns true, false, or an `Unknown`; what cannot be evaluated raises `ExpressionError`.
        """
        return in_python(condition.text, limits) or self.by_library(condition, limits)

    def by_library(self, condition: Expression, limits: Mapping[str, float]) -> Condition:
        """Return the same function for a condition of any kind, with the library behind it."""
        compiled = _compiled(self._environment, with_limits(condition.text, limits))

        def judged(known: Reads) -> Value:
            values = {name: known[name] for name in condition.reads}
            activation = self._environment.Activation(
                {name: _plain(v) for name, v in values.items() if not isinstance(v, Unknown)}
            )
            try:
                value = compiled.eval(activation=activation)
            except RuntimeError as error:
                message = f"'{condition.text}' cannot be evaluated: {error}"
                raise ExpressionError(message, condition=condition.text) from error
            if value.type().name() == "BOOL":
                return bool(value.plain_value())
            message = str(value.value())
            if "No value with name" in message:
                return Unknown(())
            message = f"'{condition.text}' cannot be evaluated: {message}"
            raise ExpressionError(message, condition=condition.text)

        return judged

    @cached_property
    def _environment(self) -> cel.Env:
        from cel_expr_python import cel

        variables = {name: _type_of(fact.kind) for name, fact in self._facts.items()}
        limits = {f"limit.{name}": cel.Type.DOUBLE for name in self._limits}
        config = cel.NewEnvConfigFromYaml(_CONFIGURATION)
        return cel.NewEnv(config=config, variables=variables | limits)

    def _settle(self, match: re.Match[str], text: str, limits: tuple[str, ...], scope: str) -> None:
        name, group, rest = match[0], match[1], match[2]
        line, column = _position(text, match.start())
        if group == "limit":
            if rest not in limits:
                raise ExpressionError(f"this card declares no limit '{rest}'", line, column)
        elif name not in self._facts:
            import difflib

            near = difflib.get_close_matches(name, self._facts, 1)
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
    return re.finditer(_NAME, re.sub(_TEXT, lambda quoted: " " * len(quoted[0]), text))


def _in_guillemets(quoted: re.Match[str]) -> str:
    return f"«{' ' * (len(quoted[0]) - 2)}»"


@cache
def _read(text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    names = names_in(text)
    return (
        tuple(name for name in names if not name.startswith("limit.")),
        tuple(name.removeprefix("limit.") for name in names if name.startswith("limit.")),
    )


def with_limits(text: str, limits: Mapping[str, float]) -> str:
    """Return the text with the number of each limit in its place."""

    def number(match: re.Match[str]) -> str:
        if match[1] != "limit":
            return match[0]
        return f"({limits[match[2]]!r})"

    return re.sub(f"(?:{_TEXT})|{_NAME}", number, text)


def _compiled(environment: cel.Env, text: str) -> cel.Expression:
    try:
        return environment.compile(text)
    except RuntimeError as error:
        found = re.search(_AT, str(error))
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


def _plain(value: FactValue | int) -> bool | float | str | list[str]:
    if isinstance(value, tuple):
        return list(value)
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


@cache
def _types() -> Mapping[Kind, cel.Type]:
    from cel_expr_python import cel

    return {
        Kind.NUMBER: cel.Type.DOUBLE,
        Kind.COUNT: cel.Type.DOUBLE,
        Kind.TRUTH: cel.Type.BOOL,
        Kind.TEXT: cel.Type.STRING,
        Kind.TEXTS: cel.Type.List(cel.Type.STRING),
    }


def _type_of(kind: Kind) -> cel.Type:
    return _types()[kind]

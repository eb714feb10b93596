"""Conditions judged in Python where they use only what Python and CEL understand alike.

Going through the library costs ten times the comparison itself, and it needs every fact of a
condition beforehand, where most are settled by the first. So a condition that is made of facts,
limits, literals, `&&`, `||`, `!`, comparisons, `in`, `size()`, tests of a text's parts and
arithmetic on decimals is turned into functions here. Everything else stays the library's business.
Kinds have been checked when the card was loaded (`condition_kinds.py`), and the tests hold both to
the same outcome.

An allow-list of syntax is walked; nothing is ever handed to `eval`.
"""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable  # noqa: TC003 - read at run time
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.workings.fact import FactValue

    Value = FactValue | int | Unknown

    class Reads(Protocol):
        """Where a condition looks a fact up by its qualified name."""

        def __getitem__(self, name: str, /) -> Value:
            """Return the fact's value, or `Unknown`."""

    Condition = Callable[[Reads], Value]

# Quoted texts without escapes; the three signs that Python writes otherwise; and what means
# something else in Python, or nothing in CEL.
_TOKEN = re.compile(r"""('[^'\\\n]*'|"[^"\\\n]*")|(&&|\|\||!(?!=))|(//|\*\*|[\\'"~;:@#%])""")
_IN_PYTHON = {"&&": " and ", "||": " or ", "!": "~"}

COMPARISONS: dict[type[ast.cmpop], Callable[[object, object], bool]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,  # type: ignore[dict-item]
    ast.LtE: operator.le,  # type: ignore[dict-item]
    ast.Gt: operator.gt,  # type: ignore[dict-item]
    ast.GtE: operator.ge,  # type: ignore[dict-item]
}

TRUTHS = {"true": True, "false": False}

TEXT_TESTS: dict[str, Callable[[str, str], bool]] = {
    "startsWith": str.startswith,
    "endsWith": str.endswith,
    "contains": operator.contains,
}
"""Functions on a text that take another: what the library calls so is just this."""


class NotAlikeError(Exception):
    """Something that Python would read otherwise than CEL, or not at all."""

    def __init__(self, offset: int = 0) -> None:
        self.offset = offset
        super().__init__()


class Parsed(Struct, frozen=True):
    """A condition as Python reads it; `origins` says where each letter came from in the text."""

    body: ast.expr
    source: str
    origins: tuple[int, ...]


def parsed(text: str) -> Parsed:
    """Return a condition as Python reads it once its signs are Python's.

    Raises `NotAlikeError`, and what `ast.parse` does.
    """
    pieces, origins, done = ["("], [0], 0
    for match in _TOKEN.finditer(text):
        written = _python_token(match)
        pieces += text[done : match.start()], written
        origins += range(done, match.start())
        # A sign may be longer in Python than it was, and none is shorter but `!`, which is as long.
        end = match.end() - 1
        origins += (min(match.start() + at, end) for at in range(len(written)))
        done = match.end()
    pieces.append(text[done:] + "\n)")
    origins += range(done, len(text) + 2)
    source = "".join(pieces)
    return Parsed(ast.parse(source, mode="eval").body, source, tuple(origins))


def in_python(text: str, limits: Mapping[str, float]) -> Condition | None:
    """Return the condition as a function, or `None` where it needs the library.

    The function returns true, false, or the `Unknown` that it hangs on.
    """
    try:
        return _made(parsed(text).body, limits)
    except (NotAlikeError, SyntaxError, ValueError, RecursionError, MemoryError):
        return None


def _python_token(match: re.Match[str]) -> str:
    if match[3]:
        raise NotAlikeError(match.start())
    return match[1] or _IN_PYTHON[match[2]]


def _made(node: ast.expr, limits: Mapping[str, float]) -> Condition:
    if isinstance(node, ast.BoolOp):
        parts = [_made(part, limits) for part in node.values]
        return _all(parts) if isinstance(node.op, ast.And) else _any(parts)
    if isinstance(node, ast.UnaryOp):
        return _signed(node, limits)
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        return _compared(node, limits)
    if isinstance(node, ast.BinOp):
        return _reckoned(node, limits)
    if isinstance(node, ast.Call):
        return _called(node, limits)
    return _read_or_literal(node, limits)


def _read_or_literal(node: ast.expr, limits: Mapping[str, float]) -> Condition:
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        group, name = node.value.id, node.attr
        if group == "limit":
            number = limits[name]
            return lambda _: number
        return operator.itemgetter(f"{group}.{name}")
    if isinstance(node, ast.Name) and node.id in TRUTHS:
        truth = TRUTHS[node.id]
        return lambda _: truth
    if isinstance(node, ast.Constant) and type(node.value) in (str, float, int):
        literal: str | float | int = node.value  # type: ignore[assignment]
        return lambda _: literal
    raise NotAlikeError


def _all(parts: list[Condition]) -> Condition:
    def judged(known: Reads) -> Value:
        outcome: Value = True
        for part in parts:
            value = part(known)
            if value is False:
                return False
            if value is not True:
                outcome = value
        return outcome

    return judged


def _any(parts: list[Condition]) -> Condition:
    def judged(known: Reads) -> Value:
        outcome: Value = False
        for part in parts:
            value = part(known)
            if value is True:
                return True
            if value is not False:
                outcome = value
        return outcome

    return judged


def _signed(node: ast.UnaryOp, limits: Mapping[str, float]) -> Condition:
    if isinstance(node.operand, ast.UnaryOp) and type(node.operand.op) is type(node.op):
        raise NotAlikeError  # two signs cancel out in CEL, whatever they stand before
    inner = _made(node.operand, limits)
    if isinstance(node.op, ast.Invert):

        def opposite(known: Reads) -> Value:
            value = inner(known)
            return value if type(value) is Unknown else not value

        return opposite
    if isinstance(node.op, ast.USub):

        def negative(known: Reads) -> Value:
            value = inner(known)
            return value if type(value) is Unknown else -value  # type: ignore[operator]

        return negative
    raise NotAlikeError


def _compared(node: ast.Compare, limits: Mapping[str, float]) -> Condition:
    left = _made(node.left, limits)
    if isinstance(node.ops[0], ast.In):
        right = _members(node.comparators[0], limits)
        compare: Callable[..., bool] = lambda one, other: one in other  # noqa: E731
    else:
        right = _made(node.comparators[0], limits)
        found = COMPARISONS.get(type(node.ops[0]))
        if found is None:
            raise NotAlikeError
        compare = found

    if _is_settled(node.comparators[0]):
        settled = right({})

        def judged_by_left(known: Reads) -> Value:
            one = left(known)
            return one if type(one) is Unknown else compare(one, settled)

        return judged_by_left

    def judged(known: Reads) -> Value:
        one = left(known)
        if type(one) is Unknown:
            return one
        other = right(known)
        if type(other) is Unknown:
            return other
        return compare(one, other)

    return judged


def _is_settled(node: ast.expr) -> bool:
    """Return whether a part is a number, a text, a truth, a list of texts or a limit."""
    of_limits = isinstance(node, ast.Attribute) and getattr(node.value, "id", "") == "limit"
    return of_limits or isinstance(node, ast.Constant | ast.Name | ast.List)


def _members(node: ast.expr, limits: Mapping[str, float]) -> Condition:
    if not isinstance(node, ast.List):
        return _made(node, limits)
    literals = [e.value for e in node.elts if isinstance(e, ast.Constant) and type(e.value) is str]
    if len(literals) < len(node.elts):
        raise NotAlikeError
    members = tuple(map(str, literals))
    return lambda _: members


def _called(node: ast.Call, limits: Mapping[str, float]) -> Condition:
    called = node.func
    if not isinstance(called, ast.Attribute) or node.keywords:
        raise NotAlikeError
    inner = _made(called.value, limits)
    if called.attr == "size" and not node.args:

        def size(known: Reads) -> Value:
            value = inner(known)
            return value if type(value) is Unknown else len(value)  # type: ignore[arg-type]

        return size
    test = TEXT_TESTS.get(called.attr)
    if test is None or len(node.args) != 1:
        raise NotAlikeError
    part = _made(node.args[0], limits)

    def tested(known: Reads) -> Value:
        one = inner(known)
        if type(one) is Unknown:
            return one
        other = part(known)
        return other if type(other) is Unknown else test(one, other)  # type: ignore[arg-type]

    return tested


def _reckoned(node: ast.BinOp, limits: Mapping[str, float]) -> Condition:
    # Whole numbers divide and overflow otherwise here and there; facts are never whole numbers.
    if any(
        isinstance(part, ast.Call)
        or (isinstance(part, ast.Constant) and not isinstance(part.value, float))
        for part in ast.walk(node)
    ):
        raise NotAlikeError
    combine = SUMS.get(type(node.op))
    if combine is None:
        raise NotAlikeError
    left, right = _made(node.left, limits), _made(node.right, limits)

    def result(known: Reads) -> Value:
        one = left(known)
        if type(one) is Unknown:
            return one
        other = right(known)
        if type(other) is Unknown:
            return other
        return combine(float(one), float(other))  # type: ignore[arg-type]

    return result


def _quotient(one: float, other: float) -> float:
    """Return what IEEE 754 says of a division, by zero as well, where Python raises."""
    if other:
        return one / other
    if not one or math.isnan(one):
        return math.nan
    return math.copysign(math.inf, one) * math.copysign(1.0, other)


SUMS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: _quotient,
}

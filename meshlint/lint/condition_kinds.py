"""What kind of value a condition gives, found without the library: the language of cards.

`rules/README.md` describes that language, a part of the Common Expression Language. What is in it
and whose kinds agree needs no library to be checked or judged; the tests hold it to the library,
which takes everything that is taken here, with the same kind. All else is refused with its place,
and whoever has the library asks it.
"""

from __future__ import annotations

import ast
import math
import re
from typing import TYPE_CHECKING

from meshlint.lint.condition import COMPARISONS, SUMS, TEXT_TESTS, TRUTHS, NotAlikeError, parsed
from meshlint.workings.fact import Kind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.workings.fact import Fact

DEEPEST = 32
"""How many parts may stand within one another."""

_MOST_WHOLE = 2**63 - 1

_FACT = r"[a-z_]\w*\.[a-z_]\w*"
_QUOTED = r"'[^'\\\n]*'|\"[^\"\\\n]*\""
# The language has no number with a bare point at its end, and no sign within one.
_NUMBER = r"\d+\.\d+(?:[eE][+-]?\d+)?|\d+[eE][+-]?\d+|\.\d+(?:[eE][+-]?\d+)?|\d+"
# Words that are signs to Python and names to the language.
_PYTHON_ONLY = r"\b(?:and|or|not|is|if|else|lambda|for|await|yield|None|True|False)\b"
_COMMA_LEFT = r",\s*\)\Z"

_SAID = {
    Kind.NUMBER: "a number",
    Kind.COUNT: "a size",
    Kind.TRUTH: "a truth",
    Kind.TEXT: "a text",
    Kind.TEXTS: "a list of texts",
}
_ORDERED = frozenset({Kind.NUMBER, Kind.COUNT, Kind.TRUTH, Kind.TEXT})


class NotPlainError(Exception):
    """A text that is no condition of the language of cards, and where in it that shows.

    `is_mistake` says that it means nothing in all of the Common Expression Language either.
    """

    def __init__(self, message: str, offset: int = 0, *, is_mistake: bool = False) -> None:
        self.offset = offset
        self.is_mistake = is_mistake
        super().__init__(message)


def kind_of(text: str, facts: Mapping[str, Fact]) -> Kind:
    """Return what a condition gives; raise `NotPlainError` for what is not in the language.

    `facts` are those that it may read. Whole numbers, as sizes are, are of the kind COUNT and do
    not mix with others; a fact that counts is a number like any.
    """
    bare = re.sub(_QUOTED, lambda quoted: " " * len(quoted[0]), text)
    if not bare.isascii() or "\r" in text:
        at = next((i for i, c in enumerate(bare) if c == "\r" or not c.isascii()), 0)
        raise NotPlainError("a letter that no name has", at)
    if found := re.search(_PYTHON_ONLY, bare):
        raise NotPlainError(f"'{found[0]}' is no sign", found.start())
    try:
        tree = parsed(text)
    except NotAlikeError as error:
        raise NotPlainError("a sign or an escape that is not in it", error.offset) from error
    except SyntaxError as error:
        raise NotPlainError("it cannot be read", _offset_of(error, text)) from error
    except (ValueError, RecursionError, MemoryError) as error:
        raise NotPlainError("it cannot be read") from error
    return _Kinds(tree.source, tree.origins, facts).of(tree.body, 0)


def _offset_of(error: SyntaxError, text: str) -> int:
    # Close enough to show where reading stopped: signs may be a little longer in Python.
    lines = text.split("\n")[: max(0, (error.lineno or 1) - 1)]
    start = sum(len(line) + 1 for line in lines)
    return min(start + max(0, (error.offset or 1) - (2 if not lines else 1)), max(0, len(text) - 1))


class _Kinds:
    """One condition, gone through from its leaves up."""

    def __init__(self, source: str, origins: tuple[int, ...], facts: Mapping[str, Fact]) -> None:
        self._source = source
        self._origins = origins
        self._facts = facts

    def of(self, node: ast.expr, depth: int) -> Kind:
        if depth > DEEPEST:
            raise self._outside(node, f"more than {DEEPEST} parts within one another")
        if isinstance(node, ast.BoolOp):
            for part in node.values:
                self._want(part, depth, Kind.TRUTH)
            return Kind.TRUTH
        if isinstance(node, ast.UnaryOp):
            return self._signed(node, depth)
        if isinstance(node, ast.Compare) and len(node.ops) == 1:
            return self._compared(node, depth)
        if isinstance(node, ast.BinOp):
            return self._reckoned(node, depth)
        if isinstance(node, ast.Call):
            return self._called(node, depth)
        return self._literal(node) if isinstance(node, ast.Constant) else self._name(node)

    def _want(self, node: ast.expr, depth: int, *kinds: Kind) -> Kind:
        kind = self.of(node, depth + 1)
        if kind not in kinds:
            wanted = " or ".join(_SAID[k] for k in kinds)
            hint = "; facts are numbers with a point, so write 1.0 for 1" * (kind is Kind.COUNT)
            raise self._mistake(node, f"expected {wanted}, found {_SAID[kind]}{hint}")
        return kind

    def _signed(self, node: ast.UnaryOp, depth: int) -> Kind:
        if isinstance(node.operand, ast.UnaryOp) and type(node.operand.op) is type(node.op):
            raise self._outside(node, "two of one sign in a row")  # which CEL strikes out
        if isinstance(node.op, ast.Invert):
            return self._want(node.operand, depth, Kind.TRUTH)
        if isinstance(node.op, ast.USub):
            return self._want(node.operand, depth, Kind.NUMBER, Kind.COUNT)
        raise self._outside(node, "a sign that is not in it")

    def _compared(self, node: ast.Compare, depth: int) -> Kind:
        sign, other = node.ops[0], node.comparators[0]
        if isinstance(sign, ast.In):
            self._want(node.left, depth, Kind.TEXT)
            if not isinstance(other, ast.List):
                self._want(other, depth, Kind.TEXTS)
            for member in other.elts if isinstance(other, ast.List) else ():
                self._want(member, depth, Kind.TEXT)
            return Kind.TRUTH
        if type(sign) not in COMPARISONS:
            raise self._outside(node, "a comparison that is not in it")
        left = self.of(node.left, depth + 1)
        self._want(other, depth, left)
        if left not in _ORDERED and not isinstance(sign, ast.Eq | ast.NotEq):
            raise self._mistake(node, f"{_SAID[left]} has no order")
        return Kind.TRUTH

    def _reckoned(self, node: ast.BinOp, depth: int) -> Kind:
        if type(node.op) not in SUMS:
            raise self._outside(node, "arithmetic that is not in it")
        for part in (node.left, node.right):
            if self.of(part, depth + 1) is not Kind.NUMBER:
                raise self._outside(part, "arithmetic on something else than numbers with a point")
        return Kind.NUMBER

    def _called(self, node: ast.Call, depth: int) -> Kind:
        called = node.func
        if not isinstance(called, ast.Attribute) or node.keywords or self._has_comma_left(node):
            raise self._outside(node, "a function that is not in it")
        if called.attr == "size" and not node.args:
            self._want(called.value, depth, Kind.TEXT, Kind.TEXTS)
            return Kind.COUNT
        if called.attr in TEXT_TESTS and len(node.args) == 1:
            for part in (called.value, node.args[0]):
                self._want(part, depth, Kind.TEXT)
            return Kind.TRUTH
        raise self._outside(node, f"the function '{called.attr}'")

    def _has_comma_left(self, node: ast.Call) -> bool:
        return bool(re.search(_COMMA_LEFT, self._written(node)))

    def _literal(self, node: ast.Constant) -> Kind:
        written = self._written(node)
        if type(node.value) is str and re.fullmatch(_QUOTED, written):
            return Kind.TEXT
        if re.fullmatch(_NUMBER, written):
            if type(node.value) is float and math.isfinite(node.value):
                return Kind.NUMBER
            if type(node.value) is int and node.value <= _MOST_WHOLE:
                return Kind.COUNT
        raise self._outside(node, "a way to write a value that is not in it")

    def _name(self, node: ast.expr) -> Kind:
        written = self._written(node)
        if isinstance(node, ast.Attribute) and re.fullmatch(_FACT, written):
            if written.startswith("limit."):
                return Kind.NUMBER
            if written in self._facts:
                kind = self._facts[written].kind
                return Kind.NUMBER if kind is Kind.COUNT else kind
        if isinstance(node, ast.Name):
            if written in TRUTHS:
                return Kind.TRUTH
            message = f"there is no '{written}'; a fact is written as in unit.{written}"
            raise self._mistake(node, message)
        raise self._outside(node, "something that is not in it")

    def _written(self, node: ast.expr) -> str:
        return ast.get_source_segment(self._source, node) or ""

    def _mistake(self, node: ast.expr, message: str) -> NotPlainError:
        return NotPlainError(message, self._at(node), is_mistake=True)

    def _outside(self, node: ast.expr, message: str) -> NotPlainError:
        return NotPlainError(message, self._at(node))

    def _at(self, node: ast.expr) -> int:
        """Return where in the card's own text a part begins."""
        lines = self._source.split("\n")
        start = sum(len(line) + 1 for line in lines[: node.lineno - 1])
        line = lines[node.lineno - 1].encode()[: node.col_offset].decode()
        return self._origins[start + len(line)]

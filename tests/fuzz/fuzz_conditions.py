"""A coverage-guided fuzz target over the conditions of rule cards.

    python tests/fuzz/fuzz_conditions.py CORPUS_FOLDER tests/fuzz/conditions -dict=tests/fuzz/words

Needs atheris. What the rule language's own library takes must come out of our short way through
Python as it comes out of the library, known facts and unknown ones alike; the first byte chooses
which facts are known and what they are. What it does not take is an error with its place.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import atheris

with atheris.instrument_imports(include=["meshlint"]):
    from meshlint.lint import condition  # noqa: F401 - instrumented for what follows
    from meshlint.lint.expression import ExpressionError, Language
    from meshlint.workings.catalogue import FACTS
    from meshlint.workings.fact import Kind
    from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from meshlint.lint.condition import Value

LANGUAGE = Language(FACTS, ("most", "least"))
LIMITS = {"most": 3.0, "least": -0.5}
VALUES: dict[Kind, tuple[Value, ...]] = {
    Kind.NUMBER: (0.0, -67.0, 3.0, Unknown(())),
    Kind.COUNT: (1, 0, 3, Unknown(())),
    Kind.TRUTH: (True, False, Unknown(()), True),
    Kind.TEXT: ("loft", "", Unknown(()), "a"),
    Kind.TEXTS: (("loft", "a"), Unknown(()), (), ("",)),
}
ERROR = "an error"


def outcome(judged: object) -> object:
    """Return what two ways of judging must have in common."""
    return Unknown if isinstance(judged, Unknown) else judged


def one_input(data: bytes) -> None:
    """Judge one condition both ways."""
    choice, text = data[:1], data[1:].decode(errors="replace")
    mistake = None
    try:
        compiled = LANGUAGE.compile(text, LIMITS, "unit")
    except ExpressionError as error:
        mistake = error
    if mistake is not None:
        assert mistake.line >= 1 <= mistake.column
        return
    at = choice[0] % 4

    known = {name: VALUES[FACTS[name].kind][(at + len(name)) % 4] for name in compiled.reads}
    ways = LANGUAGE.prepared(compiled, LIMITS), LANGUAGE.by_library(compiled, LIMITS)
    found = []
    for way in ways:
        try:
            found.append(outcome(way(known)))
        except ExpressionError:
            found.append(ERROR)
    assert found[0] is found[1] or found[0] == found[1], (text, found)


def main() -> None:
    """Run until libFuzzer's own options say so."""
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

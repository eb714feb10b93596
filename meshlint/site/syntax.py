"""What is wrong with the syntax of a file, in plain words and at the most helpful place.

libyaml says where it gave up and in which of its own rules it was; a person wants to know what to
mend. `explain` turns the one into the other. The phrases on the left are those of libyaml 0.2.5
(scanner.c and parser.c); one that is not listed is shown as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable

    from yaml.error import MarkedYAMLError

_TAB = "a tab stands where only spaces may indent; replace it with spaces"
TAG = "tags are not read; put text that begins with '!' in quotes"
_DIRECTIVE = "this line is not understood: only '%YAML 1.2' may stand before '---'"
_KEY = "expected a key before ':'"
_BACKSLASH = (
    "in double quotes '\\' begins an escape; write '\\\\' for a backslash, or use single quotes"
)

# Said at the place where libyaml stopped.
_SIMPLE = {
    "block sequence entries are not allowed in this context": (
        "a list item '- ' cannot stand here; begin the list on a new line below its key"
    ),
    "mapping keys are not allowed in this context": (
        "'?' cannot stand here; write the key as plain text with ':' after it"
    ),
    "found a tab character that violates indentation": _TAB,
    "found a tab character where an indentation space is expected": _TAB,
    "found unknown escape character": _BACKSLASH,
    "did not find expected hexdecimal number": (
        f"expected hexadecimal digits to complete this escape; {_BACKSLASH}"
    ),
    "found invalid Unicode character escape code": (
        "this escape names no character; write the character itself, or \\U and its eight digits"
    ),
    "found an indentation indicator equal to 0": (
        "text after '|' or '>' must be indented by one space or more"
    ),
    "found unexpected ':'": "put a space after ':', or put the text that holds it in quotes",
    "exceeded maximum nesting depth": "lists and maps stand too deep",
    "found incompatible YAML document": "only YAML 1.1 and 1.2 are read",
    "found duplicate %YAML directive": "'%YAML' may stand only once",
    "found duplicate %TAG directive": TAG,
    "found undefined tag handle": TAG,
}

# Said at the place where the thing that went wrong begins.
_BY_CONTEXT = {
    "while scanning a tag": TAG,
    "while parsing a tag": TAG,
    "while scanning a directive": _DIRECTIVE,
    "while scanning a %YAML directive": _DIRECTIVE,
    "while scanning a %TAG directive": _DIRECTIVE,
    "while parsing a %TAG directive": _DIRECTIVE,
    "while scanning a tag directive": _DIRECTIVE,
    "while parsing a tag directive": _DIRECTIVE,
    "while scanning a block scalar": (
        "text after '|' or '>' begins on the next line; put text that begins with this sign in "
        "quotes"
    ),
    "while scanning an alias": "text cannot begin with '*'; put it in quotes",
    "while scanning an anchor": "text cannot begin with '&'; put it in quotes",
}


def explain(error: MarkedYAMLError, text: str, line_of: Callable[[int], int]) -> tuple[int, str]:
    """Return where in the text to point (an index) and what to say about a syntax error.

    `line_of` gives the line number, as an editor counts, of an index in `text`.
    """
    at = error.problem_mark.index if error.problem_mark is not None else 0
    since = error.context_mark.index if error.context_mark is not None else at
    problem, context = error.problem or "unknown mistake", error.context or ""
    if problem in _SIMPLE:
        return at, _SIMPLE[problem]
    if context in _BY_CONTEXT:
        return since, _BY_CONTEXT[context]
    if problem in _CLOSER_LOOK:
        return _CLOSER_LOOK[problem](_Mistake(text, at, since, line_of))
    return at, f"this is not valid YAML: {problem}"


class _Mistake(Struct, frozen=True):
    """Where libyaml stopped (`at`), and where the thing that it was reading begins (`since`)."""

    text: str
    at: int
    since: int
    line_of: Callable[[int], int]

    @property
    def before(self) -> str:
        """What stands on the same line before the place."""
        breaks = (self.text.rfind(sign, 0, self.at) for sign in "\r\n")
        return self.text[max(breaks) + 1 : self.at]

    @property
    def following(self) -> str:
        """The character at the place; empty at the end of the file."""
        return self.text[self.at : self.at + 1]

    @property
    def found(self) -> str:
        """Words for what stands at the place, where that helps."""
        visible = self.following.isprintable() and self.following.strip()
        return f", found '{self.following}'" if visible else ""


def _no_colon(mistake: _Mistake) -> tuple[int, str]:
    line = mistake.text[mistake.since : mistake.at].splitlines()[0]
    if line.startswith("-"):
        return mistake.since, "expected a space after '-'"
    if ":" in line:
        return mistake.since, "expected a space after the ':' of this key"
    return mistake.since, "expected ':' after this key"


def _surplus_colon(mistake: _Mistake) -> tuple[int, str]:
    if ": " in mistake.before:
        return mistake.at, (
            "a second ':' in one value; put the value in quotes if the ':' belongs to it"
        )
    return mistake.at, (
        "':' cannot stand here; check the indentation, and that the line above is complete "
        "(a key, ':', a space, a value)"
    )


def _cannot_begin(mistake: _Mistake) -> tuple[int, str]:
    if mistake.following == "\t":
        return mistake.at, _TAB
    return mistake.at, f"text cannot begin with '{mistake.following}'; put it in quotes"


def _no_value(mistake: _Mistake) -> tuple[int, str]:
    if mistake.following == ":":
        return mistake.at, _KEY
    return mistake.at, f"expected a value here{mistake.found}"


def _quote_to_the_end(mistake: _Mistake) -> tuple[int, str]:
    return mistake.since, "this quoted text is never closed"


def _quote_over_documents(mistake: _Mistake) -> tuple[int, str]:
    line = mistake.line_of(mistake.at)
    return mistake.since, f"this quoted text is not closed before line {line}"


def _unclosed_list(mistake: _Mistake) -> tuple[int, str]:
    return _unclosed(mistake, "[", "]")


def _unclosed_map(mistake: _Mistake) -> tuple[int, str]:
    return _unclosed(mistake, "{", "}")


def _unclosed(mistake: _Mistake, opening: str, closing: str) -> tuple[int, str]:
    if not mistake.text[mistake.at :].strip():
        return mistake.since, f"this '{opening}' is never closed; expected ',' or '{closing}'"
    where = "before this ':'" if mistake.following == ":" else f"here{mistake.found}"
    line = mistake.line_of(mistake.since)
    return mistake.at, (
        f"expected ',' or '{closing}' {where}; the '{opening}' on line {line} is still open"
    )


def _no_document(mistake: _Mistake) -> tuple[int, str]:
    before = mistake.text[: mistake.at].split("\n")
    if len(before) > 1 and before[-2].startswith("%"):
        return mistake.at, "expected '---' on a line of its own before this"
    return mistake.at, (
        "the document ended before this; check the brackets and the indentation of the first line"
    )


def _no_item(mistake: _Mistake) -> tuple[int, str]:
    return mistake.at, (
        "expected '- ' here, to go on with the list that begins on line "
        f"{mistake.line_of(mistake.since)}; check the indentation"
    )


def _no_key(mistake: _Mistake) -> tuple[int, str]:
    line = mistake.line_of(mistake.since)
    before = mistake.before.rstrip()
    if mistake.following in ("]", "}"):
        message = f"'{mistake.following}' closes nothing"
    elif mistake.following == ":":
        message = _KEY
    elif before.endswith(('"', "'")):
        message = "text follows the closing quote; put the whole value in one pair of quotes"
    elif before:
        message = f"expected a new line after the value{mistake.found}"
    elif mistake.text.startswith("- ", mistake.at):
        message = (
            f"a list item stands among the keys of the map that begins on line {line}; "
            "check the indentation"
        )
    else:
        message = (
            f"this line is not in line with the map that begins on line {line}; "
            "check the indentation"
        )
    return mistake.at, message


_CLOSER_LOOK: dict[str, Callable[[_Mistake], tuple[int, str]]] = {
    "could not find expected ':'": _no_colon,
    "mapping values are not allowed in this context": _surplus_colon,
    "found character that cannot start any token": _cannot_begin,
    "did not find expected node content": _no_value,
    "found unexpected end of stream": _quote_to_the_end,
    "found unexpected document indicator": _quote_over_documents,
    "did not find expected ',' or ']'": _unclosed_list,
    "did not find expected ',' or '}'": _unclosed_map,
    "did not find expected <document start>": _no_document,
    "did not find expected '-' indicator": _no_item,
    "did not find expected key": _no_key,
}

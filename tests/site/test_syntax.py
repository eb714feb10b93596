"""What is said, and where, of files that are broken in the ways in which files get broken."""

from __future__ import annotations

import pytest

from meshlint.site.problem import InputError
from meshlint.site.source import read_document

TAB = "a tab stands where only spaces may indent"
QUOTES = "put it in quotes"

# What is wrong, the file, and where and with what words that must be said.
BROKEN: list[tuple[str, str | bytes, int, int, str]] = [
    # Keys, values and colons
    ("no colon", "a: 1\nb 2\nc: 3\n", 2, 1, "expected ':' after this key"),
    ("no colon at the end", "a: 1\nb\n", 2, 1, "expected ':' after this key"),
    ("no colon in a list", "- a: 1\n  b\n- c: 2\n", 2, 3, "expected ':' after this key"),
    ("no space after colon", "b: 2\na:1\nc: 4\n", 2, 1, "expected a space after the ':'"),
    ("no space after dash", "-a: 1\n-b\n", 2, 1, "expected a space after '-'"),
    ("line above unfinished", "a 1\nb: 2\n", 2, 2, "the line above is complete"),
    ("second colon", "a: b: c\n", 1, 5, "a second ':' in one value"),
    ("colon without key", ": 1\n", 1, 1, "expected a key before ':'"),
    ("empty key", "{a: 1, : 2}\n", 1, 8, "expected a key before ':'"),
    ("glued colon", "a: [b:]\n", 1, 6, "put a space after ':'"),
    ("text after quotes", "a: 'Children's room'\n", 1, 14, "text follows the closing quote"),
    ("two anchors", "a: &a &b c\n", 1, 7, "expected a new line after the value, found '&'"),
    ("no value", "a: [1,,2]\n", 1, 7, "expected a value here, found ','"),
    ("list beside key", "a: - b\n", 1, 4, "begin the list on a new line"),
    ("question mark", "a: ? b\n", 1, 4, "'?' cannot stand here"),
    # Indentation
    ("tab", "a:\n\tb: 1\n", 2, 1, TAB),
    ("tab after text", "a:\n  b: 1\n\tc: 2\n", 3, 1, TAB),
    ("tab after spaces", "a:\n  b:\n  \tc: 2\n", 3, 3, TAB),
    ("tab in block text", "a: |\n\tb\n", 2, 1, TAB),
    ("too little", "a:\n  b: 1\n c: 2\n", 3, 2, "the map that begins on line 1"),
    ("too much", "a: 1\n  b: 2\n", 2, 4, "check the indentation"),
    ("first line", "  a: 1\nb: 2\n", 2, 1, "the document ended before this"),
    ("list among keys", "x:\n  a: 1\n  - b\n", 3, 3, "the map that begins on line 2"),
    ("keys among list", "- b\na: 1\n", 2, 1, "the list that begins on line 1"),
    # Brackets and quotes
    ("list open at the end", "a: [1, 2\n", 1, 4, "this '[' is never closed"),
    ("list open", "a: [1, 2\nb: 3\n", 2, 2, "before this ':'; the '[' on line 1 is still open"),
    ("map open", "a: {b: 1\nc: 2\n", 2, 2, "before this ':'; the '{' on line 1 is still open"),
    ("no comma", '{"a": 1, "b" 2}', 1, 14, "expected ',' or '}' here, found '2'"),
    ("wrong bracket", "a: [1, 2}\n", 1, 9, "expected ',' or ']' here, found '}'"),
    ("surplus bracket", "a: 1\n}\n", 2, 1, "'}' closes nothing"),
    ("after the end", '{"a": 1} x', 1, 10, "the document ended before this"),
    ("double quote open", 'a: "b\nc: 2\n', 1, 4, "never closed"),
    ("single quote open", "a: 'b\nc: 2\n", 1, 4, "never closed"),
    ("quote over documents", 'a: "\n---\n"\n', 1, 4, "not closed before line 2"),
    # Signs
    ("at", "a: @b\n", 1, 4, f"text cannot begin with '@'; {QUOTES}"),
    ("backtick", "a: `b`\n", 1, 4, f"text cannot begin with '`'; {QUOTES}"),
    ("asterisk", "a: *.yaml\n", 1, 4, f"text cannot begin with '*'; {QUOTES}"),
    ("ampersand", "a: & b\n", 1, 4, f"text cannot begin with '&'; {QUOTES}"),
    ("bar", "a: |b\n", 1, 4, "begins on the next line"),
    ("block indentation", "a: |0\n  x\n", 1, 5, "indented by one space or more"),
    ("unknown escape", 'a: "\\q"\n', 1, 5, "write '\\\\' for a backslash"),
    ("short escape", 'a: "C:\\Users"\n', 1, 9, "expected hexadecimal digits"),
    ("half a pair", 'a: "\\ud83d\\ude00"\n', 1, 7, "names no character"),
    # What is not read
    ("tag", "a: !x 1\n", 1, 4, "this tag is not read"),
    ("tag of YAML", "a: !!str 1\n", 1, 4, "this tag is not read"),
    ("tag on a map", "a: !!omap {}\n", 1, 4, "this tag is not read"),
    ("tag on a key", "!x a: 1\n", 1, 1, "this tag is not read"),
    ("bare tag", "a: ! 1\n", 1, 4, "this tag is not read"),
    ("python tag", "!!python/object/apply:os.system [x]\n", 1, 1, "is not read"),
    ("tag with handle", "a: !x!y z\n", 1, 4, "tags are not read"),
    ("tag of surrogates", "a: !%ED%A0%80 x\n", 1, 2, "tags are not read"),
    ("broken tag", "a: !<b c\n", 1, 4, "tags are not read"),
    ("merge", "a: &a {}\nb:\n  <<: *a\n", 3, 3, "'<<' (merging) is not read"),
    ("list as key", "a: 1\n? [b]\n: 2\n", 2, 3, "a key must be text"),
    ("map as key", "{{a: 1}: 2}\n", 1, 2, "a key must be text"),
    ("alias as key", "a: &a b\n*a : 2\n", 2, 1, "a key must be text, not an alias"),
    ("alias of nothing", "a: *b\n", 1, 4, "no anchor of this name"),
    ("alias in itself", "a: &a\n  b: [*a]\n", 2, 7, "this alias stands within what it names"),
    ("second document", "a: 1\n---\nb: 2\n", 2, 1, "a second document begins here"),
    ("handle", "%TAG ! tag:x,2000:\n---\na: 1\n", 1, 1, "'%TAG' is not read"),
    ("broken handle", "%TAG !a! !%zz\n---\na: 1\n", 1, 1, "only '%YAML 1.2' may stand"),
    ("handle without mark", "%TAG a b\n---\na: 1\n", 1, 1, "only '%YAML 1.2' may stand"),
    ("unknown directive", "%FOO x\n---\na: 1\n", 1, 1, "only '%YAML 1.2' may stand"),
    ("no version", "%YAML\n---\na: 1\n", 1, 1, "only '%YAML 1.2' may stand"),
    ("later version", "%YAML 1.3\n---\na: 1\n", 1, 1, "only YAML 1.1 and 1.2"),
    ("two versions", "%YAML 1.2\n%YAML 1.2\n---\na: 1\n", 2, 1, "may stand only once"),
    ("directive alone", "%YAML 1.2\na: 1\n", 2, 1, "expected '---'"),
    # Numbers that are none of ours
    ("NaN", "a: [1, .nan]\n", 1, 8, ".nan cannot be a quantity"),
    ("infinity", "a: -.INF\n", 1, 4, "-.INF cannot be a quantity"),
    ("too large", "a: 1e400\n", 1, 4, "this number is too large"),
    ("19 digits", "a: -1000000000000000000\n", 1, 4, "more than 18 digits"),
    ("5,000 digits", "a: " + "7" * 5000, 1, 4, "more than 18 digits"),
    ("hexadecimal", "a: 0xde0b6b3a7640000\n", 1, 4, "more than 18 digits"),
    ("octal", "a: 0o" + "7" * 5000, 1, 4, "more than 18 digits"),
    # Bytes and characters
    ("nothing", "", 1, 1, "the file holds nothing"),
    ("comments", "# a\n\n# b\n", 1, 1, "the file holds nothing"),
    ("empty document", "---\n...\n", 1, 1, "the file holds nothing"),
    ("UTF-16", "a: 1\n".encode("utf-16"), 1, 1, "save it as UTF-8"),
    ("UTF-16, big end first", "\ufeffa: 1\n".encode("utf-16-be"), 1, 1, "save it as UTF-8"),
    ("UTF-16 without mark", "a: 1\n".encode("utf-16-le"), 1, 2, "save it as UTF-8"),
    ("Latin-1", "ä: 1\nb: é\n".encode().replace(b"\xc3\xa9", b"\xe9"), 2, 4, "byte 0xe9"),
    ("cut short", b"a: 1\r\nb: \xf0\x9f\x98", 2, 4, "not UTF-8"),
    ("surrogate", b"a: \xed\xa0\x80", 1, 4, "not UTF-8"),
    ("NUL once said", "a: \0\0\0\n", 1, 4, "U+0000"),
    ("NUL", "a: 1\nb: x\0y\n", 2, 5, "U+0000"),
    ("escape character", "a: é\x1b[31m\n", 1, 5, "U+001B"),
    ("C1", "a: \x9b\n", 1, 4, "U+009B"),
    ("noncharacter", "a: \uffff\n", 1, 4, "U+FFFF"),
    # Lines and columns as an editor counts them
    ("CR LF", "a: 1\r\nb: 2\r\nb: 3\r\n", 3, 1, "on lines 2 and 3"),
    ("CR", "a: 1\rb: 2\rb: 3\r", 3, 1, "on lines 2 and 3"),
    ("NEL", "a: 1\x85b: 2\nb: 3\n", 2, 1, "on lines 1 and 2"),
    ("LS and PS", 'a: "1\u20282\u20293"\nb: 2\nb: 3\n', 3, 1, "on lines 2 and 3"),
    ("beyond the basic plane", 'a: ["😀😀", .nan]\n', 1, 11, ".nan cannot"),
    ("behind a mark", "\ufeffa: .nan\n", 1, 4, ".nan cannot"),
]


@pytest.mark.parametrize(
    ("data", "line", "column", "words"),
    [case[1:] for case in BROKEN],
    ids=[case[0] for case in BROKEN],
)
def test_a_broken_file_is_explained(data: str | bytes, line: int, column: int, words: str) -> None:
    with pytest.raises(InputError) as refused:
        read_document(data.encode() if isinstance(data, str) else data, "f")
    ((place, message),) = [(p.place, p.message) for p in refused.value.problems]
    assert (place.line, place.column) == (line, column)
    assert words in message


def test_a_message_is_short_and_shows_nothing_hidden() -> None:
    with pytest.raises(InputError) as refused:
        read_document(b'"\\e[31m\\u202e": 1\n"\\e[31m\\u202e": 2\n' + b"z" * 100 + b": !x 1", "f")
    assert all(problem.message.isprintable() for problem in refused.value.problems)
    with pytest.raises(InputError) as refused:
        read_document(b"a: " + b"9" * 100_000, "f")
    assert len(refused.value.problems[0].message) < 120

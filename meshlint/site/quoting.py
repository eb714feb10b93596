"""Which values of a file a message may repeat: none that may be a passphrase in the wrong place.

A passphrase for a network has at least eight characters (IEEE 802.11, "8 to 63", from memory), and
a slip of the hand puts it a line too high or too low. So what a schema or a reference refuses is
repeated only if it is shorter than that and plain, or nearly what may stand there; under `networks`
never. Reports that are kept or uploaded (SARIF, JUnit) repeat no such value at all.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.site.model import Pointer

LEAST_PASSPHRASE = 8
"""Characters of the shortest passphrase of a network."""

NOT_REPEATED = "(not repeated here)"

_MOST_LETTERS_OFF = 2
_LONGEST_COMPARED = 60

# Letters alone; a number, with its unit; a day, as far as digits make one.
_PLAIN = r"[^\W\d_]*|[+-]?\d+(?:[.,]\d+)?\s*[A-Za-zµ/%]*|(?P<day>\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})"
_JOINTS = "[-_ /]"
_FILE = r"[\w./ -]{1,100}\.(?:ya?ml|json)"


def is_private(pointer: Pointer) -> bool:
    """Return whether what stands at a pointer of a site file is never repeated."""
    return pointer[:1] == ("networks",)


def repeatable(value: str, near: str | None = None) -> bool:
    """Return whether a message may repeat a value that was refused where secrets do not belong.

    `near` is what may stand there and is most like it.
    """
    if near is not None and within_two_letters(value, near):
        return True
    bare = value.strip()
    plain = re.fullmatch(_PLAIN, bare)
    return plain is not None and (len(bare) < LEAST_PASSPHRASE or plain["day"] is not None)


def repeatable_file(name: str) -> bool:
    """Return whether a message may repeat what should be the name of a file."""
    return re.fullmatch(_FILE, name) is not None or repeatable(name)


def repeatable_name(name: str, known: Iterable[str]) -> bool:
    """Return whether a message may repeat a name of ours that there is not: made of parts of such.

    `known` are those that there are, keys of a schema or rules.
    """
    parts = {part for other in known for part in re.split(_JOINTS, other)}
    return bool(name) and all(part in parts for part in re.split(_JOINTS, name.casefold()))


def quoted(value: str, *, repeat: bool, otherwise: str = "of this name") -> str:
    """Return a value in quotes, or what stands for it where it must not be repeated."""
    return f"'{value}'" if repeat else f"{otherwise} {NOT_REPEATED}"


def within_two_letters(word: str, other: str) -> bool:
    """Return whether two letters put in, left out, changed or swapped with the next make them one.

    Capitals and what joins words do not count (restricted Damerau-Levenshtein distance).
    """
    one, two = (re.sub(r"[-_. ]", "", w.casefold()) for w in (word, other))
    if abs(len(one) - len(two)) > _MOST_LETTERS_OFF or len(one) > _LONGEST_COMPARED:
        return False
    before: list[int] = []
    row = list(range(len(two) + 1))
    for i, a in enumerate(one):
        earlier, before, row = before, row, [i + 1]
        for j, b in enumerate(two):
            steps = min(before[j + 1] + 1, row[j] + 1, before[j] + (a != b))
            if i and j and a == two[j - 1] and one[i - 1] == b:
                steps = min(steps, earlier[j - 1] + 1)
            row.append(steps)
    return row[-1] <= _MOST_LETTERS_OFF

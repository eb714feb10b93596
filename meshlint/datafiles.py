"""Where the files that travel with the program lie.

In a checkout `rules/` and `schemas/` stand beside the package; in an installed wheel they are
package data under `meshlint/data/`. Plain paths, because importing `importlib.resources` costs
more than reading every file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

_PACKAGE = Path(__file__).parent


def data_folder(kind: Literal["rules", "schemas"]) -> Path:
    """Return the folder that holds the files of one kind."""
    packed = _PACKAGE / "data" / kind
    return packed if packed.is_dir() else _PACKAGE.parent / kind


def in_a_wheel() -> bool:
    """Return whether this is a package as it was built, in which nobody edits anything."""
    return (_PACKAGE / "data" / "rules").is_dir()


PACK = _PACKAGE / "data" / "cards.json"
"""The shipped cards in one generated file, which lies at the same place in both."""

FACT_INDEX = _PACKAGE / "data" / "facts.json"
"""The module of each declared fact, generated as well."""

STAMP = _PACKAGE / "data" / "program.digest"
"""A digest of the whole program as it was built; counts in a wheel alone."""

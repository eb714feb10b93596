"""One part of a change that is asked about."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from meshlint.edits.rewriting import Edit

Work = Literal["setting", "cable", "new cable", "new unit", "more devices"]


class Step(Struct, frozen=True):
    """A change in words that end "If you ...", its edits, and the work that it is."""

    words: str
    edits: tuple[Edit, ...]
    work: Work = "setting"

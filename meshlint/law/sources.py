"""How a published fact is cited: document, clause, and how well it was seen."""

from __future__ import annotations

from typing import Literal, TypeAlias

from msgspec import Struct

# seen: the document's own text; second-hand: somebody else's copy or summary of it; memory:
# neither, so to be checked before it is leant on; computed: worked out here from what was seen.
Status: TypeAlias = Literal["seen", "second-hand", "memory", "computed"]


class Citation(Struct, frozen=True):
    """Where a legal or technical figure comes from."""

    document: str
    clause: str
    status: Status

    def __str__(self) -> str:
        """Return the citation in words; how well it was seen is told unless it was."""
        told = f"{self.document}, {self.clause}" if self.clause else self.document
        return told if self.status == "seen" else f"{told} ({self.status})"

"""An entry of a site's waivers: the one record of the model that results carry with them.

It stands apart from `model.py`, so that a kept result is read without loading that.
"""

from datetime import date

from msgspec import Struct

Pointer = tuple[str | int, ...]
"""The keys and positions that lead to a value in a file, outermost first."""


class Waiver(Struct, frozen=True):
    """A finding that somebody accepted; `position` is its place in the file's list."""

    position: int
    rule: str
    subject: str
    because: str | None = None
    approved_by: str | None = None
    until: date | None = None

    @property
    def pointer(self) -> Pointer:
        """Return where the waiver stands in the file."""
        return ("waivers", self.position)


def whole_link(subject: str) -> str:
    """Return the link of the file whose leg a subject is, by its key; any other subject as it is.

    A waiver that names a link over several radios speaks of all its legs. Names hold no slash.
    """
    link, _, leg = subject.partition("/radios/")
    return link if leg and link.startswith("backhaul/") else subject

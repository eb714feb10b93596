"""What is not known, and what would settle it: unknown is a value here, and never a default."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct

from meshlint.site.model import Pointer  # noqa: TC001 - read at run time

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

T = TypeVar("T")

# The keys of the file whose members have names of the author's choosing: the name is dropped when
# one kind of missing input is counted over a whole site.
_NAMED = frozenset(
    {"units", "radios", "backhaul", "clients", "networks", "levels", "areas", "internet_lines"}
)


class Input(Struct, frozen=True, order=True, array_like=True):
    """Something the site file could state and does not: where it would stand, and what it is."""

    pointer: Pointer
    wanted: str = ""

    @property
    def key(self) -> str:
        """Return the kind of input, names dropped: `units.*.at`."""
        parts = []
        named = False
        for step in self.pointer:
            parts.append("*" if named or isinstance(step, int) else step)
            named = step in _NAMED and not named
        return ".".join(parts)


class Missing(Exception):  # noqa: N818 - it is an answer, not a fault
    """Raised inside a fact when an input that it needs is not in the file."""

    # Without an initialiser of its own: a site without plan raises some hundreds of these.
    args: tuple[Input, ...]

    @property
    def inputs(self) -> tuple[Input, ...]:
        """Return what is missing."""
        return self.args

    def __str__(self) -> str:
        return ", ".join(i.key for i in self.args)


def need(value: T | None, pointer: Pointer, wanted: str = "") -> T:
    """Return the value, or raise `Missing` with the place where it would stand."""
    if value is None:
        raise Missing(Input(pointer, wanted))
    return value


def known_of_any(asked: Iterable[T], answer: Callable[[T], bool]) -> bool:
    """Return whether the answer is yes for any; raise `Missing` where it is open for the rest."""
    lacking: list[Input] = []
    for one in asked:
        try:
            if answer(one):
                return True
        except Missing as missing:
            lacking.extend(missing.inputs)
    if lacking:
        raise Missing(*dict.fromkeys(lacking))
    return False


class Unknown(Struct, frozen=True):
    """A fact that could not be worked out, and the inputs that would settle it."""

    inputs: tuple[Input, ...]

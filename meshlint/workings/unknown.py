"""What is not known, and what would settle it: unknown is a value here, and never a default."""

from __future__ import annotations

from typing import TYPE_CHECKING, ParamSpec, TypeVar

from msgspec import Struct

from meshlint.site.waiver import Pointer  # noqa: TC001 - read at run time

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

A = TypeVar("A")
T = TypeVar("T")
P = ParamSpec("P")

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


class Unknown(Struct, frozen=True):
    """Something that could not be worked out, and the inputs that would settle it."""

    inputs: tuple[Input, ...]


def answer(ask: Callable[P, T], *given: P.args, **named: P.kwargs) -> T | Unknown:
    """Return what was asked for, or `Unknown` with what is missing."""
    try:
        return ask(*given, **named)
    except Missing as missing:
        return Unknown(missing.args)


def must_know(found: T | Unknown) -> T:
    """Return what was found out; raise `Missing` where that is unknown."""
    if isinstance(found, Unknown):
        raise Missing(*found.inputs)
    return found


def raise_missing(lacking: Iterable[Input]) -> None:
    """Raise `Missing` with all that is lacking, each input once; nothing where nothing is."""
    if inputs := tuple(dict.fromkeys(lacking)):
        raise Missing(*inputs)


def as_known(asked: Iterable[A], ask: Callable[[A], T]) -> tuple[list[T], tuple[Input, ...]]:
    """Return the answers that are known, in order, and all that is missing for the others."""
    known: list[T] = []
    lacking: list[Input] = []
    for one in asked:
        try:
            known.append(ask(one))
        except Missing as missing:
            lacking += missing.inputs
    return known, tuple(dict.fromkeys(lacking))


def gather(asked: Iterable[A], ask: Callable[[A], T]) -> list[T]:
    """Return every answer; raise `Missing` once with all that any of them lacks."""
    known, lacking = as_known(asked, ask)
    raise_missing(lacking)
    return known


def known_of_any(asked: Iterable[A], ask: Callable[[A], bool]) -> bool:
    """Return whether the answer is yes for any; raise `Missing` where it is open for the rest."""
    lacking: list[Input] = []
    for one in asked:
        try:
            if ask(one):
                return True
        except Missing as missing:
            lacking += missing.inputs
    raise_missing(lacking)
    return False

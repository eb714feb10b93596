"""How a number about a site is declared, asked for once, and left unknown.

A fact is declared in one place with its type, unit, meaning and source. From that declaration
come the variables of the rule language, the `workings` output and the reference text. A fact
whose input the file does not give is *unknown*, and says which input would settle it; it is never
a default.
"""

from __future__ import annotations

import math
from collections import defaultdict
from enum import Enum
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from msgspec import Struct, field

from meshlint.site.model import Pointer  # noqa: TC001 - read at run time

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Mapping
    from datetime import date

    from meshlint.site.model import Site

T = TypeVar("T")
P = ParamSpec("P")

FactValue = float | bool | str | tuple[str, ...]

# The keys of the file whose members have names of the author's choosing: the name is dropped when
# one kind of missing input is counted over a whole site.
_NAMED = frozenset(
    {"units", "radios", "backhaul", "clients", "networks", "levels", "areas", "internet_lines"}
)


class Kind(Enum):
    """The type of a fact's value."""

    NUMBER = "number"
    COUNT = "count"
    TRUTH = "truth"
    TEXT = "text"
    TEXTS = "texts"


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


class Fact(Struct, frozen=True):
    """One declared number, name or truth about a kind of subject."""

    scope: str
    name: str
    qualified: str
    """The name that cards use: `link.margin_db`."""
    kind: Kind
    meaning: str
    source: str
    compute: Callable[[Workings, Any], FactValue]
    unit: str = ""
    digits: int = 0


def fact(
    qualified: str,
    kind: Kind,
    meaning: str,
    *,
    source: str,
    unit: str = "",
    digits: int = 0,
) -> Callable[[Callable[[Workings, Any], FactValue]], Fact]:
    """Declare the decorated function as the fact `scope.name`."""
    scope, name = qualified.split(".")

    def declare(compute: Callable[[Workings, Any], FactValue]) -> Fact:
        return Fact(scope, name, qualified, kind, meaning, source, compute, unit, digits)

    return declare


STATED = "the site file"
"""Source of facts that only repeat what the file or the catalogue says."""


class Subject(Struct, frozen=True):
    """Something that a card can speak about.

    `anchors` names the places in the file that a card may point at, beside the subject itself.
    """

    scope: str
    key: str
    label: str
    item: object
    pointer: Pointer
    anchors: Mapping[str, Pointer] = field(default_factory=dict)


_NEW = object()


class Workings:
    """What is worked out about one site, and kept where several facts rest on it.

    `today` is the day on which the site is looked at, for facts about age.
    """

    def __init__(self, site: Site, today: date | None = None) -> None:
        self.site = site
        self.today = today
        self._shared: dict[Callable[[Workings], object], object] = {}
        self._kept: defaultdict[object, dict[Hashable, object]] = defaultdict(dict)

    def once(self, compute: Callable[[Workings], T]) -> T:
        """Return `compute(self)`, worked out once; a `Missing` is remembered as well."""
        try:
            found = self._shared[compute]
        except KeyError:
            try:
                found = compute(self)
            except Missing as missing:
                found = Unknown(missing.args)
            self._shared[compute] = found
        if type(found) is Unknown:
            raise Missing(*found.inputs)
        return found  # type: ignore[return-value]

    def once_for(
        self,
        compute: Callable[Concatenate[Workings, P], T],
        key: Hashable,
        *given: P.args,
        **named: P.kwargs,
    ) -> T:
        """Return `compute(self, *given)`, worked out once for a key; a `Missing` is kept as well.

        The key must tell all apart that is given.
        """
        kept = self._kept[compute]
        found = kept.get(key, _NEW)
        if found is _NEW:
            try:
                found = compute(self, *given, **named)
            except Missing as missing:
                found = Unknown(missing.args)
            kept[key] = found
        if type(found) is Unknown:
            raise Missing(*found.inputs)
        return found  # type: ignore[return-value]

    def value(self, wanted: Fact, subject: Subject) -> FactValue | Unknown:
        """Return the fact's value for the subject, or `Unknown` with what is missing."""
        return Known(self, {wanted.qualified: wanted}, subject)[wanted.qualified]


class Known(dict[str, "FactValue | Unknown"]):
    """The facts in reach of one subject, by name; each worked out when first asked for, and kept.

    Facts about the site come from `site`, what is known of the site itself.
    """

    __slots__ = ("_facts", "_site", "_subject", "_workings")

    def __init__(
        self,
        workings: Workings,
        facts: Mapping[str, Fact],
        subject: Subject,
        site: Known | None = None,
    ) -> None:
        self._workings = workings
        self._facts = facts
        self._subject = subject
        self._site = site

    def __missing__(self, name: str) -> FactValue | Unknown:
        declared = self._facts[name]
        if declared.scope == "site" and self._site is not None:
            value = self._site[name]
        else:
            try:
                value = declared.compute(self._workings, self._subject.item)
            except Missing as missing:
                value = Unknown(missing.args)
            if type(value) is float and not math.isfinite(value):
                # No signal at all, a rate without bound: no number that a report could show.
                wanted = f"values that give {declared.name} a size"
                value = Unknown((Input(self._subject.pointer, wanted),))
        self[name] = value
        return value


def written(declared: Fact, value: FactValue) -> str:
    """Return the value as a message shows it: its declared digits at most, lists as a phrase."""
    if isinstance(value, tuple):
        return phrase(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    digits = 0 if declared.kind is Kind.COUNT else declared.digits
    text = f"{value:.{digits}f}"
    if digits:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def phrase(names: tuple[str, ...], most: int = 4) -> str:
    """Return names as English lists them: `a, b and c`; a long list ends in how many more."""
    if not names:
        return "nobody"
    shown = list(names) if len(names) <= most else [*names[: most - 1]]
    rest = len(names) - len(shown)
    if rest:
        shown.append(f"{rest} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"

"""Every declared fact, by name: whatever a module of the rooms beside this one declares.

A fact's module is loaded when the fact is first asked for, so that a site without plan, radar or
powerline does not pay for theirs. Which module that is, a generated index says
(`meshlint/data/facts.json`, written by the build and by `python -m meshlint.docs`). Without the
index, or where it no longer agrees with the modules, all of them are loaded, and what they declare
is what counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING

from msgspec import DecodeError, json

from meshlint import workings
from meshlint.datafiles import FACT_INDEX
from meshlint.workings.fact import Fact

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ROOMS = (
    "topology",
    "spectrum",
    "security",
    "propagation",
    "links",
    "contention",
    "coverage",
    "wired",
    "governance",
    "capacity",
    "alternatives",
)
"""The folders of this package, lower storeys first."""


def all_facts() -> dict[str, Fact]:
    """Return every fact that a module declares, by name, in the order of rooms and modules."""
    return {declared.qualified: declared for name in _modules() for declared in facts_of(name)}


def facts_of(module: str) -> Iterator[Fact]:
    """Yield the facts that a module declares, in its own order."""
    return (value for value in vars(import_module(module)).values() if isinstance(value, Fact))


def index_text() -> str:
    """Return the index of facts: the module of each, as JSON."""
    where = {declared.qualified: name for name in _modules() for declared in facts_of(name)}
    return json.format(json.encode(where), indent=1).decode() + "\n"


def _modules() -> Iterator[str]:
    from pkgutil import iter_modules  # a check looks facts up one by one, and never asks for all

    for room in ROOMS:
        package = import_module(f"{workings.__name__}.{room}")
        yield from (found.name for found in iter_modules(package.__path__, f"{package.__name__}."))
    yield f"{workings.__name__}.consequences"


class _Facts(Mapping[str, Fact]):
    """The facts by name, each loaded with its module when it is first looked up."""

    def __init__(self, index: Path) -> None:
        self._index = index
        self._loaded: dict[str, Fact] = {}

    @cached_property
    def _where(self) -> dict[str, str]:
        try:
            return json.decode(self._index.read_bytes(), type=dict[str, str])
        except (OSError, DecodeError):
            return {}

    @cached_property
    def _all(self) -> dict[str, Fact]:
        return all_facts()

    def __getitem__(self, name: str) -> Fact:
        found = self._loaded.get(name)
        if found is None:
            module = self._where.get(name)
            if module is not None:
                self._loaded.update((f.qualified, f) for f in facts_of(module))
            found = self._loaded.get(name)
            if found is None:
                found = self._loaded[name] = self._all[name]
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)


FACTS: Mapping[str, Fact] = _Facts(FACT_INDEX)
"""What cards can speak about."""

"""Facts that installed Python packages add, by way of an entry point.

Nothing is loaded unless the policy names it, and only what the environment has installed can be
named: no code comes from the repository that is checked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.site.problem import InputError
from meshlint.workings.fact import Fact
from meshlint.workings.subjects import SCOPES

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.metadata import EntryPoint

    from meshlint.site.problem import Place

GROUP = "meshlint.facts"
"""The entry points' group; each names an iterable of `Fact`."""


def installed_facts(wanted: Iterable[tuple[str, Place]]) -> dict[str, Fact]:
    """Return the facts of the named entry points; raise `InputError` where a name gives none."""
    from importlib.metadata import entry_points

    installed = {point.name: point for point in entry_points(group=GROUP)}
    facts: dict[str, Fact] = {}
    for name, place in wanted:
        point = installed.get(name)
        if point is None:
            known = ", ".join(sorted(installed)) or "none"
            raise InputError.at(
                place, f"no installed package offers facts called '{name}'; installed: {known}"
            )
        for declared in _loaded(point, place):
            facts[declared.qualified] = declared
    return facts


def _loaded(point: EntryPoint, place: Place) -> tuple[Fact, ...]:
    try:
        found = tuple(point.load())
    except Exception as error:
        raise InputError.at(
            place, f"facts '{point.name}' cannot be loaded: {type(error).__name__}: {error}"
        ) from error
    prefix = point.name.replace("-", "_") + "_"
    for declared in found:
        if not isinstance(declared, Fact):
            raise InputError.at(place, f"facts '{point.name}' hold something that is no fact")
        if declared.scope not in SCOPES:
            words = f"{declared.qualified} of facts '{point.name}' is about no known subject"
            raise InputError.at(place, words)
        if not declared.name.startswith(prefix):
            words = (
                f"{declared.qualified} of facts '{point.name}' must have a name that starts with "
                f"'{prefix}', so that it cannot stand in for another"
            )
            raise InputError.at(place, words)
    return found

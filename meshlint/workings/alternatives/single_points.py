"""What most small sites have one of: the primary with the internet, and a switch for some units.

That is a fact of such a site and no fault. It is told, so that nobody is surprised.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from meshlint.workings.alternatives.failures import LOSS, Failure, stranded
from meshlint.workings.fact import Kind, fact, phrase
from meshlint.workings.topology.tree import tree
from meshlint.workings.unknown import Unknown, answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Site
    from meshlint.workings.site_workings import Workings

_KINDS: Final = ("switch", "router", "injector")
_MOST_NAMED: Final = 3


def single_points(w: Workings) -> tuple[str, ...]:
    """Return what goes off with the primary, and with each wired box that nothing stands in for.

    Nothing on a site of one unit. A box of which it is open whether others stand in is left out.
    """
    found = answer(lambda: tuple(_told(w)))
    return () if isinstance(found, Unknown) else found


def _told(w: Workings) -> Iterator[str]:
    ways = w.once(tree)
    if len(ways.order) == 1:
        return
    primary = w.site.primary
    yield f"If {primary} fails, the whole site is offline."
    for name in ways.order:
        kind = w.site.units[name].kind
        if kind not in _KINDS or name == primary:
            continue
        dark = answer(stranded, w, Failure(unit=name))
        if isinstance(dark, Unknown):
            continue
        units = tuple(unit for unit in dark if w.site.units[unit].kind == "access")
        if units:
            yield f"If {kind} {name} fails, {_named(units)} {_are(units)}."


def _named(units: tuple[str, ...]) -> str:
    if len(units) <= _MOST_NAMED:
        return phrase(units)
    return f"{', '.join(units[: _MOST_NAMED - 1])} and {len(units) - _MOST_NAMED + 1} more units"


def _are(units: tuple[str, ...]) -> str:
    return "is" if len(units) == 1 else "are"


@fact(
    "site.single_points",
    Kind.TEXTS,
    "what goes offline with the primary, and with each switch that nothing stands in for",
    source=LOSS,
)
def site_single_points(w: Workings, _: Site) -> tuple[str, ...]:
    return single_points(w)

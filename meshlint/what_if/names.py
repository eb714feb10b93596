"""What a call names, spelt as reports spell it: units, radios, links, client groups, cable routes.

`study` or `units/study`; `hall/mid`, `units/hall/radios/mid`, `hall, radio mid` or `radio mid of
hall`; `study to hall` or `backhaul/study to hall`; `phones` or `clients/phones`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

from meshlint.site.hints import nearest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.site.model import CableRoute, ClientGroup, Link, Radio, Site

T = TypeVar("T")

_MOST_LISTED: Final = 6


class MisaskedError(Exception):
    """A question that names what the site does not have, or says two things at once."""


class Names:
    """The names of one site, each kind by every spelling."""

    def __init__(self, site: Site) -> None:
        self._site = site

    def unit(self, word: str) -> str:
        """Return the name of the unit that is meant; raise `MisaskedError`."""
        return self._found("unit", word, self._units())

    def radio(self, word: str) -> Radio:
        """Return the radio that is meant; raise `MisaskedError`."""
        return self._found("radio", word, self._radios())

    def group(self, word: str) -> ClientGroup:
        """Return the client group that is meant; raise `MisaskedError`."""
        groups = self._site.clients or {}
        return self._found("client group", word, _both(groups, "clients"))

    def route(self, word: str) -> tuple[int, CableRoute]:
        """Return the cable route that is meant, with its position; raise `MisaskedError`."""
        spelt: dict[str, list[int]] = {}
        routes = self._site.cable_routes or ()
        for position, route in enumerate(routes):
            for spelling in _spellings_of_route(position, route):
                spelt.setdefault(spelling, []).append(position)
        found = self._found("cable route", word, spelt)
        if len(found) > 1:
            ways = " or ".join(f"cable_routes/{position}" for position in found)
            raise MisaskedError(f"there are {len(found)} cable routes '{word}'; name {ways}")
        return found[0], routes[found[0]]

    def what_fails(self, word: str) -> str | tuple[Link, ...]:
        """Return the unit that is meant, or the legs of the link; raise `MisaskedError`."""
        units, links = self._units(), self._links()
        if word in units and word in links:
            words = f"'{word}' is a unit and a link; name units/{word} or backhaul/{word}"
            raise MisaskedError(words)
        either: dict[str, str | tuple[Link, ...]] = {**units, **links}
        return self._found("unit or link", word, either)

    def is_pair(self, words: str) -> bool:
        """Return whether words name two units with `=` between, or should."""
        return "=" in words and words not in self._units()

    def pair(self, words: str) -> tuple[str, str]:
        """Return the two units of `UNIT=PARENT`; raise `MisaskedError`."""
        units = self._units()
        for at, letter in enumerate(words):
            if letter == "=" and words[:at] in units and words[at + 1 :] in units:
                return units[words[:at]], units[words[at + 1 :]]
        unit, _, parent = words.partition("=")
        return self.unit(unit), self.unit(parent)

    def _units(self) -> dict[str, str]:
        return _both({name: name for name in self._site.units}, "units")

    def _radios(self) -> dict[str, Radio]:
        return {
            spelling: radio
            for unit in self._site.units.values()
            for radio in unit.radios.values()
            for spelling in (
                f"{unit.name}/{radio.name}",
                f"units/{unit.name}/radios/{radio.name}",
                f"{unit.name}, radio {radio.name}",
                f"radio {radio.name} of {unit.name}",
                f"{radio.name} of {unit.name}",
            )
        }

    def _links(self) -> dict[str, tuple[Link, ...]]:
        found: dict[str, tuple[Link, ...]] = {}
        for link in (self._site.backhaul or {}).values():
            found[link.in_file] = (*found.get(link.in_file, ()), link)
        legs = {leg.name: (leg,) for whole in found.values() for leg in whole if leg.whole}
        keys = {"/".join(map(str, leg.pointer)): (leg,) for (leg,) in legs.values()}
        return {**_both(found, "backhaul"), **_both(legs, "backhaul"), **keys}

    def _found(self, kind: str, word: str, known: Mapping[str, T]) -> T:
        if word in known:
            return known[word]
        near = nearest(word, known)
        hint = f"; did you mean '{near}'?" if near else _listing(list(known), known)
        raise MisaskedError(f"there is no {kind} '{word}'{hint}")


def _both(entries: Mapping[str, T], section: str) -> dict[str, T]:
    return {**entries, **{f"{section}/{name}": entry for name, entry in entries.items()}}


def _spellings_of_route(position: int, route: CableRoute) -> Iterator[str]:
    one, other = route.between
    yield f"cable_routes/{position}"
    yield f"{route.state} cable route from {one} to {other}"
    for here, there in ((one, other), (other, one)):
        yield from (f"{here} to {there}", f"{here} and {there}", f"{here}, {there}")


def _listing(words: list[str], known: Mapping[str, object]) -> str:
    """Return the first spelling of each thing that there is, some of many."""
    first = list({repr(known[word]): word for word in reversed(words)}.values())[::-1]
    if not first:
        return "; the file has none"
    more = f" and {len(first) - _MOST_LISTED} more" if len(first) > _MOST_LISTED else ""
    return "; there is " + ", ".join(f"'{word}'" for word in first[:_MOST_LISTED]) + more

"""Who shares whose air: every contender where somebody takes turns, and the airs that they make up.

A *contender* is a radio with its clients and the names that it announces, or a radio link between
two units. Two contenders conflict when either end of one hears either end of the other
(`meshlint.workings.contention.must_defer`); clients are taken to hear what their radio hears.

An *air* is a contender and all that it conflicts with. Airs overlap each other; of airs with the
same contenders, and of one that lies whole within another, only the larger is told.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.workings.contention.contender_index import contender_index
from meshlint.workings.contention.must_defer import must_defer, settled_span
from meshlint.workings.spectrum.channel import in_words
from meshlint.workings.topology.link_radios import radio_of, radios_of
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import backhaul, lower_end
from meshlint.workings.unknown import (
    Input,
    Missing,
    Unknown,
    answer,
    need,
    raise_missing,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.site.model import Link, Pointer, Radio
    from meshlint.workings.contention.contender_index import ContenderIndex
    from meshlint.workings.site_workings import Workings

HEARING = "who hears whom by carrier sense, or by declared radio links where levels lack"


class Contender(Struct, frozen=True):
    """A radio with its clients (`link` is None), or a radio link; `radios` are its unit ends."""

    key: str
    label: str
    pointer: Pointer
    radios: tuple[Radio, ...]
    link: Link | None = None


class ContentionDomain(Struct, frozen=True):
    """A contender and all that it shares air with, itself among them, in the file's order."""

    centre: Contender
    contenders: tuple[Contender, ...]

    @property
    def radios(self) -> tuple[Radio, ...]:
        """Return the radios that take part, once each."""
        found = {
            radio.pointer: radio for contender in self.contenders for radio in contender.radios
        }
        return tuple(found.values())

    @property
    def key(self) -> str:
        """Return what reports call it: by the radio or the link in its centre."""
        return f"airs/{self.centre.key.partition('/')[2]}"


def contenders(w: Workings) -> Mapping[str, Contender]:
    """Return every contender by key: radios with clients in the file's order, then radio links.

    A radio that may serve clients is one, and has a load once it is known that it does.
    Links that carry no traffic as the site stands take no turns. A link whose radio is left open
    raises `Missing`.
    """
    found = [
        Contender(f"radio/{radio.unit}/{radio.name}", _label(radio), radio.pointer, (radio,))
        for unit in w.site.units.values()
        for radio in unit.radios.values()
        if may_serve_clients(radio)
    ]
    found += [link_contender(w, link) for link in backhaul(w).values() if _takes_turns(w, link)]
    return {contender.key: contender for contender in found}


def _label(radio: Radio) -> str:
    return f"clients at {radio.unit}, {in_words(radio)}"


def _takes_turns(w: Workings, link: Link) -> bool:
    return link.over == "radio" and lower_end(w, link) is not None


def link_contender(w: Workings, link: Link) -> Contender:
    """Return the contender of a radio link."""
    return w.once(_link_contender, link.name, link)


def _link_contender(w: Workings, link: Link) -> Contender:
    return Contender(f"link/{link.name}", link.name, link.pointer, radios_of(w, link), link)


def radio_contender(w: Workings, radio: Radio) -> Contender:
    """Return the contender of a radio with its clients."""
    return w.once(contenders)[f"radio/{radio.unit}/{radio.name}"]


def conflict(w: Workings, one: Contender, other: Contender) -> bool:
    """Return whether two contenders cannot be on the air at once; raises `Missing` if unsure."""
    lacking: list[Input] = []
    for radio in one.radios:
        for beyond in other.radios:
            try:
                if must_defer(w, radio, beyond):
                    return True
            except Missing as missing:
                lacking += missing.inputs
    raise_missing(lacking)
    return False


class ConflictGraph(Struct, frozen=True):
    """For each contender those that it shares air with, itself among them, in the file's order.

    `unsure` holds the pairs that cannot be told, and what each lacks, both ways round.
    """

    near: Mapping[str, tuple[str, ...]]
    unsure: Mapping[str, Mapping[str, tuple[Input, ...]]]

    def around(self, key: str) -> tuple[str, ...]:
        """Return the contenders around one; raises `Missing` where it is open for any other."""
        raise_missing(x for inputs in self.unsure.get(key, {}).values() for x in inputs)
        return self.near[key]

    def need_among(self, keys: Iterable[str]) -> None:
        """Raise `Missing` where it is open whether two of some contenders share air."""
        if self.unsure:
            inside = frozenset(keys)
            pairs = (pair for key in inside for pair in self.unsure.get(key, {}).items())
            raise_missing(sorted({x for other, lacks in pairs if other in inside for x in lacks}))

    def settled(self) -> Iterator[str]:
        """Return the contenders of which all is known, in the file's order."""
        return (key for key in self.near if key not in self.unsure)


def conflict_graph(w: Workings) -> ConflictGraph:
    """Return which contenders share air, as far as that can be told."""
    found = list(w.once(contenders).values())
    beside: dict[str, set[str]] = {contender.key: {contender.key} for contender in found}
    lacking: dict[str, dict[str, tuple[Input, ...]]] = {}
    for one, other in _close(w, found):
        together = answer(conflict, w, one, other)
        if isinstance(together, Unknown):
            lacking.setdefault(one.key, {})[other.key] = together.inputs
            lacking.setdefault(other.key, {})[one.key] = together.inputs
        elif together:
            beside[one.key].add(other.key)
            beside[other.key].add(one.key)
    rank = {contender.key: position for position, contender in enumerate(found)}
    near = {key: tuple(sorted(keys, key=rank.__getitem__)) for key, keys in beside.items()}
    return ConflictGraph(near, lacking)


def _close(w: Workings, found: list[Contender]) -> Iterator[tuple[Contender, Contender]]:
    """Return the pairs of contenders on spectrum that may overlap, and in hearing, each once.

    Contenders are walked in the order of their lowest edge, so that far channels never meet.
    """
    edged = sorted(
        ((*_edges(w, contender), contender) for contender in found), key=lambda entry: entry[:2]
    )
    open_: list[tuple[float, Contender]] = []
    for low, high, contender in edged:
        open_ = [entry for entry in open_ if entry[0] > low]
        near = _near(w, contender)
        for _, other in open_:
            if other.key in near:
                yield other, contender
        open_.append((high, contender))


def _edges(w: Workings, contender: Contender) -> tuple[float, float]:
    """Return the lowest and highest MHz of a contender; of one that is unsettled, all there is."""
    try:
        spans = [settled_span(w, radio) for radio in contender.radios]
    except Missing:
        return 0.0, math.inf  # it may meet any other
    return min(s.low_mhz for s in spans), max(s.high_mhz for s in spans)


def conflicting(w: Workings, contender: Contender, but: Link | None = None) -> Iterator[Contender]:
    """Return the contenders of the site that conflict with one, which need not be among them.

    The contender of the link `but` is left out.
    """
    if contender is w.once(contenders).get(contender.key):
        graph = w.once(conflict_graph)
        if contender.key not in graph.unsure:
            near = (w.once(contenders)[key] for key in graph.near[contender.key])
            yield from (other for other in near if but is None or other.link is not but)
            return
    yield from _by_pairs(w, contender, but)


def conflicting_keys(w: Workings, contender: Contender) -> Iterable[str]:
    """Return the keys of the contenders of the site that conflict with one."""
    if contender is w.once(contenders).get(contender.key):
        graph = w.once(conflict_graph)
        if contender.key not in graph.unsure:
            return graph.near[contender.key]
    return [other.key for other in _by_pairs(w, contender)]


def _by_pairs(w: Workings, contender: Contender, but: Link | None = None) -> Iterator[Contender]:
    low, high = _edges(w, contender)
    edged = w.once(_edged)
    for key in sorted(_near(w, contender), key=lambda key: edged[key][0]):
        _, other_low, other_high, other = edged[key]
        meet = other_low < high and low < other_high
        if meet and (but is None or other.link is not but) and conflict(w, contender, other):
            yield other


def _edged(w: Workings) -> Mapping[str, tuple[int, float, float, Contender]]:
    """Return each contender with its position in the file and its edges, by key."""
    known = w.once(contenders)
    return {key: (at, *_edges(w, one), one) for at, (key, one) in enumerate(known.items())}


def _near(w: Workings, contender: Contender) -> frozenset[str]:
    """Return the keys of the site's contenders that a contender may conflict with."""
    band = contender.radios[0].band
    if any(radio.band != band for radio in contender.radios):
        band = None
    return w.once(_index_of_band, band, band).near(w, contender.radios)


def _index_of_band(w: Workings, band: float | None) -> ContenderIndex:
    """Return where the contenders of a band are; without one, those of all bands."""
    return contender_index(
        w,
        {
            key: one.radios
            for key, one in w.once(contenders).items()
            if band is None or any(radio.band in (band, None) for radio in one.radios)
        },
    )


def contention_domains(w: Workings) -> tuple[ContentionDomain, ...]:
    """Return every air that lies in no other, in the order of their centres in the file.

    Those of which it cannot be told who shares them are left out: see `unsettled`.
    """
    known = w.once(contenders)
    graph = w.once(conflict_graph)
    around = {key: graph.near[key] for key in graph.settled()}
    rank = {key: position for position, key in enumerate(around)}
    sets = {key: frozenset(near) for key, near in around.items()}
    told = []
    for key, near in around.items():
        mine = sets[key]
        if not any(
            mine < sets[other] or (mine == sets[other] and rank[other] < rank[key])
            for other in near
            if other != key and other in sets
        ):
            told.append(ContentionDomain(known[key], tuple(known[name] for name in near)))
    return tuple(told)


def unsettled(w: Workings) -> tuple[Input, ...]:
    """Return what is missing to tell of further airs."""
    pairs = (
        inputs for found in w.once(conflict_graph).unsure.values() for inputs in found.values()
    )
    return tuple(dict.fromkeys(x for inputs in pairs for x in inputs))


def domain_of(w: Workings, contender: Contender) -> ContentionDomain:
    """Return the air around a contender, whether or not it lies within another's."""
    known = w.once(contenders)
    near = w.once(conflict_graph).around(contender.key)
    return ContentionDomain(contender, tuple(known[key] for key in near))


def domain_around(w: Workings, contender: str) -> ContentionDomain:
    """Return the told air that a contender's own lies whole within."""
    mine = set(w.once(conflict_graph).around(contender))
    return next(
        air for air in w.once(contention_domains) if mine <= {other.key for other in air.contenders}
    )


def channel_of(radios: Iterable[Radio]) -> str:
    """Return the channels of radios in words, once each."""
    return " and ".join(dict.fromkeys(in_words(radio) for radio in radios))


def lower_radio(w: Workings, link: Link) -> Radio:
    """Return the radio that a link uses at the end farther from the primary."""
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return radio_of(w, link, lower)

"""Who shares whose air: every contender where somebody takes turns, and the airs that they make up.

A *contender* is a radio with its clients and the names that it announces, or a radio link between
two units. Two contenders conflict when either end of one hears either end of the other
(`meshlint.workings.contention.must_defer`); clients are taken to hear what their radio hears.

An *air* is a contender and all that it conflicts with. Airs overlap each other; of airs with the
same contenders, and of one that lies whole within another, only the larger is told.
"""

from __future__ import annotations

from itertools import chain, product
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.site.model import Radio
from meshlint.workings.contention.contender_index import contender_index
from meshlint.workings.contention.must_defer import must_defer, settled_span
from meshlint.workings.spectrum.channel import CHANNEL_KEYS, in_words, possible_spans
from meshlint.workings.topology.link_radios import may_be_at, meeting, radio_of
from meshlint.workings.topology.radio_use import may_serve_clients
from meshlint.workings.topology.tree import backhaul, lower_end
from meshlint.workings.unknown import (
    Input,
    Missing,
    Unknown,
    answer,
    known_of_any,
    need,
    raise_missing,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meshlint.physics.channels import Channel
    from meshlint.site.model import Link, Pointer
    from meshlint.workings.contention.contender_index import ContenderIndex
    from meshlint.workings.site_workings import Workings

HEARING = "who hears whom by carrier sense, or by declared radio links where levels lack"


class Contender(Struct, frozen=True):
    """A radio with its clients (`link` is None), or a radio link; `radios` are its unit ends.

    An end of a link that leaves its radio open is not among them: `open_ends` holds, for each such
    end, the radios that it may be, and `lacks` what would settle it.
    """

    key: str
    label: str
    pointer: Pointer
    radios: tuple[Radio, ...]
    link: Link | None = None
    open_ends: tuple[tuple[Radio, ...], ...] = ()
    lacks: tuple[Input, ...] = ()

    @property
    def ends(self) -> tuple[tuple[Radio, ...], ...]:
        """Return its ends, each as the radios that it may be; mostly one."""
        return (*((radio,) for radio in self.radios), *self.open_ends)

    @property
    def may_use(self) -> tuple[Radio, ...]:
        """Return every radio that may be an end of it."""
        return (*self.radios, *chain.from_iterable(self.open_ends))

    @property
    def units(self) -> tuple[str, ...]:
        """Return the units that it stands at."""
        if self.link is None:
            return (self.radios[0].unit,)
        return self.link.from_unit, self.link.to_unit


class ContentionDomain(Struct, frozen=True):
    """A contender and all that is known to share air with it, itself among them, in file order.

    `lacks` says what is missing to tell whether others do as well.
    """

    centre: Contender
    contenders: tuple[Contender, ...]
    lacks: tuple[Input, ...] = ()

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
    Links that carry no traffic as the site stands take no turns.
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
    units = link.from_unit, link.to_unit
    ends = [answer(radio_of, w, link, unit) for unit in units]
    radios = tuple(radio for radio in ends if not isinstance(radio, Unknown))
    return Contender(
        f"link/{link.name}",
        link.name,
        link.pointer,
        radios,
        link,
        tuple(
            meeting(w, link, unit) or may_be_at(w, link, unit) or (_unlisted(link, unit, radios),)
            for unit, end in zip(units, ends, strict=True)
            if isinstance(end, Unknown)
        ),
        tuple(x for end in ends if isinstance(end, Unknown) for x in end.inputs),
    )


def _unlisted(link: Link, unit: str, known: tuple[Radio, ...]) -> Radio:
    """Return what stands for the radio of a unit that lists none: on the other end's channel."""
    new = Radio(f"of {link.name}", unit)
    if not known:
        return new
    return replace(new, **{key: getattr(known[0], key) for key in ("band", *CHANNEL_KEYS)})


def radio_contender(w: Workings, radio: Radio) -> Contender:
    """Return the contender of a radio with its clients."""
    return w.once(contenders)[f"radio/{radio.unit}/{radio.name}"]


def conflict(w: Workings, one: Contender, other: Contender) -> bool:
    """Return whether two contenders cannot be on the air at once; raises `Missing` if unsure."""
    if not (one.open_ends or other.open_ends):
        return _radios_conflict(w, one, other)
    lacks = tuple(dict.fromkeys((*one.lacks, *other.lacks)))
    return known_of_any(product(one.ends, other.ends), lambda pair: _ends_conflict(w, *pair, lacks))


def _radios_conflict(w: Workings, one: Contender, other: Contender) -> bool:
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


def _ends_conflict(
    w: Workings, ours: tuple[Radio, ...], theirs: tuple[Radio, ...], lacks: tuple[Input, ...]
) -> bool:
    """Return whether two ends hold each other up, whichever of its radios each of them uses."""
    found = {answer(must_defer, w, *pair) for pair in product(ours, theirs)}
    if len(found) > 1 or not found <= {True, False}:
        raise Missing(*lacks)
    return True in found


class ConflictGraph(Struct, frozen=True):
    """For each contender those that it shares air with, itself among them, in the file's order.

    `unsure` holds the pairs that cannot be told, and what each lacks, both ways round.
    """

    near: Mapping[str, tuple[str, ...]]
    unsure: Mapping[str, Mapping[str, tuple[Input, ...]]]

    def around(self, key: str) -> tuple[str, ...]:
        """Return the contenders around one; raises `Missing` where it is open for any other."""
        raise_missing(self.lacks(key))
        return self.near[key]

    def lacks(self, key: str) -> tuple[Input, ...]:
        """Return what is missing to tell of every other contender whether it is around one."""
        found = (x for inputs in self.unsure.get(key, {}).values() for x in inputs)
        return tuple(dict.fromkeys(found))

    def may_be_around(self, key: str) -> tuple[str, ...]:
        """Return the contenders around one and all of which that is open."""
        return (*self.near[key], *self.unsure.get(key, ()))

    def need_among(self, keys: Iterable[str]) -> None:
        """Raise `Missing` where it is open whether two of some contenders share air."""
        if self.unsure:
            inside = frozenset(keys)
            pairs = (pair for key in inside for pair in self.unsure.get(key, {}).items())
            raise_missing(sorted({x for other, lacks in pairs if other in inside for x in lacks}))


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
    """Return the lowest and highest MHz that a contender may be on."""
    spans = [found for radio in contender.may_use for found in _may_be_on(w, radio)]
    return min(s.low_mhz for s in spans), max(s.high_mhz for s in spans)


def _may_be_on(w: Workings, radio: Radio) -> tuple[Channel, ...]:
    found = answer(settled_span, w, radio)
    return possible_spans(radio) if isinstance(found, Unknown) else (found,)


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
    radios = contender.may_use
    band = radios[0].band
    if any(radio.band != band for radio in radios):
        band = None
    return w.once(_index_of_band, band, band).near(w, radios)


def _index_of_band(w: Workings, band: float | None) -> ContenderIndex:
    """Return where the contenders of a band are; without one, those of all bands."""
    return contender_index(
        w,
        {
            key: one.may_use
            for key, one in w.once(contenders).items()
            if band is None or any(radio.band in (band, None) for radio in one.may_use)
        },
    )


def contention_domains(w: Workings) -> tuple[ContentionDomain, ...]:
    """Return every air that lies in no other, in the order of their centres in the file."""
    graph = w.once(conflict_graph)
    rank = {key: position for position, key in enumerate(graph.near)}
    sets = {key: frozenset(graph.may_be_around(key)) for key in graph.near}
    sure = {key: frozenset(near) for key, near in graph.near.items()}
    told = []
    for key, near in graph.near.items():
        mine = sets[key]
        if not any(
            sure[key] <= sure[other]
            and (mine < sets[other] or (mine == sets[other] and _first(sure, rank, other, key)))
            for other in near
            if other != key
        ):
            told.append(domain_of(w, w.once(contenders)[key]))
    return tuple(told)


def _first(
    sure: Mapping[str, frozenset[str]], rank: Mapping[str, int], one: str, other: str
) -> bool:
    """Return whether of two airs that may be the same the first is told: more known, or earlier."""
    return (-len(sure[one]), rank[one]) < (-len(sure[other]), rank[other])


def domain_of(w: Workings, contender: Contender) -> ContentionDomain:
    """Return the air around a contender, whether or not it lies within another's."""
    known = w.once(contenders)
    graph = w.once(conflict_graph)
    near = tuple(known[key] for key in graph.near[contender.key])
    return ContentionDomain(contender, near, graph.lacks(contender.key))


def widest_domain(w: Workings, contender: Contender) -> ContentionDomain:
    """Return the air around a contender with all that may share it, as if they did."""
    known = w.once(contenders)
    around = w.once(conflict_graph).may_be_around(contender.key)
    return ContentionDomain(contender, tuple(known[key] for key in around))


def domain_around(w: Workings, contender: str) -> ContentionDomain:
    """Return the told air that a contender's own lies whole within."""
    graph = w.once(conflict_graph)
    mine, widest = set(graph.near[contender]), set(graph.may_be_around(contender))
    return next(
        air
        for air in w.once(contention_domains)
        if mine <= {other.key for other in air.contenders}
        and widest <= set(graph.may_be_around(air.centre.key))
    )


def channel_of(radios: Iterable[Radio]) -> str:
    """Return the channels of radios in words, once each."""
    return " and ".join(dict.fromkeys(in_words(radio) for radio in radios))


def lower_radio(w: Workings, link: Link) -> Radio:
    """Return the radio that a link uses at the end farther from the primary."""
    lower = need(lower_end(w, link), (*link.pointer, "role"), "traffic that uses this link")
    return radio_of(w, link, lower)

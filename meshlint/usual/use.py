"""Which radios a link uses and what a radio carries, where the file leaves it to the units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from meshlint.workings.governance.usual_ranges import UsualRange

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meshlint.site.model import Link, Pointer, Radio, Site, Unit

_ANY_BAND: Final = "5 or 6 GHz, where both ends have it"
_BOTH: Final = "clients and backhaul"
_PRACTICE: Final = "common practice: units take 2.4 GHz for backhaul only where nothing else joins"

OF_A_LINK: Final = {
    key: UsualRange(
        f"backhaul.*.{key}",
        "the radio that the link uses",
        _ANY_BAND,
        _ANY_BAND,
        _ANY_BAND,
        "",
        _PRACTICE,
    )
    for key in ("from_radio", "to_radio")
}

OF_A_RADIO: Final = UsualRange(
    "units.*.radios.*.carries",
    "what the radio carries",
    _BOTH,
    _BOTH,
    "backhaul alone, where another radio serves clients",
    "",
    "common practice: one radio serves both, or a third one is kept for backhaul",
)

_HIGH = 2 / 3


def open_use(site: Site) -> Iterator[tuple[Pointer, UsualRange]]:
    """Yield every input about the use of radios that the file leaves open."""
    for link in (site.backhaul or {}).values():
        if _is_open(site, link):
            for key, range_ in OF_A_LINK.items():
                yield (*link.pointer, key), range_
    for unit in site.units.values():
        for radio in unit.radios.values():
            if radio.carries is None:
                yield (*radio.pointer, "carries"), OF_A_RADIO


def with_use(site: Site, place: Callable[[Pointer], float]) -> Site:
    """Return the site with its links on radios, and its radios carrying something.

    `place` says for a gap where in its range the choice lies: low the lower of 5 and 6 GHz, high
    the higher, and then backhaul alone on a radio of its own.
    """
    links = {
        name: _joined(site, link, place((*link.pointer, "from_radio")))
        if _is_open(site, link)
        else link
        for name, link in (site.backhaul or {}).items()
    }
    used = {
        (unit, link.radio_at(unit))
        for link in links.values()
        for unit in (link.from_unit, link.to_unit)
    }
    units = {
        name: replace(
            unit, radios={key: _carrying(unit, r, used, place) for key, r in unit.radios.items()}
        )
        for name, unit in site.units.items()
    }
    return replace(site, units=units, backhaul=site.backhaul and links)


def _is_open(site: Site, link: Link) -> bool:
    named = link.from_radio is not None or link.to_radio is not None
    return link.over == "radio" and link.whole is None and not named and bool(_bands(site, link))


def _bands(site: Site, link: Link) -> list[float]:
    """Return the bands in which both ends have a radio for backhaul, lowest first."""
    ends = [site.units.get(unit) for unit in (link.from_unit, link.to_unit)]
    found = [
        {r.band for r in unit.radios.values() if r.band is not None and _may_join(r)}
        for unit in ends
        if unit is not None
    ]
    shared = sorted(found[0] & found[1]) if len(found) == len(ends) else []
    return [band for band in shared if band > 2.4] or shared  # noqa: PLR2004 - GHz


def _may_join(radio: Radio) -> bool:
    return radio.carries is None or "backhaul" in radio.carries


def _joined(site: Site, link: Link, place: float) -> Link:
    bands = _bands(site, link)
    band = bands[-1] if place > _HIGH else bands[0]
    names = [
        next(r.name for r in site.units[unit].radios.values() if r.band == band and _may_join(r))
        for unit in (link.from_unit, link.to_unit)
    ]
    return replace(link, from_radio=names[0], to_radio=names[1])


def _carrying(
    unit: Unit,
    radio: Radio,
    used: set[tuple[str, str | None]],
    place: Callable[[Pointer], float],
) -> Radio:
    if radio.carries is not None:
        return radio
    if (unit.name, radio.name) not in used:
        return replace(radio, carries=("clients",))
    alone = place((*radio.pointer, "carries")) > _HIGH and len(unit.radios) > 1
    return replace(radio, carries=("backhaul",) if alone else ("clients", "backhaul"))

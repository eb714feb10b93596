"""The two ends of a radio link: which radio it uses at each unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.facts import Input, Missing, Workings, need

if TYPE_CHECKING:
    from meshlint.site.model import Link, Radio


def radio_of(w: Workings, link: Link, unit: str) -> Radio:
    """Return the radio that a radio link uses at one of its units.

    The one it names, else the only radio there that carries backhaul. Raises `Missing` where the
    file leaves it open.
    """
    radios = w.site.units[unit].radios
    named = link.radio_at(unit)
    if named is not None:
        return radios[named]
    fitting = [radio for radio in radios.values() if "backhaul" in (radio.carries or ())]
    if len(fitting) == 1:
        return fitting[0]
    key = "from_radio" if unit == link.from_unit else "to_radio"
    raise Missing(Input((*link.pointer, key), f"the radio that the link uses at '{unit}'"))


def radios_of(w: Workings, link: Link) -> tuple[Radio, Radio]:
    """Return the radios at the `from` and the `to` end of a radio link."""
    return radio_of(w, link, link.from_unit), radio_of(w, link, link.to_unit)


def settings(w: Workings, link: Link) -> tuple[float | None, int | str | None, int | None]:
    """Return band, channel and width of a radio link, as its `from` end has them."""
    radio = radio_of(w, link, link.from_unit)
    for key in ("band", "channel", "width_mhz"):
        need(getattr(radio, key), (*radio.pointer, key), f"the radio's {key.removesuffix('_mhz')}")
    return radio.band, radio.channel, radio.width_mhz

"""The two ends of a radio link: which radio it uses at each unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.channels import PIECE_MHZ, ChannelError, channels
from meshlint.workings.unknown import Input, Missing, answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings


def radio_of(w: Workings, link: Link, unit: str) -> Radio:
    """Return the radio that a radio link uses at one of its units.

    The one it names, else the only radio there that carries backhaul, else the only one that may
    and can be on one channel with a radio at the other end. Raises `Missing` where the file leaves
    it open.
    """
    radios = w.site.units[unit].radios
    named = link.radio_at(unit)
    if named is not None:
        return radios[named]
    fitting = [radio for radio in radios.values() if "backhaul" in (radio.carries or ())]
    if len(fitting) != 1:
        fitting = list(meeting(w, link, unit))
    if len(fitting) == 1:
        return fitting[0]
    key = "from_radio" if unit == link.from_unit else "to_radio"
    raise Missing(Input((*link.pointer, key), f"the radio that the link uses at {unit}"))


def meeting(w: Workings, link: Link, unit: str) -> tuple[Radio, ...]:
    """Return the radios that a link may use at a unit and that can meet one at the other end."""
    theirs = may_be_at(w, link, link.far_end(unit))
    return tuple(
        one for one in may_be_at(w, link, unit) if any(_can_meet(one, other) for other in theirs)
    )


def may_be_at(w: Workings, link: Link, unit: str) -> tuple[Radio, ...]:
    """Return the radios that a link may use at a unit: the one it names, or all that may do."""
    radios = tuple(r for r in w.site.units[unit].radios.values() if may_use(link, r))
    sure = tuple(radio for radio in radios if "backhaul" in (radio.carries or ()))
    return sure if len(sure) == 1 else radios


def _can_meet(one: Radio, other: Radio) -> bool:
    return answer(ends_apart, one, other) is not True


def radios_of(w: Workings, link: Link) -> tuple[Radio, Radio]:
    """Return the radios at the `from` and the `to` end of a radio link."""
    return radio_of(w, link, link.from_unit), radio_of(w, link, link.to_unit)


def bare_units(w: Workings, link: Link) -> tuple[str, ...]:
    """Return the ends of a radio link that have no radio.

    Raises `Missing` where the file says nothing of an end's radios.
    """
    ends = [w.site.units[name] for name in (link.from_unit, link.to_unit)]
    bare = tuple(unit.name for unit in ends if unit.has_no_radio)
    unsaid = [unit for unit in ends if not unit.radios and not unit.has_no_radio]
    if unsaid and not bare:
        raise Missing(
            *(Input((*unit.pointer, "radios"), "its radios; {} for none") for unit in unsaid)
        )
    return bare


def ends_apart(ours: Radio, theirs: Radio) -> bool:
    """Return whether the two radios of a link surely do not meet: another band, another channel.

    A radio that chooses its channel itself may choose the other's. Raises `Missing` where numbers
    differ and one of them names no channel, since nobody can tell then where that radio is.
    """
    if None not in (ours.band, theirs.band) and ours.band != theirs.band:
        return True
    if not isinstance(ours.channel, int) or not isinstance(theirs.channel, int):
        return False
    if ours.channel == theirs.channel:
        return False
    for radio in (ours, theirs):
        _must_exist(radio)
    return True


def _must_exist(radio: Radio) -> None:
    if radio.band is None or not isinstance(radio.channel, int):
        return
    try:
        channels(
            radio.band,
            radio.channel,
            radio.width_mhz or PIECE_MHZ,
            second=radio.second_channel,
            block=radio.block,
        )
    except ChannelError as error:
        wanted = "a channel that exists at that width"
        raise Missing(Input((*radio.pointer, "channel"), wanted)) from error


def cannot_come_up(w: Workings, link: Link) -> bool:
    """Return whether a link surely carries nothing; False where that cannot be told."""
    if link.over != "radio":
        return False
    try:
        return bool(bare_units(w, link)) or ends_apart(*radios_of(w, link))
    except Missing:
        return False


def joined(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    """Return a radio and all that share its channel through radio links, itself first.

    One of them cannot change its channel alone. Raises `Missing` where the file leaves open
    whether a link uses one of them.
    """
    return w.once(_join, radio.pointer, radio)


def _join(w: Workings, radio: Radio) -> tuple[Radio, ...]:
    if not any(may_use(link, radio) for link in w.once(_radio_links).get(radio.unit, ())):
        return (radio,)
    found = [radio]
    known = {radio.pointer}
    for one in found:  # grows on the way
        for link in w.once(_radio_links).get(one.unit, ()):
            if may_use(link, one):
                ends = radios_of(w, link)
                if any(end.pointer == one.pointer for end in ends):
                    found += [end for end in ends if end.pointer not in known]
                    known.update(end.pointer for end in ends)
    return tuple(found)


def _radio_links(w: Workings) -> Mapping[str, tuple[Link, ...]]:
    found: dict[str, tuple[Link, ...]] = {}
    for link in (w.site.backhaul or {}).values():
        if link.over == "radio":
            for unit in {link.from_unit, link.to_unit}:
                found[unit] = (*found.get(unit, ()), link)
    return found


def may_use(link: Link, radio: Radio) -> bool:
    """Return whether a link of the radio's unit may use the radio."""
    named = link.radio_at(radio.unit)
    if named is not None:
        return named == radio.name
    return radio.carries is None or "backhaul" in radio.carries


def along_with(w: Workings, radio: Radio) -> str:
    """Return which radios must move with one, as words to put after a channel; mostly none."""
    others = joined(w, radio)[1:]
    if not others:
        return ""
    names = " and ".join(f"radio {other.name} of {other.unit}" for other in others)
    return f", together with {names} at the other end of its backhaul"

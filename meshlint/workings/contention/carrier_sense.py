"""Which of the site's own radios would hear each other if they were on the same spectrum."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.physics.noise import carrier_sense_dbm
from meshlint.workings.propagation.received_level import received_dbm
from meshlint.workings.unknown import Input, Missing, need

if TYPE_CHECKING:
    from meshlint.site.model import Radio
    from meshlint.workings.site_workings import Workings

HEARING = "level by the path loss model of the site, carrier sense of IEEE 802.11-2020 17.3.10.6"


def within_carrier_sense(w: Workings, one: Radio, other: Radio) -> bool:
    """Return whether either of two radios of a band reaches the other at carrier sense.

    This is about two radios wherever their channels are: it says who would have to take turns if
    they shared one. Raises `Missing` where neither way round is known to reach and one is open.
    """
    known = w.once(_answers)
    ours, theirs = (one.unit, one.name), (other.unit, other.name)
    key = (ours, theirs) if ours < theirs else (theirs, ours)
    answer = known.get(key)
    if answer is None:
        answer = known[key] = _by_levels(w, one, other)
    if isinstance(answer, tuple):
        raise Missing(*answer)
    return answer


def _answers(
    _: Workings,
) -> dict[tuple[tuple[str, str], tuple[str, str]], bool | tuple[Input, ...]]:
    return {}


def _by_levels(w: Workings, one: Radio, other: Radio) -> bool | tuple[Input, ...]:
    lacking: list[Input] = []
    for speaker, listener in ((one, other), (other, one)):
        try:
            level_dbm = received_dbm(w, speaker, listener)
            where = (*speaker.pointer, "width_mhz")
            width_mhz = need(speaker.width_mhz, where, "the channel's width")
        except Missing as missing:
            lacking.extend(missing.inputs)
            continue
        if level_dbm >= carrier_sense_dbm(width_mhz):
            return True
    return tuple(dict.fromkeys(lacking)) if lacking else False

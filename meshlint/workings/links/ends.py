"""What a link has at its two ends, and what it takes from clients."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.spectrum.channel import in_words
from meshlint.workings.topology.link_radios import bare_units, ends_apart, radio_of, radios_of
from meshlint.workings.topology.radio_use import serves_clients
from meshlint.workings.unknown import Input, Missing, as_known, need, raise_missing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Link, Radio
    from meshlint.workings.site_workings import Workings


@fact("link.channel", Kind.TEXT, "the backhaul channel in words", source=STATED)
def channel(w: Workings, link: Link) -> str:
    return in_words(radio_of(w, link, link.from_unit))


@fact("link.disagreements", Kind.TEXTS, "in what the two ends differ", source="IEEE 802.11")
def disagreements(w: Workings, link: Link) -> tuple[str, ...]:
    """Return each difference in words, a unit without any radio first.

    Two settings are compared only where both are stated; where they agree as far as they go and
    one is missing, the answer is unknown.
    """
    bare = bare_units(w, link)
    if bare:
        return tuple(f"{unit} has no radio" for unit in bare)
    ours, theirs = radios_of(w, link)
    ends_apart(ours, theirs)  # a number that names no channel can differ from none
    found = tuple(_differences(ours, theirs))
    if not found:
        for radio in (ours, theirs):
            for key in ("band", "channel", "width_mhz"):
                need(
                    getattr(radio, key),
                    (*radio.pointer, key),
                    f"the radio's {key.removesuffix('_mhz')}",
                )
    return found


def _differences(ours: Radio, theirs: Radio) -> Iterator[str]:
    for key, shown in (("band", "{:g} GHz"), ("channel", "channel {}"), ("width_mhz", "{} MHz")):
        a, b = getattr(ours, key), getattr(theirs, key)
        if a is not None and b is not None and a != b:
            yield (f"{shown.format(a)} at {ours.unit} and {shown.format(b)} at {theirs.unit}")
            return
    if ours.channel == theirs.channel and isinstance(ours.channel, int):
        for key in ("second_channel", "block"):
            a, b = getattr(ours, key), getattr(theirs, key)
            if a is not None and b is not None and a != b:
                yield f"{key} {a} at {ours.unit} and {b} at {theirs.unit}"


@fact(
    "link.ends_meet",
    Kind.TRUTH,
    "whether both ends have a radio on the same band and first 20 MHz channel",
    source="IEEE 802.11",
)
def ends_meet(w: Workings, link: Link) -> bool:
    if bare_units(w, link):
        return False
    ours, theirs = radios_of(w, link)
    if ends_apart(ours, theirs):
        return False
    if ours.channel != theirs.channel and "auto" in (ours.channel, theirs.channel):
        chooser = ours if ours.channel == "auto" else theirs
        raise Missing(Input((*chooser.pointer, "channel"), "a fixed channel instead of auto"))
    for radio in (ours, theirs):
        for key in ("band", "channel"):
            need(
                getattr(radio, key),
                (*radio.pointer, key),
                f"the radio's {key.removesuffix('_mhz')}",
            )
    return True


@fact(
    "link.shared_with_clients",
    Kind.TEXTS,
    "units whose backhaul radio serves clients as well",
    source=STATED,
)
def shared_with_clients(w: Workings, link: Link) -> tuple[str, ...]:
    ends = radios_of(w, link)
    shared, lacking = as_known(ends, lambda radio: (radio.unit, serves_clients(w, radio)))
    found = tuple(unit for unit, serves in shared if serves)
    if not found:
        raise_missing(lacking)
    return found

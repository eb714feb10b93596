"""Channel numbers and widths as spans of spectrum, at 2.4, 5 and 6 GHz.

Numbering follows IEEE 802.11-2020 (15.4.4.3, 17.3.8.4.3, 21.3.14: from memory), IEEE 802.11ax-2021
(27.3.23.2 and Table E-4, operating classes 131 to 136) and IEEE P802.11be/D5.0 (Table E-4,
operating class 137). The last two are cited from the Linux kernel and hostap sources, which carry
the same tables; the standard itself was not read.

A channel is stated as people set it: the number of its first (primary) 20 MHz channel and its
width. The 4.9 GHz channels of Japan (182 to 196) are left out.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Literal, NamedTuple, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

TWO_FOUR_GHZ, FIVE_GHZ, SIX_GHZ = 2.4, 5.0, 6.0
PIECE_MHZ = 20

# The centre numbers of every channel of a band, by width. IEEE 802.11-2020 Table E-4 (5 GHz),
# IEEE 802.11ax-2021 Table E-4 (6 GHz; 2 is operating class 136), IEEE 802.11be Table E-4 (320 MHz).
CENTRES: Mapping[float, Mapping[int, tuple[int, ...]]] = {
    TWO_FOUR_GHZ: {20: tuple(range(1, 15)), 40: tuple(range(3, 12))},
    FIVE_GHZ: {
        20: (*range(36, 65, 4), *range(100, 145, 4), *range(149, 178, 4)),
        40: (*range(38, 63, 8), *range(102, 143, 8), *range(151, 176, 8)),
        80: (42, 58, 106, 122, 138, 155, 171),
        160: (50, 114, 163),
    },
    SIX_GHZ: {
        20: (1, 2, *range(5, 234, 4)),
        40: tuple(range(3, 228, 8)),
        80: tuple(range(7, 216, 16)),
        160: tuple(range(15, 208, 32)),
        320: tuple(range(31, 192, 32)),
    },
}

_CLASS_136_NUMBER = 2  # the one 6 GHz channel below the rest of its band
_NEAREST_SHOWN = 2
_CHANNEL_14 = 14  # the one 2.4 GHz channel off the 5 MHz grid


class Span(NamedTuple):
    """A stretch of spectrum in MHz; the edges belong to it."""

    low_mhz: float
    high_mhz: float


class SpanLike(Protocol):
    """Anything with two edges in MHz."""

    @property
    def low_mhz(self) -> float: ...  # noqa: D102
    @property
    def high_mhz(self) -> float: ...  # noqa: D102


class ChannelError(ValueError):
    """A number and width that name no channel; the message says what would."""


class Channel(Struct, frozen=True):
    """One channel at one width.

    `number` is the first (primary) 20 MHz channel as people set it, `centre_number` the number of
    the middle of the whole span, `members` the 20 MHz channels inside it in rising order (at
    2.4 GHz and 40 MHz the two halves), `pieces` their spans.
    """

    band: float
    number: int
    width_mhz: int
    centre_number: int
    low_mhz: float
    high_mhz: float
    members: tuple[int, ...]
    pieces: tuple[Span, ...]

    def __hash__(self) -> int:
        """Hash by what names the channel; everything else follows from it."""
        return hash((self.band, self.number, self.width_mhz, self.centre_number))

    @property
    def centre_mhz(self) -> float:
        """The middle of the span in MHz."""
        return (self.low_mhz + self.high_mhz) / 2

    @property
    def span(self) -> Span:
        """The whole span."""
        return Span(self.low_mhz, self.high_mhz)


def centre_frequency_mhz(band: float, number: int) -> float:
    """Return the frequency in MHz that a channel or centre number stands for.

    2407 + 5 n at 2.4 GHz (channel 14 is 2484), 5000 + 5 n at 5 GHz, 5950 + 5 n at 6 GHz (channel 2
    is 5935). Source: IEEE 802.11-2020 15.4.4.3 and 17.3.8.4.2 (from memory) and IEEE 802.11ax-2021
    27.3.23.2, as carried by the Linux kernel's net/wireless/util.c.
    """
    if band == TWO_FOUR_GHZ:
        return 2484.0 if number == _CHANNEL_14 else 2407.0 + 5 * number
    if band == FIVE_GHZ:
        return 5000.0 + 5 * number
    return 5935.0 if number == _CLASS_136_NUMBER else 5950.0 + 5 * number


def overlap_mhz(a: SpanLike, b: SpanLike) -> float:
    """Return the width in MHz that two spans have in common; spans that only touch have none."""
    return max(0.0, min(a.high_mhz, b.high_mhz) - max(a.low_mhz, b.low_mhz))


def common_span(a: SpanLike, b: SpanLike) -> Span | None:
    """Return what two spans have in common, None where they only touch or lie apart."""
    if overlap_mhz(a, b) == 0:
        return None
    return Span(max(a.low_mhz, b.low_mhz), min(a.high_mhz, b.high_mhz))


def members(band: float, centre_number: int, width_mhz: int) -> tuple[int, ...]:
    """Return the numbers of the 20 MHz channels inside the channel with this centre number."""
    reach = (width_mhz // PIECE_MHZ - 1) * 2
    inside = tuple(range(centre_number - reach, centre_number + reach + 1, 4))
    return inside if width_mhz in CENTRES[band] else ()


@cache
def channels(
    band: float,
    number: int,
    width_mhz: int,
    *,
    second: Literal["above", "below"] | None = None,
    block: Literal[1, 2] | None = None,
) -> tuple[Channel, ...]:
    """Return every channel that a statement can mean, in rising order of frequency.

    Nearly always one. Several where number and width leave the span open: 40 MHz at 2.4 GHz
    without `second`, 320 MHz at 6 GHz without `block` (IEEE 802.11be numbers two overlapping sets
    of 320 MHz channels, here block 1 with centres 31, 95, 159 and block 2 with 63, 127, 191).

    Raises `ChannelError` with a message that says what is wrong and what exists instead.
    """
    band = _known_band(band)
    _check_number(band, number)
    _check_width(band, width_mhz)
    if block is not None and width_mhz != 320:  # noqa: PLR2004
        raise ChannelError(f"only 320 MHz channels have a block, and this one is {width_mhz} MHz")
    if second is not None and width_mhz == PIECE_MHZ:
        raise ChannelError(f"a {PIECE_MHZ} MHz channel has no second channel {second} it")
    candidates = tuple(
        _channel(band, number, width_mhz, centre)
        for centre in CENTRES[band][width_mhz]
        if number in members(band, centre, width_mhz)
    )
    if not candidates:
        raise ChannelError(_no_such_width(band, number, width_mhz))
    chosen = tuple(
        c
        for c in candidates
        if (second is None or _second_lies(c) == second)
        and (block is None or _block(c.centre_number) == block)
    )
    if not chosen:
        raise ChannelError(_contradiction(candidates[0], second))
    return chosen


@cache
def all_channels(band: float, width_mhz: int) -> tuple[Channel, ...]:
    """Return every distinct channel of a band at a width, each named by its lowest member.

    Empty where the band has no channel of that width. Raises `ChannelError` for an unknown band.
    """
    band = _known_band(band)
    made = (
        _channel(band, members(band, centre, width_mhz)[0], width_mhz, centre)
        for centre in CENTRES[band].get(width_mhz, ())
    )
    return tuple(sorted(made, key=lambda c: c.low_mhz))


def _channel(band: float, number: int, width_mhz: int, centre: int) -> Channel:
    middle = centre_frequency_mhz(band, centre)
    low = middle - width_mhz / 2
    count = width_mhz // PIECE_MHZ
    pieces = tuple(Span(low + PIECE_MHZ * i, low + PIECE_MHZ * (i + 1)) for i in range(count))
    inside = members(band, centre, width_mhz)
    return Channel(band, number, width_mhz, centre, low, middle + width_mhz / 2, inside, pieces)


def _known_band(band: float) -> float:
    for known in CENTRES:
        if band == known:
            return known
    raise ChannelError(f"there is no {band:g} GHz band here; the bands are 2.4, 5 and 6")


def _check_number(band: float, number: int) -> None:
    """Refuse a number that is no 20 MHz channel of the band."""
    singles = CENTRES[band][PIECE_MHZ]
    if number in singles:
        return
    for width, centres in CENTRES[band].items():
        if number in centres:
            raise ChannelError(
                f"{number} is the centre of {_a(width)} MHz channel; did you mean "
                f"{_or(members(band, number, width))}?"
            )
    elsewhere = [f"{b:g}" for b, by_width in CENTRES.items() if number in by_width[PIECE_MHZ]]
    close = sorted(sorted(singles), key=lambda n: abs(n - number))[:_NEAREST_SHOWN]
    nearest = f"the nearest at {band:g} GHz are {_and(sorted(close))}"
    if elsewhere:
        raise ChannelError(
            f"channel {number} is a {_or(elsewhere)} GHz channel, not a {band:g} GHz one; {nearest}"
        )
    for other, by_width in CENTRES.items():
        for width, centres in by_width.items():
            if number in centres:
                raise ChannelError(
                    f"{number} is no {band:g} GHz channel; at {other:g} GHz it is the centre of "
                    f"{_a(width)} MHz channel; {nearest}"
                )
    raise ChannelError(f"there is no channel {number} at {band:g} GHz; {nearest}")


@cache
def tuned(band: float, runs: tuple[int | str, ...]) -> frozenset[int]:
    """Return the 20 MHz channels of a band that single numbers and runs like `36-64` name."""
    ends = [tuple(map(int, str(run).split("-"))) for run in runs]
    return frozenset(
        number
        for number in CENTRES[band][PIECE_MHZ]
        if any(run[0] <= number <= run[-1] for run in ends)
    )


def _check_width(band: float, width_mhz: int) -> None:
    """Refuse a width that the band does not have."""
    widths = CENTRES[band]
    if width_mhz in widths:
        return
    elsewhere = [f"{b:g}" for b, by_width in CENTRES.items() if width_mhz in by_width]
    hint = f" ({width_mhz} MHz exists at {_or(elsewhere)} GHz)" if elsewhere else ""
    raise ChannelError(
        f"there are no {width_mhz} MHz channels at {band:g} GHz; "
        f"the widths there are {_or(widths)} MHz{hint}"
    )


def _no_such_width(band: float, number: int, width_mhz: int) -> str:
    """Say how wide the channel can be, and which channels have the width asked for."""
    widest, centre = max(
        (width, centre)
        for width, centres in CENTRES[band].items()
        for centre in centres
        if number in members(band, centre, width)
    )
    inside = members(band, centre, widest)
    joined = f" (with {_and([n for n in inside if n != number])})" if len(inside) > 1 else ""
    near = sorted(CENTRES[band][width_mhz], key=lambda c: abs(c - number))[:_NEAREST_SHOWN]
    exist = [f"{inside[0]} to {inside[-1]}" for inside in _all_members(band, near, width_mhz)]
    return (
        f"channel {number} is part of no {width_mhz} MHz channel; the widest it can be is "
        f"{widest} MHz{joined}, and the nearest {width_mhz} MHz channels are {_and(exist)}"
    )


def _contradiction(channel: Channel, second: str | None) -> str:
    """Say what number and width already settle."""
    if second is not None:
        lies = _second_lies(channel)
        return (
            f"the second channel of {channel.number} at {channel.width_mhz} MHz lies {lies} it, "
            f"never {second}"
        )
    block = _block(channel.centre_number)
    first, last = channel.members[0], channel.members[-1]
    return (
        f"channel {channel.number} is in no 320 MHz channel of block {3 - block}; "
        f"in block {block} it is ({first} to {last})"
    )


def _second_lies(channel: Channel) -> Literal["above", "below"]:
    """Where the 20 MHz channel lies that makes up the first 40 MHz with the primary one."""
    position = channel.members.index(channel.number)
    return "above" if position % 2 == 0 else "below"


def _block(centre_number: int) -> Literal[1, 2]:
    return 1 if centre_number % 64 == 31 else 2  # noqa: PLR2004


def _all_members(
    band: float, centres: Iterable[int], width_mhz: int
) -> tuple[tuple[int, ...], ...]:
    return tuple(members(band, centre, width_mhz) for centre in sorted(centres))


def _a(width_mhz: int) -> str:
    return f"an {width_mhz}" if width_mhz == 80 else f"a {width_mhz}"  # noqa: PLR2004


def _or(items: Iterable[object]) -> str:
    return _listed(items, "or")


def _and(items: Iterable[object]) -> str:
    return _listed(items, "and")


def _listed(items: Iterable[object], word: str) -> str:
    *most, last = map(str, items)
    return f"{', '.join(most)} {word} {last}" if most else last

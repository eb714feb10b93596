"""What a country's law allows: spans, widths, power and radar duty.

The table is generated from the Linux wireless regulatory database (`meshlint.law.decode` makes it;
`data/NOTICE-wireless-regdb.txt` holds its licence) and read as the kernel's net/wireless/reg.c
reads it:

- a channel is judged by its 20 MHz pieces, each by the first rule that holds it whole;
- a piece across two rules that meet exactly is allowed, with the flags of both, the lower power and
  the narrower width;
- the width of a rule marked `auto-width` grows over the run of rules that adjoin it.

Some edges in the database are stretched by 5 MHz so that channel 144 fits, others stand at a
channel's edge and not the band's, so no edge of a rule is printed as a legal limit: messages name
channel pieces. This is engineering reference and not legal advice.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, get_args

from msgspec import Raw, Struct, json

from meshlint.law.classes import (
    DEMANDS,
    FCC_CODES,
    SIX_GHZ_SPAN,
    AccessPointClass,
    PowerClass,
    class_at,
    off_record,
)
from meshlint.physics.channels import PIECE_MHZ, SIX_GHZ, Channel, Span, overlap_mhz

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

Region: TypeAlias = Literal["unset", "FCC", "ETSI", "JP"]
Flag: TypeAlias = Literal["no-ofdm", "no-outdoor", "radar", "no-initiate", "auto-width"]

REGIONS: tuple[Region, ...] = get_args(Region)
FLAGS: tuple[Flag, ...] = get_args(Flag)


class _ClosedOutdoors(Struct, frozen=True):
    """A span that is closed outdoors, and whether registration of the radio opens it there."""

    span: Span
    why: str
    opened_by_registration: bool = False


# Spans that are closed outdoors although the database has no flag there. Japan, MIC page "outdoor
# use of wireless LAN", table 1 (seen); notification 223 of 29 June 2018 (second-hand).
_CLOSED_OUTDOORS: Mapping[str, tuple[_ClosedOutdoors, ...]] = {
    "JP": (
        _ClosedOutdoors(
            Span(5150, 5250),
            "outdoors it takes a radio registered beforehand with the regional bureau",
            opened_by_registration=True,
        ),
        _ClosedOutdoors(Span(5250, 5350), "indoors only"),
    ),
}

# The rest of the 2.4 GHz band, which the table leaves out in the FCC's countries. It is no offence
# to use it at power reduced so far that nothing is left above 2483.5 MHz (47 CFR 15.205, 15.247(d);
# FCC laboratory notice on channels 12 and 13, July 2013; second-hand).
_AT_REDUCED_POWER = Span(2400, 2483.5)


class Rule(Struct, frozen=True):
    """One span of a country: widest channel, highest radiated power, duties.

    `check_s` is the availability check that the database states, 0 where it states none (every
    rule of the release in use).
    """

    low_mhz: float
    high_mhz: float
    max_width_mhz: float
    max_eirp_dbm: float
    flags: frozenset[Flag]
    check_s: int = 0


class Country(Struct, frozen=True):
    """A country's rules in the database's order, which decides where rules overlap."""

    code: str
    dfs_region: Region
    rules: tuple[Rule, ...]

    def __hash__(self) -> int:
        """Hash by the code, which tells countries apart; the rules are many and slow to hash."""
        return hash(self.code)


class Unsettled(Struct, frozen=True):
    """What hangs on a property of the radio that is not stated or on record: which, and why."""

    hangs_on: Literal["power_class", "registered"]
    why: str


class Permission(Struct, frozen=True):
    """Whether an access point may use a channel.

    `reasons` say why not, `notes` what a permission rests on; both are plain sentences without a
    full stop. With `outdoors=None` the answer is the one for indoors, and `indoor_only` says that
    it would be another outdoors. `unsettled` says why that cannot be told, and is empty where it
    can: such a channel is not allowed outdoors, and not known to be unlawful there. `max_eirp_dbm`
    is the table's figure (`meshlint.law.power` gives the access point's limit), None where a piece
    is closed. `radar_pieces` are the 20 MHz pieces with radar duty. `only_for` is the class of
    access point that alone may start a network there, for other equipment may only join one.
    `at_reduced_power`: the table leaves the channel out, and less power makes it lawful.
    """

    allowed: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    indoor_only: bool
    max_eirp_dbm: float | None
    radar_pieces: tuple[Span, ...]
    unsettled: Unsettled | None = None
    only_for: PowerClass | None = None
    at_reduced_power: bool = False


class _SpectrumPiece(Struct, frozen=True):
    """A 20 MHz piece and what the rules that hold it say; no rule holds a closed piece."""

    number: int
    span: Span
    rules: tuple[Rule, ...]
    max_width_mhz: float

    def has(self, flag: Flag) -> bool:
        return any(flag in rule.flags for rule in self.rules)


@cache
def countries() -> Mapping[str, Country]:
    """Return the whole table by country code; `00` holds what is common to the world."""
    return {code: _country(code, row) for code, row in _rows().items()}


@cache
def country(code: str) -> Country | None:
    """Return the rules of a country (ISO 3166-1 alpha-2), None where the table has none."""
    row = _rows().get(code)
    return None if row is None else _country(code, row)


class _Table(Struct):
    countries: dict[str, Raw]
    """Each still as text: a site is in one of two hundred."""


@cache
def _rows() -> dict[str, Raw]:
    text = (Path(__file__).with_name("data") / "regulatory.json").read_bytes()
    return json.decode(text, type=_Table).countries


def _country(code: str, text: Raw) -> Country:
    row = json.decode(text)
    return Country(code, row["region"], tuple(_rule(r) for r in row["rules"]))


@cache
def permission(
    law: Country,
    channel: Channel,
    outdoors: bool | None,  # noqa: FBT001
    power_class: PowerClass | None = None,
    registered: bool | None = None,  # noqa: FBT001
) -> Permission:
    """Judge whether an access point may use a channel, piece by piece as the kernel does.

    `power_class` matters where the law has classes of access point (`meshlint.law.classes`); None
    is judged as `low-indoor`. Spans marked `no-initiate` are closed to access points unless such
    a class opens them. `registered` says whether the radio is registered with the regulator, which
    opens some spans outdoors; None where nobody says.
    """
    pieces = _pieces(law, channel)
    is_open = all(p.rules for p in pieces)
    known = _judged_class(law, channel, power_class) if is_open else None
    unsettled = None
    if channel.band == SIX_GHZ and known is not None:
        placed = _class_reasons(law, channel, known, outdoors=outdoors)
        indoor_only = not known.outdoors
    else:
        placed, indoor_only, unsettled = _outdoor_reasons(
            law, channel, pieces, outdoors=outdoors, registered=registered
        )
    if channel.band == SIX_GHZ and indoor_only and (why := off_record(law.code, power_class)):
        unsettled = Unsettled("power_class", why)
        placed = (why,) if outdoors else ()
    reasons = (*_open_reasons(law, channel, pieces, known), *placed)
    started = any(p.has("no-initiate") for p in pieces)
    return Permission(
        allowed=not reasons,
        reasons=reasons,
        notes=_notes(law, channel, pieces, known, power_class),
        indoor_only=indoor_only,
        max_eirp_dbm=min(r.max_eirp_dbm for p in pieces for r in p.rules) if is_open else None,
        radar_pieces=tuple(p.span for p in pieces if p.has("radar")),
        unsettled=unsettled,
        only_for=known.name if known is not None and started else None,
        at_reduced_power=_at_reduced_power(law, pieces),
    )


def _at_reduced_power(law: Country, pieces: tuple[_SpectrumPiece, ...]) -> bool:
    """Say whether what the table leaves out of a channel is lawful at reduced power."""
    closed = [p for p in pieces if not p.rules]
    held = (overlap_mhz(p.span, _AT_REDUCED_POWER) == PIECE_MHZ for p in closed)
    return law.code in FCC_CODES and bool(closed) and all(held)


def _pieces(law: Country, channel: Channel) -> tuple[_SpectrumPiece, ...]:
    return tuple(
        _piece(law, number, span)
        for number, span in zip(channel.members, channel.pieces, strict=True)
    )


def rules_by_piece(law: Country, channel: Channel) -> tuple[tuple[Span, tuple[Rule, ...]], ...]:
    """Return the 20 MHz pieces of a channel, each with the rules by which it is judged."""
    return tuple((piece.span, piece.rules) for piece in _pieces(law, channel))


def _judged_class(
    law: Country, channel: Channel, power_class: PowerClass | None
) -> AccessPointClass | None:
    """Return the class to judge by; one that exists elsewhere in 6 GHz does not open this span."""
    name = power_class or "low-indoor"
    known = class_at(law.code, name, channel)
    if known is None and channel.band == SIX_GHZ:
        return class_at(law.code, name, SIX_GHZ_SPAN)
    return known


def _rule(row: list[Any]) -> Rule:
    low, high, width, eirp = map(float, row[:4])
    return Rule(low, high, width, eirp, frozenset(row[4]), *row[5:])


def _piece(law: Country, number: int, span: Span) -> _SpectrumPiece:
    """Find the rules that hold a piece: the first that holds it whole, else two that meet."""
    indices = _holding(law.rules, span)
    width = min((_width_mhz(law.rules, i) for i in indices), default=0.0)
    return _SpectrumPiece(number, span, tuple(law.rules[i] for i in indices), width)


def _holding(rules: tuple[Rule, ...], span: Span) -> tuple[int, ...]:
    for i, rule in enumerate(rules):
        if rule.low_mhz <= span.low_mhz and span.high_mhz <= rule.high_mhz:
            return (i,)
    for i, lower in enumerate(rules):
        for j, upper in enumerate(rules):
            meet = lower.high_mhz == upper.low_mhz
            if meet and lower.low_mhz <= span.low_mhz and span.high_mhz <= upper.high_mhz:
                return (i, j)
    return ()


def _width_mhz(rules: tuple[Rule, ...], index: int) -> float:
    """Return the widest channel under a rule, grown over its neighbours where it says so."""
    rule = rules[index]
    if "auto-width" not in rule.flags:
        return rule.max_width_mhz
    low, high = rule.low_mhz, rule.high_mhz
    for before in reversed(rules[:index]):
        if before.high_mhz < low:
            break
        low = before.low_mhz
    for after in rules[index + 1 :]:
        if after.low_mhz > high:
            break
        high = after.high_mhz
    return high - low


def _open_reasons(
    law: Country,
    channel: Channel,
    pieces: tuple[_SpectrumPiece, ...],
    known: AccessPointClass | None,
) -> tuple[str, ...]:
    """Say what keeps the channel closed wherever the unit stands."""
    closed = [p for p in pieces if not p.rules]
    old_only = [p for p in pieces if p.has("no-ofdm")]
    narrow = [p for p in pieces if p.rules and p.max_width_mhz < channel.width_mhz]
    listening = [p for p in pieces if p.has("no-initiate") and known is None]
    reasons = []
    if _at_reduced_power(law, pieces):
        reasons.append(
            f"{_named(channel, closed)} lawful in {law.code} only at reduced power, and the table "
            "leaves it out for that (47 CFR 15.205 and 15.247(d), second-hand)"
        )
    elif closed:
        reasons.append(f"{_named(channel, closed)} not open to Wi-Fi in {law.code}")
    if old_only:
        reasons.append(
            f"{_named(channel, old_only)} open in {law.code} to the oldest modulation only "
            "(DSSS and CCK, no OFDM)"
        )
    if narrow:
        widest = min(p.max_width_mhz for p in narrow)
        reasons.append(
            f"{_named(channel, narrow)} open in {law.code} to channels of at most "
            f"{_usable_width(widest)} MHz, not {channel.width_mhz} MHz"
        )
    if listening:
        reasons.append(
            f"{_named(channel, listening)} open in {law.code} only to equipment that joins a "
            "network already on the air, so no access point may start one there"
        )
    return tuple(reasons)


def _outdoor_reasons(
    law: Country,
    channel: Channel,
    pieces: tuple[_SpectrumPiece, ...],
    *,
    outdoors: bool | None,
    registered: bool | None,
) -> tuple[tuple[str, ...], bool, Unsettled | None]:
    """Say what closes the channel outdoors, whether anything does, and whether that is settled."""
    reasons = []
    unsettled = None
    if any(p.has("no-outdoor") for p in pieces):
        marked = [p.number for p in pieces if p.has("no-outdoor")]
        reasons.append(
            f"{_channels(marked)} may be used indoors only in {law.code}"
            f"{_outdoor_classes(law, channel)}"
        )
    for closed in _CLOSED_OUTDOORS.get(law.code, ()):
        marked = [p.number for p in pieces if overlap_mhz(p.span, closed.span) > 0]
        if not marked or (closed.opened_by_registration and registered):
            continue
        why = f"{_channels(marked)} in {law.code}: {closed.why}"
        if closed.opened_by_registration and registered is None:
            unsettled = Unsettled("registered", why)
        reasons.append(why)
    if len(reasons) > 1:
        unsettled = None  # another reason closes it, whatever the radio is
    return (tuple(reasons) if outdoors else ()), bool(reasons), unsettled


def _class_reasons(
    law: Country, channel: Channel, known: AccessPointClass, *, outdoors: bool | None
) -> tuple[str, ...]:
    """Say what the class of access point closes at 6 GHz."""
    reasons = []
    if not known.holds(channel):
        reasons.append(
            f"channel {channel.number} at {channel.width_mhz} MHz does not lie whole inside a span "
            f"open to the {known.name} class in {law.code}"
        )
    if outdoors and not known.outdoors:
        reasons.append(
            f"the {known.name} class may not be installed outdoors at 6 GHz in {law.code}"
            f"{_outdoor_classes(law, channel)}"
        )
    return tuple(reasons)


def _outdoor_classes(law: Country, channel: Channel) -> str:
    """Name the classes that may use a channel outdoors, as the end of a sentence."""
    names: tuple[PowerClass, ...] = ("standard", "very-low")
    found = (c for name in names if (c := class_at(law.code, name, channel)))
    ways = [f"{c.name} ({DEMANDS[c.name]})" for c in found if c.outdoors and c.holds(channel)]
    return f"; a class that may stand outdoors is {' or '.join(ways)}" if ways else ""


def _notes(
    law: Country,
    channel: Channel,
    pieces: tuple[_SpectrumPiece, ...],
    known: AccessPointClass | None,
    power_class: PowerClass | None,
) -> tuple[str, ...]:
    """Say what the answer rests on."""
    notes = []
    across = [p.number for p in pieces if len(p.rules) > 1]
    if across:
        notes.append(
            f"{_channels(across)} reaches across two rules of {law.code} that meet; they are read "
            "as one with the duties of both, a stricter reading would not allow it"
        )
    if known is not None:
        stated = "" if power_class else "; no class is stated, judged as low-indoor"
        notes.append(
            f"the {known.name} class demands: {DEMANDS[known.name]}{stated} ({known.source})"
        )
    elif power_class not in {None, "low-indoor"} and channel.band == SIX_GHZ:
        notes.append(
            f"nothing is on record about the {power_class} class in {law.code}; judged by the "
            "country's common figures"
        )
    return tuple(notes)


def _named(channel: Channel, pieces: Sequence[_SpectrumPiece]) -> str:
    """Name pieces by their middle frequency and channel number, with the verb that follows."""
    numbers = [p.number for p in pieces]
    if channel.width_mhz == PIECE_MHZ:
        return f"channel {numbers[0]} is"
    low, high = pieces[0].span.low_mhz, pieces[-1].span.high_mhz
    if len(pieces) == 1:
        return f"the 20 MHz piece at {low + PIECE_MHZ / 2:g} MHz (channel {numbers[0]}) is"
    if high - low == PIECE_MHZ * len(pieces):
        return f"the pieces from {low:g} to {high:g} MHz ({_channels(numbers)}) are"
    return f"the pieces of {_channels(numbers)} are"


def _channels(numbers: Sequence[int]) -> str:
    *most, last = map(str, numbers)
    return f"channels {', '.join(most)} and {last}" if most else f"channel {last}"


def _usable_width(widest_mhz: float) -> int:
    """Return the widest width that channels have within a limit; 0 below a single channel."""
    widths: Iterable[int] = (320, 160, 80, 40, 20)
    return next((w for w in widths if w <= widest_mhz), 0)

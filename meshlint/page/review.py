"""What the page says to a reviewer: findings, every unit and link, channels, what stays open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from meshlint.lint.finding import wanted_by

if TYPE_CHECKING:
    from meshlint.lint.finding import Finding, SiteResult, Want
    from meshlint.page.figures import Figure, Told

_GRAVITY = ("error", "warning", "note", "caution")


class Row(Struct, frozen=True):
    """One subject with its figures; `None` where a figure has no meaning for it."""

    name: str
    figures: tuple[Figure | None, ...]


class Table(Struct, frozen=True):
    """A table of figures."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]


class ReviewPart(Struct, frozen=True):
    """All that the part for the reviewer says."""

    findings: tuple[Finding, ...]
    accepted: tuple[Finding, ...]
    tables: tuple[Table, ...]
    held: int
    open: int
    wanted: tuple[Want, ...]


_TABLES = (
    (
        "unit",
        "Units",
        (
            ("parent", "unit.parent"),
            ("links to the primary", "unit.hops"),
            ("of them radio", "unit.radio_hops"),
            ("from the primary at most", "unit.backhaul_mbps"),
            ("from the internet at most", "unit.internet_mbps"),
            ("held by", "unit.internet_held_by"),
            ("devices behind", "unit.clients_behind"),
        ),
    ),
    (
        "link",
        "Links",
        (
            ("medium", "link.medium"),
            ("channel", "link.channel"),
            ("distance", "link.distance_m"),
            ("weaker level", "link.level_dbm"),
            ("margin", "link.margin_db"),
            ("carries", "link.goodput_mbps"),
            ("asked of it", "link.demand_mbps"),
        ),
    ),
    (
        "radio",
        "Channels",
        (
            ("channel", "radio.channel"),
            ("from", "radio.low_mhz"),
            ("to", "radio.high_mhz"),
            ("shared with radar", "radio.radar_shared_mhz"),
            ("networks of others", "radio.foreign_networks"),
            ("radiated", "radio.radiated_dbm"),
            ("limit", "radio.power_limit_dbm"),
        ),
    ),
)


def review_part(told: Told, result: SiteResult) -> ReviewPart:
    """Return what the reviewer is told of a site."""
    shown = (*result.open_findings, *result.cautions)
    return ReviewPart(
        tuple(sorted(shown, key=lambda found: _GRAVITY.index(found.severity))),
        result.accepted,
        tuple(_table(told, *each) for each in _TABLES),
        result.times_held,
        result.times_not_judged,
        result.wanted or wanted_by(result.not_judged),
    )


def _table(told: Told, scope: str, caption: str, columns: tuple[tuple[str, str], ...]) -> Table:
    rows = tuple(
        Row(
            told.label(scope, key),
            tuple(_if_it_applies(told, fact, key) for _, fact in columns),
        )
        for key in told.keys(scope)
    )
    return Table(caption, tuple(head for head, _ in columns), rows)


def _if_it_applies(told: Told, fact: str, key: str) -> Figure | None:
    of_radio = fact in {"link.channel", "link.distance_m", "link.level_dbm", "link.margin_db"}
    if of_radio and told.value("link.medium", key) != "radio":
        return None
    return told.figure(fact, key)

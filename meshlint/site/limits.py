"""How much one file may hold, so that no file can hold the program up.

One place for every bound. A repository's policy may set others; `MOST` is as far as it may go,
because the policy comes from the same hands as the files.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from msgspec import Struct

from meshlint.site.problem import Problem

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meshlint.site.source import Document


class Limits(Struct, frozen=True):
    """How much one file may hold.

    `bytes`: its size. `depth`: lists and maps within one another. `nodes`: its parts, where a
    list or a map counts as two; as many again may be copied by aliases. `text`: the characters of
    one text or key. Of one site: `units`; their `radios` and entries of `ports`, those of their
    models among them; `links`, `networks`, `walls` (straight pieces, edges of obstacles among
    them), `corners` of all other outlines, `levels` and `areas`; `places` are those of one level
    that coverage is worked out for, with a wider step where it is larger. Of a repository's own
    rules: `cards` in one folder, the characters of one `expression`, how many `conditions` one card
    has, the characters of its `texts`, and those of all `messages` about one site.
    `patterns` are those that git's ignore files ask of one folder's files, or a policy of sites.
    """

    bytes: int = 4 * 1024 * 1024
    depth: int = 64
    nodes: int = 200_000
    text: int = 10_000
    units: int = 500
    radios: int = 5_000
    ports: int = 5_000
    links: int = 2_000
    networks: int = 200
    walls: int = 5_000
    corners: int = 5_000
    levels: int = 100
    areas: int = 100
    places: int = 40_000
    cards: int = 500
    expression: int = 2_000
    conditions: int = 20
    texts: int = 5_000
    messages: int = 10_000_000
    patterns: int = 1_000


LIMITS = Limits()
"""What holds unless a policy says otherwise. The largest sites known to the authors have some 300
units; the rest is an order of magnitude above what a drawn site of that size holds."""

MOST = Limits(
    bytes=64 * 1024 * 1024,
    depth=200,  # reading goes into itself once for each level, and Python allows a thousand
    nodes=4_000_000,
    text=100_000,
    units=5_000,
    radios=50_000,
    ports=50_000,
    links=20_000,
    networks=1_000,
    walls=50_000,
    corners=50_000,
    levels=500,
    areas=500,
    places=200_000,
    cards=2_000,
    expression=10_000,
    conditions=100,
    texts=20_000,
    messages=50_000_000,
    patterns=5_000,
)


def excesses(
    document: Document, limits: Limits, models: Mapping[str, Any] | None = None
) -> Iterator[Problem]:
    """Yield a problem for each count in a schema-checked site that is over its limit.

    What a model has counts for every unit of it, so that few lines cannot become millions.
    """
    raw = cast("dict[str, Any]", document.value)
    levels = raw.get("levels", {}).values()
    areas = raw.get("areas", {}).values()
    walls = [wall["path_m"][1:] for level in levels for wall in level.get("walls", ())]
    walls += [thing["outline_m"] for level in levels for thing in level.get("obstacles", ())]
    outlines = [level.get("outline_m", ()) for level in levels]
    outlines += [area["outline_m"] for area in areas]
    radios, ports = 0, 0
    for unit in raw["units"].values():
        model = (models or {}).get(unit.get("model", ""), {})
        of_model = model.get("radios", {})
        radios += len(of_model) + sum(name not in of_model for name in unit.get("radios", ()))
        ports += len(unit.get("ports", model.get("ports", ())))
    counts = (
        ("units", "units", len(raw["units"]), limits.units),
        ("units", "radios", radios, limits.radios),
        ("units", "entries of ports", ports, limits.ports),
        ("backhaul", "links", len(raw.get("backhaul", ())), limits.links),
        ("networks", "networks", len(raw.get("networks", ())), limits.networks),
        ("levels", "pieces of wall", sum(map(len, walls)), limits.walls),
        ("levels", "corners of levels and areas", sum(map(len, outlines)), limits.corners),
        ("levels", "levels", len(levels), limits.levels),
        ("areas", "areas", len(areas), limits.areas),
    )
    for section, what, count, most in counts:
        if count > most:
            yield Problem(
                document.key_place((section,)),
                f"the file has {count} {what}; at most {most} are judged in one site",
            )

"""What the trade says where the format says something else: kinds of wall, generation numbers.

Thicknesses are those that the words themselves fix or that are usual; where a kind leaves it open,
as reinforced concrete does, none is given and the usual range of the material holds.
"""

from __future__ import annotations

from typing import Any, Final

AMENDMENTS: Final[dict[object, str]] = {
    4: "802.11n",
    5: "802.11ac",
    6: "802.11ax",
    "6E": "802.11ax",
    7: "802.11be",
}
"""Generation numbers as boxes show them; common practice. 6E is 802.11ax at 6 GHz."""

CONSTRUCTIONS: Final[dict[str, dict[str, Any]]] = {
    # Two boards of 12.5 mm: EN 520 (from memory). Studs and wiring are not in it.
    "stud wall": {"material": "plasterboard", "thickness_mm": 25},
    "stud wall, two boards each side": {"material": "plasterboard", "thickness_mm": 50},
    # Work size 215 x 102.5 x 65 mm, EN 771-1 with the national sizes (seen in builders' guides).
    "brick, one leaf": {"material": "brick", "thickness_mm": 102.5},
    "brick, two leaves": {"material": "brick", "thickness_mm": 205},
    "one-brick wall": {"material": "brick", "thickness_mm": 215},
    "reinforced concrete": {"material": "concrete"},
    # A slab of 200 mm, EN 1992 (from memory).
    "concrete slab": {"material": "concrete", "thickness_mm": 200},
    # 22 mm of chipboard on the joists, EN 1995 (from memory); the board below is left out.
    "timber floor": {"material": "chipboard", "thickness_mm": 22},
    # Two panes of 4 mm, EN 1279 (from memory).
    "double glazing": {"material": "glass", "thickness_mm": 8},
    # A leaf of 40 mm (common practice); and the gap where there is no leaf.
    "wooden door": {"material": "wood", "thickness_mm": 40},
    "doorway": {"loss_db": 0},
    # A metal film: 23 + 0.3 f dB, f in GHz, 3GPP TR 38.901, Table 7.4.3-1 (seen in a simulator):
    # 23.7 dB at 2.4 GHz, 24.7 at 5.5 and 24.9 at 6.2.
    "coated glass": {"loss_db": 24.5},
}
"""Kinds of wall and floor by the trade's name: a material, and a thickness where the name has one;
or a loss where no material is published."""

"""Everyday sites drawn at random, with the gaps that an installer leaves: same seed, same site."""

from __future__ import annotations

from random import Random
from typing import Any

BANDS = {"low": 2.4, "mid": 5, "high": 6}
CHANNELS = {
    2.4: (1, 6, 11, "auto"),
    5: (36, 44, 52, 100, 149, "auto"),
    6: (5, 37, 69),
}
WIDTHS_MHZ = {2.4: (20, 40), 5: (20, 40, 80), 6: (80, 160)}
FIGURES = {
    "power_dbm": (10, 14, 17, 20, 23),
    "antenna_gain_dbi": (2, 3, 4, 5),
    "streams": (2, 3, 4),
    "generation": ("802.11ac", "802.11ax", "802.11be"),
    "lowest_basic_mbps": (6, 12),
}


def everyday(seed: int, *, stated: float = 0.25) -> dict[str, Any]:
    """Return a site of two to six units; each figure is stated with a probability."""
    choose = Random(seed)  # noqa: S311 - the same sites in every run
    wide_m, deep_m = choose.randint(8, 24), choose.randint(6, 14)
    storeys = choose.choice((1, 1, 2))
    levels = {
        f"floor {n}": {
            "base_m": round(2.7 * n, 1),
            "ceiling_m": 2.4,
            "outline_m": [[0, 0], [wide_m, 0], [wide_m, deep_m], [0, deep_m]],
            "walls": [
                {"path_m": [[x, 0], [x, deep_m - 1]], **_wall(choose)}
                for x in sorted(choose.sample(range(2, wide_m - 1), choose.randint(0, 3)))
            ],
            "floor": {"material": choose.choice(("wood", "concrete"))},
            "shell": {"material": "brick"},
        }
        for n in range(storeys)
    }
    names = [f"unit {n}" for n in range(choose.randint(2, 6))]
    units = {name: _unit(choose, wide_m, deep_m, list(levels), stated) for name in names}
    links = {}
    for at, name in enumerate(names[1:], 1):
        parent = choose.choice(names[:at])
        link: dict[str, Any] = {
            "from": name,
            "to": parent,
            "over": choose.choice(("cable", "radio")),
        }
        if link["over"] == "cable":
            link.update(category=choose.choice(("5e", 6)), length_m=choose.randint(5, 60))
        else:
            shared = sorted(units[name]["radios"].keys() & units[parent]["radios"].keys())
            radio = choose.choice([r for r in shared if r != "low"] or shared)
            link.update(from_radio=radio, to_radio=radio)
            ours, theirs = (units[one]["radios"][radio] for one in (name, parent))
            for key in ("channel", "width_mhz"):
                ours.pop(key, None)
                if key in theirs:
                    ours[key] = theirs[key]
        links[f"{name} to {parent}"] = link
    return {
        "meshlint": 1,
        "site": {
            "name": "Drawn",
            "country": choose.choice(("GB", "DE", "US", "AU")),
            "surroundings": choose.choice(("home", "office")),
        },
        "primary": names[0],
        "levels": levels,
        "units": units,
        "backhaul": links,
        "internet_lines": {"line": {"enters_at": names[0], "down_mbps": 500, "up_mbps": 70}},
        "clients": {
            f"group {n}": {
                "count": choose.randint(1, 12),
                "near": choose.choice(names),
                **({"band": 5} if choose.random() < stated else {}),
                "down_mbps": choose.choice((2, 10, 25)),
                "up_mbps": 1,
                **_figures(choose, stated, {"transmit_dbm": (10, 14), "streams": (1, 2)}),
            }
            for n in range(choose.randint(1, 3))
        },
        "neighbours": [],
    }


def _wall(choose: Random) -> dict[str, Any]:
    wall: dict[str, Any] = {"material": choose.choice(("plasterboard", "brick", "concrete"))}
    if choose.random() < 0.3:
        wall["thickness_mm"] = {"plasterboard": 25, "brick": 102.5, "concrete": 180}[
            wall["material"]
        ]
    return wall


def _unit(
    choose: Random, wide_m: int, deep_m: int, levels: list[str], stated: float
) -> dict[str, Any]:
    at: dict[str, Any] = {
        "level": choose.choice(levels),
        "x_m": round(choose.uniform(0.5, wide_m - 0.5), 1),
        "y_m": round(choose.uniform(0.5, deep_m - 0.5), 1),
    }
    if choose.random() < stated:
        at["height_m"] = 2.2
    radios = {}
    for name in choose.choice((("low", "mid"), ("low", "mid"), ("low", "mid", "high"))):
        band = BANDS[name]
        radio: dict[str, Any] = {"band": band, "channel": choose.choice(CHANNELS[band])}
        if radio["channel"] != "auto" or choose.random() < stated:
            radio["width_mhz"] = choose.choice(WIDTHS_MHZ[band])
        radio["carries"] = ["backhaul"] if name == "high" else ["clients", "backhaul"]
        radios[name] = {**radio, **_figures(choose, stated, FIGURES)}
        if band == 6 and radios[name].get("generation") == "802.11ac":
            radios[name]["generation"] = "802.11ax"
    return {"at": at, "radios": radios}


def _figures(choose: Random, stated: float, figures: dict[str, tuple[Any, ...]]) -> dict[str, Any]:
    return {k: choose.choice(v) for k, v in figures.items() if choose.random() < stated}

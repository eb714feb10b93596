"""How whole runs grow with the site, as many units in hearing at every size.

    python tests/benchmarks/site_growth.py [--write FOLDER] [UNITS ...]

Sites are made up: units on a square grid in an office, every one with a group of clients. All
hang on the primary in one corner by radio, each on the unit two steps nearer to it, all on one
channel of which about 20 units hear one another. Once nothing is drawn; once there is a plan with
an outline and a wall between every two rows. Each run is a process of its own; the exponent is the
slope between a size and the one before: 1 is linear, 2 is every unit against every other.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

STEP_M = 11
PROGRAM = """\
import resource, sys
from meshlint.cli import main
try:
    main()
except SystemExit as end:
    status = end.code
else:
    status = 0
used = resource.getrusage(resource.RUSAGE_SELF)
print(status, used.ru_utime + used.ru_stime, used.ru_maxrss, file=sys.stderr)
"""
RUNS = {
    "check": ("check", "--no-cache"),
    "workings": ("workings",),
    "workings as JSON": ("workings", "--format", "json"),
}
KINDS = ("nothing drawn", "a plan")


def radio(band: float, streams: int) -> dict[str, Any]:
    """Return a radio of the model."""
    return {
        "band": band,
        "generation": "802.11ax",
        "streams": streams,
        "antenna_gain_dbi": 3,
        "noise_figure_db": 6,
        "max_power_dbm": 23,
    }


def site(units: int, *, drawn: bool) -> dict[str, Any]:
    """Return a site of so many units."""
    wide = math.ceil(math.sqrt(units))
    placed, links, clients = {}, {}, {}
    for number in range(units):
        row, column = divmod(number, wide)
        on = {"carries": ["clients"], "lowest_basic_mbps": 12}
        placed[f"u{number}"] = {
            "model": "m",
            "at": {"level": "g", "x_m": column * STEP_M, "y_m": row * STEP_M, "height_m": 2.5},
            "radios": {
                "low": {"channel": (1, 6, 11)[number % 3], "width_mhz": 20, "power_dbm": 8, **on},
                "mid": {
                    "channel": (36, 44, 52, 60)[(column + 2 * row) % 4],
                    "width_mhz": 40,
                    "power_dbm": 11,
                    **on,
                },
                "high": {
                    "channel": 100,
                    "width_mhz": 40,
                    "power_dbm": 17,
                    "carries": ["backhaul"],
                },
            },
        }
        if number:
            parent = max(row - 2, 0) * wide + max(column - 2, 0)
            links[f"l{number}"] = {
                "from": f"u{number}",
                "to": f"u{parent}",
                "over": "radio",
                "from_radio": "high",
                "to_radio": "high",
            }
        clients[f"c{number}"] = {
            "count": 6,
            "near": f"u{number}",
            "band": 5,
            "generation": "802.11ax",
            "streams": 2,
            "network": "n",
            "use": "data",
            "down_mbps": 1,
            "up_mbps": 0.2,
            "active_share": 0.3,
        }
    level: dict[str, Any] = {}
    if drawn:
        low_m, high_m = -STEP_M / 2, (wide - 0.5) * STEP_M
        walls = [
            {
                "path_m": [[low_m + 4, y_m], [high_m - 4, y_m]],
                "material": "plasterboard",
                "thickness_mm": 13,
            }
            for y_m in (row * STEP_M + STEP_M / 2 for row in range(wide - 1))
        ]
        level = {
            "ceiling_m": 3,
            "outline_m": [[low_m, low_m], [high_m, low_m], [high_m, high_m], [low_m, high_m]],
            "walls": walls,
        }
    return {
        "meshlint": 1,
        "site": {"name": "Made up", "country": "GB", "surroundings": "office"},
        "primary": "u0",
        "internet_lines": {"main": {"enters_at": "u0", "down_mbps": 900, "up_mbps": 100}},
        "models": {
            "m": {
                "kind": "access",
                "radios": {"low": radio(2.4, 2), "mid": radio(5, 2), "high": radio(5, 4)},
                "ports": [{"count": 2, "rate_mbps": 1000, "media": "copper"}],
                "routing_mbps": 2000,
            }
        },
        "levels": {"g": level},
        "units": placed,
        "backhaul": links,
        "clients": clients,
        "neighbours": [],
        "networks": {"n": {"name": "n", "akm": "sae", "pmf": "required"}},
    }


def written(folder: Path, units: int, kind: str) -> Path:
    """Write a site into a folder."""
    path = folder / f"{kind.replace(' ', '-')}-{units}.site.yaml"
    path.write_text(json.dumps(site(units, drawn=kind == "a plan")))
    return path


def run(path: Path, words: tuple[str, ...]) -> tuple[str, float, int]:
    """Return the exit status, the seconds of processor time and the most KiB of one run."""
    with Path(path.parent, "out").open("wb") as out:
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, words[0], path.name, *words[1:]],
            cwd=path.parent,
            stdout=out,
            stderr=subprocess.PIPE,
            check=False,
        )
    status, seconds, most_kib = done.stderr.decode().split()[-3:]
    return status, float(seconds), int(most_kib)


def main() -> None:
    """Print a row for each kind, run and size."""
    words = sys.argv[1:]
    if words[:1] == ["--write"]:
        for units in map(int, words[2:]):
            for kind in KINDS:
                written(Path(words[1]), units, kind)
        return
    sizes = [int(word) for word in words] or [100, 250, 500]
    print("| site | run | units | status | processor s | most MB | exponent |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for kind in KINDS:
            for name, command in RUNS.items():
                before: tuple[int, float] | None = None
                for units in sizes:
                    status, seconds, most_kib = run(written(Path(folder), units, kind), command)
                    slope = ""
                    if before is not None:
                        slope = f"{math.log(seconds / before[1]) / math.log(units / before[0]):.2f}"
                    before = units, seconds
                    row = f"{kind} | {name} | {units} | {status} | {seconds:.1f}"
                    print(f"| {row} | {most_kib // 1024} | {slope} |", flush=True)


if __name__ == "__main__":
    main()

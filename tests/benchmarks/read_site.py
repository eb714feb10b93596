"""Time of reading one site file beside PyYAML's own: python tests/benchmarks/read_site.py [FILE].

Without a file, a made-up site of about 2.5 KB is read. Prints median times and their ratio to
bare `yaml.compose` with the C loader, all measured in one run, in turns.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import TYPE_CHECKING

import yaml

from meshlint.site.source import read_document

if TYPE_CHECKING:
    from collections.abc import Callable

ROUNDS = 1000
SIZE = 2500


def made_up_site() -> str:
    """Return a site file of about 2.5 KB, in the mix of block and flow style people write."""
    parts = ["meshlint: 1\nsite: {name: Quillbeck Annexe, country: GB}\nprimary: unit 0\nunits:\n"]
    while sum(map(len, parts)) < SIZE:
        number = len(parts) - 1
        parts.append(
            f"  unit {number}:\n"
            "    model: tri-12          # as bought\n"
            f"    at: {{level: ground, x_m: {number * 3}.5, y_m: 7, height_m: 2.2}}\n"
            "    mounted: ceiling\n"
            "    radios:\n"
            "      low:  {band: 2.4, channel: 6, width_mhz: 20, power_dbm: 14}\n"
            "      high: {band: 5, channel: auto, width_mhz: 80, carries: [clients, backhaul]}\n"
        )
    return "".join(parts)


def read_with_places(data: bytes) -> None:
    """Read a document and ask for one place, so that the outline is built too."""
    read_document(data, "site.yaml").place(("units",))


def main() -> None:
    """Measure and print."""
    data = Path(sys.argv[1]).read_bytes() if sys.argv[1:] else made_up_site().encode()
    text = data.decode()
    runs: dict[str, Callable[[], object]] = {
        "yaml.compose, C loader": lambda: yaml.compose(text, Loader=yaml.CSafeLoader),
        "yaml.load, C loader": lambda: yaml.load(text, Loader=yaml.CSafeLoader),
        "read_document": lambda: read_document(data, "site.yaml"),
        "read_document and a place": lambda: read_with_places(data),
    }
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, run in runs.items():
            begun = perf_counter()
            run()
            times[name].append(perf_counter() - begun)
    base = median(times["yaml.compose, C loader"])
    print(f"{len(data)} bytes, {ROUNDS} rounds")
    for name, spent in times.items():
        print(f"{name:28} {median(spent) * 1000:7.3f} ms  {median(spent) / base:5.2f}x")


if __name__ == "__main__":
    main()

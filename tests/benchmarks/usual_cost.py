"""What judging by usual ranges costs, next to the same site with everything stated.

    python tests/benchmarks/usual_cost.py [UNITS ...]

The sites are those of `site_growth.py`; the gaps are all that an installer seldom knows: power,
gain, noise figure, streams, amendment, basic rates and heights. Times are processor time in this
process, the least of three; the aim is a ratio of at most 5.
"""

from __future__ import annotations

import sys
import time
from datetime import date
from typing import Any

import yaml
from site_growth import KINDS, site

from meshlint.run import Checker

DAY = date(2026, 11, 25)
SELDOM_KNOWN = {
    "power_dbm",
    "antenna_gain_dbi",
    "noise_figure_db",
    "max_power_dbm",
    "streams",
    "generation",
    "lowest_basic_mbps",
    "height_m",
}


def without_figures(value: Any) -> Any:
    """Return a part of a site without what an installer seldom knows."""
    if isinstance(value, dict):
        return {k: without_figures(v) for k, v in value.items() if k not in SELDOM_KNOWN}
    if isinstance(value, list):
        return [without_figures(entry) for entry in value]
    return value


def seconds(text: bytes) -> float:
    """Return the processor time of one check by usual ranges, the least of three."""
    found = []
    for _ in range(3):
        start = time.process_time()
        result = Checker(DAY, usual=True).check(text, "a.site.yaml")
        found.append(time.process_time() - start)
        if result.problems:
            sys.exit(result.problems[0].message)
    return min(found)


def main() -> None:
    """Print a row a size and kind."""
    print(f"{'units':>6}  {'kind':15}  {'stated':>8}  {'gaps':>8}  ratio")
    for units in [int(word) for word in sys.argv[1:]] or [8, 32, 100]:
        for kind in KINDS:
            stated = site(units, drawn=kind == KINDS[1])
            both = (yaml.safe_dump(x).encode() for x in (stated, without_figures(stated)))
            whole, gaps = (seconds(text) for text in both)
            print(f"{units:>6}  {kind:15}  {whole:7.2f}s  {gaps:7.2f}s  {gaps / whole:5.1f}")


if __name__ == "__main__":
    main()

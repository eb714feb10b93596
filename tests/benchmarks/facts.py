"""Which facts cost most, over the made-up sites of `fleet.py`.

Run it as a script: python tests/benchmarks/facts.py [SITES]

A fact's time holds that of what it is the first to ask for, so that the one that pays for a shared
intermediate result is named for it.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from datetime import date
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import msgspec

sys.path.insert(0, str(Path(__file__).parent))

from fleet import made_up_site

from meshlint import run
from meshlint.site.load import Catalogues

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.workings.fact import Fact, FactValue
    from meshlint.workings.site_workings import Workings

MOST = 30


def main() -> None:
    """Measure and print."""
    sites = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    rules = run.shipped_rules()
    spent: defaultdict[str, list[float]] = defaultdict(list)

    def timed(fact: Fact) -> Callable[[Workings, object], FactValue]:
        def compute(workings: Workings, item: object) -> FactValue:
            begun = perf_counter()
            try:
                return fact.compute(workings, item)
            finally:
                spent[fact.qualified].append(perf_counter() - begun)

        return compute

    facts = {n: msgspec.structs.replace(f, compute=timed(f)) for n, f in rules.facts.items()}
    watched = msgspec.structs.replace(rules, facts=facts)
    for number in range(sites):
        data = made_up_site(number).encode()
        run.check_bytes(data, "a.site.yaml", watched, Catalogues(), date(2026, 11, 25))
    whole = sum(map(sum, spent.values()))
    print(f"{whole / sites * 1000:.2f} ms a site for {len(spent)} facts of {len(facts)}")
    for name, times in sorted(spent.items(), key=lambda entry: -sum(entry[1]))[:MOST]:
        print(
            f"  {name:44} {sum(times) / sites * 1000:7.3f} ms a site  {sum(times) / whole:4.0%}  "
            f"{len(times) / sites:6.1f} times"
        )


if __name__ == "__main__":
    main()

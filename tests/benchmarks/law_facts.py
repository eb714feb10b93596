"""How long the facts about law and radar take for a site, and what an airport costs.

Run it as a script: python tests/benchmarks/law_facts.py

For each sample branch: every fact of the modules that law feeds, worked out anew 50 times with warm
tables (the median), beside the same with nothing cached, as the first site of a process meets it.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from statistics import median
from time import perf_counter

from meshlint.site.load import Catalogues, load_site
from meshlint.workings.alternatives import radar_free_backhaul
from meshlint.workings.catalogue import facts_of
from meshlint.workings.contention import external_networks, reuse_plan
from meshlint.workings.site_workings import Workings
from meshlint.workings.spectrum import (
    channel_plan_24,
    eirp,
    permission,
    radar_duty,
    radar_proximity,
)
from meshlint.workings.subjects import subjects

BRANCHES = Path(__file__).parents[2] / "samples" / "branches"
MODULES = (
    permission,
    eirp,
    radar_duty,
    radar_proximity,
    radar_free_backhaul,
    reuse_plan,
    external_networks,
    channel_plan_24,
)
ROUNDS = 50

COLD = """
import sys, time
sys.path.insert(0, {folder!r})
import law_facts
from meshlint.site.load import Catalogues, load_site
from pathlib import Path
path = Path({path!r})
site, _ = load_site(path.read_bytes(), str(path), Catalogues())
begun = time.perf_counter()
law_facts.all_facts(site)
print(time.perf_counter() - begun)
"""


def all_facts(site: object) -> int:
    """Work out every fact that law feeds for one site; return how many."""
    workings = Workings(site)  # type: ignore[arg-type]
    count = 0
    for module in MODULES:
        for declared in facts_of(module.__name__):
            for subject in subjects(workings, declared.scope)[0]:
                workings.value(declared, subject)
                count += 1
    return count


def main() -> None:
    """Print a line for each sample branch."""
    print("facts, ms with warm tables, ms as the first site of a process")
    for path in sorted(BRANCHES.glob("*.site.yaml")):
        site, _ = load_site(path.read_bytes(), str(path), Catalogues())
        count = all_facts(site)
        spent = []
        for _ in range(ROUNDS):
            begun = perf_counter()
            all_facts(site)
            spent.append(perf_counter() - begun)
        program = COLD.format(folder=str(Path(__file__).parent), path=str(path))
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True
        )
        name = path.name.removesuffix(".site.yaml")
        cold_ms = float(done.stdout) * 1000
        print(f"{name:12} {count:5d}  {median(spent) * 1000:7.2f}  {cold_ms:7.1f}")


if __name__ == "__main__":
    main()

"""How fast the check is, beside general tools on the same files.

Run it as a script: python tests/benchmarks/check_speed.py

Two figures, each a ratio of medians measured in turns within one run, and a table:

1. a whole process of `meshlint check --no-cache SITE` beside one of `check-jsonschema`, which only
   validates the same file against the same schema (install it beside meshlint: `pip install
   check-jsonschema`): for a sample without areas, and for one whose coverage is worked out;
2. a site's time within one process, all rules, over 500 made-up sites, beside bare `yaml.compose`
   with the C loader on the same bytes;
3. where that time goes, stage by stage.
"""

from __future__ import annotations

import gc
import os
import platform
import re
import shutil
import subprocess
import sys
import sysconfig
from datetime import date
from functools import partial
from importlib.metadata import version
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import TYPE_CHECKING

import yaml

from meshlint.lint.engine import check_site
from meshlint.run import check_bytes, shipped_rules
from meshlint.site.build import build_site
from meshlint.site.load import Catalogues
from meshlint.site.schema import check
from meshlint.site.source import read_document
from meshlint.workings.site_workings import Workings

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.site.source import Document

CHECKOUT = Path(__file__).parents[2]
BRANCHES = CHECKOUT / "samples" / "branches"
SITE_SCHEMA = CHECKOUT / "schemas" / "site.schema.json"
EQUIPMENT = CHECKOUT / "samples" / "equipment.yaml"
PROCESS_ROUNDS = 15
SITES = 500
TODAY = date(2026, 11, 25)


def program(name: str) -> str:
    """Return a command of this environment, else of the path."""
    found = shutil.which(name, path=sysconfig.get_path("scripts")) or shutil.which(name)
    if found is None:
        sys.exit(f"{name} is not installed: pip install {name}")
    return found


def timed(run: Callable[[], object]) -> float:
    """Return the wall-clock seconds of one run."""
    begun = perf_counter()
    run()
    return perf_counter() - begun


def in_turns(commands: dict[str, list[str]], environment: dict[str, str]) -> dict[str, list[float]]:
    """Return the seconds of each command in each round, after a first one that is not counted."""

    def process(command: list[str]) -> None:
        ended = subprocess.run(
            command, cwd=CHECKOUT, env=environment, capture_output=True, check=False
        )
        if ended.returncode not in (0, 1):
            sys.exit(ended.stderr.decode() or ended.stdout.decode())

    times: dict[str, list[float]] = {name: [] for name in commands}
    for counted in (False, *[True] * PROCESS_ROUNDS):
        for name, command in commands.items():
            seconds = timed(partial(process, command))
            if counted:
                times[name].append(seconds)
    return times


def whole_process(site: Path) -> None:
    """Print figure 1 for one sample."""
    commands = {
        "meshlint check": [program("meshlint"), "check", "--no-cache", str(site)],
        "check-jsonschema": [
            program("check-jsonschema"), "--schemafile", str(SITE_SCHEMA), str(site),
        ],
    }  # fmt: skip

    # An installed package has its bytecode beside it. So that a checkout, or an environment that
    # forbids writing any, measures the same, both programs keep theirs in one folder of our own.
    with TemporaryDirectory() as bytecode:
        environment = {
            **{k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"},
            "PYTHONPYCACHEPREFIX": bytecode,
        }
        times = in_turns(commands, environment)
    ours, theirs = (median(spent) for spent in times.values())
    print(f"1. whole process on {site.name}, {PROCESS_ROUNDS} rounds in turns")
    for name, spent in times.items():
        low, high = min(spent) * 1000, max(spent) * 1000
        print(f"   {name:18} {median(spent) * 1000:7.1f} ms  ({low:.1f} to {high:.1f})")
    print(f"   ratio {ours / theirs:.2f}")


def made_up_sites() -> list[tuple[bytes, str]]:
    """Return sites made from the samples in turn, each with names of its own for its units."""
    samples = [path.read_text(encoding="utf-8") for path in sorted(BRANCHES.glob("*.site.yaml"))]
    sites = []
    for number in range(SITES):
        text = samples[number % len(samples)]
        units = sorted(yaml.safe_load(text)["units"], key=len, reverse=True)
        for unit in units:
            # Where the name is a whole key or value; in flow lists and in subjects, too.
            text = re.sub(rf"(?<![\w-]){re.escape(unit)}(?![\w-])", f"{unit} {number}", text)
        sites.append((text.encode(), str(BRANCHES / f"made up {number}.site.yaml")))
    return sites


def within_one_process(sites: list[tuple[bytes, str]]) -> None:
    """Print figure 2."""
    rules, catalogues = shipped_rules(), Catalogues()
    results = [check_bytes(data, path, rules, catalogues, TODAY) for data, path in sites]
    misread = [result.problems[0] for result in results if result.problems]
    if misread:
        sys.exit(f"{len(misread)} made-up sites cannot be read, the first: {misread[0]}")
    findings = sum(len(result.findings) for result in results)
    held = sum(len(result.held) for result in results)
    del results
    gc.collect()
    ours, theirs = [], []
    for data, path in sites:
        text = data.decode()
        theirs.append(timed(partial(yaml.compose, text, Loader=yaml.CSafeLoader)))
        ours.append(timed(partial(check_bytes, data, path, rules, catalogues, TODAY)))
    size = sum(len(data) for data, _ in sites) / len(sites)
    print(
        f"2. {len(sites)} sites of {size:.0f} bytes on average in one process, "
        f"{len(rules.cards)} rules, {findings} findings, {held} held"
    )
    print(f"   meshlint           {sum(ours) / len(sites) * 1000:7.3f} ms a site")
    print(f"   yaml.compose, C    {sum(theirs) / len(sites) * 1000:7.3f} ms a site")
    of_totals, of_medians = sum(ours) / sum(theirs), median(ours) / median(theirs)
    print(f"   ratio {of_totals:.2f} of totals, {of_medians:.2f} of medians")


def stages(sites: list[tuple[bytes, str]]) -> None:
    """Print table 3."""
    rules = shipped_rules()
    equipment = read_document(EQUIPMENT.read_bytes(), str(EQUIPMENT))
    spent = dict.fromkeys(("read", "schema", "build", "lint"), 0.0)

    def through(data: bytes, path: str) -> None:
        begun = perf_counter()
        document = read_document(data, path)
        read = perf_counter()
        check(document, "site")
        checked = perf_counter()
        site = build_site(document, equipment if names_equipment(document) else None)
        built = perf_counter()
        check_site(rules, Workings(site, TODAY), document)
        linted = perf_counter()
        spent["read"] += read - begun
        spent["schema"] += checked - read
        spent["build"] += built - checked
        spent["lint"] += linted - built

    for data, path in sites:
        through(data, path)
    whole = sum(spent.values())
    print("3. of which")
    for stage, seconds in spent.items():
        print(f"   {stage:18} {seconds / len(sites) * 1000:7.3f} ms a site  {seconds / whole:4.0%}")


def names_equipment(document: Document) -> bool:
    """Return whether a site file takes its models from the shared equipment file."""
    return isinstance(document.value, dict) and "catalogue" in document.value


def main() -> None:
    """Measure and print."""
    print(
        f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} processors; "
        f"meshlint {version('meshlint')}, check-jsonschema {version('check-jsonschema')}, "
        f"PyYAML {version('PyYAML')}"
    )
    whole_process(BRANCHES / "brackenside.site.yaml")
    whole_process(BRANCHES / "emberdale.site.yaml")
    sites = made_up_sites()
    within_one_process(sites)
    stages(sites)


if __name__ == "__main__":
    main()

"""How fast a repository of sites is checked, beside general tools on the same files.

Run it as a script: python tests/benchmarks/fleet.py [SITES] [ROUNDS]

Makes up 2,000 sites of four to eight units with channels, positions and clients but no walls, in
folders of a hundred, and times whole processes over them, in turns, so that a busy machine is busy
for all: the check with one worker and with all, with no cache, an empty one and a full one; and on
the same files yamllint, check-jsonschema with the same schema, a parse by libyaml with the
`jsonschema` library, bare `yaml.compose`, and reading and hashing. Medians, and ratios of medians.
Needs `pip install yamllint check-jsonschema` beside meshlint.
"""

from __future__ import annotations

import os
import platform
import random
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import NamedTuple

CHECKOUT = Path(__file__).parents[2]
SCHEMA = CHECKOUT / "schemas" / "site.schema.json"

EACH = """\
import sys, pathlib
paths = sorted(pathlib.Path(sys.argv[1]).rglob("*.site.yaml"))
"""
COMPOSE = (
    EACH
    + """\
import yaml
for path in paths:
    yaml.compose(path.read_bytes(), Loader=yaml.CSafeLoader)
"""
)
LIBRARY = (
    EACH
    + """\
import json, yaml, jsonschema
schema = json.loads(pathlib.Path(sys.argv[2]).read_text())
validator = jsonschema.Draft202012Validator(schema)
for path in paths:
    list(validator.iter_errors(yaml.load(path.read_bytes(), Loader=yaml.CBaseLoader)))
"""
)
COMPILED = (
    EACH
    + """\
import json, yaml, jsonschema_rs
schema = json.loads(pathlib.Path(sys.argv[2]).read_text())
validator = jsonschema_rs.Draft202012Validator(schema)
for path in paths:
    validator.is_valid(yaml.load(path.read_bytes(), Loader=yaml.CBaseLoader))
"""
)
HASH = (
    EACH
    + """\
import hashlib
for path in paths:
    hashlib.blake2b(path.read_bytes()).digest()
"""
)


class Spent(NamedTuple):
    """One run of a process."""

    wall_s: float
    peak_mb: float


def made_up_site(number: int) -> str:
    """Return one site's text; the same number gives the same text."""
    draw = random.Random(number)  # noqa: S311 - it makes up buildings
    units = [f"unit {number}-{at}" for at in range(draw.randint(4, 8))]
    lines = [
        "meshlint: 1",
        f"site: {{name: Branch {number}, class: branch, country: GB, surroundings: office}}",
        f"primary: {units[0]}",
        f"internet_lines: {{main: {{enters_at: {units[0]}, down_mbps: 900, up_mbps: 110}}}}",
        "units:",
    ]
    for at, unit in enumerate(units):
        x_m, y_m = 14 * (at % 3) + draw.randint(0, 3), 12 * (at // 3) + draw.randint(0, 3)
        lines += [
            f"  {unit}:",
            f"    at: {{x_m: {x_m}, y_m: {y_m}, height_m: 2.4}}",
            "    radios:",
            f"      low: {{band: 2.4, channel: {draw.choice([1, 6, 11])}, width_mhz: 20, "
            "power_dbm: 14, carries: [clients]}",
            f"      mid: {{band: 5, channel: {draw.choice([36, 44])}, width_mhz: 40, "
            "power_dbm: 20, carries: [clients]}",
            "      high: {band: 6, channel: 37, width_mhz: 80, power_dbm: 20, "
            "power_class: low-indoor, carries: [backhaul]}",
        ]
    lines.append("backhaul:")
    for at, unit in enumerate(units[1:], 1):
        parent = units[(at - 1) // 3]
        lines.append(
            f"  {unit} to {parent}: {{from: {unit}, to: {parent}, over: radio, from_radio: high, "
            "to_radio: high}"
        )
    lines.append("clients:")
    lines += [
        f"  group {at}: {{count: {draw.randint(2, 20)}, near: {unit}, band: 5, streams: 2, "
        f"generation: 802.11ax, use: data, roams: true, down_mbps: 2, up_mbps: 0.5}}"
        for at, unit in enumerate(units)
    ]
    return "\n".join(lines) + "\n"


def made_up_fleet(folder: Path, sites: int) -> None:
    """Write the sites into folders of a hundred."""
    for number in range(sites):
        path = folder / f"region-{number // 100:02}" / f"branch-{number}.site.yaml"
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_text(made_up_site(number), encoding="utf-8")


def program(name: str) -> str:
    """Return a command of this environment, else of the path."""
    found = shutil.which(name, path=sysconfig.get_path("scripts")) or shutil.which(name)
    if found is None:
        sys.exit(f"{name} is not installed: pip install {name}")
    return found


def spent(command: list[str], environment: dict[str, str]) -> Spent:
    """Return wall time and the largest resident set of a process and of those it waited for."""
    begun = perf_counter()
    child = subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(child.pid, 0)
    wall_s = perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1):
        sys.exit(f"{' '.join(command[:4])} ended with {child.returncode}")
    return Spent(wall_s, usage.ru_maxrss / 1024)


def commands(folder: Path) -> dict[str, list[str]]:
    """Return what is timed, by name."""
    files = [str(path) for path in sorted(folder.rglob("*.site.yaml"))]
    check = [program("meshlint"), "check", str(folder)]
    python = sys.executable
    return {
        "meshlint, one worker, no cache": [*check, "--jobs", "1", "--no-cache"],
        "meshlint, all workers, no cache": [*check, "--no-cache"],
        "meshlint, all workers, empty cache": check,
        "meshlint, full cache": check,
        "yamllint": [program("yamllint"), "-d", "relaxed", str(folder)],
        "check-jsonschema": [program("check-jsonschema"), "--schemafile", str(SCHEMA), *files],
        "libyaml and jsonschema": [python, "-c", LIBRARY, str(folder), str(SCHEMA)],
        "libyaml and jsonschema-rs": [python, "-c", COMPILED, str(folder), str(SCHEMA)],
        "yaml.compose, C": [python, "-c", COMPOSE, str(folder)],
        "reading and hashing": [python, "-c", HASH, str(folder)],
    }


def main() -> None:
    """Measure and print."""
    sites = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with TemporaryDirectory() as scratch:
        folder, kept = Path(scratch, "sites"), Path(scratch, "cache")
        made_up_fleet(folder, sites)
        size = sum(path.stat().st_size for path in folder.rglob("*.yaml")) / sites
        environment = {
            **{k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"},
            "PYTHONPYCACHEPREFIX": str(Path(scratch, "bytecode")),
            "MESHLINT_CACHE_DIR": str(kept),
        }
        print(
            f"Python {platform.python_version()}, {os.cpu_count()} processors; {sites} sites of "
            f"{size:.0f} bytes on average, {rounds} rounds in turns, medians"
        )
        runs: dict[str, list[Spent]] = {}
        for counted in (False, *[True] * rounds):
            for name, command in commands(folder).items():
                if name.endswith("empty cache"):
                    shutil.rmtree(kept, ignore_errors=True)
                run = spent(command, environment)
                if counted:
                    runs.setdefault(name, []).append(run)
    show(
        {
            name: (median(s.wall_s for s in r), max(s.peak_mb for s in r))
            for name, r in runs.items()
        },
        sites,
    )


def show(medians: dict[str, tuple[float, float]], sites: int) -> None:
    """Print the table and the ratios that the aims speak of."""
    for name, (wall_s, peak_mb) in medians.items():
        print(f"  {name:36} {wall_s / sites * 1000:8.3f} ms a site  {peak_mb:7.1f} MB at most")

    def ratio(one: str, other: str) -> str:
        return f"{medians[one][0] / medians[other][0]:.2f}"

    one, every = "meshlint, one worker, no cache", "meshlint, all workers, no cache"
    print(f"  yamllint / one worker              {ratio('yamllint', one)}  (aim: 3 or more)")
    print(
        f"  check-jsonschema / one worker      {ratio('check-jsonschema', one)}  (aim: 2 or more)"
    )
    print(
        f"  one worker / yaml.compose          {ratio(one, 'yaml.compose, C')}  (aim: 10 or less)"
    )
    full = ratio("meshlint, full cache", "reading and hashing")
    print(f"  full cache / reading and hashing   {full}  (aim: 1.5 or less)")
    workers = len(os.sched_getaffinity(0))
    scaling = medians[one][0] / medians[every][0] / workers
    print(f"  scaling per core over {workers}            {scaling:.2f}  (aim: 0.85 or more)")


if __name__ == "__main__":
    main()

"""How long one small check takes as a whole process, beside general tools on the same file.

Run it as a script: python tests/benchmarks/start_up.py [ROUNDS]

Three small sites, each given in turn to yamllint, check-jsonschema (with our schema), `meshlint
check --no-cache` and `meshlint check` with a full cache; processor time and wall clock, medians,
and medians of the ratios to yamllint within a round. Install what is measured from a wheel, with
`pip install yamllint check-jsonschema` in the same environment: an installed package has its
bytecode and its pack of cards.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from meshlint.datafiles import data_folder, in_a_wheel

ROUNDS = 21
SITES = {
    "four lines, one radio": """\
meshlint: 1
site: {name: Small, country: GB}
primary: a
units: {a: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients]}}}}
""",
    "two units by radio": """\
meshlint: 1
site: {name: Small, country: GB, surroundings: office}
primary: a
units:
  a: {at: {x_m: 0, y_m: 0}, radios: {mid: &r {band: 5, channel: 36, width_mhz: 40, power_dbm: 20,
      antenna_gain_dbi: 3, generation: 802.11ax, streams: 2, carries: [clients, backhaul]}}}
  b: {at: {x_m: 9, y_m: 0}, radios: {mid: *r}}
backhaul: {b to a: {from: b, to: a, over: radio}}
clients: {phones: {count: 6, near: b, roams: true, down_mbps: 2, up_mbps: 1}}
neighbours: []
""",
    "what `meshlint new` writes": "",
}


def program(name: str) -> str:
    """Return a command of this environment."""
    path = Path(sysconfig.get_path("scripts"), name)
    if not path.exists():
        sys.exit(f"{name} is not installed: pip install {name}")
    return str(path)


def spent(command: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """Return the processor and wall-clock milliseconds of one process."""
    begun, before = perf_counter(), getrusage(RUSAGE_CHILDREN)
    ended = subprocess.run(command, env=environment, capture_output=True, check=False)
    wall, after = perf_counter() - begun, getrusage(RUSAGE_CHILDREN)
    if ended.returncode not in (0, 1):
        sys.exit(ended.stderr.decode() or ended.stdout.decode())
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used * 1000, wall * 1000


def measure(name: str, site: Path, rounds: int, environment: dict[str, str]) -> None:
    """Print the figures of one site."""
    schema = str(data_folder("schemas") / "site.schema.json")
    commands = {
        "yamllint": [program("yamllint"), str(site)],
        "check-jsonschema": [program("check-jsonschema"), "--schemafile", schema, str(site)],
        "check --no-cache": [program("meshlint"), "check", "--no-cache", str(site)],
        "check, full cache": [program("meshlint"), "check", str(site)],
    }
    times: dict[str, list[tuple[float, float]]] = {command: [] for command in commands}
    for counted in (False, *[True] * rounds):
        for command, words in commands.items():
            taken = spent(words, environment)
            if counted:
                times[command].append(taken)
    print(f"{name}, {rounds} rounds in turns")
    for command, taken in times.items():
        pairs = list(zip(taken, times["yamllint"], strict=True))
        cpu, wall = (median(one[n] for one in taken) for n in (0, 1))
        of_cpu, of_wall = (median(one[n] / other[n] for one, other in pairs) for n in (0, 1))
        print(
            f"  {command:18} {cpu:6.0f} ms processor {wall:6.0f} ms wall"
            f"   to yamllint {of_cpu:.2f}, {of_wall:.2f}"
        )


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    if not in_a_wheel():
        print("meshlint is not installed from a wheel: what follows is slower than for users")
    with TemporaryDirectory() as folder:
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        environment |= {"MESHLINT_CACHE_DIR": f"{folder}/cache", "XDG_CONFIG_HOME": folder}
        for number, (name, text) in enumerate(SITES.items()):
            site = Path(folder, f"{number}.site.yaml")
            if text:
                site.write_text(text, encoding="utf-8")
            else:
                subprocess.run(
                    [
                        program("meshlint"),
                        "new",
                        str(site),
                        "--country",
                        "GB",
                        "--units",
                        "2: two bands",
                        "--backhaul",
                        "cable",
                    ],
                    capture_output=True,
                    check=True,
                )
            measure(name, site, rounds, environment)


if __name__ == "__main__":
    main()

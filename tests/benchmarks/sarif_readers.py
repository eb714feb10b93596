"""Our SARIF as other people's programs read it: python tests/benchmarks/sarif_readers.py

Makes up a repository that has every kind of result in it and prints what two readers say of the
log: `sarif` of the PyPI package sarif-tools, whose counts by level must be ours, and the validator
`sarif-multitool` of the npm package @microsoft/sarif-multitool. Both bring a hundred megabytes and
more, so they are run by hand; one that is not on the PATH is named as not run.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

SAMPLES = Path(__file__).parents[2] / "samples"
DAY = "2026-11-25"
LEVELS = ("error", "warning", "note", "none")

FULL_LINE = """\
meshlint: 1
site: {name: "Brook [School](x) {0}"}
primary: office
internet_lines: {main: {down_mbps: 20, up_mbps: 2}}
units: {office: {routing_mbps: 900}, hall: {}, attic: {}}
backhaul:
  hall: {from: hall, to: office, over: powerline, measured_mbps: 900}
  attic: {from: attic, to: office, over: powerline, measured_mbps: 900}
clients:
  desks: {count: 4, wired_to: office, down_mbps: 5, up_mbps: 2}
  screens: {count: 4, wired_to: hall, down_mbps: 5, up_mbps: 2}
waivers:
  - {rule: shared-wire-measured, subject: backhaul/hall, because: Rented, approved_by: estates,
     until: 2026-12-01}
"""
GONE = "meshlint: 1\nsite: {name: Mill}\nprimary: a\nunits: {a: {}, b: {}}\nbackhaul: {}\n"


def main() -> None:
    """Write the log and let everybody read it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log, ours = written(folder)
        print(f"meshlint: {ours}")
        for program, read in (("sarif", by_sarif_tools), ("sarif-multitool", by_multitool)):
            if shutil.which(program) is None:
                print(f"{program}: not on the PATH, not run")
            else:
                read(log, ours)


def written(folder: Path) -> tuple[Path, dict[str, int]]:
    """Return the log of a made-up repository, and how many results of each level it has."""
    (folder / ".git").mkdir()
    shutil.copytree(SAMPLES, folder / "samples")
    (folder / "meshlint.yaml").write_text("meshlint: 1\n")
    (folder / "a: b.site.yaml").write_text(FULL_LINE)
    (folder / "unread.site.yaml").write_text("meshlint: [\n")
    meshlint(folder, "accept", "samples/branches/stangmoor.site.yaml")
    gone = folder / "gone.site.yaml"
    gone.write_text(GONE)
    meshlint(folder, "accept", "gone.site.yaml")
    gone.unlink()
    meshlint(folder, "check", "--format", "sarif-all=out.sarif", "--format", "text=out.txt")
    log = folder / "out.sarif"
    results = json.loads(log.read_text(encoding="utf-8"))["runs"][0]["results"]
    levels = Counter(result["level"] for result in results)
    return log, {level: levels[level] for level in LEVELS}


def meshlint(folder: Path, *words: str) -> None:
    """Run a command of ours in the folder; findings and unread files are what it is for."""
    command = [sys.executable, "-m", "meshlint", *words, "--today", DAY]
    there = os.pathsep.join(map(os.path.abspath, sys.path))
    done = subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": there},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode > 2 or "Traceback" in done.stderr:
        sys.exit(done.stderr)


def by_sarif_tools(log: Path, ours: dict[str, int]) -> None:
    """Print the counts that sarif-tools reads, and whether they are ours."""
    done = subprocess.run(
        ["sarif", "summary", str(log)], capture_output=True, text=True, check=False
    )
    found = re.findall(rf"^({'|'.join(LEVELS)}): ([0-9]+)$", done.stdout, re.MULTILINE)
    theirs = {level: int(count) for level, count in found}
    print(f"sarif summary: {theirs}, {'the same' if theirs == ours else 'NOT THE SAME'}")


def by_multitool(log: Path, _: dict[str, int]) -> None:
    """Print its errors and warnings, counted by its own rule."""
    told = log.with_name("validated.sarif")
    command = ["sarif-multitool", "validate", str(log), "--output", str(told)]
    environment = {**os.environ, "DOTNET_SYSTEM_GLOBALIZATION_INVARIANT": "1"}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if not told.exists():
        print(f"sarif-multitool validate: failed\n{done.stdout}{done.stderr}")
        return
    run = json.loads(told.read_text(encoding="utf-8-sig"))["runs"][0]
    counts = Counter((r["ruleId"], r.get("level", "warning")) for r in run.get("results", ()))
    print("sarif-multitool validate:")
    for (rule, level), count in sorted(counts.items()):
        print(f"  {level} {rule}: {count}")
    print(f"  {'errors' if any(level == 'error' for _, level in counts) else 'no errors'}")


if __name__ == "__main__":
    main()

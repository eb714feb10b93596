"""A digest of everything the program prints, so that a change of structure can be held to it.

Run it as a script, before and after:

    python tests/benchmarks/digests.py [--write FILE | --held-to FILE]

Covered are every report format, all workings (text and JSON), the drawings and the explanations,
over the samples and every rule case, worked out under two hash seeds. A digest is of one kind of
output of one site; a difference names the site and the kind. What is meant to change is seen as a
list of sites, and everything else must stay byte for byte.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.report.cards import explanation
from meshlint.report.formats import FORMATS, writer
from meshlint.report.lines import Look
from meshlint.report.plan import draw
from meshlint.report.plan_sheet import NothingToDraw
from meshlint.report.workings import as_json, as_text
from meshlint.run import Checker, cards_for, shipped_rules

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.lint.finding import SiteResult

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
SEEDS = ("0", "20261125")
WIDTH = 100


def texts() -> Iterator[tuple[str, str, bytes]]:
    """Yield (name, path, bytes) of the samples, and of every rule case under its own name."""
    for path in sorted(Path("samples").rglob("*.site.yaml")):
        yield str(path), str(path), path.read_bytes()
    for path in sorted(Path("tests/rules").glob("*.yaml")):
        cases = re.split(r"^---\n", path.read_text(), flags=re.MULTILINE)
        for number, case in enumerate(cases, 1):
            yield f"{path}#{number}", str(path), case.encode()


def outputs(path: str, data: bytes) -> Iterator[tuple[str, str]]:
    """Yield (kind, text) of everything that is printed about one site."""
    checker = Checker(TODAY)
    result = checker.check(data, path)
    for form in FORMATS:
        yield form, _report(form, result)
    if result.problems:
        return
    opened = checker.open(data, path)
    yield "workings", "".join(as_text(opened.workings, opened.rules.facts))
    yield "workings json", "".join(as_json(opened.workings, opened.rules.facts))
    for band in (None, 2.4, 5.0, 6.0):
        try:
            yield f"plan {band}", draw(opened.workings, result.open_findings, band)
        except NothingToDraw:
            continue


def _report(form: str, result: SiteResult) -> str:
    report = writer(form, Look(), lambda: cards_for([result.path], TODAY))
    return report.add(result) + report.finish()


def digests() -> dict[str, str]:
    """Return the digest of each kind of output of each site."""
    found = {
        f"explain {card.id}": _digest(explanation(card, shipped_rules(), WIDTH))
        for card in shipped_rules().cards
    }
    for name, path, data in texts():
        found |= {f"{name} {kind}": _digest(text) for kind, text in outputs(path, data)}
    return found


def _digest(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


def main() -> None:
    """Print the digest of all, and what differs from a kept list."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", type=Path, help="keep the digests in this file")
    parser.add_argument("--held-to", type=Path, help="say what differs from that file")
    parser.add_argument("--one-seed", action="store_true", help="print the digests as they are")
    asked = parser.parse_args()
    os.chdir(ROOT)
    if asked.one_seed:
        print(json.dumps(digests()))
        return
    runs = [_under(seed) for seed in SEEDS]
    first, second = (json.loads(run.communicate()[0]) for run in runs)
    unsteady = sorted(name for name in first if first[name] != second.get(name))
    print(f"{len(first)} outputs, all of them {_digest(json.dumps(first, sort_keys=True))}")
    if unsteady:
        print("differ by hash seed:", *unsteady, sep="\n  ")
    if asked.write:
        asked.write.write_text(json.dumps(first, indent=0, sort_keys=True))
    changed: list[str] = []
    if asked.held_to:
        kept = json.loads(asked.held_to.read_text())
        changed = sorted(n for n in first.keys() | kept.keys() if first.get(n) != kept.get(n))
        print(f"{len(changed)} differ from {asked.held_to}", *changed[:40], sep="\n  ")
    sys.exit(bool(unsteady or changed))


def _under(seed: str) -> subprocess.Popen[str]:
    command = [sys.executable, __file__, "--one-seed"]
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)


if __name__ == "__main__":
    main()

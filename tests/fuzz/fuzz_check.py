"""A coverage-guided fuzz target over everything from bytes to reports.

    python tests/fuzz/fuzz_check.py CORPUS_FOLDER tests/fuzz/seeds -max_total_time=600

Needs atheris. What is no user's mistake, a number that is none in a JSON report, a place outside
the file or a character that steers a terminal ends the run with the input that did it. An input
whose first byte is `~` is not read as a file: its other bytes choose a site that the schema takes.
"""

from __future__ import annotations

import importlib.util
import json
import random
import sys
from datetime import date
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["meshlint", "yaml"]):
    from meshlint.lint.card import load_rulebook  # noqa: F401 - instrumented for what follows
    from meshlint.report import as_json, text, workings
    from meshlint.report.lines import Look
    from meshlint.run import check_bytes, shipped_rules
    from meshlint.site.load import Catalogues, load_site
    from meshlint.workings.catalogue import FACTS
    from meshlint.workings.site_workings import Workings

_HERE = Path(__file__).parent
_SPEC = importlib.util.spec_from_file_location("sites", _HERE.parent / "hostile" / "sites.py")
assert _SPEC is not None
assert _SPEC.loader is not None
sites = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(sites)

ROOT = sites.site_schema()
RULES = shipped_rules()
TODAY = date(2026, 11, 25)


class _Steered(random.Random):
    """Random choices that bytes make, as long as they last."""

    def __init__(self, data: bytes) -> None:
        super().__init__(0)
        self._data = atheris.FuzzedDataProvider(data)

    def random(self) -> float:
        return self._data.ConsumeIntInRange(0, 255) / 256

    def getrandbits(self, k: int) -> int:
        return int(self._data.ConsumeIntInRange(0, (1 << min(k, 63)) - 1))


def no_number(word: str) -> None:
    """Refuse what Python's JSON has and JSON has not."""
    message = f"{word} in a report"
    raise AssertionError(message)


def one_input(data: bytes) -> None:
    """Check one file as the command line would, and look at what comes out."""
    if data[:1] == b"~":
        data = sites.as_yaml(sites.drawn_site(_Steered(data[1:]), ROOT, 3))
    result = check_bytes(data, "a.site.yaml", RULES, Catalogues(), TODAY)
    shown = text.render([result], Look())
    assert all(c == "\n" or c.isprintable() for c in shown)
    json.loads(as_json.render([result]), parse_constant=no_number)
    lines = data.count(b"\n") + data.count(b"\r") + 1
    places = [problem.place for problem in result.problems]
    places += [finding.place for finding in result.findings]
    assert all(1 <= place.line <= lines for place in places)
    if not result.problems:
        site, _ = load_site(data, "a.site.yaml", Catalogues())
        json.loads(
            "".join(workings.as_json(Workings(site, TODAY), FACTS)), parse_constant=no_number
        )


def main() -> None:
    """Run until libFuzzer's own options say so."""
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

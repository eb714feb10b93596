"""What is said of a site hangs on the site alone, not on how a set happens to lie in memory.

Python orders sets of texts by a seed that it draws anew in every process. Every site of
tests/rules is checked under two seeds, missing inputs and numbers included.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CASES = Path(__file__).parents[1] / "rules"

# One line for each document: which it is, and a digest of all that was said of it.
SAID = """
import hashlib, re, sys
from datetime import date
from pathlib import Path

import msgspec

from meshlint.run import check_bytes, shipped_rules
from meshlint.site.load import Catalogues

rules = shipped_rules()
for path in sorted(Path(sys.argv[1]).glob("*.yaml")):
    texts = re.split(r"^---\\n", path.read_text(), flags=re.MULTILINE)
    for position, text in enumerate(texts):
        day = date(2026, 11, 25)
        result = check_bytes(text.encode(), path.name, rules, Catalogues(), day)
        said = msgspec.json.encode(result, enc_hook=str)
        print(path.stem, position, hashlib.sha256(said).hexdigest())
"""


def said_under(seed: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", SAID, str(CASES)],
        env={**os.environ, "PYTHONHASHSEED": seed},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.splitlines()


@pytest.mark.slow
def test_what_is_said_of_a_site_does_not_hang_on_the_seed_of_hashes() -> None:
    first, second = said_under("1"), said_under("2")
    assert len(first) > 300
    assert first == second

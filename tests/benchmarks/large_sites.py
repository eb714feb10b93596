"""Print the time and memory that sites at the limits take, one kind at a time.

    python tests/benchmarks/large_sites.py [KIND ...] [SHARE_OF_THE_LIMIT]

Each is judged by a process of its own, as the command line would do it.
"""

from __future__ import annotations

import importlib.util
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

_LARGE = Path(__file__).parents[1] / "hostile" / "large.py"
_PROGRAM = """\
import resource, sys
from meshlint.cli import main
try:
    main()
except SystemExit as end:
    status = end.code
else:
    status = 0
used = resource.getrusage(resource.RUSAGE_SELF)
print(status, used.ru_utime + used.ru_stime, used.ru_maxrss, file=sys.stderr)
"""
_MOST_BYTES = 4 * 2**30
_MOST_SECONDS = 1200


def _bounded() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_BYTES, _MOST_BYTES))


def main() -> None:
    """Judge each kind at its limit, or at a share of it."""
    spec = importlib.util.spec_from_file_location("large", _LARGE)
    assert spec is not None
    assert spec.loader is not None
    large = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(large)
    words = sys.argv[1:]
    share = float(words.pop()) if words and words[-1].replace(".", "", 1).isdigit() else 1.0
    print(
        "| kind | how many | file KiB | status | processor s | most MB |\n|---|---|---|---|---|---|"
    )
    with tempfile.TemporaryDirectory() as folder:
        for kind in words or large.SITES:
            count = int(large.FULL[kind] * share)
            data = large.text_of(large.SITES[kind](count))
            Path(folder, "a.site.yaml").write_bytes(data)
            arguments = ["check", "a.site.yaml", "--no-cache", "--output", "report.txt"]
            try:
                done = subprocess.run(
                    [sys.executable, "-c", _PROGRAM, *arguments],
                    cwd=folder,
                    capture_output=True,
                    check=False,
                    timeout=_MOST_SECONDS,
                    preexec_fn=_bounded,
                )
                status, seconds, most_kib = done.stderr.decode().split()[-3:]
                told = f"{status} | {float(seconds):.1f} | {int(most_kib) // 1024}"
            except subprocess.TimeoutExpired:
                told = f"none in {_MOST_SECONDS} s | |"
            print(f"| {kind} | {count} | {len(data) // 1024} | {told} |", flush=True)


if __name__ == "__main__":
    main()

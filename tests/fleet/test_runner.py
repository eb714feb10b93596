"""Many files: in order, whatever happens to one of them, alone or in workers."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.fleet import runner
from meshlint.fleet.cache import Cache
from meshlint.fleet.keys import Keys
from meshlint.fleet.runner import Orders, results_of
from meshlint.report.formats import FORMATS, LISTING, writer
from meshlint.report.lines import Look
from meshlint.run import cards_for

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.lint.finding import SiteResult

pytestmark = pytest.mark.slow

DAY = date(2026, 11, 25)
SITE = """\
meshlint: 1
site: {{name: Site {0}}}
primary: a
units: {{a: {{radios: {{low: {{band: 2.4, channel: 1, width_mhz: 40, carries: [clients]}}}}}}}}
"""


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    monkeypatch.chdir(tmp_path)
    names = [f"site-{n:03}.site.yaml" for n in range(120)]
    for n, name in enumerate(names):
        Path(name).write_text(SITE.format(n))
    return names


@pytest.fixture
def eager(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let workers be worth their start at once."""
    monkeypatch.setattr(runner, "_WORTH_S", 0.0)


def told(results: object) -> list[tuple[str, int, int, str]]:
    assert not isinstance(results, str)
    return [
        (r.path, len(r.findings), len(r.problems), r.fault)
        for r in results  # type: ignore[attr-defined]
    ]


def alone(files: list[str]) -> list[SiteResult]:
    return list(results_of(files, Orders(DAY, workers=1)))


@pytest.mark.usefixtures("eager")
@pytest.mark.parametrize("workers", [2, 3])
def test_workers_change_neither_order_nor_results(files: list[str], workers: int) -> None:
    assert list(results_of(files, Orders(DAY, workers=workers))) == alone(files)


@pytest.mark.usefixtures("eager")
@pytest.mark.parametrize("workers", [1, 2])
def test_one_bad_file_stops_no_other(files: list[str], workers: int) -> None:
    Path(files[3]).write_text("meshlint: [\n")
    Path(files[40]).unlink()
    Path(files[90]).write_bytes(b"\xff\xfe\x00")
    found = told(results_of(files, Orders(DAY, workers=workers)))
    assert [path for path, *_ in found] == files
    assert [files.index(path) for path, _, problems, _ in found if problems] == [3, 40, 90]
    assert sum(bool(findings) for _, findings, *_ in found) == 117


@pytest.mark.usefixtures("eager")
@pytest.mark.parametrize("workers", [1, 2])
def test_a_fault_on_one_file_stops_no_other(
    files: list[str], workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runner, "_new_checker", lambda _: Failing())
    found = told(results_of(files, Orders(DAY, workers=workers)))
    assert [(path, fault) for path, *_, fault in found if fault] == [
        (files[50], "ZeroDivisionError: a fault")
    ]
    assert len(found) == len(files)


@pytest.mark.usefixtures("eager")
def test_a_file_that_takes_its_worker_down_is_named_and_stops_no_other(
    files: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runner, "_new_checker", lambda _: Deadly())
    found = told(results_of(files, Orders(DAY, workers=2)))
    assert [path for path, *_ in found] == files
    assert [path for path, *_, fault in found if "crashed" in fault] == [files[50]]


@pytest.mark.usefixtures("eager")
def test_workers_that_die_at_their_start_are_told_and_hang_nothing(
    files: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runner, "_undisturbed", lambda: os._exit(7))
    monkeypatch.setattr(runner, "CHUNK", 4)
    found = told(results_of(files[:20], Orders(DAY, workers=2)))
    assert [path for path, *_ in found] == files[:20]
    # The first are checked in this process, to learn how long one takes.
    assert ["crashed" in fault for *_, fault in found] == [False] * 4 + [True] * 16


@pytest.mark.usefixtures("eager")
def test_where_no_process_can_be_started_this_one_does_the_work(
    files: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused() -> int:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    before = alone(files)
    monkeypatch.setattr(os, "fork", refused)
    assert list(results_of(files, Orders(DAY, workers=2))) == before


class Failing:
    """A checker that fails on one file."""

    def __init__(self) -> None:
        from meshlint.run import Checker

        self._checker = Checker(DAY)
        self.catalogues = self._checker.catalogues

    def check(self, data: bytes, path: str) -> SiteResult:
        if path == "site-050.site.yaml":
            self.fail()
        return self._checker.check(data, path)

    def fail(self) -> None:
        message = "a fault"
        raise ZeroDivisionError(message)


class Deadly(Failing):
    """A checker whose process dies on one file."""

    def fail(self) -> None:
        os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.parametrize("workers", [1, 2])
def test_what_the_cache_holds_is_what_a_check_says(
    files: list[str], tmp_path: Path, workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runner, "_WORTH_S", 0.0)
    for _ in range(2):
        with closing(Cache(tmp_path / "cache", bytes(32))) as kept:
            found = list(results_of(files, Orders(DAY, workers=workers), Keys(DAY, None), kept))
        assert found == alone(files)
    monkeypatch.setattr(runner, "_new_checker", lambda _: None)  # nothing is checked any more
    with closing(Cache(tmp_path / "cache", bytes(32))) as kept:
        assert list(results_of(files, Orders(DAY), Keys(DAY, None), kept)) == found


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("form", FORMATS)
def test_every_report_is_the_same_from_the_cache_and_from_workers(
    files: list[str], tmp_path: Path, workers: int, form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether a format lists what was not judged or only counts it, it loses nothing."""
    monkeypatch.setattr(runner, "_WORTH_S", 0.0)

    def report(results: Iterable[SiteResult]) -> str:
        to = writer(form, Look(), lambda: cards_for(files, DAY))
        return "".join([*map(to.add, results), to.finish()])

    orders = Orders(DAY, workers=workers, listing=form in LISTING)
    for _ in range(2):
        with closing(Cache(tmp_path / "cache", bytes(32))) as kept:
            said = report(results_of(files, orders, Keys(DAY, None), kept))
        assert said == report(alone(files))
    assert sum(len(result.not_judged) for result in alone(files)) > 100


SLOW = """\
import signal, sys, time
# A shell starts what runs in its background deaf to Ctrl-C, tests among them.
signal.signal(signal.SIGINT, signal.default_int_handler)
import meshlint.run, meshlint.fleet.runner as runner
runner._WORTH_S = 0.0
real = meshlint.run.Checker.check
def slow(self, data, path):
    print('at', path, flush=True, file=sys.stderr)
    time.sleep(0.05)
    return real(self, data, path)
meshlint.run.Checker.check = slow
from meshlint.cli import main

sys.argv = ['meshlint', 'check', '--jobs', '2', '--no-cache', '--output', 'report.txt']
main()
"""


@pytest.mark.parametrize(
    ("number", "status"),
    [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129), (signal.SIGKILL, -9)],
)
def test_a_signal_ends_the_run_and_its_workers(
    tmp_path: Path, number: signal.Signals, status: int
) -> None:
    """128 and the number of the signal, as a shell tells of it; nothing half written stays."""
    for n in range(400):
        (tmp_path / f"site-{n:03}.site.yaml").write_text(SITE.format(n))
    with subprocess.Popen(
        [sys.executable, "-c", SLOW], cwd=tmp_path, stderr=subprocess.PIPE, text=True
    ) as child:
        assert child.stderr is not None
        for line in child.stderr:
            if "site-040" in line:
                break
        begun = time.monotonic()
        child.send_signal(number)
        rest = child.stderr.read()  # ends when the last process that holds it has
        assert child.wait(timeout=20) == status
    assert time.monotonic() - begun < 10
    assert "Traceback" not in rest
    left = [path for path in tmp_path.iterdir() if not path.name.startswith("site-")]
    # Nobody can clear up after the signal that no program hears of.
    assert left == [] or number == signal.SIGKILL


def test_a_signal_that_the_caller_wants_unheard_stays_unheard(tmp_path: Path) -> None:
    """As `nohup` starts a program."""
    for n in range(60):
        (tmp_path / f"site-{n:03}.site.yaml").write_text(SITE.format(n))
    deaf = "import signal\nsignal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
    with subprocess.Popen(
        [sys.executable, "-c", deaf + SLOW], cwd=tmp_path, stderr=subprocess.PIPE, text=True
    ) as child:
        assert child.stderr is not None
        for line in child.stderr:
            if "site-010" in line:
                break
        child.send_signal(signal.SIGHUP)
        child.stderr.read()
        assert child.wait(timeout=20) == 0
    assert "60 sites checked" in (tmp_path / "report.txt").read_text()

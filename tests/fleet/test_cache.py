"""The cache: what a result hangs on, two runs at once, damage, and bounds."""

from __future__ import annotations

import os
import random
import sqlite3
import threading
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.fleet import cache as cache_module
from meshlint.fleet.cache import Cache
from meshlint.fleet.keys import Keys
from meshlint.fleet.runner import Orders, results_of

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult

DAY = date(2026, 11, 25)
SITE = b"""\
meshlint: 1
site: {name: Brook Street, country: GB}
catalogue: equipment.yaml
primary: a
units: {a: {model: tri}, b: {}}
backhaul: {}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    Path("a.site.yaml").write_bytes(SITE)
    Path("equipment.yaml").write_text("meshlint: 1\nmodels: {tri: {routing_mbps: 90}}\n")
    return tmp_path


def checked(folder: Path, day: date = DAY, fail_at: str | None = None) -> SiteResult:
    """Check `a.site.yaml` with the cache, and make sure that it says what a fresh check says."""
    kept = Cache(folder / "cache")
    orders = Orders(day, fail_at)  # type: ignore[arg-type]
    (result,) = results_of(["a.site.yaml"], orders, Keys(day, orders.fail_at), kept)
    kept.close()
    assert [result] == list(results_of(["a.site.yaml"], orders))
    return result


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.site.yaml", SITE.decode().replace("Brook", "Mill")),
        ("equipment.yaml", "meshlint: 1\nmodels: {tri: {kind: switch}}\n"),
        ("equipment.yaml", "meshlint: 1\nmodels: {}\n"),
        ("meshlint.yaml", "meshlint: 1\nfail_at: note\n"),
        ("meshlint.yaml", "meshlint: 1\nrules: {every-unit-joined: {severity: note}}\n"),
        (
            "meshlint.yaml",
            "meshlint: 1\ncards: [{folder: cards, name: own}]\n",
        ),
        ("meshlint.yaml", "meshlint: [\n"),
    ],
)
def test_a_result_changes_with_everything_that_bears_on_it(
    here: Path, name: str, text: str
) -> None:
    """`checked` compares with a fresh check each time, so a stale answer would be seen."""
    Path("cards").mkdir()
    checked(here)
    checked(here)
    Path(name).write_text(text)
    checked(here)
    Path("cards/own.yaml").write_text(
        (Path(__file__).parents[2] / "rules" / "every-unit-joined.yaml").read_text()
    )
    checked(here)
    Path("meshlint-accepted.yaml").write_text("meshlint: 1\nsites: {}\n")
    checked(here)
    checked(here, fail_at="warning")


def test_a_waiver_ends_though_its_file_stays_the_same(here: Path) -> None:
    waiver = (
        b"waivers: [{rule: every-unit-joined, subject: units/b, because: x, until: 2026-12-31}]\n"
    )
    Path("a.site.yaml").write_bytes(SITE + waiver)
    assert checked(here, date(2026, 12, 31)).accepted
    assert not checked(here, date(2027, 1, 1)).accepted


def test_two_checkouts_with_one_file_and_two_catalogues_do_not_mix(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked(here)
    other = here / "other"
    other.mkdir()
    (other / "a.site.yaml").write_bytes(SITE)
    (other / "equipment.yaml").write_text("meshlint: 1\nmodels: {tri: {kind: switch}}\n")
    monkeypatch.chdir(other)
    checked(here)


def test_a_file_not_understood_is_not_kept(here: Path) -> None:
    Path("equipment.yaml").unlink()
    assert checked(here).problems
    Path("equipment.yaml").write_text("meshlint: 1\nmodels: {tri: {}}\n")
    assert not checked(here).problems


# --- the file -------------------------------------------------------------------------------------


def filled(folder: Path, entries: int = 50) -> Path:
    kept = Cache(folder)
    for number in range(entries):
        kept.put(b"key %d" % number, b"entry %d" % number)
    kept.close()
    return folder / "results.sqlite"


def test_what_was_put_comes_back(tmp_path: Path) -> None:
    filled(tmp_path)
    kept = Cache(tmp_path)
    assert kept.get(b"key 7") == b"entry 7"
    assert kept.get(b"key 70") is None


def test_a_damaged_file_costs_entries_and_never_gives_a_wrong_one(tmp_path: Path) -> None:
    """Bytes turned over anywhere in the file, two hundred times."""
    draw = random.Random(7)  # noqa: S311 - it damages files
    whole = filled(tmp_path / "whole").read_bytes()
    for number in range(200):
        folder = tmp_path / str(number)
        folder.mkdir()
        damaged = bytearray(whole)
        for _ in range(draw.choice([1, 8, 400])):
            damaged[draw.randrange(len(damaged))] ^= draw.randrange(1, 256)
        (folder / "results.sqlite").write_bytes(damaged)
        kept = Cache(folder)
        for at in range(50):
            assert kept.get(b"key %d" % at) in (None, b"entry %d" % at)
        kept.put(b"new", b"entry")
        kept.close()
        kept.close()


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\0" + bytes(200)])
def test_a_file_that_is_no_database_is_thrown_away(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "results.sqlite").write_bytes(content)
    filled(tmp_path)
    assert Cache(tmp_path).get(b"key 7") == b"entry 7"


def test_a_folder_that_cannot_be_used_costs_time_only(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    kept = Cache(blocked / "inner")
    kept.put(b"key", b"entry")
    assert kept.get(b"key") is None
    kept.close()


def test_a_run_that_holds_the_file_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_module, "_PATIENCE_S", 0.05)
    file = filled(tmp_path)
    holder = sqlite3.connect(file, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    kept = Cache(tmp_path)
    assert kept.get(b"key 7") is None
    kept.put(b"new", b"entry")
    kept.close()
    holder.execute("ROLLBACK")
    holder.close()
    assert Cache(tmp_path).get(b"key 7") == b"entry 7"


def test_two_runs_at_once_lose_nothing(tmp_path: Path) -> None:
    def run(who: int) -> None:
        kept = Cache(tmp_path)
        for number in range(300):
            kept.put(b"%d %d" % (who, number), b"entry %d" % number)
        kept.close()

    runs = [threading.Thread(target=run, args=(who,)) for who in range(4)]
    for each in runs:
        each.start()
    for each in runs:
        each.join()
    kept = Cache(tmp_path)
    for who in range(4):
        for number in range(300):
            assert kept.get(b"%d %d" % (who, number)) == b"entry %d" % number


def test_the_oldest_go_when_there_are_too_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_module, "MOST_ENTRIES", 100)
    filled(tmp_path, 101)
    kept = Cache(tmp_path)
    there = [number for number in range(101) if kept.get(b"key %d" % number) is not None]
    assert there == list(range(21, 101))


def test_the_file_stays_within_its_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache_module, "MOST_BYTES", 2**20)
    kept = Cache(tmp_path)
    for number in range(3000):
        kept.put(b"key %d" % number, os.urandom(2000))
    kept.close()
    # A batch comes on top before the bound is looked at.
    assert (tmp_path / "results.sqlite").stat().st_size < 2 * 2**20

"""The cache: what a result hangs on, two runs at once, damage, and bounds."""

from __future__ import annotations

import os
import random
import sqlite3
import threading
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.fleet import cache as cache_module
from meshlint.fleet import cache_trust
from meshlint.fleet.cache import Cache, trusted_cache
from meshlint.fleet.cache_trust import NotTrustedError
from meshlint.fleet.keys import Keys
from meshlint.fleet.runner import Orders, results_of

if TYPE_CHECKING:
    from meshlint.lint.finding import SiteResult

DAY = date(2026, 11, 25)
KEY = bytes(range(32))
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
    kept = Cache(folder / "cache", KEY)
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
    kept = Cache(folder, KEY)
    for number in range(entries):
        kept.put(b"key %d" % number, b"entry %d" % number)
    kept.close()
    return folder / "results.sqlite"


def looked_up(folder: Path, key: bytes, secret: bytes = KEY) -> bytes | None:
    """Look an entry up as a new run would."""
    with closing(Cache(folder, secret)) as kept:
        return kept.get(key)


def test_what_was_put_comes_back(tmp_path: Path) -> None:
    filled(tmp_path)
    assert looked_up(tmp_path, b"key 7") == b"entry 7"
    assert looked_up(tmp_path, b"key 70") is None


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
        kept = Cache(folder, KEY)
        for at in range(50):
            assert kept.get(b"key %d" % at) in (None, b"entry %d" % at)
        kept.put(b"new", b"entry")
        kept.close()
        kept.close()


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\0" + bytes(200)])
def test_a_file_that_is_no_database_is_thrown_away(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "results.sqlite").write_bytes(content)
    filled(tmp_path)
    assert looked_up(tmp_path, b"key 7") == b"entry 7"


def test_a_folder_that_cannot_be_used_costs_time_only(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    kept = Cache(blocked / "inner", KEY)
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
    kept = Cache(tmp_path, KEY)
    assert kept.get(b"key 7") is None
    kept.put(b"new", b"entry")
    kept.close()
    holder.execute("ROLLBACK")
    holder.close()
    assert looked_up(tmp_path, b"key 7") == b"entry 7"


def test_two_runs_at_once_lose_nothing(tmp_path: Path) -> None:
    def run(who: int) -> None:
        kept = Cache(tmp_path, KEY)
        for number in range(300):
            kept.put(b"%d %d" % (who, number), b"entry %d" % number)
        kept.close()

    runs = [threading.Thread(target=run, args=(who,)) for who in range(4)]
    for each in runs:
        each.start()
    for each in runs:
        each.join()
    with closing(Cache(tmp_path, KEY)) as kept:
        for who in range(4):
            for number in range(300):
                assert kept.get(b"%d %d" % (who, number)) == b"entry %d" % number


def test_the_oldest_go_when_there_are_too_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_module, "MOST_ENTRIES", 100)
    filled(tmp_path, 101)
    with closing(Cache(tmp_path, KEY)) as kept:
        there = [number for number in range(101) if kept.get(b"key %d" % number) is not None]
    assert there == list(range(21, 101))


def test_the_file_stays_within_its_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache_module, "MOST_BYTES", 2**20)
    kept = Cache(tmp_path, KEY)
    for number in range(3000):
        kept.put(b"key %d" % number, os.urandom(2000))
    kept.close()
    # A batch comes on top before the bound is looked at.
    assert (tmp_path / "results.sqlite").stat().st_size < 2 * 2**20


# --- whom it trusts -------------------------------------------------------------------------------


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a user who has a home and has said nothing about the cache."""
    for variable in ("MESHLINT_CACHE_KEY", "MESHLINT_CACHE_DIR", "XDG_CACHE_HOME"):
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", "relative/and/so/ignored")
    return tmp_path


def test_an_entry_made_with_another_key_or_for_another_key_is_none(tmp_path: Path) -> None:
    """Whoever can write the file can turn findings into none, but for the key."""
    filled(tmp_path)
    assert looked_up(tmp_path, b"key 7", bytes(32)) is None
    with sqlite3.connect(tmp_path / "results.sqlite") as database:
        (entry, digest) = database.execute(
            "SELECT entry, checksum FROM results WHERE key = ?", (b"key 8",)
        ).fetchone()
        database.execute(
            "UPDATE results SET entry = ?, checksum = ? WHERE key = ?", (entry, digest, b"key 7")
        )
        database.execute("UPDATE results SET entry = ? WHERE key = ?", (b"clean", b"key 9"))
    database.close()
    there = [looked_up(tmp_path, b"key %d" % n) for n in (6, 7, 8, 9)]
    assert there == [b"entry 6", None, b"entry 8", None]


def opened_and_closed() -> None:
    """Let a run open the cache that its user is meant to have, and end."""
    kept = trusted_cache()
    assert kept is not None
    kept.close()


def test_the_key_is_the_users_alone_and_stays_the_same(own: Path) -> None:
    for _ in range(2):
        kept = trusted_cache()
        assert kept is not None
        assert kept.get(b"key") in (None, b"entry")
        kept.put(b"key", b"entry")
        kept.close()
    key = own / ".config" / "meshlint" / "cache.key"
    assert key.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in key.parent.iterdir()] == ["cache.key"]
    assert (own / ".cache" / "meshlint").stat().st_mode & 0o777 == 0o700
    again = trusted_cache()
    assert again is not None
    assert again.get(b"key") == b"entry"
    again.close()


def test_a_shared_key_serves_two_machines_and_no_third(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MESHLINT_CACHE_DIR", str(own / "shared"))
    found = []
    for key in ("kept with the secrets", "kept with the secrets", "made up by someone"):
        monkeypatch.setenv("MESHLINT_CACHE_KEY", key)
        kept = trusted_cache()
        assert kept is not None
        found.append(kept.get(b"key"))
        kept.put(b"key", b"entry")
        kept.close()
    assert found == [None, b"entry", None]
    assert not (own / ".config").exists()


@pytest.mark.parametrize("mode", [0o770, 0o707, 0o777])
def test_a_folder_that_others_can_write_to_is_not_used(own: Path, mode: int) -> None:
    folder = own / ".cache" / "meshlint"
    folder.mkdir(parents=True)
    folder.chmod(mode)
    with pytest.raises(NotTrustedError, match="others can write to"):
        trusted_cache()
    folder.chmod(0o755)
    opened_and_closed()


@pytest.mark.parametrize("damage", ["read by others", "empty", "too short a word", "no file"])
def test_a_key_that_others_may_know_or_that_is_none_is_not_used(
    own: Path, damage: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened_and_closed()
    key = own / ".config" / "meshlint" / "cache.key"
    if damage == "read by others":
        key.chmod(0o644)
    elif damage == "empty":
        key.write_bytes(b"")
    elif damage == "no file":
        key.unlink()
        os.mkfifo(key)
    else:
        monkeypatch.setenv("MESHLINT_CACHE_KEY", "short")
    with pytest.raises(NotTrustedError):
        trusted_cache()


def test_two_first_runs_agree_on_one_key(own: Path) -> None:
    keys: list[bytes | None] = []
    runs = [threading.Thread(target=lambda: keys.append(cache_trust.cache_key())) for _ in range(8)]
    for each in runs:
        each.start()
    for each in runs:
        each.join()
    assert len(keys) == 8
    assert set(keys) == {(own / ".config" / "meshlint" / "cache.key").read_bytes()}


def test_a_file_made_to_be_searched_for_ever_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A table may be a question in disguise, and that one has no end."""
    monkeypatch.setattr(cache_module, "_MOST_STEPS", 100_000)
    with sqlite3.connect(tmp_path / "results.sqlite") as database:
        database.execute(
            "CREATE VIEW results AS WITH RECURSIVE n(number) AS "
            "(SELECT 1 UNION ALL SELECT number + 1 FROM n) "
            "SELECT number, CAST(number AS BLOB) AS key, x'00' AS entry, x'00' AS checksum FROM n"
        )
    database.close()
    kept = Cache(tmp_path, KEY)
    assert kept.get(b"key") is None
    kept.close()
    filled(tmp_path)
    assert looked_up(tmp_path, b"key 7") == b"entry 7"

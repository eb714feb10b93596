"""Results kept from one run to the next, by the content of everything that bears on them.

One SQLite file: two runs may use it at once, and whatever goes wrong with it costs time and never a
result. Each entry carries a digest under the user's key, and one that was not made with it, or is
damaged, is none; a file that is no database any more is thrown away.
"""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from typing import TYPE_CHECKING

from meshlint.digest import blake2b, compare_digest
from meshlint.fleet.cache_trust import cache_folder, cache_key, refuse_folder_of_others

if TYPE_CHECKING:
    from pathlib import Path

MOST_ENTRIES = 20_000
MOST_BYTES = 256 * 2**20
_PATIENCE_S = 2.0
_BATCH = 200

_TABLE = (
    "CREATE TABLE IF NOT EXISTS results ("
    "number INTEGER PRIMARY KEY, key BLOB UNIQUE, entry BLOB, checksum BLOB)"
)

# What somebody else made of the file may go on for ever, or hold more than memory: a question takes
# a few dozen steps, dropping the oldest entries some hundred thousand.
_MOST_STEPS = 20_000_000
_LARGEST_ENTRY = 32 * 2**20


def trusted_cache() -> Cache | None:
    """Return the cache that a run may use, `None` where there is no place or no key for one.

    Raises `NotTrustedError` where others could have written what it holds.
    """
    folder, key = cache_folder(), cache_key()
    if folder is None or key is None:
        return None
    refuse_folder_of_others(folder)
    return Cache(folder, key)


# What a damaged file can raise: the library also fails to decode its own message about one.
_FAILURES = (sqlite3.Error, UnicodeDecodeError)

# What says nothing of the file itself, only that it cannot be used now.
_PASSING = ("BUSY", "LOCKED", "READONLY", "CANTOPEN", "FULL", "IOERR", "PERM", "AUTH")


class Cache:
    """Entries by key; every method does nothing once the file has proved unusable."""

    def __init__(self, folder: Path, secret: bytes) -> None:
        self._file = folder / "results.sqlite"
        self._secret = secret
        self._new: dict[bytes, bytes] = {}
        self._database: sqlite3.Connection | None = None
        for _ in range(2):
            try:
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
                self._database = _opened(self._file)
                break
            except OSError:
                break
            except _FAILURES as error:
                if _is_passing(error):
                    break
                self._throw_away()

    def get(self, key: bytes) -> bytes | None:
        """Return the entry under a key, if it is there and whole."""
        if self._database is None:
            return None
        try:
            row = self._database.execute(
                "SELECT entry, checksum FROM results WHERE key = ? AND length(entry) <= ?",
                (key, _LARGEST_ENTRY),
            ).fetchone()
        except _FAILURES as error:
            self._failed(error)
            return None
        if row is None or not (isinstance(row[0], bytes) and isinstance(row[1], bytes)):
            return None
        return row[0] if compare_digest(self._digest(key, row[0]), row[1]) else None

    def put(self, key: bytes, entry: bytes) -> None:
        """Keep an entry; it is written in batches."""
        self._new[key] = entry
        if len(self._new) >= _BATCH:
            self._write()

    def close(self) -> None:
        """Write what is new, drop the oldest entries beyond the bounds, and let the file go."""
        self._write()
        if self._database is not None:
            self._database.close()
            self._database = None

    def _write(self) -> None:
        rows = [(key, entry, self._digest(key, entry)) for key, entry in self._new.items()]
        self._new = {}
        if self._database is None or not rows:
            return
        try:
            with self._database:
                self._database.executemany(
                    "INSERT OR REPLACE INTO results (key, entry, checksum) VALUES (?, ?, ?)", rows
                )
                _bound(self._database)
        except _FAILURES as error:
            self._failed(error)

    def _failed(self, error: Exception) -> None:
        """Throw the file away, unless it is only somebody else's for now."""
        if _is_passing(error):
            return
        if self._database is not None:
            self._database.close()
            self._database = None
        self._throw_away()

    def _throw_away(self) -> None:
        with suppress(OSError):  # nobody may remove it, so it is left and not used
            self._file.unlink(missing_ok=True)

    def _digest(self, key: bytes, entry: bytes) -> bytes:
        # The length keeps the end of a key from passing for the beginning of an entry.
        digest = blake2b(len(key).to_bytes(8, "big"), digest_size=16, key=self._secret)
        digest.update(key)
        digest.update(entry)
        return digest.digest()


def _opened(file: Path) -> sqlite3.Connection:
    database = sqlite3.connect(file, timeout=_PATIENCE_S)
    try:
        # A result that is lost with the machine's power is only worked out again.
        database.set_progress_handler(lambda: 1, _MOST_STEPS)
        database.execute("PRAGMA trusted_schema = OFF")
        database.execute("PRAGMA synchronous = OFF")
        database.execute(_TABLE)
        database.commit()
    except BaseException:
        database.close()
        raise
    return database


def _is_passing(error: Exception) -> bool:
    name = getattr(error, "sqlite_errorname", "") or ""
    return any(name.startswith(f"SQLITE_{word}") for word in _PASSING)


def _bound(database: sqlite3.Connection) -> None:
    """Drop the oldest fifth of the entries where there are too many, or they take too much."""

    def number(question: str) -> int:
        return int(database.execute(question).fetchone()[0])

    entries = number("SELECT count(*) FROM results")
    pages = number("PRAGMA page_count") - number("PRAGMA freelist_count")
    if entries <= MOST_ENTRIES and pages * number("PRAGMA page_size") <= MOST_BYTES:
        return
    keep = min(entries, MOST_ENTRIES) * 4 // 5
    database.execute(
        "DELETE FROM results WHERE number NOT IN "
        "(SELECT number FROM results ORDER BY number DESC LIMIT ?)",
        (keep,),
    )

"""Results kept from one run to the next, by the content of everything that bears on them.

One SQLite file: two runs may use it at once, and whatever goes wrong with it costs time and never a
result. Each entry carries a checksum; a file that is no database any more is thrown away.
"""

from __future__ import annotations

import os
import sqlite3
from hashlib import blake2b
from pathlib import Path

MOST_ENTRIES = 20_000
MOST_BYTES = 256 * 2**20
_PATIENCE_S = 2.0
_BATCH = 200

_TABLE = (
    "CREATE TABLE IF NOT EXISTS results ("
    "number INTEGER PRIMARY KEY, key BLOB UNIQUE, entry BLOB, checksum BLOB)"
)


def cache_folder() -> Path:
    """Return where results are kept: `MESHLINT_CACHE_DIR`, else the user's cache folder."""
    given = os.environ.get("MESHLINT_CACHE_DIR")
    if given:
        return Path(given)
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "meshlint"


# What a damaged file can raise: the library also fails to decode its own message about one.
_FAILURES = (sqlite3.Error, UnicodeDecodeError)

# What says nothing of the file itself, only that it cannot be used now.
_PASSING = ("BUSY", "LOCKED", "READONLY", "CANTOPEN", "FULL", "IOERR", "PERM", "AUTH")


class Cache:
    """Entries by key; every method does nothing once the file has proved unusable."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "results.sqlite"
        self._new: dict[bytes, bytes] = {}
        self._database: sqlite3.Connection | None = None
        for _ in range(2):
            try:
                folder.mkdir(parents=True, exist_ok=True)
                self._database = _opened(self._file)
                break
            except OSError:
                break
            except _FAILURES as error:
                if _is_passing(error):
                    break
                self._file.unlink(missing_ok=True)

    def get(self, key: bytes) -> bytes | None:
        """Return the entry under a key, if it is there and whole."""
        if self._database is None:
            return None
        try:
            row = self._database.execute(
                "SELECT entry, checksum FROM results WHERE key = ?", (key,)
            ).fetchone()
        except _FAILURES as error:
            self._failed(error)
            return None
        if row is None or not isinstance(row[0], bytes) or _checksum(key, row[0]) != row[1]:
            return None
        return row[0]

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
        rows = [(key, entry, _checksum(key, entry)) for key, entry in self._new.items()]
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
        self._file.unlink(missing_ok=True)


def _opened(file: Path) -> sqlite3.Connection:
    database = sqlite3.connect(file, timeout=_PATIENCE_S)
    try:
        # A result that is lost with the machine's power is only worked out again.
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


def _checksum(key: bytes, entry: bytes) -> bytes:
    return blake2b(entry, digest_size=8, key=key).digest()

"""Whom the cache trusts: entries that bear the user's own key, in a folder of the user's own.

Whoever could write an entry could turn findings into a clean run. So each entry carries a digest
that only the holder of a key can make. The key lies in the user's configuration folder, made when
first wanted and readable by nobody else, or is given by whoever shares a cache between machines.
"""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path
from typing import Literal

from meshlint.digest import blake2b

KEY_VARIABLE = "MESHLINT_CACHE_KEY"
FOLDER_VARIABLE = "MESHLINT_CACHE_DIR"

_LEAST_CHARACTERS = 16
_KEY_BYTES = 32


class NotTrustedError(Exception):
    """The cache must not be used; says why, and what to do about it."""


def cache_folder() -> Path | None:
    """Return where results are kept: `MESHLINT_CACHE_DIR`, else the user's cache folder, if any."""
    given = os.environ.get(FOLDER_VARIABLE)
    return Path(given) if given else _of_user("cache")


def refuse_folder_of_others(folder: Path) -> None:
    """Raise `NotTrustedError` for a folder that is there and that others can write to."""
    try:
        about = folder.stat()
    except OSError:  # it cannot be used, which costs time alone
        return
    if stat.S_ISDIR(about.st_mode) and _of_others(about, stat.S_IWGRP | stat.S_IWOTH):
        words = f"others can write to {folder}; `chmod go-w` it, or set {FOLDER_VARIABLE}"
        raise NotTrustedError(words)


def cache_key() -> bytes | None:
    """Return the key of the entries, `None` where there is none and none can be kept.

    Raises `NotTrustedError` for one that others may know.
    """
    given = os.environ.get(KEY_VARIABLE)
    if given is not None:
        if len(given) < _LEAST_CHARACTERS:
            words = f"{KEY_VARIABLE} has less than {_LEAST_CHARACTERS} characters"
            raise NotTrustedError(words)
        return blake2b(os.fsencode(given), digest_size=_KEY_BYTES).digest()
    folder = _of_user("config")
    if folder is None:
        return None
    path = folder / "cache.key"
    try:
        return _read(path) or _made(path)
    except OSError:
        return None


def _of_user(kind: Literal["cache", "config"]) -> Path | None:
    """Return the program's folder in the user's one of a kind, where the system wants it to be.

    On Linux and its like that is as the XDG Base Directory Specification 0.8 has it.
    """
    if sys.platform in _OTHERWISE:
        import platformdirs

        find = platformdirs.user_cache_dir if kind == "cache" else platformdirs.user_config_dir
        found = Path(find("meshlint", appauthor=False))
        return found if found.is_absolute() else None
    given = Path(os.environ.get(f"XDG_{kind.upper()}_HOME", ""))
    if not given.is_absolute():  # "invalid", says the specification, and to be ignored
        given = Path(os.path.expanduser(f"~/.{kind}"))  # noqa: PTH111 - never raises
    # Where nobody knows a home, that is left as it stands.
    return given / "meshlint" if given.is_absolute() else None


_OTHERWISE = frozenset({"win32", "darwin"})
"""Systems with folders of their own for this, which `platformdirs` knows."""


def _of_others(about: os.stat_result, bits: int) -> bool:
    """Return whether somebody but the user owns what is there, or is let in by its mode."""
    if os.name != "posix":
        return False
    return about.st_uid != os.geteuid() or bool(about.st_mode & bits)


def _read(path: Path) -> bytes | None:
    """Return the key in a file, `None` where there is no such file; raise `OSError`."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        return None
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode) or _of_others(about, stat.S_IRWXG | stat.S_IRWXO):
            words = f"others may know its key; remove {path}, and it is made again"
            raise NotTrustedError(words)
        key = os.read(handle, _KEY_BYTES + 1)
    finally:
        os.close(handle)
    if len(key) != _KEY_BYTES:
        raise NotTrustedError(f"there is no key in {path}; remove it, and it is made again")
    return key


def _made(path: Path) -> bytes | None:
    """Return a new key that was put in a file, or the one that another run put there first."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.urandom(6).hex()}")
    try:
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            os.write(handle, os.urandom(_KEY_BYTES))
        finally:
            os.close(handle)
        try:
            os.link(beside, path)  # which replaces nothing
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
    return _read(path)

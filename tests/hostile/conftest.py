"""What tests of hostile input share: the real program, in a process with little room."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import resource
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import ModuleType

MOST_BYTES = 1536 * 2**20
MOST_SECONDS = 60

_NO_NUMBER = re.compile(r"(?<![\w.])-?(nan|inf|infinity)(?![\w.])", re.IGNORECASE)


def _little_room() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _run(folder: Path, *words: str, **options: Any) -> subprocess.CompletedProcess[bytes]:
    cache = {"MESHLINT_CACHE_DIR": str(folder / ".cache")}
    options["env"] = {**os.environ, **cache, **options.get("env", {})}
    if "stdout" not in options and "stderr" not in options:
        options["capture_output"] = True
    return subprocess.run(
        [sys.executable, "-m", "meshlint", *words],
        cwd=folder,
        preexec_fn=_little_room,
        timeout=3 * MOST_SECONDS,
        check=False,
        **options,
    )


@pytest.fixture(scope="session")
def meshlint() -> Callable[..., subprocess.CompletedProcess[bytes]]:
    """Run the program in a folder, in bounded memory and time."""
    return _run


@pytest.fixture(scope="session")
def files_of() -> Callable[[bytes], dict[str, dict[str, Any]]]:
    """Return a JSON report's files by path; a number that is none makes it no JSON."""

    def refuse(word: str) -> None:
        message = f"{word} is no JSON"
        raise ValueError(message)

    def found(output: bytes) -> dict[str, dict[str, Any]]:
        report = json.loads(output, parse_constant=refuse)
        return {entry["path"]: entry for entry in report["files"]}

    return found


@pytest.fixture(scope="session")
def without_size() -> Callable[[str], str]:
    """Return the first number in a report that is none, JSON's own texts looked into as well."""

    def found(shown: str) -> str:
        match = _NO_NUMBER.search(shown)
        return match[0] if match else ""

    return found


def _module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sites() -> ModuleType:
    """Return the module that draws sites from the schema."""
    return _module("sites")


@pytest.fixture(scope="session")
def passphrases() -> ModuleType:
    """Return the module with the places of passphrases."""
    return _module("passphrases")


@pytest.fixture(scope="session")
def large() -> ModuleType:
    """Return the module that makes up sites near the limits."""
    return _module("large")

"""Windows and macOS, as far as they can be had on Linux: their separators, flags and folders."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import platformdirs
import pytest
from platformdirs.macos import MacOS
from platformdirs.windows import Windows

from meshlint.fleet import cache_trust, discovery
from meshlint.site import files

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("system", "dirs", "cache"),
    [
        ("darwin", MacOS, "Library/Caches/meshlint"),
        ("win32", Windows, "Cache"),
    ],
)
def test_the_cache_lies_where_the_system_has_caches(
    system: str, dirs: type, cache: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Apple, "File System Programming Guide"; Microsoft, "Known Folders", by platformdirs."""
    monkeypatch.setattr(sys, "platform", system)
    monkeypatch.setattr(platformdirs, "PlatformDirs", dirs)
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MESHLINT_CACHE_DIR", "MESHLINT_CACHE_KEY"):
        monkeypatch.delenv(name, raising=False)
    for name in ("LOCALAPPDATA", "APPDATA"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.setattr("platformdirs.windows.get_win_folder", lambda _: str(tmp_path / "Local"))
    folder = cache_trust.cache_folder()
    assert folder is not None
    assert folder.is_relative_to(tmp_path)
    assert folder.as_posix().endswith(cache)
    assert "meshlint" in folder.parts
    assert cache_trust.cache_key() is not None
    assert not (tmp_path / ".config").exists()


def test_reports_have_forward_slashes_where_the_system_has_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(os, "sep", "\\")
    assert files.with_slashes("north\\a.site.yaml") == "north/a.site.yaml"
    monkeypatch.setattr(os.path, "normpath", lambda path: path.replace("/", "\\"))
    assert discovery.site_files(["north\\a.site.yaml", "b/c.site.yaml"]) == (
        "b/c.site.yaml", "north/a.site.yaml",
    )  # fmt: skip


def test_bytes_are_asked_for_as_bytes() -> None:
    """Windows reads text unless `O_BINARY` says otherwise (Microsoft C runtime, `_open`)."""
    program = (
        "import os\n"
        "os.O_BINARY = 1 << 28\n"
        "from meshlint.site import files\n"
        "assert files._READ_ONLY & os.O_BINARY\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


def test_a_policy_s_path_is_shown_with_forward_slashes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from meshlint.lint.policy import shown_from_here

    monkeypatch.chdir(tmp_path)
    assert shown_from_here(tmp_path / "a" / "meshlint.yaml") == "a/meshlint.yaml"

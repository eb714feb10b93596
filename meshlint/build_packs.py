"""Run by hatchling when it builds a wheel or installs a checkout: puts the generated files in.

A wheel also gets a digest of all that makes up the program, by which the cache knows it. No part
of the installed package.
"""

from __future__ import annotations

import sys
from hashlib import blake2b
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class PackHook(BuildHookInterface):  # type: ignore[misc] # a build has it, a run need not
    """Writes the generated files into the tree that is built from."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Write them; `version` is `editable` where the checkout itself is installed."""
        root = Path(self.root)
        sys.path.insert(0, self.root)
        from meshlint.datafiles import STAMP
        from meshlint.packs import written

        files = list(written())
        if version != "editable":
            STAMP.write_text(_digest(root), encoding="ascii")
            files.append(STAMP)
        build_data["artifacts"] += [file.relative_to(root).as_posix() for file in files]


def _digest(root: Path) -> str:
    whole = blake2b(digest_size=20)
    for folder in ("meshlint", "rules", "schemas"):
        for path in sorted((root / folder).rglob("*")):
            if path.is_file() and path.suffix != ".pyc":
                data = path.read_bytes()
                whole.update(f"{path.relative_to(root).as_posix()} {len(data)}\n".encode())
                whole.update(data)
    return whole.hexdigest()

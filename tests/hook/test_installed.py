"""What the tests import, and that rules and schemas travel with it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

import meshlint
from meshlint.datafiles import FACT_INDEX, PACK, STAMP, data_folder, in_a_wheel
from meshlint.lint.card_cache import pack_text
from meshlint.workings.catalogue import all_facts, index_text

CHECKOUT = Path(__file__).parents[2]


def test_the_tests_run_against_the_checkout_or_the_package_installed_from_it() -> None:
    home = Path(meshlint.__file__ or "").resolve().parents[1]
    installed = Path(sysconfig.get_path("purelib")).resolve()
    if os.environ.get("MESHLINT_EXPECT_INSTALLED") == "1":  # set by .ci/run
        assert home == installed
    else:
        assert home in {installed, CHECKOUT.resolve()}


def test_a_wheel_carries_what_its_build_makes_and_a_checkout_is_taken_for_none() -> None:
    package = Path(meshlint.__file__ or "").parent
    if os.environ.get("MESHLINT_EXPECT_INSTALLED") == "1":
        assert in_a_wheel()
        assert len(STAMP.read_text()) == 40
        assert not (package / "build_packs.py").exists()
        assert PACK.read_text() == pack_text(all_facts())
        assert FACT_INDEX.read_text() == index_text()
    else:
        assert in_a_wheel() == (package.resolve().parent != CHECKOUT.resolve())


def test_a_bare_checkout_without_generated_files_says_the_same(tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    for name in ("rules", "schemas"):
        shutil.copytree(CHECKOUT / name, bare / name)
    shutil.copytree(
        CHECKOUT / "meshlint", bare / "meshlint", ignore=lambda *_: ["__pycache__", "data"]
    )
    shutil.copytree(CHECKOUT / "meshlint/law/data", bare / "meshlint/law/data")
    call = [sys.executable, "-m", "meshlint", "check", "--no-cache", "--today", "2026-11-25"]
    call += ["--format", "json", str(CHECKOUT / "samples/branches")]
    told = []
    for root in (bare, Path(meshlint.__file__ or "").resolve().parents[1]):
        environment = {**os.environ, "PYTHONPATH": str(root)}
        done = subprocess.run(call, capture_output=True, check=False, env=environment, cwd=tmp_path)
        assert done.returncode == 1, done.stderr
        told.append(done.stdout)
    assert told[0] == told[1]
    assert not (bare / "meshlint/data").exists()


@pytest.mark.parametrize("kind", ["rules", "schemas"])
def test_the_files_that_travel_with_the_package_are_those_of_the_checkout(kind: str) -> None:
    travelled = data_folder(kind)  # type: ignore[arg-type]
    ours = CHECKOUT / kind
    names = {path.relative_to(ours) for path in ours.rglob("*.*") if path.is_file()}
    assert names
    assert {p.relative_to(travelled) for p in travelled.rglob("*.*") if p.is_file()} == names
    for name in names:
        assert (travelled / name).read_bytes() == (ours / name).read_bytes()

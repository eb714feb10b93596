"""What the tests import, and that rules and schemas travel with it."""

from __future__ import annotations

import json
import os
import sysconfig
from importlib.metadata import distribution
from pathlib import Path

import pytest

import meshlint
from meshlint.datafiles import data_folder

CHECKOUT = Path(__file__).parents[2]


def is_editable() -> bool:
    """Return whether the package is installed as a link to a checkout (PEP 610)."""
    origin = json.loads(distribution("meshlint").read_text("direct_url.json") or "{}")
    return bool(origin.get("dir_info", {}).get("editable", False))


def test_the_tests_run_against_the_package_that_is_installed() -> None:
    expect_wheel = os.environ.get("MESHLINT_EXPECT_INSTALLED") == "1"  # set by .ci/run
    assert not (expect_wheel and is_editable())
    home = CHECKOUT if is_editable() else Path(sysconfig.get_path("purelib"))
    assert Path(meshlint.__file__ or "").resolve().parent == home.resolve() / "meshlint"


@pytest.mark.parametrize("kind", ["rules", "schemas"])
def test_the_files_that_travel_with_the_package_are_those_of_the_checkout(kind: str) -> None:
    travelled = data_folder(kind)  # type: ignore[arg-type]
    ours = CHECKOUT / kind
    names = {path.relative_to(ours) for path in ours.rglob("*.*") if path.is_file()}
    assert names
    assert {p.relative_to(travelled) for p in travelled.rglob("*.*") if p.is_file()} == names
    for name in names:
        assert (travelled / name).read_bytes() == (ours / name).read_bytes()

"""What the tests import, and that rules and schemas travel with it."""

from __future__ import annotations

import os
import sysconfig
from pathlib import Path

import pytest

import meshlint
from meshlint.datafiles import data_folder

CHECKOUT = Path(__file__).parents[2]


def test_the_tests_run_against_the_checkout_or_the_package_installed_from_it() -> None:
    home = Path(meshlint.__file__ or "").resolve().parents[1]
    installed = Path(sysconfig.get_path("purelib")).resolve()
    if os.environ.get("MESHLINT_EXPECT_INSTALLED") == "1":  # set by .ci/run
        assert home == installed
    else:
        assert home in {installed, CHECKOUT.resolve()}


@pytest.mark.parametrize("kind", ["rules", "schemas"])
def test_the_files_that_travel_with_the_package_are_those_of_the_checkout(kind: str) -> None:
    travelled = data_folder(kind)  # type: ignore[arg-type]
    ours = CHECKOUT / kind
    names = {path.relative_to(ours) for path in ours.rglob("*.*") if path.is_file()}
    assert names
    assert {p.relative_to(travelled) for p in travelled.rglob("*.*") if p.is_file()} == names
    for name in names:
        assert (travelled / name).read_bytes() == (ours / name).read_bytes()

"""Every fact of every sample can be asked for: it is of its kind, or unknown with its inputs."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meshlint.site.load import Catalogues, load_site
from meshlint.site.schema import schema_text
from meshlint.workings.catalogue import FACTS
from meshlint.workings.fact import Kind
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

if TYPE_CHECKING:
    from meshlint.workings.fact import FactValue

BRANCHES = sorted((Path(__file__).parents[2] / "samples" / "branches").glob("*.site.yaml"))
SECTIONS = json.loads(schema_text("site"))["properties"]


def is_of(kind: Kind, value: FactValue) -> bool:
    """Return whether a value is what cards and reports take a fact of this kind for."""
    match kind:
        case Kind.TRUTH:
            return isinstance(value, bool)
        case Kind.TEXT:
            return isinstance(value, str)
        case Kind.TEXTS:
            return isinstance(value, tuple) and all(type(v) is str and v for v in value)
        case Kind.COUNT | Kind.NUMBER:
            return type(value) in (int, float) and math.isfinite(value)


@pytest.mark.parametrize("path", BRANCHES, ids=lambda path: path.name)
def test_a_fact_is_of_its_kind_or_says_which_key_of_which_section_it_lacks(path: Path) -> None:
    site, _ = load_site(path.read_bytes(), str(path), Catalogues())
    workings = Workings(site)
    known = 0
    for declared in FACTS.values():
        for subject in subjects(workings, declared.scope)[0]:
            value = workings.value(declared, subject)
            if isinstance(value, Unknown):
                assert value.inputs, declared.qualified
                for lacking in value.inputs:
                    assert lacking.pointer[0] in SECTIONS, (declared.qualified, lacking)
                    assert lacking.wanted, (declared.qualified, lacking)
            else:
                assert is_of(declared.kind, value), (declared.qualified, value)
                assert declared.kind is not Kind.COUNT or value >= 0, (declared.qualified, value)
                known += 1
    assert known > 100

"""Every fact of every sample can be asked for: it is known, or unknown with its inputs."""

from __future__ import annotations

from pathlib import Path

import pytest

from meshlint.site.load import Catalogues, load_site
from meshlint.workings.catalogue import FACTS
from meshlint.workings.site_workings import Workings
from meshlint.workings.subjects import subjects
from meshlint.workings.unknown import Unknown

BRANCHES = sorted((Path(__file__).parents[2] / "samples" / "branches").glob("*.site.yaml"))


@pytest.mark.parametrize("path", BRANCHES, ids=lambda path: path.name)
def test_a_fact_is_known_or_says_what_it_lacks(path: Path) -> None:
    site, _ = load_site(path.read_bytes(), str(path), Catalogues())
    workings = Workings(site)
    for declared in FACTS.values():
        for subject in subjects(workings, declared.scope)[0]:
            value = workings.value(declared, subject)
            if isinstance(value, Unknown):
                assert value.inputs, declared.qualified
            else:
                assert isinstance(value, float | int | bool | str | tuple)

"""Sites that hold very many of one thing, each judged by a process with little memory and time.

`tests/benchmarks/large_sites.py` tries them at the limits themselves, which takes minutes.
"""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.slow


TABLE = {
    "chain": 40,
    "tree": 40,
    "room": 40,
    "spot": 30,
    "dense": 400,
    "meshed": 40,
    "routes": 4000,
    "walls": 200,
    "long_walls": 100,
    "areas": 5,
    "levels": 16,
    "corners": 300,
    "waivers": 1200,
    "readings": 3000,
    "neighbours": 1200,
    "clients": 1200,
    "radars": 1200,
    "radios": 1500,
    "networks": 20,
    "vlans": 4000,
    "lines": 4000,
    "ports": 1500,
    "models": 4000,
}


def test_every_kind_is_tried_below_its_limit(large):
    assert TABLE.keys() == large.SITES.keys() == large.FULL.keys()
    assert all(size < large.FULL[kind] for kind, size in TABLE.items())


@pytest.mark.parametrize("kind", TABLE)
def test_many_of_one_thing_are_judged_in_little_memory_and_time(
    meshlint, files_of, large, tmp_path, kind
):
    (tmp_path / "a.site.yaml").write_bytes(large.text_of(large.SITES[kind](TABLE[kind])))
    done = meshlint(tmp_path, "check", "--format", "json", "--no-cache")
    assert done.returncode in (0, 1), done.stderr[-300:]
    entry = files_of(done.stdout)["a.site.yaml"]
    assert (entry["problems"], entry["fault"]) == ([], "")
    assert entry["findings"] or entry["not_judged"]
    # A report grows with the file, not with its square.
    assert len(done.stdout) < 50_000_000
    assert all(len(rule["inputs"]) <= 100 for rule in entry["not_judged"])


def test_one_map_that_every_unit_has_by_an_alias_counts_as_often_as_it_stands(
    meshlint, files_of, large, tmp_path
):
    (tmp_path / "met.site.yaml").write_bytes(large.aliased(100))
    (tmp_path / "over.site.yaml").write_bytes(large.aliased(400, of_radios=60))
    done = meshlint(tmp_path, "check", "--format", "json", "--no-cache", "--jobs", "1")
    assert done.returncode == 2, done.stderr[-300:]
    told = files_of(done.stdout)
    assert told["met.site.yaml"]["problems"] == []
    (problem,) = told["over.site.yaml"]["problems"]
    assert "aliases copy more than 200000 parts" in problem["message"]

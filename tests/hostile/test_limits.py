"""Each limit that a policy may set: a file that meets it passes, one that is over it does not.

Through the real program, which says so at the place and ends with exit status 2.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import yaml

from meshlint.site.limits import LIMITS, Limits

if TYPE_CHECKING:
    from pathlib import Path

SITE = """\
meshlint: 1
site: {name: Quillbeck Annexe}
primary: a
units: {a: {model: m, at: {level: g, x_m: 1, y_m: 1}}, b: {model: m, radios: {x: {}, z: {}}}, c: {}}
models: {m: {radios: {x: {}, y: {}}, ports: [{count: 2}, {count: 1}]}}
backhaul: {x: {from: a, to: b, over: cable}, y: {from: b, to: c, over: cable}}
networks: {one: {}, two: {}, three: {}, four: {}}
levels:
  g:
    outline_m: [[0, 0], [9, 0], [9, 9], [5, 12], [0, 9]]
    walls: [{path_m: [[0, 0], [1, 0], [1, 1]]}, {path_m: [[2, 2], [3, 3]]}]
    obstacles: [{outline_m: [[1, 1], [2, 1], [2, 2]], loss_db: 3}]
  h: {}
areas: {one: {level: g, outline_m: [[0, 0], [9, 0], [9, 9]]},
        two: {level: g, outline_m: [[0, 0], [9, 0], [9, 9]]}}
"""
CARD = """\
id: own-card
status: stable
since: "1.0"
about: unit
severity: note
title: Something holds
why: Because.
rationale: Because.
blind_spots: None.
expect: unit.is_primary || unit.hops < 0.0
says: "{unit.name} is not so"
remedy: Make it so.
adds: [{if: unit.is_primary, says: So}]
point_at: [self]
practice: common practice
"""
PARTS = sum(1 for _ in yaml.parse(SITE, yaml.CBaseLoader))

# The limit, how much of it the site and its cards hold, and what is said of one more, and where.
TABLE = (
    ("bytes", len(SITE), f"holds {len(SITE)} bytes; at most", 1),
    ("depth", 7, "more than 6 deep", 11),
    ("nodes", PARTS, f"more than {PARTS - 1} parts", 16),
    ("text", len("Quillbeck Annexe"), "a text of 16 characters; at most 15", 2),
    ("units", 3, "the file has 3 units; at most 2", 4),
    ("radios", 5, "the file has 5 radios; at most 4", 4),
    ("ports", 4, "the file has 4 entries of ports; at most 3", 4),
    ("links", 2, "the file has 2 links; at most 1", 6),
    ("networks", 4, "the file has 4 networks; at most 3", 7),
    ("walls", 6, "the file has 6 pieces of wall; at most 5", 8),
    ("corners", 11, "the file has 11 corners of levels and areas; at most 10", 8),
    ("levels", 2, "the file has 2 levels; at most 1", 8),
    ("areas", 2, "the file has 2 areas; at most 1", 14),
    ("cards", 2, "the folder holds 2 cards; at most 1", 2),
    ("expression", 34, "may have 33 characters at most", 10),
    ("conditions", 2, "2 conditions and roots; at most 1 are judged", 13),
    ("texts", 34, "have 34 characters; at most 33 are read", 11),
    ("messages", 110, "messages of own cards hold more than 109 characters", 11),
    ("patterns", 3, "the blocks have 3 patterns; at most 2 are read", 4),
)


def repository(folder: Path, limit: str, most: int) -> None:
    (folder / "cards").mkdir(parents=True)
    policy = (
        f"meshlint: 1\ncards: [{{folder: cards, name: own}}]\nfile_limits: {{{limit}: {most}}}\n"
        "blocks: [{sites: [x, y], fail_at: error}, {sites: [z], fail_at: error}]\n"
    )
    (folder / "meshlint.yaml").write_text(policy)
    (folder / "cards" / "own-card.yaml").write_text(CARD)
    (folder / "cards" / "other.yaml").write_text(
        CARD.replace("own-card", "other")
        .replace("unit.is_primary || ", "")
        .replace("adds: [{if: unit.is_primary, says: So}]\n", "")
    )
    (folder / "a.site.yaml").write_text(SITE)


@pytest.fixture(scope="module")
def told(meshlint, files_of, tmp_path_factory):
    top = tmp_path_factory.mktemp("limits")
    for limit, holds, *_ in TABLE:
        repository(top / f"{limit}-met", limit, holds)
        repository(top / f"{limit}-over", limit, holds - 1)
    done = meshlint(top, "check", "--format", "json", "--no-cache")
    assert done.returncode == 2, done.stderr[-300:]
    return files_of(done.stdout)


@pytest.mark.parametrize(("limit", "holds", "words", "line"), TABLE, ids=[row[0] for row in TABLE])
def test_what_meets_a_limit_passes_and_one_more_is_refused_at_its_place(
    told, limit, holds, words, line
):
    assert told[f"{limit}-met/a.site.yaml"]["problems"] == [], holds
    (problem,) = told[f"{limit}-over/a.site.yaml"]["problems"]
    assert words in problem["message"]
    assert problem["place"]["line"] == line


def test_the_table_names_every_limit_but_the_one_that_refuses_nothing():
    assert {row[0] for row in TABLE} == set(LIMITS.__struct_fields__) - {"places"}


@pytest.mark.parametrize(("most", "step_m"), [(324, 0.5), (323, 0.5294), (100, 0.9)])
def test_a_level_of_more_places_than_allowed_gets_a_wider_step(most, step_m):
    from meshlint.site.build import build_site
    from meshlint.site.source import read_document
    from meshlint.workings.propagation.coverage_map import over
    from meshlint.workings.site_workings import Workings

    document = read_document(SITE.encode(), "a")
    w = Workings(build_site(document, None, Limits(places=most)))
    square = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))
    places = over(w, w.site.levels["g"], (square,)).places
    assert places.step_m == pytest.approx(step_m, abs=5e-4)
    assert places.x_m.size <= most


def test_a_site_as_deep_as_any_policy_may_allow_is_refused_by_its_shape_and_not_by_python(
    meshlint, files_of, tmp_path
):
    from meshlint.site.limits import MOST

    (tmp_path / "meshlint.yaml").write_text(f"meshlint: 1\nfile_limits: {{depth: {MOST.depth}}}\n")
    deep = MOST.depth - 3
    begin, end = "[" * deep, "]" * deep
    (tmp_path / "lists.site.yaml").write_text(f"{SITE}clients: {{c: {{count: {begin}{end}}}}}\n")
    begin, end = "{a: " * deep, "}" * deep
    (tmp_path / "maps.site.yaml").write_text(f"{SITE}clients: {{c: {{count: {begin}1{end}}}}}\n")
    anchor = f"clients: {{c: &c {{count: {'[' * 50}{']' * 50}}}, d: {'[' * 140}*c{']' * 140}}}\n"
    (tmp_path / "alias.site.yaml").write_text(SITE + anchor)
    done = meshlint(tmp_path, "check", "--format", "json", "--no-cache")
    assert done.returncode == 2, done.stderr[-300:]
    for path, entry in files_of(done.stdout).items():
        assert entry["fault"] == "", path
        messages = [problem["message"] for problem in entry["problems"]]
        assert any("a whole number" in m or "lines of 'key: value'" in m for m in messages), (
            messages
        )


@pytest.mark.parametrize(
    ("section", "entries"),
    [("radios", "{" + ", ".join(f"r{i}: {{}}" for i in range(20_000)) + "}"),
     ("ports", "[" + ", ".join("{count: 1}" for _ in range(20_000)) + "]")],
)  # fmt: skip
def test_a_model_of_thousands_of_parts_is_not_built_for_hundreds_of_units(
    meshlint, files_of, tmp_path, section, entries
):
    units = ", ".join(f"u{i}: {{model: m}}" for i in range(500))
    text = f"meshlint: 1\nsite: {{name: A}}\nprimary: u0\nunits: {{{units}}}\n"
    (tmp_path / "a.site.yaml").write_text(f"{text}models: {{m: {{{section}: {entries}}}}}\n")
    done = meshlint(tmp_path, "check", "--format", "json", "--no-cache")
    assert done.returncode == 2, done.stderr[-300:]
    (problem,) = files_of(done.stdout)["a.site.yaml"]["problems"]
    assert "the file has 10000000" in problem["message"]

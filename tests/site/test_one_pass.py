"""All mistakes of a file are told in one go: names that nothing bears beside wrong shapes."""

from __future__ import annotations

import copy
import json
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.run import Checker
from meshlint.site.load import Catalogues, load_site
from meshlint.site.problem import InputError
from meshlint.site.source import read_document

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from random import Random

SITE = """\
meshlint: 1
site: {name: Brook Street, country: GB, changed: 2026-09-14}
primary: desk
internet_lines: {main: {enters_at: desk}}
buildings: {house: {}}
levels: {ground: {building: house}}
areas: {hall: {level: ground, outline_m: [[0, 0], [9, 0], [9, 9]]}}
models: {duo: {radios: {mid: {band: 5}}}}
units:
  desk: {model: duo, at: {level: ground, x_m: 1, y_m: 1}, building: house,
         radios: {mid: {channel: 36}}}
  loft:
    model: duo
    powered: {by: cable, from: desk}
    management_from: [staff]
    radios: {mid: {channel: 36}}
backhaul:
  loft: {from: loft, to: desk, over: radio, from_radio: mid, to_radio: mid}
cable_routes: [{between: [loft, desk], state: possible}]
clients: {staff: {count: 3, near: desk, in: hall, network: staff}}
networks: {staff: {radios: [mid], units: [desk], addresses: {from: desk}}}
neighbours: [{heard_at: desk, band: 5, channel: 36, level_dbm: -70}]
readings: [{link: loft, throughput_mbps: 200, taken: 2026-09-01},
           {unit: desk, band: 5, level_dbm: -60}]
waivers: [{rule: hop-depth, subject: units/loft, because: x, approved_by: y, until: 2027-01-31}]
"""

# What is written in another way, and how it is told of.
WRONG = [
    ("primary: desk", "primary: disk", "there is no unit 'disk'; did you mean 'desk'?"),
    ("enters_at: desk", "enters_at: disk", "there is no unit 'disk'; did you mean 'desk'?"),
    ("ground: {building: house}", "ground: {building: home}", "there is no building 'home'"),
    ("hall: {level: ground", "hall: {level: grund", "there is no level 'grund'"),
    ("desk: {model: duo", "desk: {model: dou", "there is no model 'dou'; did you mean 'duo'?"),
    ("at: {level: ground", "at: {level: first", "there is no level 'first'"),
    ("}, building: house", "}, building: barn", "there is no building 'barn'"),
    ("by: cable, from: desk", "by: cable, from: rack", "there is no unit 'rack'"),
    ("management_from: [staff]", "management_from: [stuff]", "there is no network 'stuff'"),
    ("from: loft, to", "from: lofft, to", "there is no unit 'lofft'; did you mean 'loft'?"),
    ("to: desk, over", "to: desc, over", "there is no unit 'desc'; did you mean 'desk'?"),
    ("to: desk, over", "to: loft, over", "both ends of 'loft' are 'loft'"),
    ("from_radio: mid", "from_radio: low", "there is no radio at 'loft' called 'low'"),
    ("to_radio: mid", "to_radio: low", "there is no radio at 'desk' called 'low'"),
    ("between: [loft, desk]", "between: [loft, cellar]", "there is no unit 'cellar'"),
    ("near: desk", "near: dsk", "there is no unit 'dsk'"),
    ("in: hall", "in: hal", "there is no area 'hal'"),
    ("network: staff}", "network: stuff}", "there is no network 'stuff'"),
    (
        "radios: [mid]",
        "radios: [high]",
        "there is no radio of this name (not repeated here); there is 'mid'",
    ),
    ("units: [desk]", "units: [desc]", "there is no unit of this name"),
    ("addresses: {from: desk}", "addresses: {from: cellar}", "there is no unit of this name"),
    ("heard_at: desk", "heard_at: dusk", "there is no unit 'dusk'"),
    ("link: loft", "link: left", "there is no link 'left'"),
    ("{unit: desk, band", "{unit: dosk, band", "there is no unit 'dosk'"),
    ("country: GB", "country: XQ", "'XQ' is no country code"),
    ("changed: 2026-09-14", "changed: 2026-09-31", "2026-09-31 is not a day of any calendar"),
    ("taken: 2026-09-01", "taken: 2026-02-30", "2026-02-30 is not a day of any calendar"),
    ("until: 2027-01-31", "until: 2027-02-31", "2027-02-31 is not a day of any calendar"),
]
SHAPE = ("count: 3", "count: three")
ITS_WORDS = "clients/staff/count: expected a whole number"


def told(text: str, path: str = "a.site.yaml") -> list[str]:
    try:
        load_site(text.encode(), path, Catalogues())
    except InputError as error:
        return [problem.message for problem in error.problems]
    return []


def changed(text: str, changes: Mapping[str, str]) -> str:
    for was, now in changes.items():
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    return text


def test_the_site_itself_is_sound() -> None:
    assert told(SITE) == []


@pytest.mark.parametrize(("was", "now", "words"), WRONG)
def test_a_name_that_nothing_bears_is_told_beside_a_wrong_shape(
    was: str, now: str, words: str
) -> None:
    (alone,) = told(changed(SITE, {was: now}))
    assert words in alone
    both = told(changed(SITE, dict([(was, now), SHAPE])))
    assert sorted(m.startswith(ITS_WORDS) for m in both) == [False, True]
    assert alone in both


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("levels:", "levells:"),
        ("levels: {ground: {building: house}}", "levels: [ground]"),
        ("buildings: {house: {}}", "buildings: [house]"),
        ("models: {duo: {radios: {mid: {band: 5}}}}", "modells: {duo: {}}"),
        ("models: {duo: {radios: {mid: {band: 5}}}}", "models: {duo: [mid]}"),
        ("{duo: {radios: {mid: {band: 5}}}}", "{duo: {rados: {mid: {band: 5}}}}"),
        ("radios: {mid: {channel: 36}}\nbackhaul", "rados: {mid: {channel: 36}}\nbackhaul"),
        ("networks: {staff", "network: {staff"),
        ("areas: {hall", "area: {hall"),
        ("    powered: {by: cable, from: desk}", "    powered: [desk]"),
        ("between: [loft, desk]", "between: {loft: desk}"),
        ("  loft: {from: loft", "  loft: {fro: loft"),
        ("taken: 2026-09-01", "taken: 1.9.2026"),
        ("country: GB", "country: gb"),
        ("primary: desk", "primary: [desk]"),
        ("model: duo, at", "model: [duo], at"),
    ],
)
def test_a_wrong_shape_alone_draws_no_complaint_of_names(was: str, now: str) -> None:
    said = told(changed(SITE, {was: now}))
    assert said
    assert not [
        words for words in said if "there is no " in words and "there is no key" not in words
    ]


def test_models_of_a_catalogue_are_known_beside_a_wrong_shape(tmp_path: Path) -> None:
    (tmp_path / ".git").mkdir()
    (tmp_path / "equipment.yaml").write_text("meshlint: 1\nmodels: {trio: {radios: {top: {}}}}\n")
    text = changed(
        SITE,
        {
            "models: {duo: {radios: {mid: {band: 5}}}}": "catalogue: equipment.yaml",
            "desk: {model: duo": "desk: {model: trio",
            "    model: duo": "    model: tiro",
            "to_radio: mid": "to_radio: top",
            "from_radio: mid": "from_radio: mid",
            **dict([SHAPE]),
        },
    )
    path = str(tmp_path / "a.site.yaml")
    assert sorted(told(text, path))[1:] == ["there is no model 'tiro'; did you mean 'trio'?"]
    (tmp_path / "equipment.yaml").write_text("meshlint: 1\nmodels: {trio: {radios: 3}}\n")
    assert [words for words in told(text, path) if "radios: expected" in words]
    (tmp_path / "equipment.yaml").unlink()
    assert "'equipment.yaml': there is no such file" in told(text, path)


def test_the_catalogue_of_a_policy_is_known_beside_a_wrong_shape(tmp_path: Path) -> None:
    from datetime import date

    (tmp_path / ".git").mkdir()
    (tmp_path / "equipment.yaml").write_text("meshlint: 1\nmodels: {trio: {}}\n")
    (tmp_path / "meshlint.yaml").write_text("meshlint: 1\ncatalogue: equipment.yaml\n")
    text = "meshlint: 1\nsite: {name: Mill}\nprimary: a\nunits: {a: {model: tiro, kind: 3}}\n"
    result = Checker(date(2026, 11, 25)).check(text.encode(), str(tmp_path / "a.site.yaml"))
    assert "there is no model 'tiro'; did you mean 'trio'?" in [p.message for p in result.problems]


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ("x" * 5000, "cannot be read"),
        ("../../etc/passwd", "this path leads out of the repository"),
        ("/etc/passwd", "expected a path relative to this file, inside the repository"),
        (".", "this file: expected an ordinary file, found a folder"),
        ("a\\nb", "this file: there is no such file"),
    ],
)
def test_a_catalogue_is_no_way_out_where_the_shape_is_wrong(
    tmp_path: Path, named: str, words: str
) -> None:
    (tmp_path / ".git").mkdir()
    text = f'meshlint: 1\ncatalogue: "{named}"\nunits: []\n'
    said = told(text, str(tmp_path / "a.site.yaml"))
    assert sum(words in message for message in said) == 1
    assert len(said) == 4  # that, the shape of the units, and two sections that are missing


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("over: radio, from", "over: cable, from", "runs over cable, so from_radio means nothing"),
        ("near: desk", "near: desk, wired_to: loft", "is wired to 'loft', so near means nothing"),
        ("state: possible", "state: possible, category: cat9", "expected a cable category such as"),
        ("{unit: desk, band: 5,", "{", "a reading is of a unit's signal or of a link"),
        ("    radios: {mid: {channel: 36}}\nb", "    radios: {a/b: {channel: 36}}\nb", "hold '/'"),
        ("{radios: [mid],", "{name: ééééééééééééééééé, radios: [mid],", "at most 32 octets"),
    ],
)
def test_what_means_nothing_is_told_beside_a_wrong_shape_elsewhere(
    was: str, now: str, words: str
) -> None:
    text = changed(SITE, {was: now, "country: GB": "country: 7"})
    told_of = told(text)
    assert [message for message in told_of if words in message]
    assert [message for message in told_of if message.startswith("site/country: expected")]


@given(choose=st.randoms(use_true_random=False))
def test_a_site_with_anything_in_place_of_its_parts_is_refused_in_words(choose: Random) -> None:
    """No part of the file may be taken for what it is not, whatever stands there."""
    value: Any = read_document(SITE.encode(), "a.site.yaml").value
    others = (None, 7, "x", [], {}, [7], {"x": 7}, [{"x": {}}], {"x": []})
    for _ in range(choose.randint(1, 4)):
        where = value
        while True:
            steps = list(where) if isinstance(where, dict) else list(range(len(where)))
            step = choose.choice(steps) if steps else None
            if step is None:
                break
            below = where[step]
            if not isinstance(below, dict | list) or not below or choose.random() < 0.3:
                where[step] = copy.deepcopy(choose.choice(others))
                break
            where = below
    said = told(json.dumps(value))
    assert all(isinstance(message, str) and message for message in said)
